//! Parameters of the water stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WaterParams {
    /// Upstream area from which a gathering line of water is drawn, hectares.
    #[schemars(range(min = 0.1, max = 1000.0), extend("x-source" = "common practice, no source"))]
    pub line_catchment_ha: f64,
    /// Farthest a line from the terrain may lie from a mapped waterway to be taken for it, metres.
    #[schemars(range(min = 1.0, max = 200.0), extend("x-source" = "common practice, no source"))]
    pub match_distance_m: f64,
    /// An unmapped line that brings at least this much water from outside the property stays open, hectares of outside catchment.
    #[schemars(range(min = 0.5, max = 10000.0), extend("x-source" = "common practice, no source"))]
    pub open_catchment_ha: f64,
    /// Least greatest depth of a pond worth telling, metres. Raised to what the survey can tell (1.96 standard errors).
    #[schemars(range(min = 0.01, max = 2.0), extend("x-source" = "common practice (25 to 100 mm), no source"))]
    pub pond_min_depth_m: f64,
    /// Least area of a pond worth telling, square metres.
    #[schemars(range(min = 1.0, max = 10000.0), extend("x-source" = "common practice, no source"))]
    pub pond_min_area_m2: f64,
    /// Water that crosses the boundary within this distance of a larger crossing is counted with it, metres.
    #[schemars(range(min = 1.0, max = 500.0), extend("x-source" = "common practice, no source"))]
    pub group_distance_m: f64,
    /// Crossings with a smaller catchment are not told apart: outflows go to the nearest larger one, hectares.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub crossing_min_ha: f64,
    /// Farthest outside the boundary a given outlet may lie, metres.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-source" = "common practice, no source"))]
    pub outlet_max_distance_m: f64,
    /// Side of a cell of the drain reach grid, metres.
    #[schemars(range(min = 1.0, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub reach_cell_m: f64,
    /// Least fall of a drain bed, per cent.
    #[schemars(range(min = 0.01, max = 1.0), extend("x-source" = "common practice (0.03 to 0.1 %), no source"))]
    pub drain_min_fall_pct: f64,
    /// Height of the lowest drain bed above the bed of the waterway it ends in, metres.
    #[schemars(range(min = 0.0, max = 3.0), extend("x-source" = "common practice, no source"))]
    pub above_waterway_bed_m: f64,
    /// Whether drains may end in mapped waterways, besides the given outlets. A permit may be needed.
    #[schemars(extend("x-source" = "choice of the owner; the law decides"))]
    pub drain_into_waterways: bool,
    /// Width bank to bank of mapped waterways whose width is not given, metres.
    #[schemars(range(min = 0.0, max = 200.0), extend("x-source" = "common practice, no source"))]
    pub waterway_width_m: f64,
    /// Buffer along waterways of Strahler order 1 and 2 (and of unknown order), metres from each bank.
    #[schemars(range(min = 0.0, max = 250.0), extend("x-source" = "from memory: coastal clearing rules 10/25/50 m by order 1-2/3-4/5+; check local code"))]
    pub buffer_order_1_2_m: f64,
    /// Buffer along waterways of order 3 and 4, metres from each bank.
    #[schemars(range(min = 0.0, max = 250.0), extend("x-source" = "from memory: coastal clearing rules 10/25/50 m by order 1-2/3-4/5+; check local code"))]
    pub buffer_order_3_4_m: f64,
    /// Buffer along waterways of order 5 and above, metres from each bank.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "from memory: coastal clearing rules 10/25/50 m by order 1-2/3-4/5+; check local code"))]
    pub buffer_order_5_m: f64,
    /// Buffer around wetlands and lagoons, metres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "common practice, no source; check local code"))]
    pub wetland_buffer_m: f64,
    /// Grassed width each side of an unmapped drainage line that stays open, metres.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice (5 to 10 m), no source"))]
    pub drainage_line_buffer_m: f64,
    /// Full width of tracks whose width is not given, metres.
    #[schemars(range(min = 0.0, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub track_width_m: f64,
    /// Full width of power line easements whose width is not given, metres.
    #[schemars(range(min = 0.0, max = 200.0), extend("x-source" = "common practice, no source; ask the line owner"))]
    pub easement_width_m: f64,
    /// Whether rows may run under power lines. Poles and clearances must be checked with the line owner.
    #[schemars(extend("x-source" = "choice of the owner; the line owner decides"))]
    pub rows_under_power_lines: bool,
    /// Strip along the boundary without rows, metres (headlands come on top).
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub boundary_setback_m: f64,
    /// Smallest piece of land worth planting, hectares.
    #[schemars(range(min = 0.01, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub min_piece_ha: f64,
    /// Narrowest piece of land worth planting, metres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "common practice, no source"))]
    pub min_piece_width_m: f64,
}

impl Default for WaterParams {
    fn default() -> Self {
        Self {
            line_catchment_ha: 5.0,
            match_distance_m: 20.0,
            open_catchment_ha: 20.0,
            pond_min_depth_m: 0.05,
            pond_min_area_m2: 200.0,
            group_distance_m: 60.0,
            crossing_min_ha: 1.0,
            outlet_max_distance_m: 50.0,
            reach_cell_m: 5.0,
            drain_min_fall_pct: 0.05,
            above_waterway_bed_m: 0.3,
            drain_into_waterways: true,
            waterway_width_m: 6.0,
            buffer_order_1_2_m: 10.0,
            buffer_order_3_4_m: 25.0,
            buffer_order_5_m: 50.0,
            wetland_buffer_m: 50.0,
            drainage_line_buffer_m: 5.0,
            track_width_m: 5.0,
            easement_width_m: 20.0,
            rows_under_power_lines: true,
            boundary_setback_m: 3.0,
            min_piece_ha: 0.5,
            min_piece_width_m: 30.0,
        }
    }
}
