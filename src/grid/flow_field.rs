//! Where each cell's water goes: one receiver a cell.

use super::GridSpec;
use serde::{Deserialize, Serialize};

/// A forest over the cells of a grid: every valid cell hands on to one other cell or off the grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlowField {
    /// The grid.
    pub spec: GridSpec,
    /// Row-major index of the receiving cell; [`FlowField::OFF_GRID`] where the water leaves the grid,
    /// and in cells without a value.
    pub downstream: Vec<u32>,
    /// Valid cells, every cell before its receiver.
    pub upstream_first: Vec<u32>,
}

impl FlowField {
    /// The receiver of water that leaves the grid.
    pub const OFF_GRID: u32 = u32::MAX;
}
