//! Where each cell sends its water when it may split it between two neighbours (D-infinity).
//!
//! Eight triangular facets meet in a cell centre. Water runs straight down the steepest of them; the angle of that line
//! shares it between the two neighbours beside it. Where no facet falls, on flats and on the rim, the cell keeps the
//! one direction of [`directions`](super::directions). Water with a share always reaches lower ground or
//! goes down a flat, so nothing runs in circles.
//!
//! Shapes and units: heights rows x cols, metres; angles radians counter-clockwise from east in `[0, 2 pi)`;
//! specific catchment area square metres per metre, with the cell side as width of flow. Time O(n); memory 9 bytes a
//! cell for the angles and their order of working, 8 for a sum.
//!
//! Source: [`Bibliography::Tarboton1997`](crate::bibliography::Bibliography::Tarboton1997), equations 1 to 5 and table 1.
//!
//! How we know: the paper's facet and printed planes of another library (`one_facet`, `planes_and_a_pit`), closed forms on
//! cones (`outward_cone`, `inward_cone`), conservation and order on random grounds (`shares_conserve`).

use super::direction::{Directions, LEAVES, VISITED};
use super::frame::Frame;
use crate::grid::Raster;
use rayon::prelude::*;
use std::f64::consts::{FRAC_PI_4, PI, SQRT_2};

/// Angle of flow of each cell, and what takes its place where water does not split.
#[derive(Debug, Clone, PartialEq)]
pub struct SplitDirections {
    /// Radians counter-clockwise from east; "not a number" where water leaves the grid, stays, or there is no cell.
    pub angle: Vec<f32>,
    /// The single direction each cell falls back on.
    single: Directions,
}

/// Steepest line down a facet: angle from the first neighbour towards the second, from 0 to pi / 4, and slope along it.
///
/// `here`, `side`, `corner`: heights of the cell, of its neighbour across an edge and of the one at the corner beside it.
#[must_use]
pub fn facet(here: f64, side: f64, corner: f64, cell_m: f64) -> (f64, f64) {
    let (along, across) = ((here - side) / cell_m, (side - corner) / cell_m);
    let angle = across.atan2(along);
    if angle < 0.0 {
        (0.0, along)
    } else if angle > FRAC_PI_4 {
        (FRAC_PI_4, (here - corner) / (cell_m * SQRT_2))
    } else {
        (angle, along.hypot(across))
    }
}

/// Facets as (side, corner) in steps of an eighth turn counter-clockwise from east, with the sense of turning from the
/// first to the second.
const FACETS: [(usize, usize, f64); 8] =
    [(0, 1, 1.0), (2, 1, -1.0), (2, 3, 1.0), (4, 3, -1.0), (4, 5, 1.0), (6, 5, -1.0), (6, 7, 1.0), (0, 7, -1.0)];

/// Angles of flow over a filled surface, with the directions [`directions`](super::directions) found on it.
#[must_use]
pub fn split_directions(filled: &Raster<f32>, single: Directions) -> SplitDirections {
    let grid = Frame::new(filled);
    let angle = (0..grid.len)
        .into_par_iter()
        .map(|i| {
            if !single.has_cell(i) {
                return f32::NAN;
            }
            match steepest_facet(filled, grid, i) {
                Some(angle) => angle as f32,
                None if single.codes[i] < LEAVES => (f64::from((8 - single.codes[i]) % 8) * FRAC_PI_4) as f32,
                None => f32::NAN,
            }
        })
        .collect();
    SplitDirections { angle, single }
}

/// Angle down the steepest falling facet, in `[0, 2 pi)`; the first counter-clockwise from east among equals.
fn steepest_facet(surface: &Raster<f32>, grid: Frame, i: usize) -> Option<f64> {
    let height = |eighth: usize| {
        grid.step(i, (8 - eighth) % 8).filter(|n| surface.valid[*n]).map(|n| f64::from(surface.values[n]))
    };
    let around: [Option<f64>; 8] = std::array::from_fn(height);
    let here = f64::from(surface.values[i]);
    let (mut best, mut steepest) = (None, 0.0);
    for (side, corner, sense) in FACETS {
        let (Some(z1), Some(z2)) = (around[side], around[corner]) else { continue };
        let (turn, slope) = facet(here, z1, z2, surface.spec.cell_m);
        if slope > steepest {
            steepest = slope;
            best = Some((side as f64 * FRAC_PI_4 + sense * turn).rem_euclid(2.0 * PI));
        }
    }
    best
}

