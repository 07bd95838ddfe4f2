//! The `[as_built]` table of a pipeline file: when finished earthworks are accepted.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Limits that a survey of the finished work is held against by `rowfall compare`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tolerances {
    /// Least share of heights within 25 mm of the design, per cent.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub within_25_mm_min_pct: f64,
    /// Least share of heights within 50 mm of the design, per cent.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub within_50_mm_min_pct: f64,
    /// Largest mean difference, up or down, millimetres: a shift of the whole surface is a wrong benchmark.
    #[schemars(range(min = 1.0, max = 200.0), extend("x-source" = "common practice, no source"))]
    pub mean_max_mm: f64,
    /// Deepest water that may stand in a row before it runs on, millimetres.
    #[schemars(range(min = 0.0, max = 300.0), extend("x-source" = "common practice, no source; 10-30"))]
    pub reverse_max_mm: f64,
}

impl Default for Tolerances {
    fn default() -> Self {
        Self { within_25_mm_min_pct: 90.0, within_50_mm_min_pct: 100.0, mean_max_mm: 10.0, reverse_max_mm: 20.0 }
    }
}
