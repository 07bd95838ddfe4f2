//! Floods one tile of a grid by itself, and says what the other tiles must know of it.
//!
//! The flood starts from every cell through which water can leave the tile: the cells along its border, and the cells
//! on the rim of the ground ("outside"). Each cell gets the level at which it spills and the border cell it spills to
//! (its label). Where regions of two labels touch, the lowest pass between them is kept, as far as it is needed to
//! join all labels (a minimum spanning forest).
//!
//! Cells that rise from a flooded neighbour need no queue: they are climbed straight away. Only cells from which
//! the climb met lower ground wait in the priority queue.
//!
//! Source: tiles [`Bibliography::Barnes2016`](crate::bibliography::Bibliography::Barnes2016); climbing
//! [`Bibliography::ZhouSunFu2016`](crate::bibliography::Bibliography::ZhouSunFu2016).

use super::frame::NOWHERE;
use crate::grid::Raster;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Label of a cell the flood has not reached.
const UNSEEN: u16 = 0;
/// Label of a cell that drains off the ground inside this tile.
pub(super) const OUTSIDE: u16 = 1;
/// Label of "no cell".
const CLOSED: u16 = 2;
/// Label of the first border cell.
pub(super) const FIRST_BORDER: u16 = 3;

/// Where a tile lies in its grid.
#[derive(Debug, Clone, Copy)]
pub(super) struct TileSpan {
    pub(super) row: usize,
    pub(super) col: usize,
    pub(super) rows: usize,
    pub(super) cols: usize,
}

/// The lowest pass between two labelled regions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pass {
    pub(super) a: u16,
    pub(super) b: u16,
    pub(super) level: f32,
}

/// Working space of a flood; reused from tile to tile.
#[derive(Default)]
pub(super) struct TileFlood {
    stride: usize,
    span: Option<TileSpan>,
    /// Ground, then level of the flood, with a margin of one cell.
    level: Vec<f32>,
    label: Vec<u16>,
    heap: BinaryHeap<Reverse<u64>>,
    pit: Vec<u32>,
    climb: Vec<u32>,
    passes: Vec<u64>,
}

/// Sorts as the number does, with both zeros equal.
pub(super) fn ordered_bits(height: f32) -> u32 {
    let bits = (height + 0.0).to_bits();
    if bits >> 31 == 1 { !bits } else { bits | 0x8000_0000 }
}

/// Undoes [`ordered_bits`].
fn height_of(ordered: u32) -> f32 {
    f32::from_bits(if ordered >> 31 == 1 { ordered & 0x7FFF_FFFF } else { !ordered })
}

impl TileFlood {
    /// Floods the tile and gives the passes between its labels.
    pub(super) fn run(&mut self, ground: &Raster<f32>, span: TileSpan) -> Vec<Pass> {
        self.load(ground, span);
        while let Some(cell) = self.climb.pop() {
            self.climb_from(cell as usize);
        }
        while let Some(Reverse(entry)) = self.heap.pop() {
            self.spill_from((entry & 0xFFFF_FFFF) as usize);
        }
        self.spanning_passes()
    }

    /// Levels and labels of one row of the flooded tile.
    pub(super) fn row(&self, row: usize, cols: usize) -> (&[f32], &[u16]) {
        let start = (row + 1) * self.stride + 1;
        (&self.level[start..start + cols], &self.label[start..start + cols])
    }

    fn offsets(&self) -> [usize; 8] {
        let s = self.stride as isize;
        [1, s + 1, s, s - 1, -1, -s - 1, -s, -s + 1].map(|o| o as usize)
    }

    /// Copies the ground in and makes the starting cells.
    fn load(&mut self, ground: &Raster<f32>, span: TileSpan) {
        let stride = span.cols + 2;
        (self.stride, self.span) = (stride, Some(span));
        self.level.clear();
        self.level.resize(stride * (span.rows + 2), NOWHERE);
        self.label.clear();
        self.label.resize(stride * (span.rows + 2), CLOSED);
        let cols = ground.spec.cols as usize;
        for row in 0..span.rows {
            let from = (span.row + row) * cols + span.col;
            let to = (row + 1) * stride + 1;
            for k in 0..span.cols {
                if ground.valid[from + k] {
                    self.level[to + k] = ground.values[from + k];
                    self.label[to + k] = UNSEEN;
                }
            }
        }
        self.start_outside(ground, span);
        for (k, cell) in border(span).enumerate() {
            let i = (cell.0 + 1) * stride + cell.1 + 1;
            if self.label[i] == UNSEEN {
                self.label[i] = FIRST_BORDER + k as u16;
                self.climb.push(i as u32);
            }
        }
    }

