//! Fits for tests: small ones of any shape, and every whole answer to the smallest.

use super::{LatticeFit, Step, Steps};
use proptest::prelude::*;

/// A full lattice of level ground at unit weights.
pub fn fit_of(lanes: usize, stations: usize, along: Step, across: Step) -> LatticeFit {
    let n = lanes * stations;
    LatticeFit {
        lanes,
        stations,
        inside: vec![true; n],
        ground: vec![0; n],
        cut_weight: vec![1; n],
        fill_weight: vec![1; n],
        lowest: Vec::new(),
        highest: Vec::new(),
        along: Steps::Alike(along),
        across: Steps::Alike(across),
        most_bend: None,
    }
}

/// Fits up to a size with masks, limits of heights, zero weights and steps of their own, and heights to begin from.
pub fn any_fit(most_lanes: usize, most_stations: usize) -> impl Strategy<Value = (LatticeFit, Vec<i64>)> {
    (1..=most_lanes, 1..=most_stations).prop_flat_map(|(lanes, stations)| {
        let n = lanes * stations;
        let list = |range: std::ops::Range<i64>| prop::collection::vec(range, n);
        let low = prop::option::weighted(0.4, prop::collection::vec(prop_oneof![Just(i64::MIN), -6_i64..2], n));
        let high = prop::option::weighted(0.4, prop::collection::vec(prop_oneof![Just(i64::MAX), 2_i64..9], n));
        let inside = prop::collection::vec(prop::bool::weighted(0.8), n);
        (inside, list(-5..6), list(0..4), list(0..4), low, high, any_steps(n), any_steps(n), list(-8..9)).prop_map(
            move |(inside, ground, cut_weight, fill_weight, low, high, along, across, heights)| {
                let (lowest, highest) = (low.unwrap_or_default(), high.unwrap_or_default());
                let fit = LatticeFit {
                    lanes,
                    stations,
                    inside,
                    ground,
                    cut_weight,
                    fill_weight,
                    lowest,
                    highest,
                    along,
                    across,
                    most_bend: None,
                };
                (fit, heights)
            },
        )
    })
}

fn any_steps(n: usize) -> impl Strategy<Value = Steps> {
    let step = (-3_i64..3, 0_i64..4).prop_map(|(least, width)| Step { least, most: least + width });
    prop_oneof![step.clone().prop_map(Steps::Alike), prop::collection::vec(step, n).prop_map(Steps::Each)]
}

/// Rough falling ground: hashed noise interpolated between points so many apart, half a metre high.
pub fn rough_ground(lanes: usize, stations: usize, apart: usize) -> LatticeFit {
    let hashed = |i: usize, j: usize| {
        let mixed = ((i * 7_919 + j * 104_729 + 17) as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        ((mixed >> 40) % 50_000) as f64
    };
    let mut fit = fit_of(lanes, stations, Step { least: 500, most: 5_000 }, Step { least: -2_500, most: 2_500 });
    for (p, ground) in fit.ground.iter_mut().enumerate() {
        let (l, s) = (p / stations, p % stations);
        let (u, v) = ((l % apart) as f64 / apart as f64, (s % apart) as f64 / apart as f64);
        let (i, j) = (l / apart, s / apart);
        let noise = (1.0 - u) * ((1.0 - v) * hashed(i, j) + v * hashed(i, j + 1))
            + u * ((1.0 - v) * hashed(i + 1, j) + v * hashed(i + 1, j + 1));
        *ground = noise as i64 + 2_500 * s as i64;
    }
    fit
}

/// Least cost of the surfaces of whole heights from -9 to 9 that keep every limit; for six points at most.
pub fn brute_force(fit: &LatticeFit) -> Option<i64> {
    let points: Vec<usize> = (0..fit.len()).filter(|p| fit.inside[*p]).collect();
    let mut heights = fit.ground.clone();
    let mut best = None;
    place(fit, &points, &mut heights, 0, &mut best);
    best
}

/// Tries every height of the next point against the points placed before it.
fn place(fit: &LatticeFit, points: &[usize], heights: &mut Vec<i64>, placed: usize, best: &mut Option<i64>) {
    let Some(&q) = points.get(placed) else {
        if fit.most_bend.is_none_or(|most| fit.bends(heights).all(|b| b.abs() <= most)) {
            let cost = fit.cost(heights);
            *best = Some(best.map_or(cost, |b| b.min(cost)));
        }
        return;
    };
    let (low, high) = fit.range(q);
    for z in low.max(-9)..=high.min(9) {
        let held = |p: usize, step: Step| !fit.inside[p] || (step.least..=step.most).contains(&(z - heights[p]));
        let along = q % fit.stations == 0 || held(q - 1, fit.along.at(q - 1));
        let across = q < fit.stations || held(q - fit.stations, fit.across.at(q - fit.stations));
        if along && across {
            heights[q] = z;
            place(fit, points, heights, placed + 1, best);
        }
    }
}
