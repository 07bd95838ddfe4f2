//! Parameters of the stage, with the values `init` writes.

use crate::units::Range;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What becomes of the debris.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Disposal {
    /// Raked into windrows between the future rows, heaped and burnt.
    Burn,
    /// Stacked along the edge of the block nearest to a bank, where it stays and decays.
    BankStack,
}

/// How far apart windrows lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SpacingChoice {
    /// As given.
    Given,
    /// Cheapest for the load, the price of pushing and the price of a metre of windrow; never above the given spacing.
    Cheapest,
}

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ClearingParams {
    /// What becomes of the debris: `burn` or `bank_stack`.
    #[schemars(extend("x-source" = "the grower's choice and the fire authority's"))]
    pub disposal: Disposal,
    /// Whether windrows lie as far apart as given or as is cheapest: `given` or `cheapest`.
    #[schemars(extend("x-source" = "arithmetic on the mean push; common practice, no source"))]
    pub spacing: SpacingChoice,
    /// Greatest distance between windrows, metres on the ground.
    #[schemars(range(min = 15.0, max = 200.0), extend("x-source" = "40 to 100 m; common practice, no source"))]
    pub windrow_spacing_m: f64,
    /// Width of a windrow on the ground, metres.
    #[schemars(range(min = 2.0, max = 15.0), extend("x-source" = "5 to 9 m; common practice, no source"))]
    pub windrow_width_m: f64,
    /// Gap in a windrow, metres.
    #[schemars(range(min = 3.0, max = 50.0), extend("x-source" = "at least 10 m; common practice, no source"))]
    pub gap_m: f64,
    /// Distance from the start of one gap to the start of the next, metres.
    #[schemars(range(min = 20.0, max = 300.0), extend("x-source" = "50 to 100 m; common practice, no source"))]
    pub gap_every_m: f64,
    /// Dry debris above ground, tonnes a hectare.
    #[schemars(range(min = 1.0, max = 500.0), extend("x-source" = "30 to 200 t/ha; common practice, no source"))]
    pub debris_t_ha: f64,
    /// Dry stumps and roots, tonnes a hectare.
    #[schemars(range(min = 0.0, max = 200.0), extend("x-source" = "20 to 40 t/ha; common practice, no source"))]
    pub stumps_t_ha: f64,
    /// Soil carried into the windrows by the rake, tonnes a hectare.
    #[schemars(range(min = 0.0, max = 400.0), extend("x-source" = "30 to 180 t/ha; common practice, no source"))]
    pub soil_carried_t_ha: f64,
    /// Dry debris in a cubic metre of windrow, kilograms.
    #[schemars(range(min = 50.0, max = 500.0), extend("x-source" = "100 to 250 kg/m3; common practice, no source"))]
    pub windrow_density_kg_m3: f64,
    /// Longest push before debris should be carried instead, metres.
    #[schemars(range(min = 10.0, max = 150.0), extend("x-source" = "40 to 50 m; common practice, no source"))]
    pub max_push_m: f64,
    /// Price of pushing a tonne of debris one metre, dollars; read when spacing is `cheapest`.
    #[schemars(range(min = 0.001, max = 2.0), extend("x-source" = "common practice, no source"))]
    pub push_cost_per_t_m: f64,
    /// Price of a metre of windrow (stacking again, burning, land out of use), dollars; read when spacing is `cheapest`.
    #[schemars(range(min = 0.1, max = 200.0), extend("x-source" = "common practice, no source"))]
    pub windrow_cost_per_m: f64,
    /// Land whose debris makes one heap, hectares.
    #[schemars(range(min = 0.1, max = 10.0), extend("x-source" = "0.5 to 1.5 ha; common practice, no source"))]
    pub heap_area_ha: f64,
    /// Least distance of a heap from the boundary, metres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "10 to 50 m; common practice, no source; the fire permit decides"))]
    pub off_boundary_m: f64,
    /// Least distance of windrows and heaps from a power line, metres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "30 to 50 m; common practice, no source; the network owner decides"))]
    pub off_power_line_m: f64,
    /// Least distance of windrows and heaps from a waterway, metres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "20 to 50 m; common practice, no source"))]
    pub off_waterway_m: f64,
    /// Least distance of windrows and heaps from kept trees and other kept land, metres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "at least 15 m; common practice, no source"))]
    pub off_keep_area_m: f64,
    /// Least distance of a heap from a building, metres.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-source" = "50 to 200 m; common practice, no source; the fire permit decides"))]
    pub off_building_m: f64,
    /// Knocking the trees down, hectares an hour.
    #[schemars(extend("x-source" = "dozer of 110 to 230 kW, 0.5 to 2 ha/h; common practice, no source"))]
    pub knock_down_ha_h: Range,
    /// Raking into windrows, minutes a hectare before any tree above 30 cm is counted.
    #[schemars(range(min = 5.0, max = 1000.0), extend("x-source" = "Caterpillar Performance Handbook, land clearing, piling in windrows with a rake"))]
    pub rake_base_min_ha: f64,
    /// Trees a hectare with a diameter at the ground of 31-60, 61-90, 91-120 and 121-180 cm.
    #[schemars(extend("x-source" = "tree count by the grower; classes of the Caterpillar Performance Handbook"))]
    pub trees_per_ha: Vec<f64>,
    /// Minutes a tree of each of these classes adds to raking.
    #[schemars(extend("x-source" = "Caterpillar Performance Handbook, land clearing, piling in windrows with a rake"))]
    pub rake_min_per_tree: Vec<f64>,
    /// Sum of the diameters of all trees above 180 cm, metres a hectare.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-source" = "tree count by the grower"))]
    pub giant_diameters_m_ha: f64,
    /// Minutes each metre of such diameter adds to raking.
    #[schemars(range(min = 0.0, max = 60.0), extend("x-source" = "common practice, no source"))]
    pub rake_min_per_m_diameter: f64,
    /// Whether trees and stumps are grubbed out with their roots: raking takes a quarter longer.
    #[schemars(extend("x-source" = "Caterpillar Performance Handbook, land clearing"))]
    pub stumps_grubbed: bool,
    /// Whether the cover is dense small brush or bound by vines: the base time is 30 per cent less.
    #[schemars(extend("x-source" = "Caterpillar Performance Handbook, land clearing"))]
    pub dense_brush: bool,
    /// Time of raking compared with the reckoned one: low, likely, high.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub rake_spread_ratio: Range,
    /// Time of the second raking compared with the first.
    #[schemars(range(min = 0.0, max = 2.0), extend("x-source" = "common practice, no source"))]
    pub second_rake_ratio: f64,
    /// Deep ripping, hectares an hour.
    #[schemars(extend("x-source" = "2 or 3 legs, 0.5 to 0.7 m deep, 1 to 2.5 ha/h; common practice, no source"))]
    pub rip_ha_h: Range,
    /// One pass of heavy discs, hectares an hour.
    #[schemars(extend("x-source" = "2 to 4 ha/h; common practice, no source"))]
    pub disc_ha_h: Range,
}

