//! Fills depressions so that every cell can drain to the rim.
//!
//! The filled level of a cell is the lowest possible highest point of a way from the cell off the ground. The grid is
//! cut into square tiles small enough for the processor's cache. Each tile is flooded by itself from its border
//! (see `tile_flood`); the border cells of all tiles make a small graph, with the lowest passes inside the tiles and the
//! steps between neighbouring tiles as edges; a flood over that graph from the rim gives the true levels of the border
//! cells, and every cell takes the higher of its level in the tile and the level of the border cell it spills to.
//!
//! Shapes and units: `elevation` rows x cols, metres; the result has the same grid and mask, and is never
//! lower. Raised cells take exactly the level of their pour cell: no small increments are added, because
//! they would drown the falls of nearly flat land. The rim is the edge of the grid and every cell next to
//! an invalid one. The result does not depend on tiles, ties or threads. Time O(n log n) with the logarithm of a tile;
//! memory about 8 bytes a cell, result included.
//!
//! Source: [`Bibliography::Barnes2014`](crate::bibliography::Bibliography::Barnes2014) for the flood,
//! [`Bibliography::Barnes2016`](crate::bibliography::Bibliography::Barnes2016) for the tiles, with eight neighbours.
//!
//! How we know: published grids (`lake_grid`, `ring_grid`), a slow obvious filling as oracle on random grids cut into
//! tiles of 3 to 254 cells (`equals_slow_filling`), and properties (`never_lower_and_idempotent`).

use super::frame::NOWHERE;
use super::tile_flood::{FIRST_BORDER, LONGEST, OUTSIDE, Pass, TileFlood, TileSpan, ordered_bits};
use crate::grid::Raster;
use rayon::prelude::*;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Side of a tile: its heights and labels fit the second-level cache.
const TILE: usize = LONGEST;

/// Fills every depression to its pour level.
///
/// Heights must be finite in valid cells; metres.
#[must_use]
pub fn fill(elevation: &Raster<f32>) -> Raster<f32> {
    fill_by_tiles(elevation, TILE)
}

fn fill_by_tiles(elevation: &Raster<f32>, side: usize) -> Raster<f32> {
    let mut filled =
        Raster { spec: elevation.spec, values: vec![0.0; elevation.spec.len()], valid: elevation.valid.clone() };
    if elevation.spec.is_empty() {
        return filled;
    }
    let tiles = Tiles::new(elevation, side);
    let cols = tiles.cols;
    let mut label = vec![0_u16; elevation.spec.len()];
    let bands = filled.values.par_chunks_mut(side * cols).zip(label.par_chunks_mut(side * cols)).enumerate();
    let passes: Vec<Vec<Vec<Pass>>> =
        bands.map(|(band, (levels, labels))| flood_band(elevation, tiles, band, levels, labels)).collect();
    let border_level = tiles.border_levels(elevation, &label, &passes);
    filled.values.par_chunks_mut(side * cols).zip(label.par_chunks(side * cols)).enumerate().for_each(
        |(band, (levels, labels))| {
            let mut of_label = vec![f32::NEG_INFINITY; usize::from(FIRST_BORDER) + tiles.most_border()];
            for tile in 0..tiles.across {
                let span = tiles.span(band, tile);
                let first = tiles.first_node(band, tile);
                of_label[usize::from(FIRST_BORDER)..]
                    .copy_from_slice(&border_level[first..first + tiles.most_border()]);
                for row in 0..span.rows {
                    let run = row * cols + span.col..row * cols + span.col + span.cols;
                    for (level, label) in levels[run.clone()].iter_mut().zip(&labels[run]) {
                        *level = level.max(of_label[usize::from(*label)]);
                    }
                }
            }
        },
    );
    filled
}

/// Floods the tiles of a band of rows, from west to east.
fn flood_band(
    elevation: &Raster<f32>,
    tiles: Tiles,
    band: usize,
    levels: &mut [f32],
    labels: &mut [u16],
) -> Vec<Vec<Pass>> {
    let mut flood = TileFlood::new();
    (0..tiles.across)
        .map(|tile| {
            let span = tiles.span(band, tile);
            let passes = flood.run(elevation, span);
            for row in 0..span.rows {
                let run = row * tiles.cols + span.col..row * tiles.cols + span.col + span.cols;
                let (level, label) = flood.row(row, span.cols);
                levels[run.clone()].copy_from_slice(level);
                labels[run.clone()].copy_from_slice(label);
                let from = (span.row + row) * tiles.cols + span.col;
                for ((z, ok), raw) in
                    levels[run].iter_mut().zip(&elevation.valid[from..]).zip(&elevation.values[from..])
                {
                    *z = if *ok { *z } else { *raw };
                }
            }
            passes
        })
        .collect()
}

/// How a grid is cut into tiles, and how their border cells are numbered.
#[derive(Debug, Clone, Copy)]
struct Tiles {
    rows: usize,
    cols: usize,
    side: usize,
    across: usize,
    down: usize,
}

