//! Parameters of the blocks stage.

use crate::land::rates::Rates;
use crate::methods::economics::capital_recovery_factor;
use crate::units::M2_PER_HA;
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

/// Which way rows may fall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FallWay {
    /// Whichever is cheaper.
    Either,
    /// To one end.
    OneWay,
    /// From a crest to both ends.
    TwoWay,
}

/// Whether rows may bend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum CurvedRows {
    /// All rows are straight.
    Never,
    /// Where a block of rows that bend costs less in a year than its best straight layout.
    IfCheaper,
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
    /// Width of the strip two blocks share where rows of both end on it, metres; each block pays for half.
    #[schemars(range(min = 0.0, max = 40.0), extend("x-source" = "common practice, no source; 10-12"))]
    pub shared_headland_m: f64,
    /// What a headland beside a drain, a waterway or a power line is wider, metres.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "common practice, no source; 2-4"))]
    pub beside_drain_m: f64,
    /// What a turning headland along the property's fence is wider, metres.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "common practice, no source; 0-4"))]
    pub beside_fence_m: f64,
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
    /// Name of a track, waterway or neighbour's drain the rows shall be parallel to; empty leaves it to the program.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub rows_along: String,
    /// Names of tracks, waterways, neighbours' drains and blocks of the earlier layout (`[given] previous`) whose edges stay
    /// borders: no block crosses them and none of them is moved.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub locked_edges: Vec<String>,
    /// Row length wished for, metres: rows below it are counted as short in the choice; 0 has no such wish.
    #[schemars(range(min = 0.0, max = 5_000.0), extend("x-source" = "the user's wish"))]
    pub wanted_row_length_m: f64,
    /// Whether rows fall one way, two ways from a crest, or either.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub fall_way: FallWay,
    /// Whether rows may bend, parallels of one smooth line, where that is cheaper.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub curved_rows: CurvedRows,
    /// Least radius of a row that bends, metres.
    #[schemars(range(min = 20.0, max = 2_000.0), extend("x-source" = "common practice, no source; by the longest train in the row and its steering"))]
    pub least_radius_m: f64,
    /// Whether the land is formed: then the earth of the least-earth surface is priced, else falls outside the limits.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub form_land: bool,
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
    /// Time a row below `short_row_m` loses on top of its turns, seconds a pass (lining up, waiting for the haul-out).
    #[schemars(range(min = 0.0, max = 600.0), extend("x-source" = "common practice, no source"))]
    pub short_row_s: f64,
    /// Width of a furrow at the top, metres.
    #[schemars(range(min = 0.2, max = 3.0), extend("x-source" = "common practice, no source"))]
    pub furrow_width_m: f64,
    /// Depth of a furrow, metres.
    #[schemars(range(min = 0.02, max = 1.0), extend("x-source" = "common practice, no source"))]
    pub furrow_depth_m: f64,
    /// Manning's n of a furrow.
    #[schemars(range(min = 0.01, max = 0.3), extend("x-source" = "common practice, no source; 0.03 clean to 0.10 heavy trash"))]
    pub furrow_n: f64,
    /// Rain the furrow has to carry, millimetres an hour.
    #[schemars(range(min = 1.0, max = 500.0), extend("x-source" = "common practice, no source; use the local intensity of a short storm"))]
    pub design_rain_mm_h: f64,
    /// Share of that rain that runs off.
    #[schemars(range(min = 0.05, max = 1.0), extend("x-source" = "common practice, no source"))]
    pub runoff_ratio: f64,
    /// Width of a shallow drain that machines cross, cut across rows longer than the furrow can carry, metres.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "common practice, no source; batters 1:8 and flatter"))]
    pub spoon_drain_m: f64,
    /// Width of land a drain along the low ends takes beside the headland, metres.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "common practice, no source"))]
    pub drain_strip_m: f64,
    /// Share of the gross margin lost on rows that cannot drain.
    #[schemars(range(min = 0.0, max = 1.0), extend("x-source" = "common practice, no source"))]
    pub undrained_loss_ratio: f64,
    /// Share of the gross margin lost where the fall stays outside the limits (ponding, scour).
    #[schemars(range(min = 0.0, max = 1.0), extend("x-source" = "common practice, no source"))]
    pub outside_fall_loss_ratio: f64,
    /// Yield of the crop, tonnes a hectare.
    #[schemars(range(min = 0.1, max = 300.0), extend("x-source" = "common practice, no source"))]
    pub yield_t_ha: f64,
    /// Haul of the crop to the loading place, dollars a tonne and kilometre.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "common practice, no source; 0.3-0.6"))]
    pub haul_per_t_km: f64,
    /// Spacing of the lattice the earth is judged on, metres.
    #[schemars(range(min = 2.0, max = 50.0), extend("x-source" = "numerical choice"))]
    pub lattice_m: f64,
    /// Width of a new track, metres.
    #[schemars(range(min = 2.0, max = 20.0), extend("x-source" = "common practice, no source; 4-5 m of gravel"))]
    pub track_m: f64,
    /// Digging of a drain along the low ends, cubic metres a metre.
    #[schemars(range(min = 0.0, max = 20.0), extend("x-source" = "bed 1 m, depth 1 m, batters 1:1; common practice, no source"))]
    pub drain_m3_per_m: f64,
    /// Interest on what is paid once, per cent a year.
    #[schemars(range(min = 0.0, max = 30.0), extend("x-source" = "common practice, no source; 6-8, as the costing discounts"))]
    pub discount_pct: f64,
    /// Years what is paid once is paid off over: earth, digging, grass.
    #[schemars(range(min = 1, max = 100), extend("x-source" = "two crop cycles, the horizon of the costing"))]
    pub earth_years: u32,
}

