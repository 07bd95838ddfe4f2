//! Parameters of the levelling stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What kind of surface blocks are formed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Forming {
    /// No bulk earth: beds and stump holes are smoothed, the ground keeps its shape.
    AsItLies,
    /// The fall may vary along each row within the limits: little earth, needs satellite-guided machines.
    GradedRows,
    /// One plane a block: what a rotating laser can build.
    Plane,
}

/// Limits and habits of the earthworks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevellingParams {
    /// Surface: `as_it_lies`, `graded_rows` or `plane`.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub surface: Forming,
    /// Least fall down the row after forming, per cent.
    #[schemars(range(min = 0.0, max = 5.0), extend("x-source" = "FAO irrigation methods manual, 0.05; more with building tolerance: common practice, no source"))]
    pub min_fall_pct: f64,
    /// Greatest fall down the row after forming, per cent.
    #[schemars(range(min = 0.01, max = 10.0), extend("x-source" = "FAO irrigation methods manual, 0.5 on bare soil"))]
    pub max_fall_pct: f64,
    /// Greatest fall across the rows, per cent. Holds for planes; graded rows follow the ground across.
    #[schemars(range(min = 0.0, max = 10.0), extend("x-source" = "graded-surface guides, 0.5"))]
    pub max_cross_fall_pct: f64,
    /// Bank cubic metres of cut that make one compacted cubic metre of fill.
    #[schemars(range(min = 1.0, max = 2.5), extend("x-source" = "FAO Irrigation and Drainage Paper 45, 1.1-1.5 by soil (from memory)"))]
    pub cut_fill_ratio: f64,
    /// Topsoil depth where no zone says otherwise, millimetres.
    #[schemars(range(min = 0.0, max = 2_000.0), extend("x-source" = "common practice, no source; 100-400"))]
    pub assumed_topsoil_mm: f64,
    /// Topsoil that must stay after cutting, millimetres.
    #[schemars(range(min = 0.0, max = 1_000.0), extend("x-source" = "75 mm of topsoil put back restored yield on a red-brown earth (1988 abstract, second hand); 100 common practice"))]
    pub topsoil_reserve_mm: f64,
    /// Depth of topsoil stripped and spread again where the cut goes deeper, millimetres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "common practice, no source; 75-150"))]
    pub respread_mm: f64,
    /// How far a block may be raised with soil from elsewhere so that its low ends stand above the drain reach, millimetres.
    #[schemars(range(min = 0.0, max = 2_000.0), extend("x-source" = "common practice, no source"))]
    pub max_raise_mm: f64,
    /// Side of the cells haul is planned on, metres.
    #[schemars(range(min = 5.0, max = 100.0), extend("x-source" = "arithmetic: below a machine's turning circle haul has no meaning"))]
    pub haul_cell_m: f64,
}

impl Default for LevellingParams {
    fn default() -> Self {
        Self {
            surface: Forming::GradedRows,
            min_fall_pct: 0.08,
            max_fall_pct: 0.5,
            max_cross_fall_pct: 0.5,
            cut_fill_ratio: 1.25,
            assumed_topsoil_mm: 200.0,
            topsoil_reserve_mm: 100.0,
            respread_mm: 100.0,
            max_raise_mm: 150.0,
            haul_cell_m: 20.0,
        }
    }
}
