//! Lets depressions out through what dams them, by the cheapest cut within limits.
//!
//! From the floor of each depression the cheapest way is sought to ground lower than the floor, or off the grid at no
//! more than its level. A step costs the height to be cut away, times its length. Where the way is no
//! longer and no deeper than allowed, the ground along it is lowered to an even fall; where not, the depression stays.
//! Tracks and banks that really carry a culvert are so opened, and broad hollows are not.
//!
//! Depressions are worked from the highest floor down, so that the cut of a higher one may end in a lower one.
//!
//! Shapes and units: heights rows x cols, metres; lengths and depths metres. Ties by cost, then by first found. The
//! cheapest way to each cell counts: where it is too long, a shorter dearer one is not looked for.
//!
//! Source: [`Bibliography::LindsayDhun2015`](crate::bibliography::Bibliography::LindsayDhun2015); the search by
//! [`Bibliography::Dijkstra1959`](crate::bibliography::Bibliography::Dijkstra1959).
//!
//! How we know: a bank cut where it is thinnest and left when over the limits (`bank_is_cut_where_it_is_thin`), and
//! on random grounds (`cuts_drain_and_keep_the_limits`).

use super::frame::Frame;
use crate::grid::{Cell, NEIGHBOURS, Raster};
use serde::{Deserialize, Serialize};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

/// How far a cut may go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BreachLimits {
    /// Longest way from the floor of the depression, metres.
    pub length_m: f64,
    /// Deepest cut below the ground, metres.
    pub depth_m: f64,
}

/// A cut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Breach {
    /// From the floor of the depression to where it drains.
    pub cells: Vec<Cell>,
    /// Length along the cells, metres.
    pub length_m: f64,
    /// Deepest cut, metres.
    pub depth_m: f64,
}

/// Cuts ways out of the depressions with the given floors; gives the lowered surface and the cuts made.
#[must_use]
pub fn breach(ground: &Raster<f32>, floors: &[Cell], limits: BreachLimits) -> (Raster<f32>, Vec<Breach>) {
    let mut surface = ground.clone();
    let mut order: Vec<usize> = floors.iter().map(|c| ground.spec.index(*c)).filter(|i| ground.valid[*i]).collect();
    order.sort_by(|a, b| ground.values[*b].total_cmp(&ground.values[*a]).then(a.cmp(b)));
    let mut cuts = Vec::new();
    for floor in order {
        if let Some(way) = way_out(&surface, floor, limits)
            && let Some(cut) = cut_along(&mut surface, &way, limits)
        {
            cuts.push(cut);
        }
    }
    (surface, cuts)
}

/// Where a search came from and how long its way is.
#[derive(Clone, Copy)]
struct Reached {
    cost: f64,
    length_m: f64,
    from: usize,
}

/// The cheapest way from a floor to lower ground or off the grid, the floor first.
fn way_out(surface: &Raster<f32>, floor: usize, limits: BreachLimits) -> Option<Vec<usize>> {
    let frame = Frame::new(surface);
    let level = surface.values[floor];
    let mut reached = BTreeMap::from([(floor, Reached { cost: 0.0, length_m: 0.0, from: floor })]);
    // Costs are not negative, so their bits sort as they do.
    let mut heap = BinaryHeap::from([Reverse((0_u64, 0_u64, floor))]);
    let mut inserted = 0;
    while let Some(Reverse((bits, _, here))) = heap.pop() {
        let at = reached[&here];
        if bits != at.cost.to_bits() {
            continue;
        }
        let z = surface.values[here];
        if z < level || (frame.is_rim(here, &surface.valid) && z <= level) {
            let mut way = vec![here];
            while way[way.len() - 1] != floor {
                way.push(reached[&way[way.len() - 1]].from);
            }
            way.reverse();
            return Some(way);
        }
        for dir in 0..8 {
            let Some(n) = frame.step(here, dir).filter(|n| surface.valid[*n]) else { continue };
            let step_m = step_length(surface, dir);
            let over = f64::from(surface.values[n]) - f64::from(level);
            let cost = at.cost + step_m * over.max(0.0);
            let length_m = at.length_m + step_m;
            let known = reached.get(&n).map_or(f64::INFINITY, |r| r.cost);
            if over <= limits.depth_m && length_m <= limits.length_m && cost < known {
                reached.insert(n, Reached { cost, length_m, from: here });
                inserted += 1;
                heap.push(Reverse((cost.to_bits(), inserted, n)));
            }
        }
    }
    None
}

