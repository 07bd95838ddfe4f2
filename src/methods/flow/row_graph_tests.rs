//! Tests of the graph of channels and ridges.

use super::*;
use crate::methods::flow::random_ground::any_ground;
use crate::methods::flow::{accumulate, d8_codes, directions, fill, route};
use proptest::prelude::*;

fn channel(heights: &[f64], exits: &[usize]) -> Vec<Station> {
    let station = |(k, z): (usize, &f64)| Station {
        height_m: *z,
        area_m2: 2.0,
        runoff: 1.0,
        exit_m: exits.contains(&k).then_some(*z),
    };
    heights.iter().enumerate().map(station).collect()
}

/// Straight across between equal places of neighbouring channels.
fn ladder(channels: &[Vec<Station>], ridge_m: f64) -> Vec<Crossing> {
    (1..channels.len() as u32)
        .flat_map(|c| (0..channels[c as usize].len() as u32).map(move |k| (c, k)))
        .map(|(c, k)| Crossing { from: (c - 1, k), to: (c, k), ridge_m, length_m: 1.5 })
        .collect()
}

/// By hand. The upper channel sags at its third station: 10.2, 10.1, 9.9, 10.3 with its exit at the far end (10.3); the
/// lower one falls evenly to its exit. Ridges of 0.15 m: the sag would spill along the channel at 10.3 but over
/// the ridge from its bed at 9.9 + 0.15 = 10.05 first; its last station, though open, lies higher and drains into it. Ridges of 0.5 m (10.4): it spills along the channel.
#[test]
fn sag_ponds_then_overtops() {
    let channels = vec![channel(&[10.2, 10.1, 9.9, 10.3], &[3]), channel(&[9.8, 9.7, 9.6, 9.5], &[3])];
    let graph =
        |ridge_m| RowGraph { crossings: ladder(&channels, ridge_m), channels: channels.clone(), step_m: vec![2.0; 2] };
    let low = row_flow(&graph(0.15));
    assert_eq!(low.overtoppings.len(), 1);
    assert_eq!((low.overtoppings[0].from, low.overtoppings[0].to, low.overtoppings[0].through), ((0, 2), (1, 2), 4.0));
    assert!((low.overtoppings[0].crest_m - 10.05).abs() < 1e-12);
    assert_eq!((low.sags.len(), low.sags[0].stations.clone()), (1, vec![(0, 2)]));
    assert!((low.sags[0].depth_m - 0.15).abs() < 1e-12 && (low.sags[0].volume_m3 - 0.3).abs() < 1e-12);
    assert_eq!((low.end_discharges(0), low.end_discharges(1)), ((0.0, 0.0), (0.0, 8.0)));

    let high = row_flow(&graph(0.5));
    assert!(high.overtoppings.is_empty());
    assert_eq!(high.sags[0].stations, [(0, 0), (0, 1), (0, 2)]);
    assert!((high.sags[0].volume_m3 - 2.0 * (0.1 + 0.2 + 0.4)).abs() < 1e-9);
    assert_eq!((high.end_discharges(0).1, high.end_discharges(1).1, high.leaving), (4.0, 4.0, 8.0));
}

#[test]
fn water_without_a_way_out_is_trapped() {
    let channels = vec![channel(&[1.0, 0.5, 1.0], &[])];
    let flow = row_flow(&RowGraph { channels, step_m: vec![1.0], crossings: Vec::new() });
    assert_eq!((flow.leaving, flow.trapped), (0.0, 3.0));
    assert!(flow.stations[0].iter().all(|s| s.onward == Onward::Trapped && s.ponded_m(0.5).is_infinite()));
    assert!(flow.sags.is_empty());
}

/// Rows of the grid as channels; crossings straight and diagonal without ridges; the rim open.
fn grid_graph(ground: &crate::grid::Raster<f32>) -> RowGraph {
    let (rows, cols) = (ground.spec.rows, ground.spec.cols);
    let cell_m = ground.spec.cell_m;
    let channels = (0..rows)
        .map(|r| {
            (0..cols)
                .map(|c| {
                    let height_m = f64::from(ground.values[(r * cols + c) as usize]);
                    let rim = r == 0 || c == 0 || r + 1 == rows || c + 1 == cols;
                    Station { height_m, area_m2: cell_m * cell_m, runoff: 1.0, exit_m: rim.then_some(height_m) }
                })
                .collect()
        })
        .collect();
    let mut crossings = Vec::new();
    for r in 1..rows {
        for c in 0..cols {
            for other in c.saturating_sub(1)..(c + 2).min(cols) {
                let length_m = if other == c { cell_m } else { cell_m * std::f64::consts::SQRT_2 };
                crossings.push(Crossing { from: (r - 1, c), to: (r, other), ridge_m: 0.0, length_m });
            }
        }
    }
    RowGraph { channels, step_m: vec![cell_m; rows as usize], crossings }
}

/// Heights on which few drops are equal.
fn rough_ground() -> impl Strategy<Value = crate::grid::Raster<f32>> {
    any_ground().prop_map(|mut ground| {
        ground.values.iter_mut().enumerate().for_each(|(i, z)| *z += ((i * 7_919) % 1_009) as f32 * 1.0e-4);
        ground
    })
}

