//! Takes the old tree beds out of the ground for concept work, and leaves channels as they are.
//!
//! Beds are a wave across the old rows. Profiles across them, freed of the broad lie of the land, are compared with
//! themselves: the shift at which they agree best is the bed spacing. Where no old rows are mapped, all bearings are
//! tried; a slanting profile only stretches the wave, so the shortest good spacing is the true one.

use super::{NAME, SurveyParams};
use crate::finding::{Finding, Severity};
use crate::grid::{Cell, Raster};
use crate::land::site::SiteLayers;
use crate::methods::surface::smooth;
use crate::units::Bearing;
use geo::{Coord, LineString};

/// Bed spacings looked for, metres (common practice: 2.5 to 6 m).
const SPACINGS_M: (f64, f64) = (2.4, 8.0);
/// Broad relief is taken out over this length, metres: several beds.
const BROAD_M: f64 = 12.0;
/// Least agreement of profiles with themselves one bed on; noise stays far below.
const LEAST_AGREEMENT: f64 = 0.2;
/// Least height (root mean square) of a wave worth smoothing, metres; below is survey noise.
const LEAST_RMS_M: f64 = 0.02;
/// Length of a profile and number of places looked at.
const PROFILE_M: f64 = 80.0;
const PLACES: usize = 80;

/// The concept surface.
pub(super) struct Concept {
    /// Heights, metres.
    pub surface: Raster<f32>,
    /// Width of the smoothing, metres; zero when none.
    pub window_m: f64,
    /// Mean absolute difference from the surveyed heights inside the boundary, metres.
    pub mean_difference_m: f64,
}

/// A bed spacing and where it comes from.
struct Beds {
    spacing_m: f64,
    basis: String,
}

/// The ground without its beds; the ground itself when there are none.
pub(super) fn take_out(
    surveyed: &Raster<f32>,
    inside: &[bool],
    layers: &SiteLayers,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
) -> Concept {
    let beds = if params.bed_spacing_m > 0.0 {
        Some(Beds { spacing_m: params.bed_spacing_m, basis: "given in the pipeline file".to_owned() })
    } else {
        find(surveyed, inside, &layers.old_tree_rows, params.keep_relief_m)
    };
    let Some(beds) = beds else {
        if !layers.old_tree_rows.is_empty() {
            findings.push(Finding::new(
                Severity::Note,
                NAME,
                "no_beds_seen",
                format!(
                    "Old tree rows are mapped but no beds show in the heights (cells of {:.1} m): concept work uses the ground as surveyed.",
                    surveyed.spec.cell_m
                ),
            ));
        }
        return Concept { surface: surveyed.clone(), window_m: 0.0, mean_difference_m: 0.0 };
    };
    let window_m = beds.spacing_m * params.bed_window_spacings;
    let smoothed = smooth(surveyed, window_m);
    let surface = keep_channels(surveyed, &smoothed, layers, window_m, params.keep_relief_m);
    let mean_difference_m = mean_difference(surveyed, &surface, inside);
    findings.push(Finding::new(
        Severity::Note,
        NAME,
        "beds_smoothed",
        format!(
            "Old tree beds {:.2} m apart ({}) were smoothed out over {window_m:.1} m for falls, ponds and flow; they change the \
             ground by {mean_difference_m:.3} m on average. Earthworks are reckoned on the surveyed heights.",
            beds.spacing_m, beds.basis
        ),
    ));
    Concept { surface, window_m, mean_difference_m }
}