impl Default for BlocksParams {
    fn default() -> Self {
        Self {
            row_spacing_m: 1.83,
            traffic_unit_rows: 2,
            turning_headland_m: 8.0,
            side_headland_m: 5.0,
            shared_headland_m: 11.0,
            beside_drain_m: 2.0,
            beside_fence_m: 0.0,
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
            rows_along: String::new(),
            locked_edges: Vec::new(),
            wanted_row_length_m: 0.0,
            fall_way: FallWay::OneWay,
            curved_rows: CurvedRows::Never,
            least_radius_m: 150.0,
            form_land: true,
            watering: Watering::None,
            furrow_run_m: 400.0,
            turn_time_s: 60.0,
            passes_per_year: 3.0,
            short_row_s: 30.0,
            furrow_width_m: 1.0,
            furrow_depth_m: 0.15,
            furrow_n: 0.04,
            design_rain_mm_h: 100.0,
            runoff_ratio: 0.8,
            spoon_drain_m: 4.0,
            drain_strip_m: 4.0,
            undrained_loss_ratio: 0.5,
            outside_fall_loss_ratio: 0.15,
            yield_t_ha: 90.0,
            haul_per_t_km: 0.5,
            lattice_m: 10.0,
            track_m: 5.0,
            drain_m3_per_m: 2.0,
            discount_pct: 7.0,
            earth_years: 12,
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

    /// Share of what is paid once that is paid back every year, interest included.
    pub(crate) fn pay_off_per_year(&self) -> f64 {
        capital_recovery_factor(self.discount_pct / 100.0, self.earth_years)
    }

    /// Worth of the crop lost for good on a square metre whose row does not drain, dollars once, as the layout prices it: the
    /// lost share of the margin every year over what a dollar spent once costs every year.
    pub(crate) fn undrained_once_per_m2(&self, rates: &Rates) -> f64 {
        let lost_per_year = self.undrained_loss_ratio * rates.gross_margin_per_ha.likely / M2_PER_HA;
        lost_per_year / (self.pay_off_per_year() * (1.0 + rates.contingency_pct.likely / 100.0))
    }

    /// Length of row whose furrow just fills in the design rain at a fall (ratio), metres: a parabolic furrow by
    /// Manning's formula, rain x share x spacing x length flowing out at the low end.
    pub(super) fn furrow_reach_m(&self, fall: f64) -> f64 {
        let (top, deep) = (self.furrow_width_m, self.furrow_depth_m);
        let area = 2.0 / 3.0 * top * deep;
        // Chow (1959), table 2-1: wetted perimeter of a flat parabola.
        let wetted = top + 8.0 * deep * deep / (3.0 * top);
        let carried = area * (area / wetted).powf(2.0 / 3.0) * fall.max(0.0).sqrt() / self.furrow_n;
        carried / (self.design_rain_mm_h / 3.6e6 * self.runoff_ratio * self.row_spacing_m)
    }
}
