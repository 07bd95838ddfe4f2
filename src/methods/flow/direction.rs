//! Where each cell sends its water: one receiver, the neighbour of steepest descent.
//!
//! Works on a filled surface. A cell with a lower neighbour drains to the one with the steepest drop over
//! distance. A cell of the rim without a lower neighbour drains off the grid. What is left lies on flats,
//! which drain to their outlets without being raised (see `flats`).
//!
//! Shapes and units: heights rows x cols, metres. Ties: the first neighbour clockwise from east (E, SE, S,
//! SW, W, NW, N, NE). Time and memory O(n).
//!
//! Source: [`Bibliography::OCallaghanMark1984`](crate::bibliography::Bibliography::OCallaghanMark1984);
//! flats by [`Bibliography::BarnesFlats2014`](crate::bibliography::Bibliography::BarnesFlats2014).
//!
//! How we know: published grids with directions, slopes and accumulation (`textbook_grid`, `second_grid`,
//! and the tests of `accumulation`), properties on random grounds with flats and holes (`all_cells_drain`).

use super::depressions::Frame;
use super::flats::resolve_flats;
use crate::grid::{FlowField, NEIGHBOURS, Raster};
use rayon::prelude::*;

/// In [`FlowField::downstream`]: water leaves the grid here, or the cell is invalid.
pub(super) const OFF_GRID: u32 = FlowField::OFF_GRID;

/// The receiver of a cell, if it has one on the grid.
#[must_use]
pub fn receiver(flow: &FlowField, index: usize) -> Option<usize> {
    let to = flow.downstream[index];
    (to != OFF_GRID).then_some(to as usize)
}

/// Direction index of a cell that drains off the grid.
pub(super) const LEAVES: u8 = 8;
/// Direction index of a cell whose direction is not known yet.
pub(super) const UNKNOWN: u8 = 255;

/// Routes water over a filled surface (see [`fill`](super::fill)).
///
/// Every valid cell reaches the rim. On a surface with depressions left in it, the cells of a depression
/// would drain to its floor and leave there, so fill first.
#[must_use]
pub fn route(filled: &Raster<f32>) -> FlowField {
    let grid = Frame::new(filled);
    let cols = filled.spec.cols as usize;
    let mut direction = vec![UNKNOWN; grid.len];
    direction.par_chunks_mut(cols.max(1)).enumerate().for_each(|(row, line)| {
        for (col, slot) in line.iter_mut().enumerate() {
            let i = row * cols + col;
            if filled.valid[i] {
                *slot = match steepest(filled, grid, i) {
                    Some((dir, _)) => dir,
                    None if grid.is_rim(i, &filled.valid) => LEAVES,
                    None => UNKNOWN,
                };
            }
        }
    });
    resolve_flats(filled, grid, &mut direction);
    let downstream: Vec<u32> = direction
        .par_iter()
        .enumerate()
        .map(|(i, dir)| match usize::from(*dir) {
            dir @ 0..8 => grid.step(i, dir).map_or(OFF_GRID, |n| n as u32),
            _ => OFF_GRID,
        })
        .collect();
    let upstream_first = upstream_first(&downstream, &filled.valid);
    FlowField { spec: filled.spec, downstream, upstream_first }
}

/// Steepest drop over distance from each cell to a neighbour (ratio, m/m); zero where no neighbour is lower.
#[must_use]
pub fn steepest_slope(elevation: &Raster<f32>) -> Raster<f32> {
    let grid = Frame::new(elevation);
    let values = (0..grid.len)
        .into_par_iter()
        .map(|i| {
            if !elevation.valid[i] {
                return 0.0;
            }
            steepest(elevation, grid, i).map_or(0.0, |(_, drop)| (drop / elevation.spec.cell_m) as f32)
        })
        .collect();
    Raster { spec: elevation.spec, values, valid: elevation.valid.clone() }
}

/// Directions as the usual codes E=1, SE=2, S=4, SW=8, W=16, NW=32, N=64, NE=128; 0 where water leaves the
/// grid and in invalid cells.
#[must_use]
pub fn d8_codes(flow: &FlowField) -> Vec<u8> {
    let grid = Frame::of(flow.spec);
    (0..grid.len)
        .map(|i| {
            let to = receiver(flow, i);
            (0..8).find(|dir| to.is_some() && grid.step(i, *dir) == to).map_or(0, |dir| 1 << dir)
        })
        .collect()
}

