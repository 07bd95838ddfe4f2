//! Parameters of the blocks stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How the crop is watered; decides the longest run and which end the water comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Watering {
    /// Rain only.
    None,
    /// Furrows fed from the high ends.
    Furrow,
    /// From above.
    Overhead,
}

/// Wishes and limits of the layout. Lengths and widths are on the ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BlocksParams {
    /// Row spacing, metres.
    #[schemars(range(min = 0.3, max = 10.0), extend("x-source" = "common practice, no source; controlled traffic 1.80-1.90"))]
    pub row_spacing_m: f64,
    /// Rows one pass of the machines straddles: blocks are cut a whole number of these wide.
    #[schemars(range(min = 1, max = 24), extend("x-source" = "common practice, no source"))]
    pub traffic_unit_rows: u32,
    /// Width of headlands at row ends, where machines turn, metres.
    #[schemars(range(min = 0.0, max = 40.0), extend("x-source" = "common practice, no source; 6-12"))]
    pub turning_headland_m: f64,
    /// Width of headlands along the sides of a block, metres.
    #[schemars(range(min = 0.0, max = 40.0), extend("x-source" = "common practice, no source; 4-8"))]
    pub side_headland_m: f64,
    /// Least fall down the row, per cent.
    #[schemars(range(min = 0.0, max = 5.0), extend("x-source" = "FAO irrigation methods manual, 0.05; 0.08 with a 25 mm building tolerance: common practice, no source"))]
    pub min_fall_pct: f64,
    /// Greatest fall down the row, per cent.
    #[schemars(range(min = 0.01, max = 10.0), extend("x-source" = "FAO irrigation methods manual, 0.5 on bare soil"))]
    pub max_fall_pct: f64,
    /// Greatest fall across the rows, per cent.
    #[schemars(range(min = 0.0, max = 10.0), extend("x-source" = "graded-surface guides, 0.5"))]
    pub max_cross_fall_pct: f64,
    /// Water that may stand in a row before it runs on, millimetres.
    #[schemars(range(min = 0.0, max = 300.0), extend("x-source" = "common practice, no source; 10-30"))]
    pub reverse_tolerance_mm: f64,
    /// Rows shorter than this are not planted, metres.
    #[schemars(range(min = 5.0, max = 1_000.0), extend("x-source" = "common practice, no source"))]
    pub min_row_length_m: f64,
    /// Rows shorter than this count as short, metres.
    #[schemars(range(min = 5.0, max = 1_000.0), extend("x-source" = "common practice, no source; 60-150"))]
    pub short_row_m: f64,
    /// Longest row, metres: longer ones are cut by a headland.
    #[schemars(range(min = 20.0, max = 5_000.0), extend("x-source" = "common practice, no source; rain-fed 800 on 0.1-0.2 % fall"))]
    pub max_row_length_m: f64,
    /// Least block, hectares.
    #[schemars(range(min = 0.05, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub min_block_ha: f64,
    /// Largest block, hectares.
    #[schemars(range(min = 0.5, max = 1_000.0), extend("x-source" = "common practice, no source; 5-30"))]
    pub max_block_ha: f64,
    /// Row bearing wished for, degrees clockwise from grid north; -1 leaves it to the program.
    #[schemars(range(min = -1.0, max = 360.0), extend("x-source" = "the user's wish"))]
    pub bearing_deg: f64,
    /// How the crop is watered: none, furrow or overhead.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub watering: Watering,
    /// Longest furrow run when watered by furrow, metres.
    #[schemars(range(min = 20.0, max = 2_000.0), extend("x-source" = "common practice, no source; by soil intake"))]
    pub furrow_run_m: f64,
    /// Time of one turn, seconds.
    #[schemars(range(min = 5.0, max = 600.0), extend("x-source" = "common practice, no source; 40-90"))]
    pub turn_time_s: f64,
    /// Turns priced at the harvester's rate in a year: harvest plus its share of the other passes.
    #[schemars(range(min = 0.5, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub passes_per_year: f64,
    /// Years the earth is paid off over.
    #[schemars(range(min = 1.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub earth_years: f64,
}

impl Default for BlocksParams {
    fn default() -> Self {
        Self {
            row_spacing_m: 1.83,
            traffic_unit_rows: 2,
            turning_headland_m: 8.0,
            side_headland_m: 5.0,
            min_fall_pct: 0.08,
            max_fall_pct: 0.5,
            max_cross_fall_pct: 0.5,
            reverse_tolerance_mm: 20.0,
            min_row_length_m: 60.0,
            short_row_m: 100.0,
            max_row_length_m: 800.0,
            min_block_ha: 1.0,
            max_block_ha: 30.0,
            bearing_deg: -1.0,
            watering: Watering::None,
            furrow_run_m: 400.0,
            turn_time_s: 60.0,
            passes_per_year: 3.0,
            earth_years: 20.0,
        }
    }
}

impl BlocksParams {
    /// Longest row, the furrow run included.
    pub(super) fn longest_row_m(&self) -> f64 {
        match self.watering {
            Watering::Furrow => self.max_row_length_m.min(self.furrow_run_m),
            Watering::None | Watering::Overhead => self.max_row_length_m,
        }
    }
}
