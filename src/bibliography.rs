//! Every work the program relies on, one documented variant each.
//!
//! Methods and stages cite these variants, so a report can print exactly the works behind a run
//! and a broken citation does not compile.

use serde::{Deserialize, Serialize};

macro_rules! bibliography {
    ($($(#[doc = $doc:literal])+ $variant:ident => $text:literal,)+) => {
        /// A cited work.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum Bibliography {
            $($(#[doc = $doc])+ $variant,)+
        }
        impl Bibliography {
            /// All works, in alphabetical order of author.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];
            /// The full reference as printed in reports.
            #[must_use]
            pub const fn reference(self) -> &'static str {
                match self { $(Self::$variant => $text,)+ }
            }
        }
    };
}

bibliography! {
    /// Minimum-cost flows.
    AhujaMagnantiOrlin1993 => "Ahuja, R. K., Magnanti, T. L., Orlin, J. B. (1993). Network Flows: Theory, Algorithms, and Applications. Prentice Hall.",
    /// Farm machinery capacity and efficiency.
    AsabeEp496 => "ASABE EP496, Agricultural machinery management. American Society of Agricultural and Biological Engineers.",
    /// Pool-adjacent-violators.
    Barlow1972 => "Barlow, R. E., Bartholomew, D. J., Bremner, J. M., Brunk, H. D. (1972). Statistical Inference under Order Restrictions. Wiley.",
    /// Depression filling by a priority queue.
    Barnes2014 => "Barnes, R., Lehman, C., Mulla, D. (2014). Priority-flood: an optimal depression-filling and watershed-labeling algorithm for digital elevation models. Computers & Geosciences 62, 117-127.",
    /// Depressions inside depressions.
    BarnesCallaghanWickert2020 => "Barnes, R., Callaghan, K. L., Wickert, A. D. (2020). Computing water flow through complex landscapes, part 2: finding hierarchies in depressions and morphological segmentations. Earth Surface Dynamics 8, 431-445.",
    /// Drainage of flat surfaces without raising them.
    BarnesFlats2014 => "Barnes, R., Lehman, C., Mulla, D. (2014). An efficient assignment of drainage direction over flat surfaces in raster digital elevation models. Computers & Geosciences 62, 128-135.",
    /// Transport on grids by flow between near cells.
    Bassetti2020 => "Bassetti, F., Gualandi, S., Veneroni, M. (2020). On the computation of Kantorovich-Wasserstein distances between two-dimensional histograms by uncapacitated minimum cost flows. SIAM Journal on Optimization 30(3), 2441-2469.",
    /// Depression filling in tiles.
    Barnes2016 => "Barnes, R. (2016). Parallel priority-flood depression filling for trillion cell digital elevation models on desktops or clusters. Computers & Geosciences 96, 56-68.",
    /// Sediment delivery ratio of small catchments.
    Boyce1975 => "Boyce, R. C. (1975). Sediment routing with sediment delivery ratios. In: Present and Prospective Technology for Predicting Sediment Yields and Sources, USDA ARS-S-40, 61-65.",
    /// Labelling by graph cuts.
    Boykov2001 => "Boykov, Y., Veksler, O., Zabih, R. (2001). Fast approximate energy minimization via graph cuts. IEEE Transactions on Pattern Analysis and Machine Intelligence 23, 1222-1239.",
    /// Time of concentration of rural catchments.
    BransbyWilliams1922 => "Bransby Williams, G. (1922). Flood discharge and the dimensions of spillways in India. The Engineer 134, 321-322.",
    /// First-order primal-dual method.
    ChambollePock2011 => "Chambolle, A., Pock, T. (2011). A first-order primal-dual algorithm for convex problems with applications to imaging. Journal of Mathematical Imaging and Vision 40, 120-145.",
    /// Sums of squares updated and merged.
    Chan1983 => "Chan, T. F., Golub, G. H., LeVeque, R. J. (1983). Algorithms for computing the sample variance: analysis and recommendations. The American Statistician 37, 242-247.",
    /// Open-channel flow: normal and critical depth, Manning.
    Chow1959 => "Chow, V. T. (1959). Open-Channel Hydraulics. McGraw-Hill.",
    /// Shortest paths and difference constraints.
    Cormen2009 => "Cormen, T. H., Leiserson, C. E., Rivest, R. L., Stein, C. (2009). Introduction to Algorithms, 3rd edition. MIT Press.",
    /// Leaving rule of the network simplex.
    Cunningham1976 => "Cunningham, W. H. (1976). A network simplex method. Mathematical Programming 11, 105-116.",
    /// Letting columns in by their reduced cost.
    DantzigWolfe1960 => "Dantzig, G. B., Wolfe, P. (1960). Decomposition principle for linear programs. Operations Research 8(1), 101-111.",
    /// Slope length on a grid.
    DesmetGovers1996 => "Desmet, P. J. J., Govers, G. (1996). A GIS procedure for automatically calculating the USLE LS factor on topographically complex landscape units. Journal of Soil and Water Conservation 51, 427-433.",
    /// Shortest paths.
    Dijkstra1959 => "Dijkstra, E. W. (1959). A note on two problems in connexion with graphs. Numerische Mathematik 1, 269-271.",
    /// Direct land-grading design with shrinkage.
    Easa1989 => "Easa, S. M. (1989). Direct land grading design of irrigation plane surfaces. Journal of Irrigation and Drainage Engineering 115, 285-301.",
    /// Shortest augmenting paths with node potentials.
    EdmondsKarp1972 => "Edmonds, J., Karp, R. M. (1972). Theoretical improvements in algorithmic efficiency for network flow problems. Journal of the ACM 19, 248-264.",
    /// Multipliers for resource limits.
    Everett1963 => "Everett, H. (1963). Generalized Lagrange multiplier method for solving problems of optimum allocation of resources. Operations Research 11, 399-417.",
    /// Volumes of soil in the bank, loose and compacted.
    Fm5434 => "US Army (2000). FM 5-434, Earthmoving Operations. Headquarters, Department of the Army.",
    /// Scan-line filling of polygons.
    Foley1990 => "Foley, J. D., van Dam, A., Feiner, S. K., Hughes, J. F. (1990). Computer Graphics: Principles and Practice, 2nd ed. Addison-Wesley.",
    /// Permissible velocities in canals.
    FortierScobey1926 => "Fortier, S., Scobey, F. C. (1926). Permissible canal velocities. Transactions of the ASCE 89, 940-984.",
    /// SI conversion of the soil-loss equation.
    Foster1981 => "Foster, G. R., McCool, D. K., Renard, K. G., Moldenhauer, W. C. (1981). Conversion of the universal soil loss equation to SI metric units. Journal of Soil and Water Conservation 36, 355-359.",
    /// Soil loss on irregular slopes.
    FosterWischmeier1974 => "Foster, G. R., Wischmeier, W. H. (1974). Evaluating irregular slopes for soil loss prediction. Transactions of the ASAE 17, 305-309.",
    /// The inner point furthest from the boundary.
    GarciaCastellanos2007 => "Garcia-Castellanos, D., Lombardo, U. (2007). Poles of inaccessibility: a calculation algorithm for the remotest places on earth. Scottish Geographical Journal 123, 227-233.",
    /// Surface area of settling basins.
    Hazen1904 => "Hazen, A. (1904). On sedimentation. Transactions of the ASCE 53, 45-71.",
    /// Hydraulics of culverts.
    Hds5 => "Federal Highway Administration (2012). Hydraulic Design of Highway Culverts. Hydraulic Design Series 5, 3rd edition.",
    /// The transport problem.
    Hitchcock1941 => "Hitchcock, F. L. (1941). The distribution of a product from several sources to numerous localities. Journal of Mathematics and Physics 20, 224-230.",
    /// Third-order finite difference slope.
    Horn1981 => "Horn, B. K. P. (1981). Hill shading and the reflectance map. Proceedings of the IEEE 69, 14-47.",
    /// Map projection formulas.
    IogpGn72 => "IOGP Geomatics Guidance Note 7-2: Coordinate conversions and transformations including formulas.",
    /// Combination of independent uncertainties.
    Jcgm100 => "JCGM 100:2008. Evaluation of measurement data: Guide to the expression of uncertainty in measurement. Joint Committee for Guides in Metrology.",
    /// Geodesics and areas on the ellipsoid.
    Karney2013 => "Karney, C. F. F. (2013). Algorithms for geodesics. Journal of Geodesy 87, 43-55.",
    /// Time of concentration of small catchments.
    Kirpich1940 => "Kirpich, Z. P. (1940). Time of concentration of small agricultural watersheds. Civil Engineering 10, 362.",
    /// Repair of invalid polygons.
    Ledoux2014 => "Ledoux, H., Arroyo Ohori, K., Meijers, M. (2014). A triangulation-based approach to automatically repair GIS polygons. Computers & Geosciences 66, 121-131.",
    /// Breaching of depressions.
    LindsayDhun2015 => "Lindsay, J. B., Dhun, K. (2015). Modelling surface drainage patterns in altered landscapes using LiDAR. International Journal of Geographical Information Science 29, 397-411.",
    /// Flow in open channels.
    Manning1891 => "Manning, R. (1891). On the flow of water in open channels and pipes. Transactions of the Institution of Civil Engineers of Ireland 20, 161-207.",
    /// Slope length and steepness from contributing area.
    MooreBurch1986 => "Moore, I. D., Burch, G. J. (1986). Physical basis of the length-slope factor in the universal soil loss equation. Soil Science Society of America Journal 50, 1294-1298.",
    /// Earthwork of land levelling: the four-point method.
    Neh15Ch12 => "USDA Soil Conservation Service (1961). National Engineering Handbook, Section 15 Irrigation, Chapter 12 Land Leveling.",
    /// Trapping by edge-of-field strips.
    Neitsch2011 => "Neitsch, S. L., Arnold, J. G., Kiniry, J. R., Williams, J. R. (2011). Soil and Water Assessment Tool Theoretical Documentation, Version 2009. Texas Water Resources Institute Technical Report 406.",
    /// Steepest descent to one of eight neighbours.
    OCallaghanMark1984 => "O'Callaghan, J. F., Mark, D. M. (1984). The extraction of drainage networks from digital elevation data. Computer Vision, Graphics, and Image Processing 28, 323-344.",
    /// Field decomposition and driving directions.
    OksanenVisala2009 => "Oksanen, T., Visala, A. (2009). Coverage path planning algorithms for agricultural field machines. Journal of Field Robotics 26, 651-668.",
    /// Two-dimensional spectra of topography.
    Perron2008 => "Perron, J. T., Kirchner, J. W., Dietrich, W. E. (2008). Spectral signatures of characteristic spatial scales and nonfractal structure in landscapes. Journal of Geophysical Research 113, F04003.",
    /// Kinematic wave time of concentration.
    RaganDuru1972 => "Ragan, R. M., Duru, J. O. (1972). Kinematic wave nomograph for times of concentration. Journal of the Hydraulics Division ASCE 98, 1765-1771.",
    /// Revised soil-loss equation.
    Renard1997 => "Renard, K. G., Foster, G. R., Weesies, G. A., McCool, D. K., Yoder, D. C. (1997). Predicting Soil Erosion by Water. USDA Agriculture Handbook 703.",
    /// Leaving out whole blocks when neighbours are alike.
    Roberts2017 => "Roberts, D. R. et al. (2017). Cross-validation strategies for data with temporal, spatial, hierarchical, or phylogenetic structure. Ecography 40, 913-929.",
    /// Uncertainty of volumes from correlated height errors.
    Rolstad2009 => "Rolstad, C., Haug, T., Denby, B. (2009). Spatially integrated geodetic glacier mass balance and its uncertainty based on geostatistical analysis: application to the western Svartisen ice cap, Norway. Journal of Glaciology 55(192), 666-680.",
    /// Lines across a figure: Crofton's formula.
    Santalo1976 => "Santalo, L. A. (1976). Integral Geometry and Geometric Probability. Addison-Wesley.",
    /// Least-squares land-grading planes.
    ScaloppiWillardson1986 => "Scaloppi, E. J., Willardson, L. S. (1986). Practical land grading based upon least squares. Journal of Irrigation and Drainage Engineering 112, 98-109.",
    /// Permissible velocities in grassed channels.
    ScsTp61 => "USDA Soil Conservation Service (1954). Handbook of Channel Design for Soil and Water Conservation. Technical Paper 61.",
    /// Natural-neighbour interpolation.
    Sibson1981 => "Sibson, R. (1981). A brief description of natural neighbour interpolation. In: Interpreting Multivariate Data, Wiley, 21-36.",
    /// What a valid polygon is.
    SimpleFeatures => "Open Geospatial Consortium (2011). Simple Feature Access, Part 1: Common architecture. OGC 06-103r4.",
    /// Settling of small spheres.
    Stokes1851 => "Stokes, G. G. (1851). On the effect of the internal friction of fluids on the motion of pendulums. Transactions of the Cambridge Philosophical Society 9, 8-106.",
    /// Stream order.
    Strahler1957 => "Strahler, A. N. (1957). Quantitative analysis of watershed geomorphology. Transactions of the American Geophysical Union 38, 913-920.",
    /// Interest formulas and appraisal of investments.
    Sullivan2015 => "Sullivan, W. G., Wicks, E. M., Koelling, C. P. (2015). Engineering Economy, 16th edition. Pearson.",
    /// Flow shared between two neighbours of a cell.
    Tarboton1997 => "Tarboton, D. G. (1997). A new method for the determination of flow directions and upslope areas in grid digital elevation models. Water Resources Research 33, 309-319.",
    /// Roughness of grassed channels.
    Temple1987 => "Temple, D. M., Robinson, K. M., Ahring, R. M., Davis, A. G. (1987). Stability Design of Grass-Lined Open Channels. USDA Agriculture Handbook 667.",
    /// Rotating calipers.
    Toussaint1983 => "Toussaint, G. T. (1983). Solving geometric problems with the rotating calipers. Proceedings of IEEE MELECON, Athens.",
    /// Runoff from curve numbers.
    Tr55 => "USDA Soil Conservation Service (1986). Urban Hydrology for Small Watersheds. Technical Release 55.",
    /// Freeboard of canals.
    Usbr1978 => "US Bureau of Reclamation (1978). Design of Small Canal Structures. US Department of the Interior.",
    /// Sediment delivery ratio.
    Vanoni1975 => "Vanoni, V. A. (ed.) (1975). Sedimentation Engineering. ASCE Manual 54.",
    /// Surface irrigation and land levelling, worked example.
    Walker1989 => "Walker, W. R. (1989). Guidelines for designing and evaluating surface irrigation systems. FAO Irrigation and Drainage Paper 45.",
    /// Sediment yield of single storms.
    Williams1975 => "Williams, J. R. (1975). Sediment-yield prediction with universal equation using runoff energy factor. In: Present and Prospective Technology for Predicting Sediment Yields and Sources, USDA ARS-S-40, 244-252.",
    /// The universal soil-loss equation.
    WischmeierSmith1978 => "Wischmeier, W. H., Smith, D. D. (1978). Predicting Rainfall Erosion Losses. USDA Agriculture Handbook 537.",
    /// Fourth-order finite difference slope.
    ZevenbergenThorne1987 => "Zevenbergen, L. W., Thorne, C. R. (1987). Quantitative analysis of land surface topography. Earth Surface Processes and Landforms 12, 47-56.",
    /// Depression filling by region growing.
    ZhouSunFu2016 => "Zhou, G., Sun, Z., Fu, S. (2016). An efficient variant of the Priority-Flood algorithm for filling depressions in raster digital elevation models. Computers & Geosciences 90, 87-96.",
}