/// Direction and drop per cell width of the steepest descent, if any neighbour is lower.
fn steepest(surface: &Raster<f32>, grid: Frame, i: usize) -> Option<(u8, f64)> {
    let here = f64::from(surface.values[i]);
    let mut best = None;
    let mut best_drop = 0.0;
    for (dir, (dr, dc)) in NEIGHBOURS.iter().enumerate() {
        let Some(n) = grid.step(i, dir).filter(|n| surface.valid[*n]) else { continue };
        let distance = if *dr != 0 && *dc != 0 { std::f64::consts::SQRT_2 } else { 1.0 };
        let drop = (here - f64::from(surface.values[n])) / distance;
        if drop > best_drop {
            best_drop = drop;
            best = Some((dir as u8, drop));
        }
    }
    best
}

/// Follows every headwater down until a cell still waits for another tributary.
fn upstream_first(downstream: &[u32], valid: &[bool]) -> Vec<u32> {
    let mut waiting = vec![0_u8; downstream.len()];
    for to in downstream.iter().filter(|to| **to != OFF_GRID) {
        waiting[*to as usize] += 1;
    }
    let heads: Vec<bool> = waiting.iter().map(|n| *n == 0).collect();
    let mut order = Vec::with_capacity(downstream.len());
    for head in (0..downstream.len()).filter(|i| valid[*i] && heads[*i]) {
        let mut here = head;
        loop {
            order.push(here as u32);
            let to = downstream[here];
            if to == OFF_GRID {
                break;
            }
            here = to as usize;
            waiting[here] -= 1;
            if waiting[here] > 0 {
                break;
            }
        }
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::fill;
    use crate::methods::flow::random_ground::ground_with_holes;
    use proptest::prelude::*;

    /// The 6 x 6 grid used by hydrology texts (test `test_flowAccumulation.R` of R package terra; NOAA
    /// National Weather Service, Hydrology Laboratory): directions and steepest drops.
    #[test]
    fn textbook_grid() {
        let ground = crate::methods::flow::accumulation::textbook_ground();
        let flow = route(&ground);
        let expected: [u8; 36] = [
            2, 2, 2, 4, 4, 8, 2, 2, 2, 4, 4, 8, 1, 1, 2, 4, 8, 4, 128, 128, 1, 2, 4, 8, 2, 2, 1, 4, 4, 4, 1, 1, 1, 1,
            0, 16,
        ];
        assert_eq!(d8_codes(&flow), expected);
        let slope = steepest_slope(&ground);
        let rows =
            [(0, [7.7782, 11.3137, 14.1421, 22.0, 12.0, 2.1213]), (2, [16.0, 9.0, 15.5563, 15.0, 11.3137, 24.0])];
        for (row, values) in rows {
            for (col, value) in values.iter().enumerate() {
                let found = f64::from(slope.values[row * 6 + col]);
                assert!((found - value).abs() < 1e-4, "row {row} col {col}: {found}");
            }
        }
    }

    /// A 6 x 6 grid of a university GIS course (University of Zurich GEO372, by way of the tests of package
    /// terrapin): directions.
    #[test]
    fn second_grid() {
        let flow = route(&crate::methods::flow::accumulation::second_ground());
        let expected: [u8; 36] = [
            0, 16, 16, 16, 16, 16, 64, 32, 16, 32, 16, 16, 64, 64, 32, 64, 64, 32, 64, 32, 32, 32, 32, 32, 64, 32, 16,
            32, 32, 32, 64, 16, 32, 32, 32, 16,
        ];
        assert_eq!(d8_codes(&flow), expected);
    }

    /// Derived: a walled flat with one gap sends every cell through the gap.
    #[test]
    fn flat_drains_to_its_only_outlet() {
        let ground = grid_from_text(
            "9 9 9 9 9 9 9
             9 6 6 6 6 6 9
             9 6 6 6 6 6 9
             9 6 6 6 6 6 9
             9 9 9 5 9 9 9",
            1.0,
        );
        let flow = route(&ground);
        assert_eq!(crate::methods::flow::accumulate(&flow, &[1.0; 35])[31], 35.0);
        assert_eq!(receiver(&flow, 31), None);
    }

    proptest! {
        #[test]
        fn all_cells_drain(ground in ground_with_holes()) {
            let filled = fill(&ground);
            let grid = Frame::new(&filled);
            let flow = route(&filled);
            let mut place = vec![usize::MAX; grid.len];
            for (k, i) in flow.upstream_first.iter().enumerate() {
                prop_assert_eq!(place[*i as usize], usize::MAX, "twice in the order");
                place[*i as usize] = k;
            }
            prop_assert_eq!(flow.upstream_first.len(), ground.count_valid());
            for i in (0..grid.len).filter(|i| filled.valid[*i]) {
                match receiver(&flow, i) {
                    // Order strictly grows downstream, so nothing runs in circles; nothing runs uphill.
                    Some(to) => {
                        prop_assert!(filled.valid[to] && place[to] > place[i]);
                        prop_assert!(filled.values[to] <= filled.values[i]);
                    }
                    None => prop_assert!(grid.is_rim(i, &filled.valid)),
                }
            }
        }
    }
}
