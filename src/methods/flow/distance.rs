//! Grows values outwards from seeds along cheapest paths, round barriers.
//!
//! Each seed starts with a value. Along a path the value rises by `rate_per_m` for every metre of true length,
//! while the choice between paths counts each metre `factor` times, so that paths keep out of dear cells if a
//! detour is short but the value stays an honest length. With equal factors of 1 this is plain distance.
//!
//! Choice: a cell belongs to the path of least `seed value + rate * weighted length`, then least weighted
//! length, then first found. The factor of a step is the mean of its two cells; an infinite factor is a
//! barrier. A diagonal step between two barriers is closed, so that a barrier one cell wide does not leak. A
//! seed may stand on a barrier: its steps count the factor of the other cell.
//!
//! Shapes and units: factors row-major, one positive number per cell; lengths metres. Time O(n log n).
//! Lengths on eight neighbours overstate straight distance by up to 8.2 % (at 22.5 degrees).
//!
//! Source: [`Bibliography::Dijkstra1959`](crate::bibliography::Bibliography::Dijkstra1959).
//!
//! How we know: closed forms (`octile_distance`, `barrier_is_rounded`), an oracle that relaxes until nothing
//! changes (`equals_slow_relaxation`).

use super::frame::Frame;
use crate::grid::{Cell, GridSpec, NEIGHBOURS};
use serde::{Deserialize, Serialize};
use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

/// What grew from the seeds, row-major.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reach {
    /// Seed value plus rate times true path length; infinite where no seed reaches.
    pub value: Vec<f64>,
    /// The next cell towards the seed; `u32::MAX` at seeds and where no seed reaches.
    pub toward: Vec<u32>,
    /// True length of the path to the seed, metres; infinite where no seed reaches.
    pub length_m: Vec<f64>,
}

impl Reach {
    /// The cells from `index` to its seed, both included; empty where no seed reaches.
    #[must_use]
    pub fn path_from(&self, index: usize) -> Vec<u32> {
        let mut path = Vec::new();
        if self.value[index].is_infinite() {
            return path;
        }
        let mut here = index as u32;
        while here != u32::MAX {
            path.push(here);
            here = self.toward[here as usize];
        }
        path
    }
}

/// A place in the queue: what decides the choice of path, smallest first.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Front {
    cost: f64,
    weighted_m: f64,
    inserted: u64,
    cell: u32,
}

impl Eq for Front {}
impl PartialOrd for Front {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Front {
    fn cmp(&self, other: &Self) -> Ordering {
        self.cost
            .total_cmp(&other.cost)
            .then(self.weighted_m.total_cmp(&other.weighted_m))
            .then(self.inserted.cmp(&other.inserted))
    }
}

/// Grows from `seeds` (cell, starting value) over a grid; see the file's text for the rules.
///
/// `factor` holds one number above zero per cell, `f64::INFINITY` for a barrier; `rate_per_m` is not negative.
/// Where several seeds share a cell, the lowest starting value counts.
#[must_use]
pub fn grow(spec: GridSpec, seeds: &[(Cell, f64)], factor: &[f64], rate_per_m: f64) -> Reach {
    let n = spec.len();
    let grid = Frame::of(spec);
    let mut reach =
        Reach { value: vec![f64::INFINITY; n], toward: vec![u32::MAX; n], length_m: vec![f64::INFINITY; n] };
    let mut start = vec![f64::INFINITY; n];
    let mut best = vec![(f64::INFINITY, f64::INFINITY); n];
    let mut heap = BinaryHeap::new();
    let mut inserted = 0_u64;
    for (cell, value) in seeds {
        let i = spec.index(*cell);
        if *value < start[i] {
            start[i] = *value;
            best[i] = (*value, 0.0);
            (reach.value[i], reach.length_m[i]) = (*value, 0.0);
            heap.push(Reverse(Front { cost: *value, weighted_m: 0.0, inserted, cell: i as u32 }));
            inserted += 1;
        }
    }
    while let Some(Reverse(front)) = heap.pop() {
        let here = front.cell as usize;
        if (front.cost, front.weighted_m) != best[here] {
            continue;
        }
        for dir in 0..8 {
            let Some(to) = grid.step(here, dir).filter(|to| factor[*to].is_finite()) else { continue };
            let Some((true_m, weighted_m)) = step_length(grid, spec.cell_m, factor, here, to, dir) else {
                continue;
            };
            let weighted_m = front.weighted_m + weighted_m;
            let cost = start[here] + rate_per_m * weighted_m;
            if (cost, weighted_m) < best[to] {
                best[to] = (cost, weighted_m);
                start[to] = start[here];
                reach.length_m[to] = reach.length_m[here] + true_m;
                reach.value[to] = start[to] + rate_per_m * reach.length_m[to];
                reach.toward[to] = here as u32;
                heap.push(Reverse(Front { cost, weighted_m, inserted, cell: to as u32 }));
                inserted += 1;
            }
        }
    }
    reach
}

/// True and weighted length of a step; `None` when it squeezes between two barriers.
fn step_length(grid: Frame, cell_m: f64, factor: &[f64], from: usize, to: usize, dir: usize) -> Option<(f64, f64)> {
    let (dr, dc) = NEIGHBOURS[dir];
    let mut true_m = cell_m;
    if dr != 0 && dc != 0 {
        let blocked = |side: usize| grid.step(from, side).is_none_or(|n| factor[n].is_infinite());
        if blocked((dir + 7) % 8) && blocked((dir + 1) % 8) {
            return None;
        }
        true_m *= std::f64::consts::SQRT_2;
    }
    let mean = if factor[from].is_finite() { (factor[from] + factor[to]) / 2.0 } else { factor[to] };
    Some((true_m, true_m * mean))
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::Coord;
    use proptest::prelude::*;

    fn spec(rows: u32, cols: u32) -> GridSpec {
        GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 10.0, rows, cols }
    }

