//! Parameters of the survey stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How heights between surveyed points are found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BetweenPoints {
    /// Natural neighbours: smooth, passes through every point.
    NaturalNeighbour,
    /// Flat triangles between points.
    Triangles,
}

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurveyParams {
    /// Side of a cell of the working grid, metres. A coarser elevation raster keeps its own cell.
    #[schemars(range(min = 0.25, max = 30.0), extend("x-source" = "common practice, no source"))]
    pub cell_size_m: f64,
    /// Ground kept outside the boundary so that water coming in is seen, metres.
    #[schemars(range(min = 0.0, max = 2000.0), extend("x-source" = "common practice, no source"))]
    pub margin_m: f64,
    /// Holes in the heights inside the boundary up to this area are filled and reported; larger ones are refused, square metres.
    #[schemars(range(min = 0.0, max = 20000.0), extend("x-source" = "common practice, no source"))]
    pub max_void_m2: f64,
    /// How heights between surveyed points are found.
    #[schemars(extend("x-source" = "Sibson 1981"))]
    pub interpolant: BetweenPoints,
    /// Farthest a grid cell may lie from a surveyed point to get a height, metres.
    #[schemars(range(min = 1.0, max = 200.0), extend("x-source" = "common practice, no source"))]
    pub point_reach_m: f64,
    /// Side of the blocks of points left out by turns to find how well heights are predicted, metres.
    #[schemars(range(min = 2.0, max = 500.0), extend("x-source" = "Roberts et al. 2017, Ecography 40; size common practice"))]
    pub validation_block_m: f64,
    /// Vertical standard error assumed when none is stated and none can be measured, metres (1 sigma).
    #[schemars(range(min = 0.005, max = 5.0), extend("x-source" = "common practice for airborne survey over trees, no source"))]
    pub assumed_sigma_m: f64,
    /// A cell this far above or below the middle of its eight neighbours is a spike, metres.
    #[schemars(range(min = 0.5, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub spike_m: f64,
    /// Largest height range believed inside the boundary, metres; more is taken for a wrong unit or NoData read as a height.
    #[schemars(range(min = 5.0, max = 3000.0), extend("x-source" = "common practice, no source"))]
    pub max_relief_m: f64,
    /// Control points: mean shift of the ground model that counts as severe, metres.
    #[schemars(range(min = 0.005, max = 1.0), extend("x-source" = "common practice, no source"))]
    pub max_control_shift_m: f64,
    /// Two sources of heights: middle difference where they overlap that counts as severe; three times as much is refused, metres.
    #[schemars(range(min = 0.005, max = 10.0), extend("x-source" = "common practice, no source"))]
    pub max_source_step_m: f64,
    /// Spacing of the old tree beds, metres. 0: found on the ground itself.
    #[schemars(range(min = 0.0, max = 12.0), extend("x-source" = "measured on the ground when 0"))]
    pub bed_spacing_m: f64,
    /// Width of the smoothing that takes the beds out for concept work, in bed spacings.
    #[schemars(range(min = 2.0, max = 6.0), extend("x-source" = "common practice (2 to 3 spacings), no source"))]
    pub bed_window_spacings: f64,
    /// Where smoothing would change the ground by more than this (channels, banks, roads) the surveyed height is kept, metres.
    #[schemars(range(min = 0.1, max = 3.0), extend("x-source" = "common practice (beds stand 0.2 to 0.5 m high), no source"))]
    pub keep_relief_m: f64,
}

impl Default for SurveyParams {
    fn default() -> Self {
        Self {
            cell_size_m: 1.0,
            margin_m: 100.0,
            max_void_m2: 400.0,
            interpolant: BetweenPoints::NaturalNeighbour,
            point_reach_m: 30.0,
            validation_block_m: 20.0,
            assumed_sigma_m: 0.15,
            spike_m: 3.0,
            max_relief_m: 500.0,
            max_control_shift_m: 0.05,
            max_source_step_m: 0.05,
            bed_spacing_m: 0.0,
            bed_window_spacings: 2.0,
            keep_relief_m: 0.4,
        }
    }
}
