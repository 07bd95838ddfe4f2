//! How the land lies.

use super::survey::ElevationModel;
use crate::grid::{FlowField, Raster};
use geo::{Coord, LineString, MultiLineString};
use serde::{Deserialize, Serialize};

/// Steepest slope of the surface, metres per metre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SlopeMap(pub Raster<f32>);

/// Azimuth of the steepest fall, degrees clockwise from grid north; no value on level ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AspectMap(pub Raster<f32>);

/// Upstream area of each cell, hectares, the cell itself included.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AccumulationMap(pub Raster<f32>);

/// Lines of one height.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contour {
    /// Height, metres.
    pub level_m: f64,
    /// Whether it is drawn heavier (every fifth).
    pub major: bool,
    /// Lines.
    pub lines: MultiLineString<f64>,
}

/// Low ground without a way out, filled to the level at which it spills. Depressions may lie inside larger ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DepressionRecord {
    /// Number, largest depth times area first, from 1.
    pub id: u32,
    /// The larger depression it becomes part of when it spills; `None` when it spills downstream.
    pub within: Option<u32>,
    /// Its lowest place.
    pub floor: Coord<f64>,
    /// Where it spills.
    pub pour_point: Coord<f64>,
    /// Level it spills at, metres.
    pub spill_level_m: f64,
    /// Greatest depth, metres.
    pub max_depth_m: f64,
    /// Wet area, square metres.
    pub area_m2: f64,
    /// Volume, depressions inside it included, cubic metres.
    pub volume_m3: f64,
}

/// A bank the flow is let through.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OpenedBank {
    /// The mapped culvert that is there; `None` where one is only supposed.
    pub culvert: Option<String>,
    /// Inside diameter of the mapped culvert, metres.
    pub diameter_m: Option<f64>,
    /// From its upper end, or the floor of the depression, to lower ground.
    pub line: LineString<f64>,
    /// Length, metres.
    pub length_m: f64,
    /// Deepest cut below the ground, metres.
    pub depth_m: f64,
    /// Land that drains through it, hectares.
    pub catchment_ha: f64,
}

/// The shape of the land and the way water takes over it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TerrainModel {
    /// Steepest slope.
    pub slope: SlopeMap,
    /// Direction of steepest fall.
    pub aspect: AspectMap,
    /// The concept surface, let through the opened banks, with every depression filled to its spill level.
    pub filled: ElevationModel,
    /// Where each cell's water goes on the filled surface.
    pub flow: FlowField,
    /// Upstream area.
    pub accumulation: AccumulationMap,
    /// Contour lines, lowest first.
    pub contours: Vec<Contour>,
    /// Contour interval, metres.
    pub contour_interval_m: f64,
    /// Depressions worth telling, largest depth times area first, on the concept surface with the mapped culverts open.
    pub depressions: Vec<DepressionRecord>,
    /// Banks the flow was let through.
    pub opened_banks: Vec<OpenedBank>,
    /// Median slope inside the boundary of the broad lie of the land (smoothed over 40 m), ratio.
    pub median_slope_ratio: f64,
}