fn step_length(surface: &Raster<f32>, dir: usize) -> f64 {
    let (dr, dc) = NEIGHBOURS[dir];
    surface.spec.cell_m * if dr != 0 && dc != 0 { std::f64::consts::SQRT_2 } else { 1.0 }
}

/// Lowers the ground along a way to an even fall, unless that is deeper than allowed.
fn cut_along(surface: &mut Raster<f32>, way: &[usize], limits: BreachLimits) -> Option<Breach> {
    let (first, last) = (f64::from(surface.values[way[0]]), f64::from(surface.values[*way.last()?]));
    let spec = surface.spec;
    let mut along_m = vec![0.0];
    for pair in way.windows(2) {
        let (a, b) = (spec.cell(pair[0]), spec.cell(pair[1]));
        let diagonal = a.row != b.row && a.col != b.col;
        let step_m = spec.cell_m * if diagonal { std::f64::consts::SQRT_2 } else { 1.0 };
        along_m.push(along_m[along_m.len() - 1] + step_m);
    }
    let length_m = along_m[along_m.len() - 1];
    let bed = |k: usize| (first + (last - first) * along_m[k] / length_m.max(spec.cell_m)) as f32;
    let depth = |k: usize| f64::from(surface.values[way[k]]) - f64::from(bed(k));
    let depth_m = (0..way.len()).map(depth).fold(0.0, f64::max);
    if depth_m > limits.depth_m {
        return None;
    }
    for (k, i) in way.iter().enumerate() {
        surface.values[*i] = surface.values[*i].min(bed(k));
    }
    Some(Breach { cells: way.iter().map(|i| spec.cell(*i)).collect(), length_m, depth_m })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::random_ground::any_ground;
    use crate::methods::flow::{depressions, fill};
    use proptest::prelude::*;

    /// By hand: a hollow at 2 behind a bank of 5 that is one cell thick in the third row and two elsewhere; beyond it 1.
    #[test]
    fn bank_is_cut_where_it_is_thin() {
        let ground = grid_from_text(
            "9 9 9 9 9 9 0
             9 3 3 5 5 1 0
             9 3 2 5 1 1 0
             9 3 3 5 5 1 0
             9 9 9 9 9 9 0",
            10.0,
        );
        let generous = BreachLimits { length_m: 50.0, depth_m: 4.0 };
        let (surface, cuts) = breach(&ground, &[Cell::new(2, 2)], generous);
        assert_eq!(cuts[0].cells, [Cell::new(2, 2), Cell::new(2, 3), Cell::new(2, 4)]);
        assert_eq!((cuts[0].length_m, cuts[0].depth_m), (20.0, 3.5));
        assert_eq!(surface.get(Cell::new(2, 3)), Some(1.5));
        assert!(depressions(&surface, &fill(&surface), 0.1, 0.0).is_empty());
        for limits in [BreachLimits { length_m: 19.0, ..generous }, BreachLimits { depth_m: 3.4, ..generous }] {
            let (surface, cuts) = breach(&ground, &[Cell::new(2, 2)], limits);
            assert!(cuts.is_empty() && surface == ground);
        }
    }

    proptest! {
        /// Without limits every depression is let out at its floor, unless one lies lower than the whole rim (that one
        /// stays full, and what drains into it with it); with limits every cut keeps them; ground only falls.
        #[test]
        fn cuts_drain_and_keep_the_limits(ground in any_ground(), length in 5.0..60.0_f64, depth in 0.1..3.0_f64) {
            let floors: Vec<Cell> = depressions(&ground, &fill(&ground), 0.0, 0.0).iter().map(|d| d.floor).collect();
            let boundless = BreachLimits { length_m: f64::INFINITY, depth_m: f64::INFINITY };
            let (surface, cuts) = breach(&ground, &floors, boundless);
            let (filled, frame) = (fill(&surface), Frame::new(&surface));
            let rim = (0..frame.len).filter(|r| frame.is_rim(*r, &surface.valid)).map(|r| ground.values[r]);
            let way_down = rim.fold(f32::INFINITY, f32::min);
            if floors.iter().all(|c| ground.values[ground.spec.index(*c)] >= way_down) {
                for i in floors.iter().map(|c| ground.spec.index(*c)) {
                    prop_assert_eq!(filled.values[i], surface.values[i]);
                }
            }
            prop_assert!(cuts.len() <= floors.len());
            let (surface, cuts) = breach(&ground, &floors, BreachLimits { length_m: length, depth_m: depth });
            prop_assert!(cuts.iter().all(|c| c.length_m <= length && c.depth_m <= depth));
            prop_assert!(surface.iter().zip(ground.iter()).all(|((_, after), (_, before))| after <= before));
        }
    }
}
