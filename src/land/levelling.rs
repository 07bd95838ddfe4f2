//! What the ground should become, and what has to be moved.

use super::blocks::{BlockId, RowFall};
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
    /// One plane falling along the rows and across them.
    Plane,
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
            Self::Plane => "plane",
            Self::Given => "given surface",
        }
    }
}

/// Earth hauled over one band of distance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HaulBand {
    /// Upper end of the band, metres.
    pub up_to_m: f64,
    /// Volume hauled, bank cubic metres.
    pub volume_m3: f64,
    /// Price, dollars per bank cubic metre.
    pub price_per_m3: Range,
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
    /// Volumes by haul distance.
    pub bands: Vec<HaulBand>,
    /// Price of the block's earthworks, dollars.
    pub cost: Range,
    /// Limits that hold the surface back, in words.
    pub binding: Vec<String>,
    /// Share by which the volume exceeds the proven least, when a bound was computed.
    pub gap_ratio: Option<f64>,
    /// Fall of each row on the design surface, in the order of [`super::blocks::RowBlock::rows`].
    pub rows_after: Vec<RowFall>,
}

/// The earthworks of the property.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevellingPlan {
    /// Surface to be built.
    pub design: DesignSurface,
    /// Cut and fill.
    pub cut_fill: CutFill,
    /// Per block, in order of block number.
    pub blocks: Vec<BlockEarth>,
    /// Uncertainty of total cut from the survey's accuracy, bank cubic metres, low / likely / high.
    pub cut_range_m3: Range,
}