    /// Derived: on free eight-neighbour grids the length is h (max - min + sqrt 2 min) of the two offsets.
    #[test]
    fn octile_distance() {
        let s = spec(20, 30);
        let reach = grow(s, &[(Cell::new(4, 7), 2.0)], &vec![1.0; s.len()], 0.001);
        for i in 0..s.len() {
            let c = s.cell(i);
            let (a, b) = (f64::from(c.row.abs_diff(4)), f64::from(c.col.abs_diff(7)));
            let expected = 10.0 * (a.max(b) - a.min(b) + std::f64::consts::SQRT_2 * a.min(b));
            assert!((reach.length_m[i] - expected).abs() < 1e-9);
            assert!((reach.value[i] - 2.0 - 0.001 * expected).abs() < 1e-12);
            assert_eq!(reach.path_from(i).last(), Some(&(4 * 30 + 7)));
        }
    }

    /// A wall with one gap at its south end; a diagonal wall does not leak; a closed box is not reached.
    #[test]
    fn barrier_is_rounded() {
        let s = spec(5, 5);
        let mut factor = vec![1.0; 25];
        (0..4).for_each(|row| factor[row * 5 + 2] = f64::INFINITY);
        let reach = grow(s, &[(Cell::new(0, 0), 0.0)], &factor, 1.0);
        // Down 2, diagonally to (3, 1), diagonally to (4, 2), and the mirror image up to (0, 4).
        let expected = 10.0 * (2.0 * 2.0 + 4.0 * std::f64::consts::SQRT_2);
        assert!((reach.length_m[4] - expected).abs() < 1e-9, "{}", reach.length_m[4]);
        let mut diagonal = vec![1.0; 25];
        (0..5).for_each(|k| diagonal[k * 5 + 4 - k] = f64::INFINITY);
        let reach = grow(s, &[(Cell::new(0, 0), 0.0)], &diagonal, 1.0);
        assert!(reach.value[24].is_infinite() && reach.path_from(24).is_empty());
        assert_eq!(reach.toward[24], u32::MAX);
    }

    proptest! {
        /// Bellman's relaxation to a fixed point finds the same least weighted cost.
        #[test]
        fn equals_slow_relaxation(
            factors in prop::collection::vec(prop_oneof![4 => 1_u8..4, 1 => Just(0_u8)], 48),
            starts in prop::collection::vec((0_u32..6, 0_u32..8, 0_u8..30), 1..4),
        ) {
            let s = spec(6, 8);
            let factor: Vec<f64> =
                factors.iter().map(|f| if *f == 0 { f64::INFINITY } else { f64::from(*f) }).collect();
            let seeds: Vec<(Cell, f64)> =
                starts.iter().map(|(r, c, v)| (Cell::new(*r, *c), f64::from(*v))).collect();
            let reach = grow(s, &seeds, &factor, 0.5);
            let grid = Frame::of(s);
            let mut cost = vec![f64::INFINITY; 48];
            for (cell, v) in &seeds {
                cost[s.index(*cell)] = v.min(cost[s.index(*cell)]);
            }
            for _ in 0..48 {
                for i in 0..48 {
                    for dir in 0..8 {
                        let Some(to) = grid.step(i, dir).filter(|to| factor[*to].is_finite()) else { continue };
                        if let Some((_, w)) = step_length(grid, s.cell_m, &factor, i, to, dir) {
                            cost[to] = cost[to].min(cost[i] + 0.5 * w);
                        }
                    }
                }
            }
            for (i, least) in cost.iter().enumerate() {
                prop_assert_eq!(least.is_finite(), reach.value[i].is_finite());
                // Re-adding the path's own steps must give the least cost and the reported true length.
                let path = reach.path_from(i);
                let Some(seed) = path.last() else { continue };
                let (mut length, mut weighted) = (0.0, 0.0);
                for pair in path.windows(2) {
                    let (to, from) = (pair[0] as usize, pair[1] as usize);
                    let dir = (0..8).find(|d| grid.step(from, *d) == Some(to)).unwrap();
                    let (t, w) = step_length(grid, s.cell_m, &factor, from, to, dir).unwrap();
                    length += t;
                    weighted += w;
                }
                let start = reach.value[*seed as usize];
                prop_assert!((start + 0.5 * weighted - least).abs() < 1e-9);
                prop_assert!((length - reach.length_m[i]).abs() < 1e-9);
                prop_assert!((start + 0.5 * length - reach.value[i]).abs() < 1e-9);
            }
        }
    }
}
