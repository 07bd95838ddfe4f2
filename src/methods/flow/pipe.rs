//! Opens the ground along a buried pipe, so that flow takes it through what stands above.
//!
//! Each end of the pipe is taken to the lowest ground within a reach of its mapped place, as maps are some metres off and
//! a pipe begins at the foot of the bank. The ground along the way from end to end is lowered to an even fall between the
//! two levels; ground lower than the pipe stays. The end with the higher ground is the upper one.
//!
//! Shapes and units: heights rows x cols, metres; the line, levels and reach metres. Ties by first found, north-west first.
//!
//! Source: common practice, no source (stream burning along mapped culverts).
//!
//! How we know: by hand on a bank with a pipe under it (`water_behind_a_bank_goes_through_the_pipe`), and on random
//! grounds (`ground_only_falls_and_the_way_falls_evenly`).

use super::breach::Breach;
use crate::grid::{Cell, Raster};
use geo::{Coord, Distance, Euclidean, Length, LineString};

/// A pipe as mapped.
#[derive(Debug, Clone, PartialEq)]
pub struct Pipe<'a> {
    /// From end to end, in either order.
    pub line: &'a LineString<f64>,
    /// Level of the bed at the upper and lower end, metres, where known.
    pub levels_m: [Option<f64>; 2],
}

/// Lowers the ground along a pipe; gives the way taken, upper end first. `None`, and the ground untouched, where an end
/// has no ground within `reach_m`, or both come out in one cell.
pub fn open_pipe(surface: &mut Raster<f32>, pipe: &Pipe<'_>, reach_m: f64) -> Option<Breach> {
    let (first, last) = (*pipe.line.0.first()?, *pipe.line.0.last()?);
    let mut ends = [lowest_near(surface, first, last, reach_m)?, lowest_near(surface, last, first, reach_m)?];
    let mut line = pipe.line.0.clone();
    if surface.get(ends[0])? < surface.get(ends[1])? {
        ends.reverse();
        line.reverse();
    }
    let spec = surface.spec;
    let way: Vec<Coord<f64>> =
        std::iter::once(spec.centre(ends[0])).chain(line).chain([spec.centre(ends[1])]).collect();
    let cells = cells_along(surface, &LineString(way));
    if cells.len() < 2 {
        return None;
    }
    let ground = |c: Cell| f64::from(surface.values[spec.index(c)]);
    let [mut upper_m, mut lower_m] = [0, 1].map(|k| pipe.levels_m[k].unwrap_or_else(|| ground(ends[k])));
    if upper_m < lower_m {
        std::mem::swap(&mut upper_m, &mut lower_m);
    }
    let centres: Vec<Coord<f64>> = cells.iter().map(|c| spec.centre(*c)).collect();
    let mut along_m = vec![0.0];
    for pair in centres.windows(2) {
        along_m.push(along_m[along_m.len() - 1] + Euclidean.distance(pair[0], pair[1]));
    }
    let length_m = along_m[along_m.len() - 1];
    let mut depth_m = 0.0_f64;
    for (cell, at_m) in cells.iter().zip(along_m) {
        let bed_m = upper_m + (lower_m - upper_m) * at_m / length_m;
        let i = spec.index(*cell);
        // The way may cross ground nobody surveyed, a roof or the water of a dam; the pipe is there all the same.
        let above_m = if surface.valid[i] { f64::from(surface.values[i]) - bed_m } else { 0.0 };
        if above_m > 0.0 || !surface.valid[i] {
            surface.set(*cell, bed_m as f32);
        }
        depth_m = depth_m.max(above_m);
    }
    Some(Breach { cells, length_m, depth_m })
}

/// The lowest cell with ground within reach of one end of a pipe, and on that end's half.
fn lowest_near(surface: &Raster<f32>, end: Coord<f64>, other: Coord<f64>, reach_m: f64) -> Option<Cell> {
    let spec = surface.spec;
    let here = spec.cell_at(end)?;
    let reach = (reach_m / spec.cell_m).floor() as u32;
    let rows = here.row.saturating_sub(reach)..=(here.row + reach).min(spec.rows - 1);
    let cells = rows.flat_map(|row| {
        (here.col.saturating_sub(reach)..=(here.col + reach).min(spec.cols - 1)).map(move |col| Cell::new(row, col))
    });
    let this_half = |c: &Cell| {
        let at = spec.centre(*c);
        let from_m = Euclidean.distance(at, end);
        *c == here || (from_m <= reach_m && from_m < Euclidean.distance(at, other))
    };
    let with_ground = cells.filter(this_half).filter_map(|c| surface.get(c).map(|z| (z, c)));
    with_ground.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, c)| c)
}

