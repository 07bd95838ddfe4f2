//! A place in a grid.

use serde::{Deserialize, Serialize};

/// One cell, by row from the north and column from the west. Never a bare tuple, so the two cannot be swapped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Cell {
    /// Row, counted from the north.
    pub row: u32,
    /// Column, counted from the west.
    pub col: u32,
}

impl Cell {
    /// The cell at `row` from the north and `col` from the west.
    #[must_use]
    pub const fn new(row: u32, col: u32) -> Self {
        Self { row, col }
    }
}