    /// Cells on the edge of the grid or beside an invalid cell drain off the ground.
    fn start_outside(&mut self, ground: &Raster<f32>, span: TileSpan) {
        let (rows, cols) = (ground.spec.rows as usize, ground.spec.cols as usize);
        let around_rows = span.row.saturating_sub(1)..(span.row + span.rows + 1).min(rows);
        let around_cols = span.col.saturating_sub(1)..(span.col + span.cols + 1).min(cols);
        let whole = around_rows.clone().all(|r| ground.valid[r * cols..][around_cols.clone()].iter().all(|v| *v));
        let at_edge =
            span.row == 0 || span.col == 0 || span.row + span.rows == rows || span.col + span.cols == cols;
        if whole && !at_edge {
            return;
        }
        let frame = super::frame::Frame::new(ground);
        for row in 0..span.rows {
            for col in 0..span.cols {
                let (r, c) = (span.row + row, span.col + col);
                let on_edge = r == 0 || c == 0 || r + 1 == rows || c + 1 == cols;
                let i = (row + 1) * self.stride + col + 1;
                if self.label[i] == UNSEEN && (on_edge || (!whole && frame.is_rim(r * cols + c, &ground.valid))) {
                    self.label[i] = OUTSIDE;
                    self.climb.push(i as u32);
                }
            }
        }
    }

    /// Labels everything that rises from a flooded cell; queues the cell if lower ground lies beside it.
    fn climb_from(&mut self, here: usize) {
        let (height, label) = (self.level[here], self.label[here]);
        let offsets = self.offsets();
        let mut queued = false;
        for offset in offsets {
            let next = here.wrapping_add(offset);
            if self.label[next] != UNSEEN {
                continue;
            }
            let ground = self.level[next];
            if ground >= height {
                self.label[next] = label;
                self.climb.push(next as u32);
            } else if !queued && !self.claimed(next, ground, offsets) {
                queued = true;
                self.heap.push(Reverse((u64::from(ordered_bits(height)) << 32) | here as u64));
            }
        }
    }

    /// Whether a flooded neighbour no higher than the cell will reach it later, at the cell's own height.
    fn claimed(&self, cell: usize, ground: f32, offsets: [usize; 8]) -> bool {
        offsets.into_iter().map(|o| cell.wrapping_add(o)).any(|n| self.label[n] != UNSEEN && self.level[n] <= ground)
    }

    /// Fills what lies lower than a queued cell, and climbs out of it.
    fn spill_from(&mut self, start: usize) {
        let (level, label) = (self.level[start], self.label[start]);
        let offsets = self.offsets();
        self.pit.push(start as u32);
        while let Some(here) = self.pit.pop() {
            for offset in offsets {
                let next = (here as usize).wrapping_add(offset);
                if self.label[next] != UNSEEN {
                    continue;
                }
                self.label[next] = label;
                if self.level[next] <= level {
                    self.level[next] = level;
                    self.pit.push(next as u32);
                } else {
                    self.climb.push(next as u32);
                }
            }
        }
        while let Some(cell) = self.climb.pop() {
            self.climb_from(cell as usize);
        }
    }

    /// The lowest passes that join all labels of the tile.
    fn spanning_passes(&mut self) -> Vec<Pass> {
        let Some(span) = self.span else { return Vec::new() };
        self.passes.clear();
        let s = self.stride;
        for row in 1..=span.rows {
            let (here, below) = (row * s, (row + 1) * s);
            for col in 1..=span.cols {
                let i = here + col;
                let label = self.label[i];
                let others = [i + 1, below + col - 1, below + col, below + col + 1];
                if others.iter().all(|n| self.label[*n] == label) || label == CLOSED {
                    continue;
                }
                for n in others {
                    let other = self.label[n];
                    if other != label && other != CLOSED {
                        let level = ordered_bits(self.level[i].max(self.level[n]));
                        let (a, b) = (label.min(other), label.max(other));
                        self.passes.push((u64::from(level) << 32) | (u64::from(a) << 16) | u64::from(b));
                    }
                }
            }
        }
        self.passes.sort_unstable();
        let labels = usize::from(FIRST_BORDER) + 2 * (span.rows + span.cols);
        let mut parent: Vec<u16> = (0..labels as u16).collect();
        let mut kept = Vec::new();
        for entry in &self.passes {
            let (a, b) = ((entry >> 16) as u16, *entry as u16);
            let (root_a, root_b) = (find(&mut parent, a), find(&mut parent, b));
            if root_a != root_b {
                parent[usize::from(root_a.max(root_b))] = root_a.min(root_b);
                kept.push(Pass { a, b, level: height_of((entry >> 32) as u32) });
            }
        }
        kept
    }
}

fn find(parent: &mut [u16], label: u16) -> u16 {
    let mut here = label;
    while parent[usize::from(here)] != here {
        let up = parent[usize::from(here)];
        parent[usize::from(here)] = parent[usize::from(up)];
        here = up;
    }
    here
}

/// Rows and columns of the border cells of a tile, in the order of their labels.
fn border(span: TileSpan) -> impl Iterator<Item = (usize, usize)> {
    let (rows, cols) = (span.rows, span.cols);
    let top = (0..cols).map(|c| (0, c));
    let bottom = (0..if rows > 1 { cols } else { 0 }).map(move |c| (rows - 1, c));
    let inner = 1..rows.saturating_sub(1).max(1);
    let left = inner.clone().map(|r| (r, 0));
    let right = inner.filter(move |_| cols > 1).map(move |r| (r, cols - 1));
    top.chain(bottom).chain(left).chain(right)
}
