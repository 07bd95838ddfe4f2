//! What the steering needs.

use super::blocks::BlockId;
use crate::units::Bearing;
use geo::Coord;
use serde::{Deserialize, Serialize};

/// One straight guidance line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GuidanceLine {
    /// Name, unique on the property.
    pub name: String,
    /// The block it serves.
    pub block: BlockId,
    /// Point A, working metres.
    pub a: Coord<f64>,
    /// Point B, working metres.
    pub b: Coord<f64>,
    /// Bearing from A to B on the grid.
    pub grid_bearing: Bearing,
    /// True bearing from A to B.
    pub true_bearing: Bearing,
    /// Pass width on the ground, metres.
    pub width_m: f64,
    /// Passes to the left and to the right of the line as seen from A.
    pub passes: (u32, u32),
}

/// All guidance lines, in order of block.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct GuidancePlan {
    /// Lines.
    pub lines: Vec<GuidanceLine>,
}
