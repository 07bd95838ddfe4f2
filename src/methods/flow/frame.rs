//! Neighbour arithmetic on a row-major grid, and rows laid out for fast 3 x 3 windows.
//!
//! Source: arithmetic of row-major storage, no source needed.
//!
//! How we know: every test of this folder stands on it; edges and holes by the random grounds of `direction` and
//! `depressions`.

use crate::grid::{GridSpec, NEIGHBOURS, Raster};

/// Row-major neighbour arithmetic of one grid.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    rows: i64,
    cols: i64,
    /// Number of cells.
    pub(super) len: usize,
}

impl Frame {
    pub(super) fn new<T>(raster: &Raster<T>) -> Self {
        Self::of(raster.spec)
    }
    pub(super) fn of(spec: GridSpec) -> Self {
        Self { rows: i64::from(spec.rows), cols: i64::from(spec.cols), len: spec.len() }
    }
    /// The neighbour in direction `dir` of [`NEIGHBOURS`], if the grid has it.
    pub(super) fn step(self, index: usize, dir: usize) -> Option<usize> {
        let (row, col) = (index as i64 / self.cols, index as i64 % self.cols);
        let (dr, dc) = NEIGHBOURS[dir];
        let (r, c) = (row + dr, col + dc);
        (r >= 0 && c >= 0 && r < self.rows && c < self.cols).then(|| (r * self.cols + c) as usize)
    }
    /// The up to eight neighbours, clockwise from east.
    pub(super) fn neighbours(self, index: usize) -> impl Iterator<Item = usize> {
        let (row, col) = (index as i64 / self.cols, index as i64 % self.cols);
        NEIGHBOURS.into_iter().filter_map(move |(dr, dc)| {
            let (r, c) = (row + dr, col + dc);
            (r >= 0 && c >= 0 && r < self.rows && c < self.cols).then(|| (r * self.cols + c) as usize)
        })
    }
    /// Whether a cell lies on the edge of the grid or next to an invalid cell.
    pub(super) fn is_rim(self, index: usize, valid: &[bool]) -> bool {
        let (row, col) = (index as i64 / self.cols, index as i64 % self.cols);
        row == 0
            || col == 0
            || row == self.rows - 1
            || col == self.cols - 1
            || self.neighbours(index).any(|n| !valid[n])
    }
}

/// Height of "no cell here" in a padded row: above everything.
pub(in crate::methods) const NOWHERE: f32 = f32::INFINITY;

/// Copies row `row` of a surface into `line` (cols + 2 long): [`NOWHERE`] where the grid has no valid cell.
pub(in crate::methods) fn padded_row(surface: &Raster<f32>, row: Option<usize>, line: &mut [f32]) {
    let cols = surface.spec.cols as usize;
    let Some(row) = row.filter(|r| *r < surface.spec.rows as usize) else {
        line.fill(NOWHERE);
        return;
    };
    (line[0], line[cols + 1]) = (NOWHERE, NOWHERE);
    let span = row * cols..(row + 1) * cols;
    for ((slot, z), ok) in line[1..=cols].iter_mut().zip(&surface.values[span.clone()]).zip(&surface.valid[span]) {
        *slot = if *ok { *z } else { NOWHERE };
    }
}
