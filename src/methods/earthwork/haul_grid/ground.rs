//! The ground that hauls run over: cells, steps between them, obstacles and priced crossings.
//!
//! From each cell sixteen steps lead to the eight neighbours and the eight cells a knight's move away. A step costs its
//! length, plus a factor times its climb, plus the price of every line it crosses. A step is missing when an end or a
//! cell it passes over (for a diagonal: either cell at its corner, because a machine has width) is not to be driven on.
//! Shapes and units: grids row by row, north to south; metres; costs as whole micrometres of level haul.
//! Ties: a step that ends on a line counts as being on the left of it, so that going on across is priced once; a line
//! crossed several times within one step is priced once. Complexity: linear in cells and in pieces of lines.
//! Source: [`Bibliography::Bassetti2020`](crate::bibliography::Bibliography::Bassetti2020) for transport by arcs between near
//! cells of a grid; shortest ways by [`Bibliography::Dijkstra1959`](crate::bibliography::Bibliography::Dijkstra1959).
//! How we know: shortest ways against a library on random obstacles (`agrees_with_a_library`), hand cases
//! (`corners_are_not_cut`, `lines_are_priced_once`, `climbs_cost`), longest detour of the fan (`fan_is_within_its_bound`).

use super::HaulError;
use crate::grid::{Cell, GridSpec};
use geo::{Coord, LineString};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Micrometres in a metre: costs are whole numbers, so that optimum and proof are equal to the last digit.
pub(super) const UNITS_PER_M: f64 = 1e6;
/// The dearest crossing, metres; dearer ones are written as infinite, that is, not to be crossed.
pub const MOST_CROSSING_M: f64 = 100_000.0;

/// The dearest step, metres: climbs beyond it are no ground for earth machines.
const MOST_STEP_M: f64 = 1_000_000.0;

/// A line that hauls may cross at a price: a drain, a track, a waterway.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// Where it runs.
    pub line: LineString<f64>,
    /// Metres of level haul that one crossing is worth, 0 to [`MOST_CROSSING_M`]; infinite: not to be crossed.
    pub price_m: f64,
}

/// Ground that hauls run over.
#[derive(Debug, Clone, PartialEq)]
pub struct HaulGround {
    /// The grid, usually of 10 to 20 m cells.
    pub spec: GridSpec,
    /// Whether a cell may be driven on, row by row.
    pub passable: Vec<bool>,
    /// Height of each cell, metres; nothing when climbs are not counted. Heights that are not finite count as level.
    pub heights_m: Option<Vec<f64>>,
    /// Metres of level haul that one metre of climb is worth, zero or more.
    pub uphill_factor: f64,
    /// Lines with a price.
    pub crossings: Vec<Crossing>,
}

/// Steps as (rows, columns) to one half of the sixteen; the other half is opposite.
const HALF_FAN: [(i64, i64); 8] = [(0, 1), (1, 1), (1, 0), (1, -1), (1, 2), (2, 1), (2, -1), (1, -2)];

/// The two cells that a step passes over, as steps from its start; none for a straight one.
fn passed_over((dr, dc): (i64, i64)) -> Option<[(i64, i64); 2]> {
    let (row, col) = (dr.signum(), dc.signum());
    match (dr.abs(), dc.abs()) {
        (1, 1) => Some([(row, 0), (0, col)]),
        (1, 2) => Some([(0, col), (row, col)]),
        (2, 1) => Some([(row, 0), (row, col)]),
        _ => None,
    }
}

/// The steps there are, by cell.
#[derive(Debug, Clone, PartialEq)]
pub struct StepGraph {
    /// Position of each cell's first step; one more at the end.
    pub start: Vec<usize>,
    /// Cell each step leads to.
    pub to: Vec<u32>,
    /// Cost of each step, micrometres of level haul.
    pub cost: Vec<i64>,
}

impl HaulGround {
    /// Level ground without obstacles.
    #[must_use]
    pub fn open(spec: GridSpec) -> Self {
        Self { spec, passable: vec![true; spec.len()], heights_m: None, uphill_factor: 0.0, crossings: Vec::new() }
    }

