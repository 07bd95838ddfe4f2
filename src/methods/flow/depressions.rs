//! Fills depressions so that every cell can drain to the rim.
//!
//! A flood rises from the rim inwards, always over the lowest cell reached so far; a cell met below the
//! flood is raised to it. Cells raised or level with the flood wait in a plain queue instead of the
//! priority queue, because nothing lower can be waiting.
//!
//! Shapes and units: `elevation` rows x cols, metres; the result has the same grid and mask, and is never
//! lower. Raised cells take exactly the level of their pour cell: no small increments are added, because
//! they would drown the falls of nearly flat land. The rim is the edge of the grid and every cell next to
//! an invalid one. Ties: by elevation, then by order of insertion. Time O(n log n), memory about 16 bytes a cell.
//!
//! Source: [`Bibliography::Barnes2014`](crate::bibliography::Bibliography::Barnes2014), algorithm 2 (plain queue
//! for pits), with eight neighbours.
//!
//! How we know: published grids (`lake_grid`, `ring_grid`), a slow obvious filling as oracle on random grids
//! (`equals_slow_filling`), and properties (`never_lower_and_idempotent`).

use crate::grid::{NEIGHBOURS, Raster};
use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

/// Fills every depression to its pour level.
///
/// Heights must be finite in valid cells; metres.
#[must_use]
pub fn fill(elevation: &Raster<f32>) -> Raster<f32> {
    let grid = Frame::new(elevation);
    let mut filled = elevation.clone();
    let mut seen: Vec<bool> = elevation.valid.iter().map(|v| !v).collect();
    let mut heap = BinaryHeap::new();
    let mut pit: VecDeque<u32> = VecDeque::new();
    let mut inserted = 0_u64;
    for (i, seen) in seen.iter_mut().enumerate() {
        if elevation.valid[i] && grid.is_rim(i, &elevation.valid) {
            *seen = true;
            heap.push(Reverse((key(elevation.values[i], inserted), i as u32)));
            inserted += 1;
        }
    }
    loop {
        let here = match pit.pop_front() {
            Some(i) => i as usize,
            None => match heap.pop() {
                Some(Reverse((_, i))) => i as usize,
                None => break,
            },
        };
        let level = filled.values[here];
        for next in grid.neighbours(here) {
            if seen[next] {
                continue;
            }
            seen[next] = true;
            if elevation.values[next] <= level {
                filled.values[next] = level;
                pit.push_back(next as u32);
            } else {
                heap.push(Reverse((key(elevation.values[next], inserted), next as u32)));
                inserted += 1;
            }
        }
    }
    filled
}

