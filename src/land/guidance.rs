//! What the steering needs.

use super::blocks::BlockId;
use crate::units::Bearing;
use geo::{Coord, LineString, MultiPolygon, Polygon};
use serde::{Deserialize, Serialize};

/// One guidance line: straight from A to B, or a curve through its points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GuidanceLine {
    /// Name, unique on the property: plain letters, at most 32.
    pub name: String,
    /// The block it serves.
    pub block: BlockId,
    /// The row it lies on, when it is for that row alone.
    pub row: Option<u32>,
    /// From point A to point B, working metres; two points when straight.
    pub line: LineString<f64>,
    /// Bearing from A to B on the grid.
    pub grid_bearing: Bearing,
    /// True bearing from A to B, at A.
    pub true_bearing: Bearing,
    /// Pass width on the ground, metres.
    pub width_m: f64,
    /// Passes to the left and to the right of the line as seen from A; none for a line that is for one row.
    pub passes: (u32, u32),
}

impl GuidanceLine {
    /// Point A.
    #[must_use]
    pub fn a(&self) -> Coord<f64> {
        self.line.0.first().copied().unwrap_or_default()
    }
    /// Point B.
    #[must_use]
    pub fn b(&self) -> Coord<f64> {
        self.line.0.last().copied().unwrap_or_default()
    }
    /// Whether it is more than the straight line from A to B.
    #[must_use]
    pub fn is_curve(&self) -> bool {
        self.line.0.len() > 2
    }
}

/// One field as a steering system knows it: a row block with what must not be driven over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GuidanceField {
    /// The block.
    pub block: BlockId,
    /// Name as given.
    pub name: String,
    /// Outline with its holes.
    pub outline: Polygon<f64>,
    /// Area on the ground, square metres.
    pub area_m2: f64,
    /// Kept areas in or beside the field, with the reason.
    pub keep_outs: Vec<(String, MultiPolygon<f64>)>,
}

/// All guidance lines, in order of block.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct GuidancePlan {
    /// Who the work is done for, as written in the pipeline file; may be empty.
    pub customer: String,
    /// Name of the farm.
    pub farm: String,
    /// Datum the working grid stands on.
    pub datum: String,
    /// Fields.
    pub fields: Vec<GuidanceField>,
    /// Lines.
    pub lines: Vec<GuidanceLine>,
}
