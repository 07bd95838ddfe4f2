//! Parameters of the stage, with the values `init` writes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Which discharge sizes a drain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum DesignFlow {
    /// Peak of the design rain: nothing stands, drains get wide.
    Rational,
    /// A depth of water off the land in a day: water may stand for hours.
    Coefficient,
    /// Whichever is more.
    Larger,
}

/// How the time of concentration is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TravelTime {
    /// Down the longest furrow and along the drain at two stated velocities.
    Velocities,
    /// The formula of Bransby Williams on length, area and fall.
    BransbyWilliams,
}

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DrainsParams {
    /// Least fall of a drain bed, per cent.
    #[schemars(range(min = 0.005, max = 2.0), extend("x-source" = "common practice on flood plains (0.03 to 0.1 %), no source"))]
    pub min_fall_pct: f64,
    /// Greatest fall of a drain bed before a drop structure takes the rest, per cent.
    #[schemars(range(min = 0.05, max = 10.0), extend("x-source" = "common practice, no source"))]
    pub max_fall_pct: f64,
    /// Least depth of a collector along the row ends, metres.
    #[schemars(range(min = 0.1, max = 1.5), extend("x-source" = "spoon drains 0.2 to 0.45 m; common practice, no source"))]
    pub collector_depth_m: f64,
    /// Least depth of a main drain, metres.
    #[schemars(range(min = 0.1, max = 2.0), extend("x-source" = "common practice, no source"))]
    pub main_depth_m: f64,
    /// How far the end of a row must lie above the drain bed, millimetres.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "common practice, no source"))]
    pub row_end_drop_mm: f64,
    /// How far the collector runs from the row ends where the width of the turning headland is not known, metres on the ground.
    #[schemars(range(min = 1.0, max = 20.0), extend("x-source" = "half a turning headland; common practice, no source"))]
    pub collector_offset_m: f64,
    /// Distance between stations along a drain, metres.
    #[schemars(range(min = 5.0, max = 100.0), extend("x-source" = "set-out of drains every 25 m or closer; common practice, no source"))]
    pub station_spacing_m: f64,
    /// Cell of the grid the main drains are routed on, metres; made larger on very large properties.
    #[schemars(range(min = 2.0, max = 50.0), extend("x-source" = "numerical choice"))]
    pub route_cell_m: f64,
    /// How many metres of detour one metre through cropped land is worth when a main drain is routed.
    #[schemars(range(min = 1.0, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub crop_detour_ratio: f64,
    /// How far the bed of a drain must stay above the bed of the waterway it enters, millimetres.
    #[schemars(range(min = 0.0, max = 2000.0), extend("x-source" = "common practice, no source"))]
    pub waterway_freeboard_mm: f64,
    /// Which discharge sizes a drain: `rational`, `coefficient` or `larger`.
    #[schemars(extend("x-source" = "flat cane land is commonly sized by drainage coefficient; common practice, no source"))]
    pub design_flow: DesignFlow,
    /// Depth of water the drains take off the land in a day, millimetres.
    #[schemars(range(min = 5.0, max = 400.0), extend("x-source" = "75 to 150 mm a day on the wet tropical coast; common practice, no source"))]
    pub drainage_coefficient_mm_day: f64,
    /// Durations of the design rain table, minutes, rising. Replace by the official table of the place.
    #[schemars(extend("x-source" = "replace by the official intensity-duration table; round numbers of a wet tropical coast, 1 in 10 years, no source"))]
    pub rain_duration_min: Vec<f64>,
    /// Intensities of the design rain for these durations, millimetres an hour. Replace by the official table of the place.
    #[schemars(extend("x-source" = "replace by the official intensity-duration table; round numbers of a wet tropical coast, 1 in 10 years, no source"))]
    pub rain_intensity_mm_h: Vec<f64>,
    /// Duration of the storm whose volume is compared before and after, minutes.
    #[schemars(range(min = 30.0, max = 4320.0), extend("x-source" = "common practice, no source"))]
    pub storm_duration_min: f64,
    /// Share of rain that runs off the land as it lies.
    #[schemars(range(min = 0.05, max = 1.0), extend("x-source" = "run-down plantation on alluvium 0.4 to 0.7; common practice, no source"))]
    pub runoff_before_ratio: f64,
    /// Share of rain that runs off the cropped land, wet and bare.
    #[schemars(range(min = 0.05, max = 1.0), extend("x-source" = "bare alluvial land 0.6 to 0.85; common practice, no source"))]
    pub runoff_after_ratio: f64,
    /// How the time of concentration of the drains is found: `velocities` or `bransby_williams`.
    #[schemars(extend("x-source" = "Bransby Williams (1922) or stated velocities; the formula is fitted to steeper land"))]
    pub travel_time: TravelTime,
    /// Velocity of water down a furrow, metres a second.
    #[schemars(range(min = 0.01, max = 2.0), extend("x-source" = "common practice, no source"))]
    pub furrow_velocity_m_s: f64,
    /// Velocity of water along a drain for the time of concentration, metres a second.
    #[schemars(range(min = 0.05, max = 3.0), extend("x-source" = "common practice, no source"))]
    pub drain_velocity_m_s: f64,
    /// Least time of concentration, minutes.
    #[schemars(range(min = 1.0, max = 60.0), extend("x-source" = "5 to 10 minutes; common practice, no source"))]
    pub least_travel_min: f64,
    /// Manning's n of a drain grown up with grass: sizes the section.
    #[schemars(range(min = 0.02, max = 0.2), extend("x-source" = "Chow (1959), table 5-6, excavated channels with weeds and grass"))]
    pub roughness_grown_n: f64,
    /// Manning's n of a new, clean drain: gives the velocity.
    #[schemars(range(min = 0.012, max = 0.1), extend("x-source" = "Chow (1959), table 5-6, excavated earth, clean, recently completed"))]
    pub roughness_new_n: f64,
    /// Greatest mean velocity the bed stands, metres a second.
    #[schemars(range(min = 0.2, max = 4.0), extend("x-source" = "bare loam 0.6 to 0.9 m/s; compare Fortier and Scobey (1926): firm loam 0.76 m/s in clear water"))]
    pub velocity_limit_m_s: f64,
    /// Free height above the water at design discharge, metres.
    #[schemars(range(min = 0.0, max = 0.5), extend("x-source" = "0.1 to 0.15 m; common practice, no source"))]
    pub freeboard_m: f64,
    /// A drain no deeper than this is a wide spoon machines can cross, metres; a deeper one is a trapezoid.
    #[schemars(range(min = 0.2, max = 1.5), extend("x-source" = "common practice, no source"))]
    pub spoon_depth_m: f64,
    /// Batters of a spoon drain, horizontal to 1 vertical.
    #[schemars(range(min = 4.0, max = 20.0), extend("x-source" = "1:8 to 1:10, at least 1:6; common practice, no source"))]
    pub spoon_batter_h_per_v: f64,
    /// Batters of a deep drain, horizontal to 1 vertical.
    #[schemars(range(min = 1.0, max = 6.0), extend("x-source" = "1.5 in clay to 3 in sand or dispersive soil; common practice, no source"))]
    pub deep_batter_h_per_v: f64,
    /// Least bed width of a deep drain, metres.
    #[schemars(range(min = 0.3, max = 6.0), extend("x-source" = "width of a bucket; common practice, no source"))]
    pub deep_bottom_m: f64,
    /// Depth drain spoil is spread to beside drains, loose, millimetres at most; 0 where none may stay there.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "50 to 100 mm, so that no bank shuts water in; common practice, no source"))]
    pub spoil_spread_mm: f64,
    /// Width of the strip on each side of a drain that may take its spoil, metres on the ground; not on the side of row ends,
    /// nor on crop, kept land, tracks or buffers of water.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub spoil_width_m: f64,
    /// Depth drain spoil is spread to over a whole block, evenly, loose, millimetres at most; 0 where none may: subsoil that is
    /// sodic, saline or acid has no place on crop land.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "what grading leaves uneven anyway; common practice, no source"))]
    pub spoil_over_block_mm: f64,
    /// Loose cubic metres that a bank cubic metre of drain spoil makes when it is spread.
    #[schemars(range(min = 1.0, max = 2.0), extend("x-source" = "US Army FM 5-434, table 1-1: sand 1.11, loam 1.25, clay 1.43 (from memory)"))]
    pub spoil_swell_ratio: f64,
    /// Smallest culvert laid, millimetres.
    #[schemars(range(min = 225.0, max = 1800.0), extend("x-source" = "375 to 600 mm; common practice, no source"))]
    pub culvert_least_mm: f64,
    /// Rise of water in front of a culvert at peak discharge, metres.
    #[schemars(range(min = 0.05, max = 1.0), extend("x-source" = "0.3 m; common practice, no source"))]
    pub culvert_head_m: f64,
    /// Standing water a row may hold, millimetres.
    #[schemars(range(min = 0.0, max = 200.0), extend("x-source" = "10 to 30 mm; common practice, no source"))]
    pub reverse_tolerance_mm: f64,
    /// How high the ridge between two rows stands above the furrow, millimetres: water higher than that spills into the next row.
    #[schemars(range(min = 0.0, max = 500.0), extend("x-source" = "hilled-up cane 100 to 200 mm; common practice, no source"))]
    pub ridge_mm: f64,
    /// Distance between the places along a row at which its water is followed, metres.
    #[schemars(range(min = 1.0, max = 20.0), extend("x-source" = "numerical choice"))]
    pub row_water_step_m: f64,
    /// Accuracy the finished surface is built to, millimetres.
    #[schemars(range(min = 5.0, max = 100.0), extend("x-source" = "25 mm; common practice of laser and RTK grading, no source"))]
    pub finish_tolerance_mm: f64,
    /// Growth of catchment or peak discharge at a place where water leaves that calls for consent, per cent.
    #[schemars(range(min = 0.5, max = 50.0), extend("x-source" = "5 to 10 %; common practice, no source"))]
    pub outflow_rise_pct: f64,
    /// An outlet this close to a place where water leaves today counts as that place, metres.
    #[schemars(range(min = 1.0, max = 500.0), extend("x-source" = "common practice, no source"))]
    pub same_outflow_within_m: f64,
}

