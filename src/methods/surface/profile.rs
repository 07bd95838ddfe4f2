//! Heights along a line, and how evenly they fall.
//!
//! A profile is a list of (station, height), stations growing from the start. Water is meant to run from its start
//! to its end. *Reverse depth* is the deepest water that would stand if the profile were a gutter with a closed
//! head, filled with water that can leave only over its end: at each station the highest height from there on to
//! the end, minus the height. It is zero exactly when the profile never rises towards its end.
//!
//! Units: metres; falls metres per metre, positive when heights sink from start to end.
//!
//! Source: arithmetic on piecewise straight profiles; the standing water is one-dimensional
//! [`Bibliography::Barnes2014`](crate::bibliography::Bibliography::Barnes2014) with one open end.
//!
//! How we know: hand-worked profiles (`a_sag_holds_water`, `a_sawtooth`), planes (`plane_has_one_fall`).

use crate::grid::Raster;
use geo::Coord;
use serde::{Deserialize, Serialize};

/// How a profile falls from its start to its end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FallStats {
    /// Fall from the first to the last station over the distance between them, ratio.
    pub mean_fall: f64,
    /// Least fall over any stretch of the window's length, ratio; negative where a stretch rises.
    pub min_window_fall: f64,
    /// Greatest fall over any stretch of the window's length, ratio.
    pub max_window_fall: f64,
    /// Deepest water that stands when water can leave only over the end, metres.
    pub reverse_depth_m: f64,
    /// Length of profile below that water, metres.
    pub reverse_length_m: f64,
}

/// Samples heights from `a` to `b`, both ends included, at most `step_m` apart and evenly spread.
///
/// Stations where the surface has no height are left out.
#[must_use]
pub fn sample_line(elevation: &Raster<f32>, a: Coord<f64>, b: Coord<f64>, step_m: f64) -> Vec<(f64, f64)> {
    sample_path(elevation, &[a, b], step_m)
}

/// As [`sample_line`] along a line of several points; every point of the line is a station.
#[must_use]
pub fn sample_path(elevation: &Raster<f32>, line: &[Coord<f64>], step_m: f64) -> Vec<(f64, f64)> {
    let mut profile = Vec::new();
    let mut sample = |station: f64, at: Coord<f64>| {
        if let Some(z) = elevation.bilinear(at) {
            profile.push((station, z));
        }
    };
    if let Some(first) = line.first() {
        sample(0.0, *first);
    }
    let mut from_m = 0.0;
    for pair in line.windows(2) {
        let along = pair[1] - pair[0];
        let length_m = along.x.hypot(along.y);
        if length_m <= 0.0 {
            continue;
        }
        let steps = (length_m / step_m.max(1e-3)).ceil().max(1.0) as usize;
        for k in 1..=steps {
            let share = k as f64 / steps as f64;
            sample(from_m + share * length_m, pair[0] + along * share);
        }
        from_m += length_m;
    }
    profile
}

/// Statistics of fall of a profile whose water runs from its first to its last station.
///
/// `window_m` is the length over which falls are judged, for instance the length of a machine with its implement; a
/// profile shorter than the window is judged as a whole. `None` for fewer than two stations or no length.
#[must_use]
pub fn fall_stats(profile: &[(f64, f64)], window_m: f64) -> Option<FallStats> {
    let (first, last) = (profile.first()?, profile.last()?);
    let length_m = last.0 - first.0;
    if length_m <= 0.0 {
        return None;
    }
    let mean_fall = (first.1 - last.1) / length_m;
    let (min_window_fall, max_window_fall) = window_falls(profile, window_m).unwrap_or((mean_fall, mean_fall));
    let (reverse_depth_m, reverse_length_m) = standing_water(profile);
    Some(FallStats { mean_fall, min_window_fall, max_window_fall, reverse_depth_m, reverse_length_m })
}

/// Least and greatest fall over stretches of `window_m`. The fall of a sliding stretch is piecewise straight in its
/// position, so its extremes are found with the stretch starting or ending at a station.
fn window_falls(profile: &[(f64, f64)], window_m: f64) -> Option<(f64, f64)> {
    let start = profile.first()?.0;
    let end = profile.last()?.0;
    let mut extremes: Option<(f64, f64)> = None;
    let mut take = |fall: f64| {
        let (low, high) = extremes.unwrap_or((fall, fall));
        extremes = Some((low.min(fall), high.max(fall)));
    };
    if window_m <= 0.0 {
        return None;
    }
    let (mut ahead, mut behind) = (0, 0);
    // Stations carry rounding of the size of their own last digits.
    let slack = 1e-9 * end.abs().max(1.0);
    for (station, z) in profile {
        if station + window_m <= end + slack {
            take((z - height_at(profile, station + window_m, &mut ahead)) / window_m);
        }
        if station - window_m >= start - slack {
            take((height_at(profile, station - window_m, &mut behind) - z) / window_m);
        }
    }
    extremes
}