    /// Whether every haul costs just its length and may go anywhere.
    #[must_use]
    pub fn is_open(&self) -> bool {
        let level = self.uphill_factor == 0.0 || self.heights_m.is_none();
        level && self.passable.iter().all(|p| *p) && self.crossings.iter().all(|c| c.price_m == 0.0)
    }

    /// The cell a step away, when it is on the grid.
    fn stepped(&self, cell: Cell, (dr, dc): (i64, i64)) -> Option<Cell> {
        let row = u32::try_from(i64::from(cell.row) + dr).ok().filter(|r| *r < self.spec.rows)?;
        let col = u32::try_from(i64::from(cell.col) + dc).ok().filter(|c| *c < self.spec.cols)?;
        Some(Cell::new(row, col))
    }

    /// Where a step leads, unless an obstacle is in its way.
    fn free_step(&self, from: Cell, step: (i64, i64)) -> Option<Cell> {
        let free = |cell: Cell| self.passable[self.spec.index(cell)];
        let to = self.stepped(from, step)?;
        let over = passed_over(step).into_iter().flatten();
        let clear = over.map(|by| self.stepped(from, by)).all(|cell| cell.is_some_and(free));
        (free(from) && free(to) && clear).then_some(to)
    }

    fn check(&self) -> Result<(), HaulError> {
        let n = self.spec.len();
        for (what, length) in
            [("passable cells", self.passable.len()), ("heights", self.heights_m.as_ref().map_or(n, Vec::len))]
        {
            if length != n {
                return Err(HaulError::Length { what, length, cells: n });
            }
        }
        if !(self.uphill_factor.is_finite() && self.uphill_factor >= 0.0) {
            return Err(HaulError::Number { what: "uphill factor", value: self.uphill_factor });
        }
        let bad = |c: &&Crossing| !(c.price_m == f64::INFINITY || (0.0..=MOST_CROSSING_M).contains(&c.price_m));
        match self.crossings.iter().find(bad) {
            Some(crossing) => Err(HaulError::Number { what: "crossing price", value: crossing.price_m }),
            None => Ok(()),
        }
    }

    /// All steps with their cost.
    ///
    /// # Errors
    /// [`HaulError`] when lengths do not match the grid or a number is out of its range.
    pub fn graph(&self) -> Result<StepGraph, HaulError> {
        self.check()?;
        let prices = self.crossing_prices();
        let mut steps: Vec<(u32, u32, i64)> = Vec::with_capacity(self.spec.len() * 16);
        for index in 0..self.spec.len() {
            let from = self.spec.cell(index);
            for (k, step) in HALF_FAN.into_iter().enumerate() {
                let price_m = prices[index * HALF_FAN.len() + k];
                if price_m.is_infinite() {
                    continue;
                }
                let Some(to) = self.free_step(from, step) else { continue };
                let to = self.spec.index(to);
                let length_m = self.spec.cell_m * ((step.0 * step.0 + step.1 * step.1) as f64).sqrt();
                let rise_m = self.heights_m.as_ref().map_or(0.0, |z| z[to] - z[index]);
                let rise_m = if rise_m.is_finite() { rise_m } else { 0.0 };
                let cost = |climb_m: f64| units(length_m + self.uphill_factor * climb_m.max(0.0) + price_m);
                if self.uphill_factor * rise_m.abs() + price_m > MOST_STEP_M {
                    return Err(HaulError::Number { what: "climb of a step", value: rise_m });
                }
                steps.push((number(index), number(to), cost(rise_m)));
                steps.push((number(to), number(index), cost(-rise_m)));
            }
        }
        steps.sort_unstable();
        let mut graph = StepGraph { start: vec![0; self.spec.len() + 1], to: Vec::new(), cost: Vec::new() };
        for (from, to, cost) in steps {
            graph.start[from as usize + 1] += 1;
            graph.to.push(to);
            graph.cost.push(cost);
        }
        for i in 0..self.spec.len() {
            graph.start[i + 1] += graph.start[i];
        }
        Ok(graph)
    }

