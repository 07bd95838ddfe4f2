//! Parameters of the levelling stage.

use crate::land::levelling::SurfaceKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What kind of surface blocks are formed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Forming {
    /// No bulk earth: beds and stump holes are smoothed, the ground keeps its shape.
    AsItLies,
    /// The fall may vary along each row within the limits: least earth, needs satellite-guided machines.
    GradedRows,
    /// As graded rows, but water leaves every row at both ends from a crest between them.
    CrestedRows,
    /// One plane a block, falling along the rows and across them: what a rotating laser can build.
    Plane,
    /// One plane a block that falls along the rows only.
    PlaneAlong,
}

impl Forming {
    /// The surface this makes.
    pub(super) const fn kind(self) -> SurfaceKind {
        match self {
            Self::AsItLies => SurfaceKind::AsItLies,
            Self::GradedRows => SurfaceKind::GradedRows,
            Self::CrestedRows => SurfaceKind::CrestedRows,
            Self::Plane => SurfaceKind::Plane,
            Self::PlaneAlong => SurfaceKind::PlaneAlong,
        }
    }

    /// Whether every row is graded for itself.
    pub(super) const fn follows_rows(self) -> bool {
        matches!(self, Self::GradedRows | Self::CrestedRows)
    }
}

/// What happens where the surface would be cut deeper than topsoil less its reserve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TopsoilRule {
    /// Topsoil is stripped first and spread again; that is priced.
    Respread,
    /// The cut stops there, and the surface finds another way.
    Keep,
}

/// Over what cut and fill are balanced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BalanceOver {
    /// Each block by itself: no soil crosses headlands and drains.
    Block,
    /// All blocks together: less earth, longer hauls.
    Property,
}

