//! Where each cell sends its water: one receiver, the neighbour of steepest descent.
//!
//! Works on a filled surface. A cell with a lower neighbour drains to the one with the steepest drop over
//! distance. A cell of the rim without a lower neighbour drains off the grid. What is left lies on flats,
//! which drain to their outlets without being raised (see `flats`).
//!
//! Shapes and units: heights rows x cols, metres; directions one byte a cell. Ties: the first neighbour clockwise from
//! east (E, SE, S, SW, W, NW, N, NE). Drops are compared in 32-bit numbers. Time O(n), memory 5 bytes a cell where
//! there are flats, else 1.
//!
//! Source: [`Bibliography::OCallaghanMark1984`](crate::bibliography::Bibliography::OCallaghanMark1984);
//! flats by [`Bibliography::BarnesFlats2014`](crate::bibliography::Bibliography::BarnesFlats2014).
//!
//! How we know: published grids with directions, slopes and accumulation (`textbook_grid`, `second_grid`,
//! and the tests of `accumulation`), properties on random grounds with flats and holes (`all_cells_drain`).

use super::flats::resolve_flats;
use super::frame::{Frame, NOWHERE, padded_row};
use crate::grid::{FlowField, GridSpec, NEIGHBOURS, Raster};
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
/// Direction index of a cell without a value.
pub(super) const NO_CELL: u8 = 9;
/// Direction index of a cell whose direction is not known yet.
pub(super) const UNKNOWN: u8 = 255;

/// Where each cell sends its water, one byte a cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Directions {
    /// Rows and columns of the grid.
    pub(super) rows: usize,
    /// Columns.
    pub(super) cols: usize,
    /// Row-major: 0 to 7 clockwise from east, 8 off the grid, 9 no cell.
    pub(super) codes: Vec<u8>,
}

impl Directions {
    /// The receiver of a cell, if it has one on the grid.
    #[must_use]
    pub fn receiver(&self, index: usize) -> Option<usize> {
        let code = self.codes[index];
        (code < LEAVES).then(|| index.wrapping_add(self.offsets()[usize::from(code)]))
    }

    /// Whether a cell takes part: it has a height.
    #[must_use]
    pub fn has_cell(&self, index: usize) -> bool {
        self.codes[index] != NO_CELL
    }

    /// What to add to an index, wrapping, to step in each direction.
    pub(super) fn offsets(&self) -> [usize; 8] {
        NEIGHBOURS.map(|(dr, dc)| (dr as isize * self.cols as isize + dc as isize) as usize)
    }

    /// The same as lists of receivers and an order of working, for repeated passes: 8 bytes a cell more.
    #[must_use]
    pub fn into_flow_field(self, spec: GridSpec) -> FlowField {
        let offsets = self.offsets();
        let downstream: Vec<u32> = self
            .codes
            .par_iter()
            .enumerate()
            .map(|(i, code)| if *code < LEAVES { i.wrapping_add(offsets[usize::from(*code)]) as u32 } else { OFF_GRID })
            .collect();
        let upstream_first = self.upstream_first();
        FlowField { spec, downstream, upstream_first }
    }

    /// Follows every headwater down until a cell still waits for another tributary.
    fn upstream_first(&self) -> Vec<u32> {
        let mut waiting = self.inflows();
        let offsets = self.offsets();
        let mut order = Vec::with_capacity(self.codes.len());
        for head in 0..self.codes.len() {
            if waiting[head] != 0 || self.codes[head] == NO_CELL {
                continue;
            }
            let mut here = head;
            loop {
                order.push(here as u32);
                let code = self.codes[here];
                if code >= LEAVES {
                    break;
                }
                here = here.wrapping_add(offsets[usize::from(code)]);
                waiting[here] -= 1;
                if waiting[here] > 0 {
                    break;
                }
                waiting[here] = VISITED;
            }
        }
        order
    }

    /// Number of neighbours that drain to each cell.
    pub(super) fn inflows(&self) -> Vec<u8> {
        let cols = self.cols;
        let mut count = vec![0_u8; self.codes.len()];
        count.par_chunks_mut((ROWS_A_TASK * cols).max(1)).enumerate().for_each(|(task, lines)| {
            let mut around = [vec![NO_CELL; cols + 2], vec![NO_CELL; cols + 2], vec![NO_CELL; cols + 2]];
            let first = task * ROWS_A_TASK;
            let load = |row: Option<usize>, line: &mut Vec<u8>| match row.filter(|r| *r < self.rows) {
                Some(row) => line[1..=cols].copy_from_slice(&self.codes[row * cols..(row + 1) * cols]),
                None => line.fill(NO_CELL),
            };
            load(first.checked_sub(1), &mut around[0]);
            load(Some(first), &mut around[1]);
            for (k, line) in lines.chunks_mut(cols).enumerate() {
                load(Some(first + k + 1), &mut around[2]);
                count_inflows(&around, line);
                around.rotate_left(1);
            }
        });
        count
    }
}

/// Rows a thread works on at a time.
pub(super) const ROWS_A_TASK: usize = 64;
/// In a count of inflows: the cell has been passed on the way down from another one.
pub(super) const VISITED: u8 = 255;

