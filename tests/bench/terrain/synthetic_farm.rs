//! The ground the benches run on: a made-up run-down plantation, the same from the same seed.
//!
//! A plain falling 0.1 to 0.5 % to the south and 0.2 % towards a winding creek 2 to 3 m deep; old tree beds 0.30 m from
//! crest to trough at 4.1 m, in blocks of 400 m that each have a bearing of their own, with tracks of 12 m between
//! them; broad undulation; survey noise of 0.02 m standard deviation.

use std::f64::consts::{PI, TAU};

const BLOCK_M: usize = 400;
const TRACK_M: usize = 12;

/// A number from 0 to 1 for a key (splitmix64).
fn dice(key: u64) -> f64 {
    let mut z = key.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Smooth random heights of unit spread: bilinear between random nodes.
fn swell(x: f64, y: f64, node_m: f64, seed: u64) -> f64 {
    let (u, v) = (x / node_m, y / node_m);
    let (i, j) = (u.floor(), v.floor());
    let node = |a: f64, b: f64| 3.46 * (dice(seed ^ ((a as u64) << 32) ^ b as u64) - 0.5);
    let ease = |t: f64| t * t * (3.0 - 2.0 * t);
    let (s, t) = (ease(u - i), ease(v - j));
    let upper = node(i, j) * (1.0 - s) + node(i + 1.0, j) * s;
    let lower = node(i, j + 1.0) * (1.0 - s) + node(i + 1.0, j + 1.0) * s;
    upper * (1.0 - t) + lower * t
}

/// One row of heights, metres, cells of 1 m, `side` of them.
pub fn row(side: usize, row: usize) -> Vec<f32> {
    let (n, y) = (side as f64, row as f64);
    let down = 0.001 * y + 0.002 * y * y / n;
    let creek = n * (0.5 + 0.06 * (TAU * y / (n * 0.55) + 1.0).sin())
        + 35.0 * (TAU * y / 310.0 + 0.3).sin()
        + 14.0 * (TAU * y / 97.0).sin();
    (0..side)
        .map(|col| {
            let x = col as f64;
            let away = (x - creek).abs();
            let mut z = 60.0 - down + 0.002 * away.min(n / 4.0) - (2.0 + y / n) * ((9.0 - away) / 7.0).clamp(0.0, 1.0);
            z += 0.15 * swell(x, y, 240.0, 1) + 0.05 * swell(x, y, 30.0, 2);
            if away > 16.0 && col % BLOCK_M < BLOCK_M - TRACK_M && row % BLOCK_M < BLOCK_M - TRACK_M {
                let block = (row / BLOCK_M * 1_000 + col / BLOCK_M) as u64;
                let (sin, cos) = (PI * dice(block ^ 0xBED)).sin_cos();
                z += 0.15 * (TAU * (x * cos + y * sin) / 4.1 + TAU * dice(block ^ 0xA5E)).sin();
            }
            // Three dice make a bell near enough for noise: standard deviation 1/2.
            let key = 3 * (row * side + col) as u64;
            z += 0.04 * (dice(key) + dice(key + 1) + dice(key + 2) - 1.5);
            z as f32
        })
        .collect()
}