    /// Price of the lines that each step of the half fan crosses, metres; cell by cell, eight each.
    fn crossing_prices(&self) -> Vec<f64> {
        let mut prices = vec![0.0; self.spec.len() * HALF_FAN.len()];
        let mut last_line = vec![usize::MAX; if self.crossings.is_empty() { 0 } else { prices.len() }];
        for (number, crossing) in self.crossings.iter().enumerate() {
            for segment in crossing.line.lines() {
                self.for_each_crossed(segment.start, segment.end, |slot| {
                    if last_line[slot] != number {
                        last_line[slot] = number;
                        prices[slot] += crossing.price_m;
                    }
                });
            }
        }
        prices
    }

    /// Calls with the position of each step of the half fan that crosses a segment.
    fn for_each_crossed(&self, start: Coord<f64>, end: Coord<f64>, mut found: impl FnMut(usize)) {
        let pieces = ((end.x - start.x).hypot(end.y - start.y) / self.spec.cell_m).ceil().max(1.0);
        if !pieces.is_finite() {
            return;
        }
        // Pieces no longer than a cell, so that few steps need a look; neighbours share their end to the last bit.
        let at = |k: f64| {
            if k < pieces { start + (end - start) * (k / pieces) } else { end }
        };
        let mut k = 0.0;
        while k < pieces {
            let (p, q) = (at(k), at(k + 1.0));
            for (row, col) in self.near(p, q) {
                let from = Cell::new(row, col);
                for (slot, step) in HALF_FAN.into_iter().enumerate() {
                    let Some(to) = self.stepped(from, step) else { continue };
                    if crosses(self.spec.centre(from), self.spec.centre(to), p, q) {
                        found(self.spec.index(from) * HALF_FAN.len() + slot);
                    }
                }
            }
            k += 1.0;
        }
    }

    /// Cells from which a step could reach a short piece.
    fn near(&self, p: Coord<f64>, q: Coord<f64>) -> impl Iterator<Item = (u32, u32)> + use<> {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid")]
        let range = |low: f64, high: f64, count: u32| {
            let clamp = |cells: f64| cells.floor().clamp(0.0, f64::from(count)) as u32;
            clamp(low / self.spec.cell_m - 2.5)..clamp(high / self.spec.cell_m + 3.5)
        };
        let (west, north) = (self.spec.north_west.x, self.spec.north_west.y);
        let rows = range(north - p.y.max(q.y), north - p.y.min(q.y), self.spec.rows);
        let cols = range(p.x.min(q.x) - west, p.x.max(q.x) - west, self.spec.cols);
        rows.flat_map(move |row| cols.clone().map(move |col| (row, col)))
    }
}

/// Whether two segments cross; an end on the other's line counts as left of it.
fn crosses(a: Coord<f64>, b: Coord<f64>, p: Coord<f64>, q: Coord<f64>) -> bool {
    let left = |from: Coord<f64>, to: Coord<f64>, of: Coord<f64>| {
        (to.x - from.x) * (of.y - from.y) - (to.y - from.y) * (of.x - from.x) >= 0.0
    };
    left(p, q, a) != left(p, q, b) && left(a, b, p) != left(a, b, q)
}

impl StepGraph {
    /// Cost of the cheapest way from a cell to every cell, metres of level haul; infinite where there is none.
    #[must_use]
    pub fn distances_m(&self, from: usize) -> Vec<f64> {
        let mut best = vec![i64::MAX; self.start.len() - 1];
        best[from] = 0;
        let mut open = BinaryHeap::from([Reverse((0_i64, number(from)))]);
        while let Some(Reverse((cost, cell))) = open.pop() {
            if cost > best[cell as usize] {
                continue;
            }
            for step in self.start[cell as usize]..self.start[cell as usize + 1] {
                let (to, reached) = (self.to[step], cost + self.cost[step]);
                if reached < best[to as usize] {
                    best[to as usize] = reached;
                    open.push(Reverse((reached, to)));
                }
            }
        }
        best.into_iter().map(|c| if c == i64::MAX { f64::INFINITY } else { metres(c) }).collect()
    }

