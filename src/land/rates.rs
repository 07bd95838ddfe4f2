//! The `[rates]` table: every price, as low / likely / high.

use crate::units::Range;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Unit prices in the currency of the run, each `[low, likely, high]`. Read by blocks, levelling, clearing and costing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rates {
    /// Concept, constraint report and approvals, per property.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub concept_and_approvals: Range,
    /// RTK survey before earthworks, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub survey_per_ha: Range,
    /// Design and set-out files, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub design_per_ha: Range,
    /// Large dozer with operator, per hour.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub dozer_per_h: Range,
    /// Burning with re-heaping, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub burn_per_ha: Range,
    /// Ripping, two passes of discs and stick-picking, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub cultivation_per_ha: Range,
    /// Lime, spread, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub lime_per_ha: Range,
    /// Smoothing of beds and stump holes where no bulk earth is moved, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub smoothing_per_ha: Range,
    /// Levelling by bucket or scraper with a haul of 100 m, per bank cubic metre.
    #[schemars(extend("x-source" = "arithmetic from a laser-bucket cycle (1.8 min fixed, 12 and 20 km/h, 7.5 m3, $350/h); common practice, no source"))]
    pub levelling_per_m3: Range,
    /// What each further 100 m of haul adds, per bank cubic metre; shorter hauls are cheaper by as much.
    #[schemars(extend("x-source" = "arithmetic from the same cycle; common practice, no source"))]
    pub haul_per_m3_per_100_m: Range,
    /// Pushing with a dozer (at most 100 m): loading and spreading in thin layers, whatever the distance, per bank cubic metre.
    #[schemars(extend("x-source" = "assumed; common practice, no source"))]
    pub dozer_push_per_m3: Range,
    /// What each 100 m of push adds, per bank cubic metre.
    #[schemars(extend("x-source" = "assumed; common practice, no source"))]
    pub dozer_push_per_m3_per_100_m: Range,
    /// Excavator and trucks: loading and spreading, whatever the distance, per bank cubic metre.
    #[schemars(extend("x-source" = "assumed, so that 600-1,000 m come to 6-7; common practice for truck haul 6-12, no source"))]
    pub truck_per_m3: Range,
    /// What each 100 m of truck haul adds, per bank cubic metre.
    #[schemars(extend("x-source" = "assumed; common practice, no source"))]
    pub truck_per_m3_per_100_m: Range,
    /// Topsoil stripped and spread again, per bank cubic metre.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub topsoil_per_m3: Range,
    /// Bringing earthmoving plant, per property.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub mobilise: Range,
    /// Drain excavation with spoil spread, per bank cubic metre.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub drain_per_m3: Range,
    /// Culvert crossing, each.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub culvert_each: Range,
    /// Rock drop or chute, each.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub rock_chute_each: Range,
    /// Silt trap, each.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub silt_trap_each: Range,
    /// Gravelled track, per metre.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub track_per_m: Range,
    /// Grass on headlands and batters, per square metre.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub grass_per_m2: Range,
    /// Cover crop, per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub cover_crop_per_ha: Range,
    /// Planting the crop (seed, planting, fertiliser, weed control), per hectare.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub planting_per_ha: Range,
    /// Contingency, per cent of everything above.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub contingency_pct: Range,
    /// Harvester with haul-outs, per hour: prices the turns.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub harvester_per_h: Range,
    /// What a cropped hectare earns in a year, planting and growing paid, before overheads: prices land under headlands and
    /// drains.
    #[schemars(extend("x-source" = "what the cash flow lets a hectare earn at the starting values of costing; low and high: common practice, no source"))]
    pub gross_margin_per_ha: Range,
}

impl Default for Rates {
    /// Starting values `init` writes into a new pipeline file: AUD, about 2023-25; common practice, no source.
    fn default() -> Self {
        let r = Range::new;
        Self {
            concept_and_approvals: r(5_000.0, 18_000.0, 60_000.0),
            survey_per_ha: r(15.0, 30.0, 60.0),
            design_per_ha: r(40.0, 80.0, 150.0),
            dozer_per_h: r(180.0, 260.0, 350.0),
            burn_per_ha: r(80.0, 180.0, 400.0),
            cultivation_per_ha: r(350.0, 600.0, 1_000.0),
            lime_per_ha: r(200.0, 330.0, 600.0),
            smoothing_per_ha: r(100.0, 180.0, 300.0),
            levelling_per_m3: r(1.5, 2.4, 4.0),
            haul_per_m3_per_100_m: r(0.4, 0.75, 1.2),
            dozer_push_per_m3: r(0.6, 0.9, 1.4),
            dozer_push_per_m3_per_100_m: r(2.0, 3.0, 4.5),
            truck_per_m3: r(3.5, 5.0, 8.0),
            truck_per_m3_per_100_m: r(0.1, 0.2, 0.35),
            topsoil_per_m3: r(1.5, 2.2, 3.0),
            mobilise: r(1_500.0, 3_000.0, 6_000.0),
            drain_per_m3: r(3.0, 5.0, 9.0),
            culvert_each: r(4_000.0, 8_000.0, 18_000.0),
            rock_chute_each: r(2_000.0, 6_000.0, 15_000.0),
            silt_trap_each: r(3_000.0, 7_000.0, 15_000.0),
            track_per_m: r(25.0, 45.0, 90.0),
            grass_per_m2: r(0.1, 0.3, 1.5),
            cover_crop_per_ha: r(120.0, 220.0, 400.0),
            planting_per_ha: r(2_000.0, 2_800.0, 3_800.0),
            contingency_pct: r(10.0, 15.0, 30.0),
            harvester_per_h: r(300.0, 400.0, 550.0),
            gross_margin_per_ha: r(400.0, 1_000.0, 3_000.0),
        }
    }
}
