//! Adds up what flows through each cell, and finds what drains to a place.
//!
//! One pass over the upstream-first order hands every cell's total to its receiver; one pass the other way
//! marks a catchment. With weight 1 a total is a number of cells, with the cell area it is square metres, with
//! depth of runoff times area it is a volume. A cell counts itself.
//!
//! Source: [`Bibliography::OCallaghanMark1984`](crate::bibliography::Bibliography::OCallaghanMark1984). Order of
//! addition follows the order of the flow field, so results are the same at any thread count.
//!
//! How we know: published grids (`textbook_totals`, `second_totals`, `open_rim_areas`, `sheet_plane`,
//! `braided_rows`), an analytic valley (`v_valley`), and conservation (`rim_receives_every_cell`).

use super::direction::{Directions, LEAVES, NO_CELL, VISITED, receiver};
use crate::grid::FlowField;
use rayon::prelude::*;
use std::ops::AddAssign;

/// Rows of a band that is added up by itself first.
const BAND_ROWS: usize = 512;

/// Number of cells that drain through each cell, itself included; 0 in invalid cells. 5 bytes a cell.
#[must_use]
pub fn cells_upstream(directions: &Directions) -> Vec<u32> {
    accumulate_along(directions, directions.codes.par_iter().map(|c| u32::from(*c != NO_CELL)).collect())
}

/// Adds up `weights` downstream in place: each cell's number becomes the total of it and of everything upstream of it.
///
/// Numbers in invalid cells stay as they are and reach no other cell. Bands of rows are added up by themselves, then
/// what crosses from band to band is carried on, in a fixed order: the same result at any thread count.
#[must_use]
pub fn accumulate_along<T: Copy + AddAssign + Send + Sync>(directions: &Directions, mut weights: Vec<T>) -> Vec<T> {
    let band = (BAND_ROWS * directions.cols).max(1);
    let mut waiting = directions.inflows();
    let across: Vec<Vec<(u32, T)>> = weights
        .par_chunks_mut(band)
        .zip(waiting.par_chunks_mut(band))
        .zip(directions.codes.par_chunks(band))
        .enumerate()
        .map(|(k, ((totals, waiting), codes))| {
            let mut sent = Vec::new();
            let offsets = directions.offsets();
            for head in 0..codes.len() {
                if waiting[head] == 0
                    && codes[head] != NO_CELL
                    && let Some((to, total)) = run_down(codes, offsets, head, totals, waiting)
                {
                    sent.push((to.wrapping_add(k * band) as u32, total));
                }
            }
            sent
        })
        .collect();
    let offsets = directions.offsets();
    for (to, total) in across.into_iter().flatten() {
        let to = to as usize;
        weights[to] += total;
        waiting[to] -= 1;
        if waiting[to] == 0 {
            run_down(&directions.codes, offsets, to, &mut weights, &mut waiting);
        }
    }
    weights
}

/// Hands totals on downstream until a cell waits for another tributary or water leaves; what leaves the run of cells
/// is given back with its receiver (counted from the first cell, wrapping).
fn run_down<T: Copy + AddAssign>(
    codes: &[u8],
    offsets: [usize; 8],
    head: usize,
    totals: &mut [T],
    waiting: &mut [u8],
) -> Option<(usize, T)> {
    let mut here = head;
    loop {
        waiting[here] = VISITED;
        let code = codes[here];
        if code >= LEAVES {
            return None;
        }
        let total = totals[here];
        let to = here.wrapping_add(offsets[usize::from(code)]);
        if to >= codes.len() {
            return Some((to, total));
        }
        totals[to] += total;
        waiting[to] -= 1;
        if waiting[to] > 0 {
            return None;
        }
        here = to;
    }
}

/// Total of `weights` over each cell and everything upstream of it, row-major; zero in invalid cells.
///
/// `weights` holds one number per cell of the grid; what stands in invalid cells is not counted.
#[must_use]
pub fn accumulate(flow: &FlowField, weights: &[f64]) -> Vec<f64> {
    let mut total = vec![0.0; flow.downstream.len()];
    for i in flow.upstream_first.iter().map(|i| *i as usize) {
        total[i] += weights[i];
        if let Some(to) = receiver(flow, i) {
            total[to] += total[i];
        }
    }
    total
}

