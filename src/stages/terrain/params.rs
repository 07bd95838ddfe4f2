//! Parameters of the terrain stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How slope is taken from the 3 x 3 window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SlopeMethod {
    /// All eight neighbours, lines weighted 1-2-1.
    Horn,
    /// The four neighbours on the sides.
    ZevenbergenThorne,
}

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TerrainParams {
    /// Height between contours, metres. 0: chosen so that the property shows about 10 to 25.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub contour_interval_m: f64,
    /// Contour pieces shorter than this are not drawn, metres.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-source" = "common practice, no source"))]
    pub contour_min_length_m: f64,
    /// How far a drawn contour may lie from the traced one, metres.
    #[schemars(range(min = 0.0, max = 10.0), extend("x-source" = "common practice, no source"))]
    pub contour_simplify_m: f64,
    /// How slope is taken from the eight cells around: `horn` damps survey noise, `zevenbergen_thorne` follows smooth ground closer.
    #[schemars(extend("x-source" = "Horn 1981; Zevenbergen and Thorne 1987"))]
    pub slope_method: SlopeMethod,
    /// Least greatest depth of a depression worth listing, metres. Raised to what the survey can tell (1.96 standard errors).
    #[schemars(range(min = 0.01, max = 5.0), extend("x-source" = "common practice (25 to 100 mm), no source"))]
    pub depression_min_depth_m: f64,
    /// Least wet area of a depression worth listing, square metres.
    #[schemars(range(min = 1.0, max = 10000.0), extend("x-source" = "common practice, no source"))]
    pub depression_min_area_m2: f64,
    /// How far the ends of a mapped culvert may lie from the low ground they drain, metres.
    #[schemars(range(min = 0.0, max = 50.0), extend("x-source" = "common practice, no source"))]
    pub culvert_reach_m: f64,
    /// Longest way through a bank that the flow is let through as though a culvert were there, metres. 0: banks hold water back, as the survey shows them.
    #[schemars(range(min = 0.0, max = 100.0), extend("x-source" = "common practice (width of a track with its batters), no source"))]
    pub bank_opened_length_m: f64,
    /// Deepest cut through such a bank, metres.
    #[schemars(range(min = 0.05, max = 5.0), extend("x-source" = "common practice, no source"))]
    pub bank_opened_depth_m: f64,
    /// Depressions less deep than this are left full rather than let through a bank, metres.
    #[schemars(range(min = 0.01, max = 5.0), extend("x-source" = "common practice, no source"))]
    pub bank_held_depth_m: f64,
    /// Median slope above which the land is too steep for the row-crop rules this plan uses, per cent.
    #[schemars(range(min = 0.5, max = 30.0), extend("x-source" = "common practice, no source"))]
    pub steep_pct: f64,
}

impl Default for TerrainParams {
    fn default() -> Self {
        Self {
            contour_interval_m: 0.0,
            contour_min_length_m: 40.0,
            contour_simplify_m: 0.25,
            slope_method: SlopeMethod::Horn,
            depression_min_depth_m: 0.05,
            depression_min_area_m2: 50.0,
            culvert_reach_m: 5.0,
            bank_opened_length_m: 0.0,
            bank_opened_depth_m: 1.5,
            bank_held_depth_m: 0.2,
            steep_pct: 3.0,
        }
    }
}