impl SplitDirections {
    /// The cells that get water from a cell, with their shares (which add up to 1).
    ///
    /// Angles within a hundred-thousandth of an eighth turn of a neighbour give it everything: they are 32-bit numbers.
    #[must_use]
    pub fn receivers(&self, index: usize) -> [Option<(usize, f64)>; 2] {
        let angle = f64::from(self.angle[index]);
        if angle.is_nan() {
            return [None, None];
        }
        let eighths = angle / FRAC_PI_4;
        let (low, share) = (eighths.floor(), eighths - eighths.floor());
        let offsets = self.single.offsets();
        let at = |eighth: f64| index.wrapping_add(offsets[(8 - eighth as usize % 8) % 8]);
        if share < 1e-5 {
            [Some((at(low), 1.0)), None]
        } else if share > 1.0 - 1e-5 {
            [Some((at(low + 1.0), 1.0)), None]
        } else {
            [Some((at(low), 1.0 - share)), Some((at(low + 1.0), share))]
        }
    }

    /// Adds up `weights` downstream: each cell's total is its own number and its shares of everything upstream.
    #[must_use]
    pub fn accumulate(&self, weights: Vec<f64>) -> Vec<f64> {
        let mut total = weights;
        let mut waiting = vec![0_u8; total.len()];
        for i in 0..total.len() {
            self.receivers(i).into_iter().flatten().for_each(|(to, _)| waiting[to] += 1);
        }
        let mut ready = Vec::new();
        for head in 0..total.len() {
            if waiting[head] != 0 || !self.single.has_cell(head) {
                continue;
            }
            ready.push(head);
            while let Some(here) = ready.pop() {
                waiting[here] = VISITED;
                for (to, share) in self.receivers(here).into_iter().flatten() {
                    total[to] += share * total[here];
                    waiting[to] -= 1;
                    if waiting[to] == 0 {
                        ready.push(to);
                    }
                }
            }
        }
        total
    }
}

