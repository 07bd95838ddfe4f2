//! How the land lies.

use super::survey::ElevationModel;
use crate::grid::{FlowField, Raster};
use geo::MultiLineString;
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

/// The shape of the land and the way water takes over it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TerrainModel {
    /// Steepest slope.
    pub slope: SlopeMap,
    /// Direction of steepest fall.
    pub aspect: AspectMap,
    /// The concept surface with every depression filled to its spill level.
    pub filled: ElevationModel,
    /// Where each cell's water goes on the filled surface.
    pub flow: FlowField,
    /// Upstream area.
    pub accumulation: AccumulationMap,
    /// Contour lines, lowest first.
    pub contours: Vec<Contour>,
    /// Contour interval, metres.
    pub contour_interval_m: f64,
    /// Median slope inside the boundary of the broad lie of the land (smoothed over 40 m), ratio.
    pub median_slope_ratio: f64,
}