/// Height at a station between two others; `from` remembers where the last look-up ended, as stations only grow.
fn height_at(profile: &[(f64, f64)], station: f64, from: &mut usize) -> f64 {
    while *from + 2 < profile.len() && profile[*from + 1].0 < station {
        *from += 1;
    }
    let ((s0, z0), (s1, z1)) = (profile[*from], profile[*from + 1]);
    if s1 <= s0 {
        return z1;
    }
    z0 + (z1 - z0) * ((station - s0) / (s1 - s0)).clamp(0.0, 1.0)
}

/// Deepest standing water and the length below water.
fn standing_water(profile: &[(f64, f64)]) -> (f64, f64) {
    let (mut deepest, mut wet_m) = (0.0_f64, 0.0);
    let mut level = profile.last().map_or(0.0, |p| p.1);
    for pair in profile.windows(2).rev() {
        let ((s0, z0), (s1, z1)) = (pair[0], pair[1]);
        deepest = deepest.max(level - z0);
        if z0 <= level {
            // Under water from end to end, unless it lies level with it.
            if z0 < level || z1 < level {
                wet_m += s1 - s0;
            }
        } else {
            wet_m += (s1 - s0) * (level - z1) / (z0 - z1);
            level = z0;
        }
    }
    (deepest, wet_m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} against {b}");
    }

    /// By hand: 100 m falling 1 m in all, with a sag of 0.2 m below the sill at 60 m. Water stands at 9.5 from
    /// where the first slope passes 9.5 (station 20 + 20 * 0.3 / 0.5 = 32) to the sill at 60.
    #[test]
    fn a_sag_holds_water() {
        let profile = [(0.0, 10.0), (20.0, 9.8), (40.0, 9.3), (60.0, 9.5), (100.0, 9.0)];
        let s = fall_stats(&profile, 20.0).unwrap();
        near(s.mean_fall, 0.01);
        near(s.min_window_fall, -0.01);
        near(s.max_window_fall, 0.025);
        near(s.reverse_depth_m, 0.2);
        near(s.reverse_length_m, 28.0);
        // Read the other way the whole rises: the end is the highest point, so all of it would stand under water.
        let back: Vec<(f64, f64)> = profile.iter().rev().map(|(x, z)| (100.0 - x, *z)).collect();
        let r = fall_stats(&back, 20.0).unwrap();
        near(r.mean_fall, -0.01);
        near(r.min_window_fall, -0.025);
        near(r.max_window_fall, 0.01);
        near(r.reverse_depth_m, 1.0);
        near(r.reverse_length_m, 100.0);
    }

    /// By hand: teeth of 10 m falling 0.2 m and rising 0.1 m. The window of two teeth sees the mean fall only, that
    /// of one flank sees both flanks.
    #[test]
    fn a_sawtooth() {
        let profile: Vec<(f64, f64)> =
            (0..=10).map(|k| (f64::from(k) * 10.0, 5.0 - 0.1 * f64::from(k / 2) - 0.2 * f64::from(k % 2))).collect();
        let s = fall_stats(&profile, 20.0).unwrap();
        near(s.mean_fall, 0.005);
        near(s.min_window_fall, 0.005);
        near(s.max_window_fall, 0.005);
        near(s.reverse_depth_m, 0.1);
        // Half of each falling flank and all of each rising one.
        near(s.reverse_length_m, 5.0 * 15.0);
        let s = fall_stats(&profile, 10.0).unwrap();
        near(s.min_window_fall, -0.01);
        near(s.max_window_fall, 0.02);
    }

    #[test]
    fn plane_has_one_fall() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 200.0 }, cell_m: 5.0, rows: 40, cols: 40 };
        let mut plane = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            let c = spec.centre(spec.cell(i));
            plane.values[i] = (0.004 * c.x + 0.003 * c.y) as f32;
        }
        let (high, low) = (Coord { x: 150.0, y: 140.0 }, Coord { x: 30.0, y: 50.0 });
        let profile = sample_line(&plane, high, low, 4.0);
        assert_eq!(profile.len(), 39);
        near(profile[38].0, 150.0);
        let s = fall_stats(&profile, 25.0).unwrap();
        // Heights are f32: 1e-7 over 25 m.
        assert!((s.mean_fall - 0.005).abs() < 1e-7 && (s.min_window_fall - 0.005).abs() < 1e-7);
        assert!(s.reverse_depth_m < 1e-6);
        let short = fall_stats(&profile[..3], 25.0).unwrap();
        assert_eq!(short.min_window_fall, short.mean_fall);
        assert_eq!(fall_stats(&profile[..1], 25.0), None);
        let path = sample_path(&plane, &[high, low, high], 4.0);
        assert_eq!(path.len(), 77);
        near(path[76].0, 300.0);
    }
}
