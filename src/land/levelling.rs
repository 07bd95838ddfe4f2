//! What the ground should become, and what has to be moved.

use super::blocks::{BlockId, RowFall};
use super::site::EarthPlaceKind;
use super::survey::ElevationModel;
use crate::grid::Raster;
use crate::units::{Range, Slope};
use serde::{Deserialize, Serialize};

/// The surface to be built, metres; valid only where earth is formed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DesignSurface(pub ElevationModel);

/// Depth of earth moved at each cell, metres: **positive is cut, negative is fill**.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CutFill(pub Raster<f32>);

/// What kind of surface a block gets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SurfaceKind {
    /// No bulk earth: the ground keeps its shape, beds and stump holes are smoothed.
    AsItLies,
    /// Fall varies along each row within limits.
    GradedRows,
    /// As graded rows; water leaves both ends of every row.
    CrestedRows,
    /// One plane falling along the rows and across them.
    Plane,
    /// One plane falling along the rows only.
    PlaneAlong,
    /// Supplied by the user.
    Given,
}

impl SurfaceKind {
    /// As said in tables and reports.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AsItLies => "as it lies, smoothed",
            Self::GradedRows => "graded rows",
            Self::CrestedRows => "graded rows with a crest",
            Self::Plane => "plane falling both ways",
            Self::PlaneAlong => "plane falling along the rows",
            Self::Given => "given surface",
        }
    }

    /// What machine can build it.
    #[must_use]
    pub const fn machine(self) -> &'static str {
        match self {
            Self::AsItLies => "land plane or grader behind a tractor",
            Self::GradedRows | Self::CrestedRows | Self::Given => "bucket or scraper under satellite height control",
            Self::Plane => "laser bucket with a dual-slope transmitter",
            Self::PlaneAlong => "laser bucket with a single-slope transmitter",
        }
    }
}

/// What carries earth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HaulMachine {
    /// Pushes short distances.
    Dozer,
    /// Bucket or scraper behind a tractor.
    Bucket,
    /// Excavator loading trucks.
    Truck,
}

impl HaulMachine {
    /// As said in tables and reports.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Dozer => "dozer",
            Self::Bucket => "bucket or scraper",
            Self::Truck => "excavator and trucks",
        }
    }
}

/// Earth hauled over one band of distance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HaulBand {
    /// Upper end of the band, metres.
    pub up_to_m: f64,
    /// Volume hauled, bank cubic metres.
    pub volume_m3: f64,
    /// Mean price, dollars per bank cubic metre.
    pub price_per_m3: Range,
    /// Volume each machine carries, bank cubic metres, the one for the shortest hauls first.
    pub by_machine: Vec<(HaulMachine, f64)>,
}

/// Soil a block gets from a borrow place or gives to a spoil place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlaceHaul {
    /// Name of the place.
    pub place: String,
    /// What the place does.
    pub kind: EarthPlaceKind,
    /// Volume, bank cubic metres.
    pub volume_m3: f64,
    /// Mean haul, metres.
    pub distance_m: f64,
    /// What a bank cubic metre costs at the place beside the haul, dollars.
    pub price_per_m3: f64,
}

/// What one kind of surface would come to on a block, worked out on a coarse lattice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SurfaceOffer {
    /// Kind of surface.
    pub surface: SurfaceKind,
    /// Cut, bank cubic metres.
    pub cut_m3: f64,
    /// Fill, compacted cubic metres.
    pub fill_m3: f64,
    /// Mean haul, metres.
    pub haul_mean_m: f64,
    /// Price, dollars.
    pub cost: Range,
    /// Proven least cut and fill together of any surface within the limits falling this way, cubic metres; `None` when
    /// nothing was proven.
    pub least_moved_m3: Option<f64>,
    /// What holds it back, or why it cannot be built.
    pub remarks: Vec<String>,
    /// Limits it breaks, in words with how far; empty when it keeps all.
    pub limits_broken: Vec<String>,
    /// Worth of the crop lost for good on rows that stay below the drain reach, dollars once.
    pub undrained_loss: f64,
}