impl Tiles {
    fn new(elevation: &Raster<f32>, side: usize) -> Self {
        let (rows, cols) = (elevation.spec.rows as usize, elevation.spec.cols as usize);
        Self { rows, cols, side, across: cols.div_ceil(side), down: rows.div_ceil(side) }
    }
    fn span(self, band: usize, tile: usize) -> TileSpan {
        let (row, col) = (band * self.side, tile * self.side);
        TileSpan { row, col, rows: self.side.min(self.rows - row), cols: self.side.min(self.cols - col) }
    }
    /// Room for the border cells of one tile.
    const fn most_border(self) -> usize {
        4 * self.side
    }
    const fn first_node(self, band: usize, tile: usize) -> usize {
        (band * self.across + tile) * self.most_border()
    }
    fn node(self, row: usize, col: usize, label: u16) -> usize {
        self.first_node(row / self.side, col / self.side) + usize::from(label - FIRST_BORDER)
    }

    /// True level of every border cell, by a flood from the outside over the graph of border cells.
    fn border_levels(self, elevation: &Raster<f32>, label: &[u16], passes: &[Vec<Vec<Pass>>]) -> Vec<f32> {
        let nodes = self.first_node(self.down, 0);
        let mut level = vec![NOWHERE; nodes];
        let mut edges: Vec<(u32, u32, f32)> = Vec::new();
        let mut from_outside = |node: usize, height: f32| level[node] = level[node].min(height);
        for (band, tiles) in passes.iter().enumerate() {
            for (tile, passes) in tiles.iter().enumerate() {
                let node = |label: u16| self.first_node(band, tile) + usize::from(label - FIRST_BORDER);
                for pass in passes {
                    match pass.a {
                        OUTSIDE => from_outside(node(pass.b), pass.level),
                        a => edges.push((node(a) as u32, node(pass.b) as u32, pass.level)),
                    }
                }
            }
        }
        self.steps_between_tiles(|(row, col), (r, c)| {
            let (i, n) = (row * self.cols + col, r * self.cols + c);
            if !(elevation.valid[i] && elevation.valid[n]) {
                return;
            }
            let height = elevation.values[i].max(elevation.values[n]);
            match (label[i], label[n]) {
                (OUTSIDE, OUTSIDE) => {}
                (OUTSIDE, l) => from_outside(self.node(r, c, l), height),
                (l, OUTSIDE) => from_outside(self.node(row, col, l), height),
                (a, b) => edges.push((self.node(row, col, a) as u32, self.node(r, c, b) as u32, height)),
            }
        });
        flood_graph(level, &edges)
    }

    /// Calls with every pair of neighbouring cells of two tiles (pairs across a corner may come twice).
    fn steps_between_tiles(self, mut pair: impl FnMut((usize, usize), (usize, usize))) {
        for band in 1..self.down {
            let row = band * self.side;
            for col in 0..self.cols {
                for c in col.saturating_sub(1)..(col + 2).min(self.cols) {
                    pair((row - 1, col), (row, c));
                }
            }
        }
        for tile in 1..self.across {
            let col = tile * self.side;
            for row in 0..self.rows {
                for r in row.saturating_sub(1)..(row + 2).min(self.rows) {
                    pair((row, col - 1), (r, col));
                }
            }
        }
    }
}

/// Lowest possible highest level on the way from the outside to each node, given the direct ways.
fn flood_graph(mut level: Vec<f32>, edges: &[(u32, u32, f32)]) -> Vec<f32> {
    let mut start = vec![0_u32; level.len() + 1];
    for (a, b, _) in edges {
        start[*a as usize + 1] += 1;
        start[*b as usize + 1] += 1;
    }
    for k in 1..start.len() {
        start[k] += start[k - 1];
    }
    let mut next = start.clone();
    let mut links = vec![(0_u32, 0.0_f32); 2 * edges.len()];
    for (a, b, height) in edges {
        for (from, to) in [(*a, *b), (*b, *a)] {
            links[next[from as usize] as usize] = (to, *height);
            next[from as usize] += 1;
        }
    }
    let entry = |height: f32, node: usize| Reverse((u64::from(ordered_bits(height)) << 32) | node as u64);
    let known = level.iter().enumerate().filter(|(_, l)| l.is_finite());
    let mut heap: BinaryHeap<Reverse<u64>> = known.map(|(node, l)| entry(*l, node)).collect();
    while let Some(Reverse(found)) = heap.pop() {
        let node = (found & 0xFFFF_FFFF) as usize;
        if (found >> 32) as u32 != ordered_bits(level[node]) {
            continue;
        }
        for (to, height) in &links[start[node] as usize..start[node + 1] as usize] {
            let over = level[node].max(*height);
            if over < level[*to as usize] {
                level[*to as usize] = over;
                heap.push(entry(over, *to as usize));
            }
        }
    }
    level
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::frame::Frame;
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
            let slow = slow_fill(&ground);
            for side in [3, 4, 7, TILE] {
                prop_assert_eq!(&fill_by_tiles(&ground, side), &slow);
            }
        }

        #[test]
        fn equals_slow_filling_round_holes(ground in ground_with_holes()) {
            let slow = slow_fill(&ground);
            for side in [3, 4, 7, TILE] {
                let fast = fill_by_tiles(&ground, side);
                for i in (0..ground.spec.len()).filter(|i| ground.valid[*i]) {
                    prop_assert_eq!(fast.values[i], slow.values[i]);
                }
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
