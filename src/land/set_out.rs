//! The `[set_out]` table of a pipeline file, and whether a ground model is good enough to set out from.

use super::site::Site;
use super::survey::Ground;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Worst vertical standard error of a ground that earthworks are set out from, metres (common practice, no source).
pub const WORST_SIGMA_M: f64 = 0.05;

/// Set-out files for the surveyor and the machines: design surface, pegs, drain long-sections.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetOutTable {
    /// Write the files from any ground, each marked CONCEPT: for looking at and pricing, never for building.
    #[schemars(extend("x-source" = "the user's wish"))]
    pub concept: bool,
    /// Whether the ground was surveyed after clearing, with stumps and old beds gone.
    #[schemars(extend("x-source" = "the user's statement"))]
    pub ground_surveyed_after_clearing: bool,
    /// Distance between pegs inside a block, metres.
    #[schemars(range(min = 5.0, max = 100.0), extend("x-source" = "common practice (15 to 25 m), no source"))]
    pub peg_spacing_m: f64,
    /// Distance between the levels of a drain bed, metres.
    #[schemars(range(min = 1.0, max = 100.0), extend("x-source" = "common practice, no source"))]
    pub station_spacing_m: f64,
    /// A height may be left out of the triangles when the edge that replaces it is this near, millimetres.
    #[schemars(range(min = 1.0, max = 50.0), extend("x-source" = "a fifth of a 25 mm building tolerance; common practice, no source"))]
    pub tin_tolerance_mm: f64,
}

impl Default for SetOutTable {
    fn default() -> Self {
        Self {
            concept: false,
            ground_surveyed_after_clearing: false,
            peg_spacing_m: 20.0,
            station_spacing_m: 20.0,
            tin_tolerance_mm: 5.0,
        }
    }
}

/// What may be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SetOutGrade {
    /// Fit to be built from, once checked.
    Build,
    /// To be looked at only, every file marked.
    Concept,
    /// Nothing.
    Refused,
}

impl SetOutTable {
    /// Why nothing may be built from this ground; empty when it may.
    #[must_use]
    pub fn objections(&self, site: &Site, ground: Option<&Ground>) -> Vec<String> {
        let mut against = Vec::new();
        match ground {
            None => against.push("no heights were read".to_owned()),
            Some(ground) => {
                let accuracy = &ground.accuracy;
                if !accuracy.known {
                    against.push("the accuracy of the heights is not known".to_owned());
                } else if accuracy.vertical_sigma_m > WORST_SIGMA_M {
                    against.push(format!(
                        "heights are good to {:.2} m (1 sigma), {WORST_SIGMA_M:.2} m is needed",
                        accuracy.vertical_sigma_m
                    ));
                }
                if ground.smoothed_over_m > 0.0 {
                    against.push("old tree beds still stand in the ground model".to_owned());
                }
            }
        }
        if !self.ground_surveyed_after_clearing {
            against.push("the ground is not said to be surveyed after clearing".to_owned());
        }
        if site.crs.vertical_name.is_none() {
            against.push("the height datum is not named".to_owned());
        }
        if site.layers.control_points.is_empty() {
            against.push("no control point is given as a benchmark".to_owned());
        }
        against
    }
    /// What may be written.
    #[must_use]
    pub fn grade(&self, site: &Site, ground: Option<&Ground>) -> SetOutGrade {
        if self.concept {
            SetOutGrade::Concept
        } else if self.objections(site, ground).is_empty() {
            SetOutGrade::Build
        } else {
            SetOutGrade::Refused
        }
    }
}