/// Limits and habits of the earthworks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevellingParams {
    /// Surface: `as_it_lies`, `graded_rows`, `crested_rows`, `plane` or `plane_along`.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub surface: Forming,
    /// Least fall down the row after forming, per cent.
    #[schemars(range(min = 0.0, max = 5.0), extend("x-source" = "FAO irrigation methods manual, 0.05; more with building tolerance: common practice, no source"))]
    pub min_fall_pct: f64,
    /// Greatest fall down the row after forming, per cent.
    #[schemars(range(min = 0.01, max = 10.0), extend("x-source" = "FAO irrigation methods manual, 0.5 on bare soil"))]
    pub max_fall_pct: f64,
    /// Greatest fall across the rows, per cent.
    #[schemars(range(min = 0.0, max = 10.0), extend("x-source" = "graded-surface guides, 0.5"))]
    pub max_cross_fall_pct: f64,
    /// Greatest change of the fall over 10 m of row, per cent; 0 leaves it free.
    #[schemars(range(min = 0.0, max = 5.0), extend("x-source" = "common practice, no source"))]
    pub max_grade_change_pct: f64,
    /// Deepest cut allowed, millimetres.
    #[schemars(range(min = 10.0, max = 5_000.0), extend("x-source" = "common practice, no source"))]
    pub max_cut_mm: f64,
    /// Highest fill allowed, millimetres.
    #[schemars(range(min = 10.0, max = 5_000.0), extend("x-source" = "common practice, no source"))]
    pub max_fill_mm: f64,
    /// Step allowed against the surface of the block beside without a batter, millimetres.
    #[schemars(range(min = 0.0, max = 1_000.0), extend("x-source" = "common practice, no source"))]
    pub block_step_mm: f64,
    /// How far ground may be cut or filled at tracks, water and fences that stay and over the roots of kept trees,
    /// millimetres.
    #[schemars(range(min = 0.0, max = 1_000.0), extend("x-source" = "common practice, no source"))]
    pub fixed_level_mm: f64,
    /// How near to the edge of a track or water that stays, or to the fence, ground counts as being there, metres; 0 leaves
    /// their levels free.
    #[schemars(range(min = 0.0, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub fixed_reach_m: f64,
    /// How far roots reach beyond the edge of kept trees, metres; 0 leaves the ground there free.
    #[schemars(range(min = 0.0, max = 50.0), extend("x-source" = "AS 4970, 12 stem diameters, 2 to 15 (from memory)"))]
    pub root_zone_m: f64,
    /// Depths below this are left as they are where the limits allow, millimetres.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "machines finish to 10-25 mm; common practice, no source"))]
    pub dead_band_mm: f64,
    /// Earth that may be added to the least to make the surface smooth, per cent.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "the user's wish"))]
    pub smoothing_pct: f64,
    /// Distance between the points the surface is worked out at, metres.
    #[schemars(range(min = 2.0, max = 50.0), extend("x-source" = "arithmetic: about the width of a bucket or blade"))]
    pub lattice_m: f64,
    /// Over what cut and fill are balanced: `block` or `property`.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub balance_over: BalanceOver,
    /// Bank cubic metres of cut that make one compacted cubic metre of fill; 1 or more, for soil that is placed and driven
    /// on fills no more room than it left. Taken to the nearest thousandth.
    #[schemars(range(min = 1.0, max = 2.5), extend("x-source" = "FAO Irrigation and Drainage Paper 45, 1.1-1.5 by soil (from memory)"))]
    pub cut_fill_ratio: f64,
    /// How far the true ratio may lie from that, either way; the low end is not taken below 1.
    #[schemars(range(min = 0.0, max = 0.5), extend("x-source" = "common practice, no source"))]
    pub cut_fill_spread_ratio: f64,
    /// Constant error of the survey's height against the levels of outlets and drains, one sigma, millimetres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "common practice, no source; RTK against a bench mark 10-20"))]
    pub survey_bias_mm: f64,
    /// What happens where topsoil less its reserve would be cut through: `respread` or `keep`.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub topsoil: TopsoilRule,
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
    /// Height between the contours drawn of the surface to be built, metres.
    #[schemars(range(min = 0.01, max = 10.0), extend("x-source" = "the user's wish"))]
    pub contour_interval_m: f64,
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
            max_grade_change_pct: 0.0,
            max_cut_mm: 600.0,
            max_fill_mm: 600.0,
            block_step_mm: 50.0,
            fixed_level_mm: 50.0,
            fixed_reach_m: 2.5,
            root_zone_m: 6.0,
            dead_band_mm: 0.0,
            smoothing_pct: 1.0,
            lattice_m: 5.0,
            balance_over: BalanceOver::Block,
            cut_fill_ratio: 1.25,
            cut_fill_spread_ratio: 0.1,
            survey_bias_mm: 15.0,
            topsoil: TopsoilRule::Respread,
            assumed_topsoil_mm: 200.0,
            topsoil_reserve_mm: 100.0,
            respread_mm: 100.0,
            max_raise_mm: 150.0,
            contour_interval_m: 0.1,
            haul_cell_m: 20.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bands of cut over fill: 1.1 to 1.5 by soil (FAO Irrigation and Drainage Paper 45, from memory). The starting value
    /// and its doubt lie within; what may be written reaches from no shrinkage to beyond fresh organic soil (about 2,
    /// common practice, no source).
    #[test]
    fn the_ratio_starts_within_the_published_band() {
        let p = LevellingParams::default();
        let (low, high) = (p.cut_fill_ratio - p.cut_fill_spread_ratio, p.cut_fill_ratio + p.cut_fill_spread_ratio);
        assert!(low >= 1.1 && high <= 1.5, "{low} to {high}");
        let schema = schemars::schema_for!(LevellingParams).to_value();
        let range = &schema["properties"]["cut_fill_ratio"];
        assert!(range["minimum"].as_f64().unwrap() <= 1.0 && range["maximum"].as_f64().unwrap() >= 2.0, "{range}");
    }
}