/// Surveyed heights where smoothing would change the ground by more than beds can, blended over a window's width.
#[expect(clippy::cast_possible_truncation, reason = "heights are kept as f32 throughout")]
fn keep_channels(
    surveyed: &Raster<f32>,
    smoothed: &Raster<f32>,
    layers: &SiteLayers,
    window_m: f64,
    keep_relief_m: f64,
) -> Raster<f32> {
    let mut sharp = surveyed.map(|_| 0.0_f32);
    for i in 0..sharp.values.len() {
        if f64::from((surveyed.values[i] - smoothed.values[i]).abs()) > keep_relief_m {
            sharp.values[i] = 1.0;
        }
    }
    for waterway in &layers.waterways {
        mark_line(&mut sharp, &waterway.line);
    }
    let near = smooth(&sharp, 2.0 * window_m);
    let mut out = surveyed.clone();
    for i in 0..out.values.len() {
        // A quarter of the neighbourhood being sharp keeps the surveyed height whole.
        let keep = (4.0 * near.values[i]).clamp(0.0, 1.0);
        out.values[i] = (f64::from(keep) * f64::from(surveyed.values[i])
            + f64::from(1.0 - keep) * f64::from(smoothed.values[i])) as f32;
    }
    out
}

/// Sets the valid cells under a line to one.
fn mark_line(raster: &mut Raster<f32>, line: &LineString<f64>) {
    let step_m = 0.5 * raster.spec.cell_m;
    for part in line.lines() {
        let length_m = part.dx().hypot(part.dy());
        let mut along_m = 0.0;
        while along_m <= length_m {
            let t = if length_m > 0.0 { along_m / length_m } else { 0.0 };
            let at = Coord { x: part.start.x + t * part.dx(), y: part.start.y + t * part.dy() };
            if let Some(cell) = raster.spec.cell_at(at).filter(|c| raster.get(*c).is_some()) {
                raster.set(cell, 1.0);
            }
            along_m += step_m;
        }
    }
}

fn mean_difference(a: &Raster<f32>, b: &Raster<f32>, inside: &[bool]) -> f64 {
    let (mut sum, mut count) = (0.0, 0_u32);
    for (i, inside) in inside.iter().enumerate() {
        if *inside && a.valid[i] {
            sum += f64::from((a.values[i] - b.values[i]).abs());
            count += 1;
        }
    }
    if count == 0 { 0.0 } else { sum / f64::from(count) }
}

/// The bed spacing the ground itself shows.
fn find(surveyed: &Raster<f32>, inside: &[bool], rows: &[LineString<f64>], tallest_m: f64) -> Option<Beds> {
    // Beds need three cells each to be seen at all.
    if surveyed.spec.cell_m > SPACINGS_M.0 / 3.0 * 2.0 {
        return None;
    }
    let places = places(surveyed, inside);
    if let Some(bearing) = mean_axis(rows) {
        let (spacing_m, _) = agreement_peak(surveyed, &places, bearing, tallest_m)?;
        return Some(Beds { spacing_m, basis: "measured on the ground across the mapped old rows".to_owned() });
    }
    let peaks: Vec<(f64, f64)> = (0..36)
        .filter_map(|k| agreement_peak(surveyed, &places, Bearing::from_degrees(f64::from(k) * 5.0), tallest_m))
        .collect();
    let best = peaks.iter().map(|p| p.1).max_by(f64::total_cmp)?;
    let spacing_m = peaks.iter().filter(|p| p.1 >= 0.85 * best).map(|p| p.0).min_by(f64::total_cmp)?;
    Some(Beds { spacing_m, basis: "measured on the ground; no old rows were mapped".to_owned() })
}

/// Evenly picked cells inside the boundary.
fn places(surveyed: &Raster<f32>, inside: &[bool]) -> Vec<Coord<f64>> {
    let cells: Vec<Cell> =
        (0..surveyed.spec.len()).filter(|i| inside[*i] && surveyed.valid[*i]).map(|i| surveyed.spec.cell(i)).collect();
    // An odd stride of the row-major list spreads the places over the columns too.
    let stride = (cells.len() / PLACES).max(1) | 1;
    cells.iter().step_by(stride).map(|c| surveyed.spec.centre(*c)).collect()
}