/// Specific catchment area, m2 per metre of flow width: upstream area over the side of a cell.
#[must_use]
pub fn specific_catchment_area(split: &SplitDirections, cell_m: f64) -> Vec<f64> {
    let area = (0..split.angle.len()).map(|i| if split.single.has_cell(i) { cell_m * cell_m } else { 0.0 }).collect();
    split.accumulate(area).into_iter().map(|a| a / cell_m).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::random_ground::ground_with_holes;
    use crate::methods::flow::{cells_upstream, directions, fill};
    use geo::Coord;
    use proptest::prelude::*;

    fn on(surface: &Raster<f32>) -> SplitDirections {
        split_directions(surface, directions(surface))
    }

    /// Equations 1 to 4 of the paper on heights 10, 9 (east), 8.5 (north-east): worked out by hand.
    #[test]
    fn one_facet() {
        let (angle, slope) = facet(10.0, 9.0, 8.5, 1.0);
        assert!((angle - 0.463_647_61).abs() < 1e-8 && (slope - 1.118_033_99).abs() < 1e-8);
        assert!((angle / FRAC_PI_4 - 0.590_334_47).abs() < 1e-8);
    }

    /// Planes and a pit of the landlab test-suite (tests/components/flow_director/test_dinf.py).
    #[test]
    fn planes_and_a_pit() {
        let plane = |a: f64, b: f64| {
            let spec = GridSpec { north_west: Coord { x: 0.0, y: 5.0 }, cell_m: 1.0, rows: 5, cols: 5 };
            let mut z = Raster::filled(spec, 0.0_f32);
            for i in 0..25 {
                let at = spec.centre(spec.cell(i));
                z.values[i] = (a * at.x + b * at.y) as f32;
            }
            z
        };
        let split = on(&plane(1.0, 2.0));
        assert!((f64::from(split.angle[12]) - 4.248_741_37).abs() < 1e-6);
        let [Some((first, a)), Some((second, b))] = split.receivers(12) else { panic!("no split") };
        assert_eq!((first, second), (16, 17));
        assert!((a - 0.590_334_47).abs() < 1e-6 && (b - 0.409_665_53).abs() < 1e-6);
        assert_eq!(on(&plane(1.0, 1.0)).receivers(12), [Some((16, 1.0)), None]);
        let [Some((11, a)), Some((16, b))] = on(&plane(1.0, SQRT_2 - 1.0)).receivers(12) else { panic!("no split") };
        assert!((a - 0.5).abs() < 1e-5 && (b - 0.5).abs() < 1e-5);
        let pit = grid_from_text("40 40 40\n40 31 20\n40 21 10", 1.0);
        let [Some((8, a)), Some((5, b))] = on(&pit).receivers(4) else { panic!("no split") };
        assert!((a - 0.939_415_31).abs() < 1e-6 && (b - 0.060_584_69).abs() < 1e-6);
    }

    /// Ground of 101 x 101 cells of 10 m as a function of the distance from its middle; `None` leaves a hole.
    fn round(height: impl Fn(f64) -> Option<f64>) -> (Raster<f32>, Vec<f64>) {
        let spec = GridSpec { north_west: Coord { x: -505.0, y: 505.0 }, cell_m: 10.0, rows: 101, cols: 101 };
        let mut z = Raster::empty(spec, 0.0_f32);
        let mut radius = Vec::new();
        for i in 0..spec.len() {
            let at = spec.centre(spec.cell(i));
            radius.push(at.x.hypot(at.y));
            if let Some(height) = height(radius[i]) {
                z.set(spec.cell(i), height as f32);
            }
        }
        (z, radius)
    }

    fn mean_and_rms(ratios: &[f64]) -> (f64, f64) {
        let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
        (mean, (ratios.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / ratios.len() as f64).sqrt())
    }

    /// Derived: on a cone falling outwards the specific catchment area is half the radius. With one receiver a cell it
    /// is far off.
    #[test]
    fn outward_cone() {
        let (z, radius) = round(|r| Some(1000.0 - 0.05 * r));
        let in_ring = |i: &usize| (100.0..=450.0).contains(&radius[*i]);
        let area = specific_catchment_area(&on(&z), 10.0);
        let ratios: Vec<f64> = (0..radius.len()).filter(in_ring).map(|i| area[i] / (radius[i] / 2.0)).collect();
        let (mean, rms) = mean_and_rms(&ratios);
        assert!((0.85..1.05).contains(&mean) && rms < 0.15, "{mean} {rms}");
        let cells = cells_upstream(&directions(&z));
        let single: Vec<f64> =
            (0..radius.len()).filter(in_ring).map(|i| f64::from(cells[i]) * 10.0 / (radius[i] / 2.0)).collect();
        assert!(mean_and_rms(&single).1 > 3.0 * rms);
    }

    /// Derived: on a funnel of radius R the specific catchment area is (R2 - r2) / 2r, and all water ends in the middle.
    #[test]
    fn inward_cone() {
        let (z, radius) = round(|r| (r <= 480.0).then_some(0.05 * r));
        let area = specific_catchment_area(&on(&z), 10.0);
        let middle = 50 * 101 + 50;
        assert!((area[middle] / 10.0 / z.count_valid() as f64 - 1.0).abs() < 1e-9, "{}", area[middle]);
        let ratios: Vec<f64> = (0..radius.len())
            .filter(|i| (100.0..=400.0).contains(&radius[*i]))
            .map(|i| area[i] / ((480.0_f64.powi(2) - radius[i].powi(2)) / (2.0 * radius[i])))
            .collect();
        let (mean, rms) = mean_and_rms(&ratios);
        assert!((0.85..1.05).contains(&mean) && rms < 0.2, "{mean} {rms}");
    }

    proptest! {
        /// Every cell's water leaves once, whatever the shares; nothing runs uphill.
        #[test]
        fn shares_conserve(ground in ground_with_holes()) {
            let filled = fill(&ground);
            let split = on(&filled);
            let ones = filled.valid.iter().map(|v| f64::from(u8::from(*v))).collect();
            let total = split.accumulate(ones);
            let ends = (0..total.len()).filter(|i| filled.valid[*i] && split.angle[*i].is_nan());
            let leaving: f64 = ends.map(|i| total[i]).sum();
            prop_assert!((leaving - filled.count_valid() as f64).abs() < 1e-9 * (1.0 + leaving));
            for i in (0..total.len()).filter(|i| filled.valid[*i]) {
                for (to, share) in split.receivers(i).into_iter().flatten() {
                    prop_assert!(filled.valid[to] && filled.values[to] <= filled.values[i] && share > 0.0);
                }
            }
        }
    }
}
