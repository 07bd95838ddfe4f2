//! The survey: what was read from files, and the ground model made of it.

use super::geodesy::{CrsTag, LocalGeodesy};
use super::site::SiteLayers;
use crate::grid::Raster;
use geo::{Coord, MultiPolygon};
use serde::{Deserialize, Serialize};

/// Heights of a surface, metres in the height datum of the run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ElevationModel(pub Raster<f32>);

/// One surveyed point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SurveyPoint {
    /// Place, working metres.
    pub at: Coord<f64>,
    /// Height, metres.
    pub height_m: f64,
    /// Vertical precision the instrument gave (1 sigma), metres.
    pub vertical_sigma_m: Option<f64>,
    /// Pass or flight line as the file numbers it.
    pub swath: Option<u32>,
}

/// A line the ground breaks along: drain edge, bank, headland. Heights change slope across it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Breakline {
    /// Place (working metres) and height (metres) of each vertex, in order.
    pub vertices: Vec<(Coord<f64>, f64)>,
}

/// Where the heights came from, already in working metres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum RawElevation {
    /// A raster on square north-up cells.
    Raster {
        /// Heights, metres.
        heights: Raster<f32>,
        /// What was done to it on the way in ("as it is", "warped from EPSG:4326", ...).
        handling: String,
    },
    /// Points to be gridded.
    Points {
        /// The points that passed the reader's checks, in the order they were taken.
        points: Vec<SurveyPoint>,
        /// Points dropped by the reader because their fix was not fixed or not precise.
        floats: usize,
        /// Points dropped by the reader because they had no height.
        blanks: usize,
    },
}

/// What the readers hand to the survey stage: everything in one projected system, nothing judged yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RawSurvey {
    /// Boundary features in file order: name and outline as read (may still cross itself).
    pub parcels: Vec<(String, MultiPolygon<f64>)>,
    /// Heights; absent when no wanted stage reads them.
    pub elevation: Option<RawElevation>,
    /// Further sources of heights, by the name they were given, in the order of their standing.
    pub more_elevation: Vec<(String, RawElevation)>,
    /// Lines the ground breaks along.
    pub breaklines: Vec<Breakline>,
    /// Optional layers as read.
    pub layers: SiteLayers,
    /// Optional inputs that were not given.
    pub not_given: Vec<String>,
    /// A surface that stands in for the levelling stage's product.
    pub given_surface: Option<ElevationModel>,
    /// Working coordinate system.
    pub crs: CrsTag,
    /// Scale and convergence near the property.
    pub geodesy: LocalGeodesy,
}

/// How well the ground is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AccuracyStatement {
    /// Vertical standard error of a height, metres (1 sigma).
    pub vertical_sigma_m: f64,
    /// Where that number comes from, in words.
    pub basis: String,
    /// Whether it was measured or stated, not assumed.
    pub known: bool,
    /// Mean of (model - control point), metres, and the number of points; never applied.
    pub control_shift_m: Option<(f64, usize)>,
    /// Standard deviation of (model - control point), metres.
    pub control_sd_m: Option<f64>,
}

impl AccuracyStatement {
    /// Half width of the 95 % band of one height, metres.
    #[must_use]
    pub fn band_95_m(&self) -> f64 {
        1.96 * self.vertical_sigma_m
    }
    /// Quantities from this ground are for budget only (unknown, or worse than 0.05 m; common practice, no source).
    #[must_use]
    pub fn budget_only(&self) -> bool {
        !self.known || self.vertical_sigma_m > 0.05
    }
}

/// The ground model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ground {
    /// Heights as surveyed, small voids filled.
    pub surveyed: ElevationModel,
    /// Heights with the old tree beds taken out: what concept, falls and ponds are judged on. Equal to
    /// `surveyed` when there are no beds.
    pub concept: ElevationModel,
    /// Width of the smoothing that made `concept`, metres; zero when none.
    pub smoothed_over_m: f64,
    /// Mean absolute difference between the two, metres, inside the boundary.
    pub beds_mean_m: f64,
    /// How well the heights are known.
    pub accuracy: AccuracyStatement,
    /// Survey points a hectare in squares; `None` when all heights come from rasters.
    pub point_density: Option<Raster<f32>>,
}