/// Mean direction of lines, weighted by length, ends counted alike.
fn mean_axis(rows: &[LineString<f64>]) -> Option<Bearing> {
    let (mut cos2, mut sin2) = (0.0, 0.0);
    for part in rows.iter().flat_map(LineString::lines) {
        let length_m = part.dx().hypot(part.dy());
        if length_m > 0.0 {
            // Doubled angles make both ends of a line the same direction.
            cos2 += (part.dy().powi(2) - part.dx().powi(2)) / length_m;
            sin2 += 2.0 * part.dx() * part.dy() / length_m;
        }
    }
    (cos2.hypot(sin2) > 0.0).then(|| Bearing::from_degrees(0.5 * sin2.atan2(cos2).to_degrees()))
}

/// Spacing and agreement of the best shift of profiles across beds of a bearing. Profiles over anything taller than
/// beds (channels, banks) are left out.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small positive numbers of samples")]
fn agreement_peak(surveyed: &Raster<f32>, places: &[Coord<f64>], beds: Bearing, tallest_m: f64) -> Option<(f64, f64)> {
    let step_m = surveyed.spec.cell_m.min(0.5);
    let lags = (SPACINGS_M.1 / step_m).ceil() as usize + 2;
    let mut mean = vec![0.0; lags];
    let (mut looked_at, mut used) = (0.0, 0.0);
    for place in places {
        let Some(wave) = wave_across(surveyed, *place, beds, step_m) else { continue };
        let energy: f64 = wave.iter().map(|z| z * z).sum();
        if wave.len() < 3 * lags || wave.iter().any(|z| z.abs() > 1.5 * tallest_m) {
            continue;
        }
        looked_at += 1.0;
        if energy < LEAST_RMS_M * LEAST_RMS_M * wave.len() as f64 {
            continue;
        }
        for (lag, mean) in mean.iter_mut().enumerate() {
            let product: f64 = wave.iter().zip(&wave[lag..]).map(|(a, b)| a * b).sum();
            // Fewer pairs at longer lags; put on the same footing.
            *mean += product / energy * wave.len() as f64 / (wave.len() - lag) as f64;
        }
        used += 1.0;
    }
    // Beds on a small part of the land are no reason to smooth all of it.
    if used < 5.0 || used < 0.3 * looked_at {
        return None;
    }
    mean.iter_mut().for_each(|m| *m /= used);
    let first = (SPACINGS_M.0 / step_m).floor().max(1.0) as usize;
    let peak = (first..lags - 1)
        .filter(|&k| mean[k] >= mean[k - 1] && mean[k] >= mean[k + 1] && mean[k] > LEAST_AGREEMENT && mean[k / 2] < 0.0)
        .max_by(|a, b| mean[*a].total_cmp(&mean[*b]).then(b.cmp(a)))?;
    // The top of the parabola through the three values.
    let (a, b, c) = (mean[peak - 1], mean[peak], mean[peak + 1]);
    let curve = a - 2.0 * b + c;
    let shift = if curve < 0.0 { 0.5 * (a - c) / curve } else { 0.0 };
    Some(((peak as f64 + shift) * step_m, b))
}

/// Heights along a line across the beds, less their running mean; `None` where the ground does not reach.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small positive numbers of samples")]
fn wave_across(surveyed: &Raster<f32>, middle: Coord<f64>, beds: Bearing, step_m: f64) -> Option<Vec<f64>> {
    let (east, north) = Bearing::from_degrees(beds.degrees() + 90.0).east_north();
    let count = (PROFILE_M / step_m) as usize;
    let mut heights = Vec::with_capacity(count);
    for k in 0..count {
        let along_m = k as f64 * step_m - 0.5 * PROFILE_M;
        heights.push(surveyed.bilinear(Coord { x: middle.x + along_m * east, y: middle.y + along_m * north })?);
    }
    let half = (0.5 * BROAD_M / step_m).round() as usize;
    let mut sums = vec![0.0];
    for z in &heights {
        sums.push(sums[sums.len() - 1] + z - heights[0]);
    }
    let width = (2 * half + 1) as f64;
    Some(
        (half..count - half).map(|k| heights[k] - heights[0] - (sums[k + half + 1] - sums[k - half]) / width).collect(),
    )
}