impl SurfaceOffer {
    /// Whether it keeps every limit.
    #[must_use]
    pub fn keeps_limits(&self) -> bool {
        self.limits_broken.is_empty()
    }
    /// What it is judged by: its price and the crop lost on rows that do not drain, dollars once.
    #[must_use]
    pub fn judged(&self) -> f64 {
        self.cost.likely + self.undrained_loss
    }
}

/// Rows left below the drain reach because lifting them costs more than the crop lost there is worth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NotRaised {
    /// Land whose rows do not drain that could, square metres on the ground.
    pub area_m2: f64,
    /// What lifting them would add to the price of the earth, dollars.
    pub raising: f64,
    /// Worth of the crop lost for good, dollars once.
    pub loss: f64,
}

/// The same earth reckoned in the ways contractors use; bank for cut, compacted for fill, cubic metres.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct VolumeChecks {
    /// Cut and fill as the sum of cells, depth at the centre.
    pub cells_m3: (f64, f64),
    /// By the four-point method between cell centres.
    pub four_point_m3: (f64, f64),
    /// By prisms on the triangles of every square between cell centres, mean of both divisions.
    pub prisms_m3: (f64, f64),
}

/// One haul big enough for the map.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HaulArrow {
    /// From, centre of the cut.
    pub from: geo::Coord<f64>,
    /// To, centre of the fill.
    pub to: geo::Coord<f64>,
    /// Way between them, round what must not be driven on.
    pub path: Vec<geo::Coord<f64>>,
    /// Volume, bank cubic metres.
    pub volume_m3: f64,
    /// Distance along the way, metres.
    pub distance_m: f64,
}

/// How far one doubt alone moves the price of the earth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    /// What is in doubt.
    pub what: String,
    /// Cut at its low and its high end, bank cubic metres.
    pub cut_m3: (f64, f64),
    /// Price at its low and its high end, dollars.
    pub cost: (f64, f64),
}

/// Proof of how near a surface is to the least earth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EarthProof {
    /// Cut and fill together of the balanced surface as it was found on the lattice, cubic metres.
    pub moved_m3: f64,
    /// No balanced surface within the limits moves less on that lattice, cubic metres.
    pub bound_m3: f64,
    /// What smoothing and the dead band added after the proof, as a ratio of what was moved.
    pub after_ratio: f64,
    /// Whether the bound was reached by the exact engine.
    pub exact: bool,
    /// Distance between lattice points, metres.
    pub lattice_m: f64,
}

impl EarthProof {
    /// Share by which the surface exceeds the proven least.
    #[must_use]
    pub fn gap_ratio(&self) -> f64 {
        if self.bound_m3 > 0.0 { (self.moved_m3 / self.bound_m3 - 1.0).max(0.0) } else { 0.0 }
    }
}

/// The earthworks of one block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockEarth {
    /// The block.
    pub block: BlockId,
    /// Kind of surface.
    pub surface: SurfaceKind,
    /// Fall along the block's bearing (mean for graded rows).
    pub row_fall: Slope,
    /// Fall to the right of the bearing (planes only, else the mean).
    pub cross_fall: Slope,
    /// Area formed, square metres on the grid.
    pub formed_m2: f64,
    /// Cut, bank cubic metres.
    pub cut_m3: f64,
    /// Fill, compacted cubic metres.
    pub fill_m3: f64,
    /// Soil brought in (positive) or left over (negative), bank cubic metres.
    pub borrow_m3: f64,
    /// What of that no borrow place gives (positive) or no spoil place takes (negative), bank cubic metres.
    pub unplaced_m3: f64,
    /// What borrow places give and spoil places take.
    pub places: Vec<PlaceHaul>,
    /// Cut over fill the surface was balanced to.
    pub cut_fill_ratio: f64,
    /// Deepest cut, metres.
    pub max_cut_m: f64,
    /// Highest fill, metres.
    pub max_fill_m: f64,
    /// Area cut deeper than topsoil less its reserve, square metres.
    pub subsoil_m2: f64,
    /// Topsoil to strip and spread again, bank cubic metres.
    pub strip_m3: f64,
    /// Mean haul, metres.
    pub haul_mean_m: f64,
    /// Whether the hauls are proven to be the cheapest with machines that change with distance; else they are the shortest.
    pub hauls_cheapest: bool,
    /// Volumes by haul distance.
    pub bands: Vec<HaulBand>,
    /// Price of the block's earthworks, dollars.
    pub cost: Range,
    /// Limits that hold the surface back, in words.
    pub binding: Vec<String>,
    /// Limits that were given up because they cannot be kept together, in words.
    pub given_up: Vec<String>,
    /// Proof of how near the surface is to the least earth; `None` where nothing is formed to limits.
    pub proof: Option<EarthProof>,
    /// Other kinds of surface on the same block, cheapest first.
    pub offers: Vec<SurfaceOffer>,
    /// The volumes by other reckonings.
    pub checks: VolumeChecks,
    /// The main hauls, largest first.
    pub hauls: Vec<HaulArrow>,
    /// Rows that are not lifted to the drain reach, because that costs more than it is worth.
    pub not_raised: Option<NotRaised>,
    /// Greatest step against a block beside, metres.
    pub edge_step_m: f64,
    /// Fall of each row on the design surface, in the order of [`super::blocks::RowBlock::rows`].
    pub rows_after: Vec<RowFall>,
}

