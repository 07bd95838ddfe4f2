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
//!
//! How we know: tiles of 3 to 254 cells fill random grounds as a slow filling does (`depressions`).

use super::frame::NOWHERE;
use super::level_queue::LevelQueue;
use crate::grid::Raster;

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

/// Longest side of a tile: with its margin it makes a square of 65,536 cells, so that a 16-bit index cannot miss it.
pub(super) const LONGEST: usize = 254;
/// Cells of the working square.
pub(super) const SQUARE: usize = 65_536;
/// Steps to the eight neighbours in the working square, wrapping.
const STEPS: [u16; 8] = [1, 257, 256, 255, u16::MAX, 65_279, 65_280, 65_281];

/// Working space of a flood; reused from tile to tile.
pub(super) struct TileFlood {
    /// Ground, then level of the flood, with a margin of one cell.
    level: Box<[f32; SQUARE]>,
    label: Box<[u16; SQUARE]>,
    queue: LevelQueue,
    pit: Vec<u16>,
    climb: Vec<u16>,
    passes: Vec<u64>,
    differs: Vec<bool>,
}

/// A cell of a tile in the working square.
const fn local(row: usize, col: usize) -> u16 {
    ((row + 1) * 256 + col + 1) as u16
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
    pub(super) fn new() -> Self {
        Self {
            level: Box::new([NOWHERE; SQUARE]),
            label: Box::new([CLOSED; SQUARE]),
            queue: LevelQueue::new(),
            pit: Vec::new(),
            climb: Vec::new(),
            passes: Vec::new(),
            differs: Vec::new(),
        }
    }

    /// Floods the tile and gives the passes between its labels.
    pub(super) fn run(&mut self, ground: &Raster<f32>, span: TileSpan) -> Vec<Pass> {
        self.load(ground, span);
        self.climb_all();
        while let Some(cell) = self.queue.pop(&self.level) {
            self.spill_from(cell);
            self.climb_all();
        }
        self.spanning_passes(span)
    }

    /// Levels and labels of one row of the flooded tile.
    pub(super) fn row(&self, row: usize, cols: usize) -> (&[f32], &[u16]) {
        let start = usize::from(local(row, 0));
        (&self.level[start..start + cols], &self.label[start..start + cols])
    }

    /// Copies the ground in and makes the starting cells.
    fn load(&mut self, ground: &Raster<f32>, span: TileSpan) {
        self.level.fill(NOWHERE);
        self.label.fill(CLOSED);
        let cols = ground.spec.cols as usize;
        let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
        for row in 0..span.rows {
            let from = (span.row + row) * cols + span.col;
            let to = usize::from(local(row, 0));
            let run = from..from + span.cols;
            let slots = self.level[to..].iter_mut().zip(&mut self.label[to..]);
            for ((z, ok), (level, label)) in ground.values[run.clone()].iter().zip(&ground.valid[run]).zip(slots) {
                (*level, *label) = if *ok { (*z, UNSEEN) } else { (NOWHERE, CLOSED) };
                (low, high) = if *ok { (low.min(*z), high.max(*z)) } else { (low, high) };
            }
        }
        self.queue.start(low, high);
        self.start_outside(ground, span);
        for (label, (row, col)) in (FIRST_BORDER..).zip(border(span)) {
            let cell = local(row, col);
            if self.label[usize::from(cell)] == UNSEEN {
                self.label[usize::from(cell)] = label;
                self.climb.push(cell);
            }
        }
    }

    /// Cells on the edge of the grid or beside an invalid cell drain off the ground.
    fn start_outside(&mut self, ground: &Raster<f32>, span: TileSpan) {
        let (rows, cols) = (ground.spec.rows as usize, ground.spec.cols as usize);
        let around_rows = span.row.saturating_sub(1)..(span.row + span.rows + 1).min(rows);
        let around_cols = span.col.saturating_sub(1)..(span.col + span.cols + 1).min(cols);
        let whole = around_rows.clone().all(|r| ground.valid[r * cols..][around_cols.clone()].iter().all(|v| *v));
        let at_edge = span.row == 0 || span.col == 0 || span.row + span.rows == rows || span.col + span.cols == cols;
        if whole && !at_edge {
            return;
        }
        let frame = super::frame::Frame::new(ground);
        for row in 0..span.rows {
            for col in 0..span.cols {
                let (r, c) = (span.row + row, span.col + col);
                let on_edge = r == 0 || c == 0 || r + 1 == rows || c + 1 == cols;
                let cell = local(row, col);
                if self.label[usize::from(cell)] == UNSEEN
                    && (on_edge || (!whole && frame.is_rim(r * cols + c, &ground.valid)))
                {
                    self.label[usize::from(cell)] = OUTSIDE;
                    self.climb.push(cell);
                }
            }
        }
    }

    /// Labels everything that rises from the flooded cells at hand; queues those beside which lower ground lies.
    fn climb_all(&mut self) {
        let Self { level, label, climb, queue, .. } = self;
        while let Some(here) = climb.pop() {
            let (height, own) = (level[usize::from(here)], label[usize::from(here)]);
            let mut queued = false;
            for step in STEPS {
                let next = here.wrapping_add(step);
                if label[usize::from(next)] != UNSEEN {
                    continue;
                }
                let ground = level[usize::from(next)];
                if ground >= height {
                    label[usize::from(next)] = own;
                    climb.push(next);
                } else if !queued && !claimed(level, label, next, ground) {
                    queued = true;
                    queue.push(height, here);
                }
            }
        }
    }

    /// Fills what lies lower than a queued cell.
    fn spill_from(&mut self, start: u16) {
        let Self { level, label, climb, pit, .. } = self;
        let (top, own) = (level[usize::from(start)], label[usize::from(start)]);
        pit.push(start);
        while let Some(here) = pit.pop() {
            for step in STEPS {
                let next = here.wrapping_add(step);
                if label[usize::from(next)] != UNSEEN {
                    continue;
                }
                label[usize::from(next)] = own;
                if level[usize::from(next)] <= top {
                    level[usize::from(next)] = top;
                    pit.push(next);
                } else {
                    climb.push(next);
                }
            }
        }
    }

    /// The lowest passes that join all labels of the tile.
    fn spanning_passes(&mut self, span: TileSpan) -> Vec<Pass> {
        self.passes.clear();
        for row in 0..span.rows {
            let here = usize::from(local(row, 0));
            differing(&self.label[here..here + span.cols + 1], &self.label[here + 255..], &mut self.differs);
            for col in (0..span.cols).filter(|col| self.differs[*col]) {
                let i = local(row, col);
                let label = self.label[usize::from(i)];
                for n in [i + 1, i + 255, i + 256, i.wrapping_add(257)] {
                    let other = self.label[usize::from(n)];
                    if other != label && other != CLOSED && label != CLOSED {
                        let level = ordered_bits(self.level[usize::from(i)].max(self.level[usize::from(n)]));
                        let (a, b) = (label.min(other), label.max(other));
                        self.passes.push((u64::from(level) << 32) | (u64::from(a) << 16) | u64::from(b));
                    }
                }
            }
        }
        self.passes.sort_unstable();
        let labels = FIRST_BORDER + 2 * (span.rows + span.cols) as u16;
        let mut parent: Vec<u16> = (0..labels).collect();
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

/// Whether a flooded neighbour no higher than the cell will reach it later, at the cell's own height.
fn claimed(level: &[f32; SQUARE], label: &[u16; SQUARE], cell: u16, ground: f32) -> bool {
    STEPS.into_iter().map(|step| usize::from(cell.wrapping_add(step))).any(|n| label[n] != UNSEEN && level[n] <= ground)
}

/// Where a label differs from its neighbours to the east and below; `below` starts south-west of the first cell.
fn differing(row: &[u16], below: &[u16], differs: &mut Vec<bool>) {
    let n = row.len() - 1;
    let (west, south, east) = (&below[..n], &below[1..=n], &below[2..n + 2]);
    differs.clear();
    differs.extend((0..n).map(|k| {
        let own = row[k];
        (own != row[k + 1]) | (own != west[k]) | (own != south[k]) | (own != east[k])
    }));
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