/// Height first, then order of insertion, in one integer that sorts fast.
fn key(height: f32, inserted: u64) -> u64 {
    // Adding zero turns -0.0 into 0.0, so that equal heights have equal keys.
    let bits = (height + 0.0).to_bits();
    let ordered = if bits >> 31 == 1 { !bits } else { bits | 0x8000_0000 };
    (u64::from(ordered) << 32) | inserted
}

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
    pub(super) fn of(spec: crate::grid::GridSpec) -> Self {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::random_ground::{any_ground, ground_with_holes};
    use proptest::prelude::*;

    /// Planchon and Darboux (2002), Catena 46, 159-176, in its plainest form: start from a flood over
    /// everything and lower it until nothing changes.
    fn slow_fill(elevation: &Raster<f32>) -> Raster<f32> {
        let grid = Frame::new(elevation);
        let mut level = elevation.clone();
        for i in 0..grid.len {
            if elevation.valid[i] && !grid.is_rim(i, &elevation.valid) {
                level.values[i] = f32::INFINITY;
            }
        }
        loop {
            let mut changed = false;
            for i in (0..grid.len).filter(|i| elevation.valid[*i]) {
                let over = grid.neighbours(i).map(|n| level.values[n].max(elevation.values[i]));
                let lowest = over.fold(level.values[i], f32::min);
                changed |= lowest < level.values[i];
                level.values[i] = lowest;
            }
            if !changed {
                return level;
            }
        }
    }

    /// Grid `sink_grid1` of the landlab test-suite (tests/components/sink_fill/conftest.py); the filled
    /// result was computed with two independent programs.
    #[test]
    fn lake_grid() {
        let ground = grid_from_text(
            "0 0 0 0 0 0 0
             0 2 2 2 2 2 0
             0 2 1.6 1.5 1.6 2 0
             0 2 1.7 1.6 1.7 2 0
             0 2 1.8 2 2 2 0
             0 1 .6 1 1 1 0
             0 0 -.5 0 0 0 0",
            1.0,
        );
        let filled = fill(&ground);
        let raised: Vec<usize> = (0..49).filter(|i| filled.values[*i] > ground.values[*i]).collect();
        assert_eq!(raised, [16, 17, 18, 23, 24, 25]);
        assert!(raised.iter().all(|i| filled.values[*i] == 1.8));
        let volume: f64 = raised.iter().map(|i| f64::from(filled.values[*i]) - f64::from(ground.values[*i])).sum();
        // Heights are stored as f32, so the sum of six depths holds to a few 1e-7.
        assert!((volume - 1.1).abs() < 1e-6, "{volume}");
    }

    /// Grid testdem1 of the richdem test-suite (tests/depressions), which marks the filled cells by 2.
    #[test]
    fn ring_grid() {
        let zeros = "0 0 0 0 0 0 0 0 0 0\n0 0 0 0 0 0 0 0 0 0\n";
        let spaced = |rows: [&str; 6]| {
            let body: String =
                rows.iter().map(|r| r.chars().flat_map(|c| [c, ' ']).collect::<String>() + "\n").collect();
            grid_from_text(&format!("{zeros}{body}{zeros}"), 1.0)
        };
        let ground = spaced(["0222200000", "0200222200", "0222200200", "0020200200", "0022200200", "0000222200"]);
        let expected = spaced(["0222200000", "0222222200", "0222222200", "0022222200", "0022222200", "0000222200"]);
        let filled = fill(&ground);
        assert_eq!(filled.values, expected.values);
        let added: f32 = filled.values.iter().zip(&ground.values).map(|(a, b)| a - b).sum();
        assert_eq!(added, 18.0);
    }

    proptest! {
        #[test]
        fn equals_slow_filling(ground in any_ground()) {
            prop_assert_eq!(fill(&ground), slow_fill(&ground));
        }

        #[test]
        fn equals_slow_filling_round_holes(ground in ground_with_holes()) {
            let (fast, slow) = (fill(&ground), slow_fill(&ground));
            for i in (0..ground.spec.len()).filter(|i| ground.valid[*i]) {
                prop_assert_eq!(fast.values[i], slow.values[i]);
            }
        }

        #[test]
        fn never_lower_and_idempotent(ground in ground_with_holes()) {
            let filled = fill(&ground);
            for ((_, before), (_, after)) in ground.iter().zip(filled.iter()) {
                prop_assert!(after >= before);
            }
            prop_assert_eq!(fill(&filled), filled);
        }

        /// Raising the datum by a whole number of units (exact in f32 here) raises the filled surface by it.
        #[test]
        fn shifts_with_the_datum(ground in any_ground()) {
            let shifted = fill(&ground.map(|z| z + 64.0));
            prop_assert_eq!(shifted, fill(&ground).map(|z| z + 64.0));
        }

        /// Swapping rows and columns swaps the result.
        #[test]
        fn transposes(ground in any_ground()) {
            let turn = |r: &Raster<f32>| {
                let mut spec = r.spec;
                std::mem::swap(&mut spec.rows, &mut spec.cols);
                let mut out = Raster::filled(spec, 0.0);
                for (cell, z) in r.iter() {
                    out.set(crate::grid::Cell::new(cell.col, cell.row), z);
                }
                out
            };
            prop_assert_eq!(fill(&turn(&ground)), turn(&fill(&ground)));
        }
    }
}