impl BlockEarth {
    /// Nothing formed yet.
    #[must_use]
    pub fn none(block: BlockId, surface: SurfaceKind, cut_fill_ratio: f64) -> Self {
        Self {
            block,
            surface,
            row_fall: Slope::default(),
            cross_fall: Slope::default(),
            formed_m2: 0.0,
            cut_m3: 0.0,
            fill_m3: 0.0,
            borrow_m3: 0.0,
            unplaced_m3: 0.0,
            places: Vec::new(),
            cut_fill_ratio,
            max_cut_m: 0.0,
            max_fill_m: 0.0,
            subsoil_m2: 0.0,
            strip_m3: 0.0,
            haul_mean_m: 0.0,
            hauls_cheapest: false,
            bands: Vec::new(),
            cost: Range::exact(0.0),
            binding: Vec::new(),
            given_up: Vec::new(),
            proof: None,
            offers: Vec::new(),
            checks: VolumeChecks::default(),
            hauls: Vec::new(),
            not_raised: None,
            edge_step_m: 0.0,
            rows_after: Vec::new(),
        }
    }
}

/// What is left of the topsoil where little is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SoilRisk {
    /// Less than the reserve.
    Thin,
    /// Nothing: subsoil shows.
    Bare,
}

impl SoilRisk {
    /// As said in tables and reports.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Thin => "topsoil thinner than its reserve",
            Self::Bare => "subsoil shows",
        }
    }
}

/// Where yield is at risk unless topsoil is stripped first and spread again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RiskArea {
    /// The block.
    pub block: BlockId,
    /// What is left.
    pub risk: SoilRisk,
    /// Outline of the cells, in one or many pieces.
    pub outline: geo::MultiPolygon<f64>,
    /// Area, square metres on the grid.
    pub area_m2: f64,
    /// Least topsoil left, metres; negative where the cut goes into subsoil.
    pub least_left_m: f64,
}

/// The earthworks of the property.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevellingPlan {
    /// Surface to be built.
    pub design: DesignSurface,
    /// Cut and fill.
    pub cut_fill: CutFill,
    /// Topsoil left after the cut where it lies as it is, metres; negative where subsoil would show.
    pub topsoil_left: Raster<f32>,
    /// Where yield is at risk, by block.
    pub risk_areas: Vec<RiskArea>,
    /// Contours of the surface to be built, lowest first.
    pub contours: Vec<super::terrain::Contour>,
    /// Per block, in order of block number.
    pub blocks: Vec<BlockEarth>,
    /// Uncertainty of total cut from the survey's accuracy, bank cubic metres, low / likely / high.
    pub cut_range_m3: Range,
    /// Price of all earthworks with every doubt, dollars, low / likely / high.
    pub cost_range: Range,
    /// What moves the price most, largest swing first.
    pub doubts: Vec<Doubt>,
}