proptest! {
    /// Without ridges the filled levels are those of the grid; away from flats and ties every cell hands its water to
    /// the same neighbour, and as much leaves.
    #[test]
    fn no_ridges_is_a_grid(ground in rough_ground()) {
        let filled = fill(&ground);
        let flow = row_flow(&grid_graph(&ground));
        let cols = ground.spec.cols as usize;
        let single = directions(&filled);
        let grid = crate::methods::flow::frame::Frame::new(&filled);
        for i in 0..ground.spec.len() {
            let station = flow.stations[i / cols][i % cols];
            prop_assert_eq!(station.level_m as f32, filled.values[i]);
            // On filled flats the two choose their ways by different rules.
            let mut drops: Vec<f64> = (0..8)
                .filter_map(|dir| grid.step(i, dir).map(|n| (dir, n)))
                .map(|(dir, n)| {
                    let distance = if dir % 2 == 1 { std::f64::consts::SQRT_2 } else { 1.0 };
                    (f64::from(filled.values[i]) - f64::from(filled.values[n])) / distance
                })
                .collect();
            drops.sort_by(|a, b| b.total_cmp(a));
            if drops.first().is_some_and(|d| *d > 0.0) && drops.get(1).is_none_or(|d| drops[0] - d > 1e-5) {
                let to = match station.onward {
                    Onward::Along(place) => Some(i / cols * cols + place as usize),
                    Onward::Over((channel, place)) => Some(channel as usize * cols + place as usize),
                    Onward::Exit | Onward::Trapped => None,
                };
                prop_assert_eq!(to, single.receiver(i));
            }
        }
        prop_assert!((flow.leaving - ground.spec.len() as f64).abs() < 1e-9);
    }

    /// Levels as by relaxing until nothing changes; what falls leaves or is trapped.
    #[test]
    fn levels_and_balance(
        heights in prop::collection::vec(prop::collection::vec(0_u8..20, 6), 1..5),
        ridge in 0_u8..6,
        exits in prop::collection::vec(0_usize..6, 0..3),
    ) {
        let heights: Vec<Vec<f64>> = heights.iter().map(|c| c.iter().map(|z| f64::from(*z) * 0.25).collect()).collect();
        let ridge_m = f64::from(ridge) * 0.25;
        let channels: Vec<Vec<Station>> =
            heights.iter().enumerate().map(|(c, z)| channel(z, if c == 0 { &exits } else { &[] })).collect();
        let crossings = ladder(&channels, ridge_m);
        let flow = row_flow(&RowGraph { step_m: vec![2.0; channels.len()], channels: channels.clone(), crossings });
        let mut level: Vec<Vec<f64>> = channels
            .iter()
            .map(|c| c.iter().map(|s| s.exit_m.map_or(f64::INFINITY, |e| e.max(s.height_m))).collect())
            .collect();
        for _ in 0..40 {
            for c in 0..level.len() {
                for k in 0..6 {
                    let z = heights[c][k];
                    let mut best = level[c][k];
                    for (oc, ok, ridge) in [(c, k + 1, 0.0), (c, k.wrapping_sub(1), 0.0), (c + 1, k, ridge_m), (c.wrapping_sub(1), k, ridge_m)] {
                        if oc < level.len() && ok < 6 {
                            best = best.min(level[oc][ok].max(z.max(heights[oc][ok]) + ridge));
                        }
                    }
                    level[c][k] = best;
                }
            }
        }
        for (found, expected) in flow.stations.iter().zip(&level) {
            prop_assert_eq!(&found.iter().map(|s| s.level_m).collect::<Vec<_>>(), expected);
        }
        let fallen = 6.0 * channels.len() as f64;
        prop_assert!((flow.leaving + flow.trapped - fallen).abs() < 1e-9);
        let stored: f64 = flow.sags.iter().map(|s| s.volume_m3).sum();
        let ponded: f64 = flow.stations.iter().zip(&heights).flat_map(|(f, z)| f.iter().zip(z))
            .map(|(s, z)| if s.level_m.is_finite() { 2.0 * s.ponded_m(*z) } else { 0.0 }).sum();
        prop_assert!((stored - ponded).abs() < 1e-9);
    }
}

/// The 6 x 6 grid of hydrology texts (terra; NOAA National Weather Service): the same totals as published there.
#[test]
fn textbook_grid_without_ridges() {
    let ground = crate::methods::flow::accumulation::textbook_ground();
    let flow = row_flow(&grid_graph(&ground));
    let by_grid = route(&ground);
    let totals = accumulate(&by_grid, &[1.0; 36]);
    assert_eq!(d8_codes(&by_grid)[34], 0);
    for (i, total) in totals.iter().enumerate() {
        assert_eq!(flow.stations[i / 6][i % 6].through, *total, "cell {i}");
    }
    assert_eq!(flow.end_discharges(5), (0.0, 0.0));
    assert_eq!(flow.leaving, 36.0);
}