impl Default for ClearingParams {
    fn default() -> Self {
        Self {
            disposal: Disposal::Burn,
            spacing: SpacingChoice::Given,
            windrow_spacing_m: 60.0,
            windrow_width_m: 7.0,
            gap_m: 10.0,
            gap_every_m: 80.0,
            debris_t_ha: 100.0,
            stumps_t_ha: 30.0,
            soil_carried_t_ha: 100.0,
            windrow_density_kg_m3: 150.0,
            max_push_m: 45.0,
            push_cost_per_t_m: 0.1,
            windrow_cost_per_m: 6.0,
            heap_area_ha: 1.0,
            off_boundary_m: 20.0,
            off_power_line_m: 30.0,
            off_waterway_m: 30.0,
            off_keep_area_m: 20.0,
            off_building_m: 100.0,
            knock_down_ha_h: Range::new(0.5, 1.2, 2.0),
            rake_base_min_ha: 125.0,
            trees_per_ha: vec![35.0, 6.0, 0.0, 0.0],
            rake_min_per_tree: vec![0.4, 0.6, 2.5, 5.0],
            giant_diameters_m_ha: 0.0,
            rake_min_per_m_diameter: 3.0,
            stumps_grubbed: true,
            dense_brush: false,
            rake_spread_ratio: Range::new(0.75, 1.0, 1.5),
            second_rake_ratio: 0.6,
            rip_ha_h: Range::new(1.0, 1.6, 2.5),
            disc_ha_h: Range::new(2.0, 3.0, 4.0),
        }
    }
}