/// Counts the neighbours that point at each cell of the middle row; rows have a margin of one cell.
fn count_inflows(around: &[Vec<u8>; 3], line: &mut [u8]) {
    let n = line.len();
    let [above, here, below] = around.each_ref().map(|row| &row[..n + 2]);
    for k in 0..n {
        line[k] = u8::from(here[k + 2] == 4)
            + u8::from(below[k + 2] == 5)
            + u8::from(below[k + 1] == 6)
            + u8::from(below[k] == 7)
            + u8::from(here[k] == 0)
            + u8::from(above[k] == 1)
            + u8::from(above[k + 1] == 2)
            + u8::from(above[k + 2] == 3);
    }
}

/// Directions over a filled surface (see [`fill`](super::fill)).
///
/// Every valid cell reaches the rim. On a surface with depressions left in it, the cells of a depression
/// would drain to its floor and leave there, so fill first.
#[must_use]
pub fn directions(filled: &Raster<f32>) -> Directions {
    let (rows, cols) = (filled.spec.rows as usize, filled.spec.cols as usize);
    let mut codes = without_flats(filled);
    resolve_flats(filled, &mut codes);
    Directions { rows, cols, codes }
}

/// Directions by steepest descent alone; [`UNKNOWN`] on flats.
pub(super) fn without_flats(filled: &Raster<f32>) -> Vec<u8> {
    let cols = filled.spec.cols as usize;
    let mut codes = vec![UNKNOWN; filled.spec.len()];
    codes.par_chunks_mut((ROWS_A_TASK * cols).max(1)).enumerate().for_each(|(task, lines)| {
        let mut around = [vec![NOWHERE; cols + 2], vec![NOWHERE; cols + 2], vec![NOWHERE; cols + 2]];
        let mut wide = vec![0_i32; cols];
        let first = task * ROWS_A_TASK;
        padded_row(filled, first.checked_sub(1), &mut around[0]);
        padded_row(filled, Some(first), &mut around[1]);
        for (k, line) in lines.chunks_mut(cols).enumerate() {
            padded_row(filled, Some(first + k + 1), &mut around[2]);
            steepest_row(&around, &mut wide);
            line.iter_mut().zip(&wide).for_each(|(code, dir)| *code = *dir as u8);
            without_descent(&around, line);
            around.rotate_left(1);
        }
    });
    codes
}

/// Routes water over a filled surface: [`directions`] with an order of working.
#[must_use]
pub fn route(filled: &Raster<f32>) -> FlowField {
    directions(filled).into_flow_field(filled.spec)
}

/// Direction of steepest descent of each cell of the middle row; [`UNKNOWN`] where no neighbour is lower.
fn steepest_row(around: &[Vec<f32>; 3], out: &mut [i32]) {
    let n = out.len();
    let [above, here, below] = around.each_ref().map(|row| &row[..n + 2]);
    for k in 0..n {
        let z = here[k + 1];
        let drops = [
            z - here[k + 2],
            (z - below[k + 2]) * std::f32::consts::FRAC_1_SQRT_2,
            z - below[k + 1],
            (z - below[k]) * std::f32::consts::FRAC_1_SQRT_2,
            z - here[k],
            (z - above[k]) * std::f32::consts::FRAC_1_SQRT_2,
            z - above[k + 1],
            (z - above[k + 2]) * std::f32::consts::FRAC_1_SQRT_2,
        ];
        let (mut best, mut direction) = (0.0_f32, i32::from(UNKNOWN));
        for (dir, drop) in (0_i32..).zip(drops) {
            let steeper = drop > best;
            best = if steeper { drop } else { best };
            direction = if steeper { dir } else { direction };
        }
        out[k] = direction;
    }
}

/// Marks invalid cells, and tells cells of the rim apart from flats among the cells without a lower neighbour.
fn without_descent(around: &[Vec<f32>; 3], line: &mut [u8]) {
    for (k, code) in line.iter_mut().enumerate() {
        if around[1][k + 1] == NOWHERE {
            *code = NO_CELL;
        } else if *code == UNKNOWN && around.iter().any(|row| row[k..k + 3].contains(&NOWHERE)) {
            *code = LEAVES;
        }
    }
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
            (steepest_drop(elevation, grid, i) / elevation.spec.cell_m) as f32
        })
        .collect();
    Raster { spec: elevation.spec, values, valid: elevation.valid.clone() }
}

/// Greatest drop per cell width to a neighbour; zero where no neighbour is lower.
fn steepest_drop(surface: &Raster<f32>, grid: Frame, i: usize) -> f64 {
    let here = f64::from(surface.values[i]);
    let mut best = 0.0_f64;
    for (dir, (dr, dc)) in NEIGHBOURS.iter().enumerate() {
        let Some(n) = grid.step(i, dir).filter(|n| surface.valid[*n]) else { continue };
        let distance = if *dr != 0 && *dc != 0 { std::f64::consts::SQRT_2 } else { 1.0 };
        best = best.max((here - f64::from(surface.values[n])) / distance);
    }
    best
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