/// The cells a line passes, each beside the one before.
fn cells_along(surface: &Raster<f32>, line: &LineString<f64>) -> Vec<Cell> {
    let spec = surface.spec;
    let steps = (2.0 * Euclidean.length(line) / spec.cell_m).ceil().max(1.0) as usize;
    let mut cells: Vec<Cell> = Vec::new();
    for piece in line.lines() {
        let share = (Euclidean.length(&piece) / Euclidean.length(line).max(f64::MIN_POSITIVE) * steps as f64).ceil();
        for k in 0..=share as usize {
            let at = piece.start + piece.delta() * (k as f64 / share.max(1.0));
            let Some(cell) = spec.cell_at(at) else { continue };
            // A way that comes back to where it has been goes straight on from there.
            let before = cells.iter().position(|c| *c == cell);
            cells.truncate(before.unwrap_or(cells.len()));
            cells.push(cell);
        }
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::random_ground::any_ground;
    use crate::methods::flow::{depressions, fill};
    use geo::line_string;
    use proptest::prelude::*;

    /// By hand: a hollow at 2 behind a bank of 5, 20 m thick; beyond it 1. The pipe is drawn from foot to foot, its ends
    /// one cell off.
    #[test]
    fn water_behind_a_bank_goes_through_the_pipe() {
        let mut ground = grid_from_text(
            "9 9 9 9 9 9 0
             9 3 3 5 5 1 0
             9 2 3 5 5 1 0
             9 3 3 5 5 1 0
             9 9 9 9 9 9 0",
            10.0,
        );
        let centre = |row, col| ground.spec.centre(Cell::new(row, col));
        let line = LineString(vec![centre(2, 5), centre(2, 2)]);
        let mut by_levels = ground.clone();
        let way = open_pipe(&mut ground, &Pipe { line: &line, levels_m: [None, None] }, 10.0).unwrap();
        let row = |cols: &[u32]| cols.iter().map(|c| Cell::new(2, *c)).collect::<Vec<_>>();
        // The lower end moves on to 0, one cell further.
        assert_eq!(way.cells, row(&[1, 2, 3, 4, 5, 6]));
        let bed = [2.0, 1.6, 1.2, 0.8, 0.4, 0.0];
        let found: Vec<f32> = way.cells.iter().map(|c| ground.get(*c).unwrap()).collect();
        assert!(found.iter().zip(bed).all(|(a, b)| (f64::from(*a) - b).abs() < 1e-6), "{found:?}");
        assert!((way.depth_m - 4.2).abs() < 1e-6 && (way.length_m - 50.0).abs() < 1e-9);
        assert!(depressions(&ground, &fill(&ground), 0.1, 0.0).is_empty());
        // A pipe laid high keeps the water up to the highest bed on its way above ground: 10 of 50 m from its upper end.
        let high = Pipe { line: &line, levels_m: [Some(2.5), Some(2.4)] };
        open_pipe(&mut by_levels, &high, 10.0).unwrap();
        assert_eq!(fill(&by_levels).get(Cell::new(2, 1)), Some(2.48));
    }

    #[test]
    fn a_pipe_off_the_ground_is_left() {
        let mut ground = grid_from_text("3 2 1", 10.0);
        let before = ground.clone();
        let far = ground.spec.centre(Cell::new(0, 0)) + Coord { x: -500.0, y: 0.0 };
        let line = LineString(vec![far, ground.spec.centre(Cell::new(0, 1))]);
        assert!(open_pipe(&mut ground, &Pipe { line: &line, levels_m: [None; 2] }, 5.0).is_none());
        let dot = line_string![(x: far.x, y: far.y)];
        assert!(open_pipe(&mut ground, &Pipe { line: &dot, levels_m: [None; 2] }, 5.0).is_none());
        assert_eq!(ground, before);
    }

    proptest! {
        /// Ground only falls, each cell of the way touches the one before, the upper end is no lower than the lower one, and
        /// nothing along the way stands higher than the upper end.
        #[test]
        fn ground_only_falls_and_the_way_falls_evenly(
            ground in any_ground(), ends in proptest::array::uniform4(0.0..1.0_f64), reach in 0.0..30.0_f64,
        ) {
            let extent = ground.spec.extent();
            let at = |u: f64, v: f64| extent.min() + Coord { x: u * extent.width(), y: v * extent.height() };
            let line = LineString(vec![at(ends[0], ends[1]), at(ends[2], ends[3])]);
            let mut after = ground.clone();
            if let Some(way) = open_pipe(&mut after, &Pipe { line: &line, levels_m: [None; 2] }, reach) {
                let apart = |p: &[Cell]| p[0].row.abs_diff(p[1].row).max(p[0].col.abs_diff(p[1].col));
                prop_assert!(way.cells.windows(2).all(|p| apart(p) == 1));
                let ends = (after.get(way.cells[0]).unwrap(), after.get(way.cells[way.cells.len() - 1]).unwrap());
                prop_assert!(ends.0 >= ends.1 - 1e-4);
                prop_assert!(way.cells.iter().all(|c| after.get(*c).unwrap() <= ends.0 + 1e-4));
            } else {
                prop_assert_eq!(&after, &ground);
            }
            prop_assert!(ground.iter().all(|(c, z)| after.get(c).unwrap() <= z));
        }
    }
}