/// Whether each cell drains to `mouth_index` (the mouth itself does), row-major.
#[must_use]
pub fn catchment_of(flow: &FlowField, mouth_index: usize) -> Vec<bool> {
    let mut inside = vec![false; flow.downstream.len()];
    inside[mouth_index] = true;
    for i in flow.upstream_first.iter().rev().map(|i| *i as usize) {
        if receiver(flow, i).is_some_and(|to| inside[to]) {
            inside[i] = true;
        }
    }
    inside
}

#[cfg(test)]
pub(super) fn textbook_ground() -> crate::grid::Raster<f32> {
    crate::grid::text::grid_from_text(
        "78 72 69 71 58 49
         74 67 56 49 46 50
         69 53 44 37 38 48
         64 58 55 22 31 24
         68 61 47 21 16 19
         74 53 34 12 11 12",
        1.0,
    )
}

#[cfg(test)]
pub(super) fn second_ground() -> crate::grid::Raster<f32> {
    crate::grid::text::grid_from_text(
        "1 4 6 12 20 44
         3 4 8 11 13 24
         5 8 15 20 25 39
         9 14 22 32 37 47
         12 18 31 39 44 52
         14 26 36 43 48 58",
        1.0,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::grid::{GridSpec, Raster};
    use crate::methods::flow::direction::OFF_GRID;
    use crate::methods::flow::random_ground::ground_with_holes;
    use crate::methods::flow::{fill, route, steepest_slope};
    use geo::Coord;
    use proptest::prelude::*;

    fn cells(ground: &Raster<f32>) -> Vec<f64> {
        accumulate(&route(ground), &vec![1.0; ground.spec.len()])
    }

    /// Same source as `direction::tests::textbook_grid`.
    #[test]
    fn textbook_totals() {
        let expected = [
            1, 1, 1, 1, 1, 1, 1, 2, 2, 3, 3, 1, 1, 4, 8, 6, 5, 1, 1, 1, 1, 21, 1, 2, 1, 1, 1, 2, 25, 1, 1, 3, 5, 8, 36,
            2,
        ];
        assert_eq!(cells(&textbook_ground()), expected.map(f64::from));
    }

    /// Same source as `direction::tests::second_grid`; totals recomputed by an independent program.
    #[test]
    fn second_totals() {
        let expected = [
            36, 14, 13, 3, 2, 1, 11, 10, 1, 9, 5, 1, 10, 5, 3, 3, 2, 1, 8, 1, 4, 2, 2, 1, 3, 4, 2, 3, 1, 1, 2, 1, 1, 1,
            2, 1,
        ];
        assert_eq!(cells(&second_ground()), expected.map(f64::from));
    }

    /// Grid `dans_grid2` of the landlab test-suite (tests/components/flow_accum/conftest.py): areas and
    /// steepest slopes of the core; only the core yields water there.
    #[test]
    fn open_rim_areas() {
        let ground = grid_from_text(
            "7 7 7 7 7
             7 5 3.2 6 7
             7 2 3 5 7
             7 1 1.9 4 7
             7 0 7 7 7",
            10.0,
        );
        let core = [6, 7, 8, 11, 12, 13, 16, 17, 18];
        let mut weights = vec![0.0; 25];
        core.iter().for_each(|i| weights[*i] = 100.0);
        let area = accumulate(&route(&ground), &weights);
        assert_eq!(core.map(|i| area[i]), [100.0, 200.0, 100.0, 400.0, 100.0, 100.0, 600.0, 300.0, 100.0]);
        assert_eq!(area[21], 900.0);
        let slope = steepest_slope(&ground);
        let expected = [0.3, 0.084_852_81, 0.28, 0.1, 0.141_421_36, 0.219_203_10, 0.1, 0.134_350_29, 0.21];
        for (i, s) in core.iter().zip(expected) {
            // Heights are f32: 1e-7 of a height over 10 m.
            assert!((f64::from(slope.values[*i]) - s).abs() < 5e-8, "cell {i}");
        }
    }

    /// Grid `dans_grid1` of landlab and testdem1 of richdem (tests/flow_accum): water runs straight west.
    #[test]
    fn sheet_plane() {
        let ground = grid_from_text(&"0 10 20 30 40\n".repeat(5), 10.0);
        let mut weights = vec![0.0; 25];
        for row in 1..4 {
            (1..4).for_each(|col| weights[row * 5 + col] = 1.0);
        }
        let total = accumulate(&route(&ground), &weights);
        for row in 1..4 {
            assert_eq!(total[row * 5..row * 5 + 4], [3.0, 3.0, 2.0, 1.0]);
        }
        let north: String = (0..10).map(|r| format!("{r} ").repeat(10) + "\n").collect();
        let total = cells(&grid_from_text(&north, 1.0));
        for row in 0..10 {
            assert!(total[row * 10..][..10].iter().all(|t| *t == (10 - row) as f64));
        }
    }

    /// Directions testdem2 of the richdem test-suite (tests/flow_accum): all north but one braided row.
    #[test]
    fn braided_rows() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 10.0 }, cell_m: 1.0, rows: 10, cols: 10 };
        let sideways = [1_i32, 0, -1, 0, 1, 0, -1, 0, 1, 0];
        let downstream: Vec<u32> = (0..100)
            .map(|i| match (i / 10, i % 10) {
                (0, _) => OFF_GRID,
                (5, col) => (i - 10 + sideways[col as usize]) as u32,
                _ => (i - 10) as u32,
            })
            .collect();
        let upstream_first = (0..100).rev().collect();
        let total = accumulate(&FlowField { spec, downstream, upstream_first }, &[1.0; 100]);
        assert_eq!(total[40..50], [1.0, 16.0, 1.0, 6.0, 1.0, 16.0, 1.0, 6.0, 1.0, 11.0]);
        assert_eq!(total[..10], [5.0, 20.0, 5.0, 10.0, 5.0, 20.0, 5.0, 10.0, 5.0, 15.0]);
        for row in 5..10 {
            assert!(total[row * 10..][..10].iter().all(|t| *t == (10 - row) as f64));
        }
    }

    /// Derived: in a straight valley whose sides fall steeper than its diagonal, sides run square to the
    /// channel and the channel gains a whole row each step.
    #[test]
    fn v_valley() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 100.0 }, cell_m: 10.0, rows: 10, cols: 11 };
        let mut ground = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            let cell = spec.cell(i);
            let side = f64::from(cell.col.abs_diff(5));
            ground.values[i] = (100.0 - 0.1 * f64::from(cell.row) + 0.5 * side) as f32;
        }
        let total = cells(&ground);
        for row in 0..10 {
            let channel = 11.0 * (row + 1) as f64;
            let line = [1.0, 2.0, 3.0, 4.0, 5.0, channel, 5.0, 4.0, 3.0, 2.0, 1.0];
            assert_eq!(total[row * 11..][..11], line);
        }
    }

    proptest! {
        /// What leaves over the rim is every valid cell, once; a catchment counts what its mouth passes.
        #[test]
        fn rim_receives_every_cell(ground in ground_with_holes()) {
            let flow = route(&fill(&ground));
            let total = accumulate(&flow, &vec![1.0; ground.spec.len()]);
            let all = flow.upstream_first.iter().map(|i| *i as usize);
            let leaving: f64 = all.filter(|i| flow.downstream[*i] == OFF_GRID).map(|i| total[i]).sum();
            prop_assert_eq!(leaving, ground.count_valid() as f64);
            let directions = crate::methods::flow::directions(&fill(&ground));
            let counted = super::cells_upstream(&directions);
            let added = super::accumulate_along(&directions, vec![1.0; ground.spec.len()]);
            for i in flow.upstream_first.iter().map(|i| *i as usize) {
                prop_assert_eq!(f64::from(counted[i]), total[i]);
                prop_assert_eq!(added[i], total[i]);
            }
            for i in flow.upstream_first.iter().take(5).chain(flow.upstream_first.iter().rev().take(5)) {
                let inside = catchment_of(&flow, *i as usize);
                prop_assert_eq!(inside.iter().filter(|c| **c).count() as f64, total[*i as usize]);
            }
        }
    }
}