    /// Number of the connected piece of ground of each cell; steps lead both ways, so one sweep finds them.
    #[must_use]
    pub fn pieces(&self) -> Vec<u32> {
        let cells = self.start.len() - 1;
        let mut piece = vec![u32::MAX; cells];
        let mut count = 0;
        let mut open = Vec::new();
        for cell in 0..cells {
            if piece[cell] != u32::MAX {
                continue;
            }
            piece[cell] = count;
            open.push(cell);
            while let Some(at) = open.pop() {
                for to in &self.to[self.start[at]..self.start[at + 1]] {
                    if piece[*to as usize] == u32::MAX {
                        piece[*to as usize] = count;
                        open.push(*to as usize);
                    }
                }
            }
            count += 1;
        }
        piece
    }
}

/// Metres as whole units of cost.
#[expect(clippy::cast_possible_truncation, reason = "costs are checked to be far below the largest whole number")]
pub(super) fn units(metres: f64) -> i64 {
    (metres * UNITS_PER_M).round() as i64
}

/// Units of cost as metres.
#[expect(clippy::cast_precision_loss, reason = "a micrometre in thousands of kilometres is not lost")]
pub(super) fn metres(units: i64) -> f64 {
    units as f64 / UNITS_PER_M
}

/// A cell number as it is stored.
#[expect(clippy::cast_possible_truncation, reason = "grids have fewer cells than 32 bits count")]
pub(super) fn number(cell: usize) -> u32 {
    cell as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn spec(rows: u32, cols: u32) -> GridSpec {
        GridSpec { north_west: Coord { x: 0.0, y: 100.0 }, cell_m: 10.0, rows, cols }
    }

    fn distance(ground: &HaulGround, from: usize, to: usize) -> f64 {
        ground.graph().expect("sound ground").distances_m(from)[to]
    }

    #[test]
    fn corners_are_not_cut() {
        // One obstacle at the corner of a diagonal sends the haul round two sides.
        let mut ground = HaulGround::open(spec(2, 2));
        assert!((distance(&ground, 0, 3) - 10.0 * 2.0_f64.sqrt()).abs() < 1e-6);
        ground.passable[1] = false;
        assert!((distance(&ground, 0, 3) - 20.0).abs() < 1e-6);
        ground.passable[2] = false;
        assert!(distance(&ground, 0, 3).is_infinite());
        assert_eq!(ground.graph().expect("sound ground").pieces(), [0, 1, 2, 3]);
        // A knight's move passes over two cells; with one of them blocked it is missing.
        let mut ground = HaulGround::open(spec(2, 3));
        assert!((distance(&ground, 0, 5) - 10.0 * 5.0_f64.sqrt()).abs() < 1e-6);
        ground.passable[1] = false;
        assert!((distance(&ground, 0, 5) - 30.0).abs() < 1e-6);
    }

    #[test]
    fn climbs_cost() {
        let heights = vec![0.0, 1.5, 0.0, f64::NAN];
        let ground = HaulGround { heights_m: Some(heights), uphill_factor: 8.0, ..HaulGround::open(spec(1, 4)) };
        assert!((distance(&ground, 0, 1) - 22.0).abs() < 1e-6 && (distance(&ground, 1, 0) - 10.0).abs() < 1e-6);
        assert!((distance(&ground, 0, 3) - 42.0).abs() < 1e-6, "a height that is not known counts as level");
        assert!(!ground.is_open());
    }

    #[test]
    fn lines_are_priced_once() {
        let with = |points: Vec<(f64, f64)>, price_m| {
            let crossings = vec![Crossing { line: LineString::from(points), price_m }];
            HaulGround { crossings, ..HaulGround::open(spec(3, 4)) }
        };
        // Between cells; through the middle of cells; bent exactly on the way from cell to cell.
        for points in [
            vec![(20.0, 200.0), (20.0, 0.0)],
            vec![(15.0, 200.0), (15.0, 0.0)],
            vec![(20.0, 200.0), (20.0, 85.0), (20.0, 0.0)],
            vec![(20.0, 200.0), (18.0, 85.0), (22.0, 60.0), (22.0, 0.0)],
        ] {
            let ground = with(points, 7.0);
            assert!((distance(&ground, 4, 7) - 37.0).abs() < 1e-6 && (distance(&ground, 7, 4) - 37.0).abs() < 1e-6);
            assert!((distance(&ground, 2, 3) - 10.0).abs() < 1e-6, "beside the line nothing is added");
        }
        // A line that ends short is driven round when that is cheaper; a dear one is not crossed at all.
        let short = with(vec![(20.0, 200.0), (20.0, 80.0)], 1_000.0);
        let round = distance(&short, 1, 2);
        assert!(round > 10.0 && round < 60.0, "{round}");
        assert!(distance(&with(vec![(20.0, 200.0), (20.0, 0.0)], f64::INFINITY), 4, 7).is_infinite());
        assert!(with(vec![(20.0, 200.0), (20.0, 0.0)], MOST_CROSSING_M + 1.0).graph().is_err());
    }

    #[test]
    fn fan_is_within_its_bound() {
        let ground = HaulGround::open(spec(41, 41));
        let ways = ground.graph().expect("sound ground").distances_m(20 * 41 + 20);
        let centre = ground.spec.centre(ground.spec.cell(20 * 41 + 20));
        let mut worst: f64 = 1.0;
        for (index, way) in ways.iter().enumerate() {
            let at = ground.spec.centre(ground.spec.cell(index));
            let straight = (at.x - centre.x).hypot(at.y - centre.y);
            assert!(
                *way >= straight - 1e-4
                    && *way <= crate::methods::earthwork::haul_grid::FAN_OVERLENGTH * straight + 1e-4
            );
            worst = worst.max(if straight > 0.0 { way / straight } else { 1.0 });
        }
        assert!(worst > 1.027, "the bound is reached, nearly: {worst}");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

        #[test]
        fn agrees_with_a_library(walls in prop::collection::vec(0..4u8, 56), from in 0..56usize) {
            // The crate `pathfinding`, its own search over moves written here once more from the rule in words.
            let s = spec(7, 8);
            let ground = HaulGround { passable: walls.iter().map(|w| *w > 0).collect(), ..HaulGround::open(s) };
            let free = |r: i64, c: i64| (0..7).contains(&r) && (0..8).contains(&c) && walls[(r * 8 + c) as usize] > 0;
            let moves = |&(r, c): &(i64, i64)| {
                let mut found = Vec::new();
                for dr in -2..=2_i64 {
                    for dc in -2..=2_i64 {
                        let kind = dr * dr + dc * dc;
                        let over: Vec<(i64, i64)> = match kind {
                            1 => vec![],
                            2 => vec![(r + dr, c), (r, c + dc)],
                            5 if dr.abs() == 2 => vec![(r + dr / 2, c), (r + dr / 2, c + dc)],
                            5 => vec![(r, c + dc / 2), (r + dr, c + dc / 2)],
                            _ => continue,
                        };
                        if free(r, c) && free(r + dr, c + dc) && over.iter().all(|(r, c)| free(*r, *c)) {
                            found.push(((r + dr, c + dc), (10e6 * (kind as f64).sqrt()).round() as i64));
                        }
                    }
                }
                found
            };
            let ways = ground.graph().expect("sound ground").distances_m(from);
            let library = pathfinding::prelude::dijkstra_all(&((from / 8) as i64, (from % 8) as i64), moves);
            for (cell, way) in ways.iter().enumerate() {
                let key = ((cell / 8) as i64, (cell % 8) as i64);
                let expected = if cell == from { 0.0 } else { library.get(&key).map_or(f64::INFINITY, |(_, c)| *c as f64 / 1e6) };
                prop_assert!(*way == expected || (way - expected).abs() < 1e-9, "{way} against {expected}");
            }
        }
    }
}