impl Default for DrainsParams {
    fn default() -> Self {
        Self {
            min_fall_pct: 0.05,
            max_fall_pct: 1.0,
            collector_depth_m: 0.3,
            main_depth_m: 0.45,
            row_end_drop_mm: 50.0,
            collector_offset_m: 4.0,
            station_spacing_m: 20.0,
            route_cell_m: 5.0,
            crop_detour_ratio: 8.0,
            waterway_freeboard_mm: 100.0,
            design_flow: DesignFlow::Coefficient,
            drainage_coefficient_mm_day: 100.0,
            rain_duration_min: vec![5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 180.0, 360.0, 720.0, 1_440.0],
            rain_intensity_mm_h: vec![220.0, 185.0, 160.0, 120.0, 85.0, 58.0, 46.0, 30.0, 20.0, 13.5],
            storm_duration_min: 1_440.0,
            runoff_before_ratio: 0.6,
            runoff_after_ratio: 0.8,
            travel_time: TravelTime::Velocities,
            furrow_velocity_m_s: 0.15,
            drain_velocity_m_s: 0.4,
            least_travel_min: 10.0,
            roughness_grown_n: 0.05,
            roughness_new_n: 0.025,
            velocity_limit_m_s: 0.7,
            freeboard_m: 0.1,
            spoon_depth_m: 0.6,
            spoon_batter_h_per_v: 8.0,
            deep_batter_h_per_v: 2.0,
            deep_bottom_m: 1.0,
            spoil_spread_mm: 100.0,
            spoil_width_m: 12.0,
            spoil_over_block_mm: 20.0,
            spoil_swell_ratio: 1.25,
            culvert_least_mm: 450.0,
            culvert_head_m: 0.3,
            reverse_tolerance_mm: 20.0,
            ridge_mm: 150.0,
            row_water_step_m: 2.5,
            finish_tolerance_mm: 25.0,
            outflow_rise_pct: 5.0,
            same_outflow_within_m: 60.0,
        }
    }
}

impl DrainsParams {
    /// Least fall of a bed, ratio.
    pub(super) fn min_fall(&self) -> f64 {
        self.min_fall_pct / 100.0
    }
    /// The design rain as (minutes, mm/h).
    pub(super) fn rain_table(&self) -> Vec<(f64, f64)> {
        self.rain_duration_min.iter().copied().zip(self.rain_intensity_mm_h.iter().copied()).collect()
    }
}
