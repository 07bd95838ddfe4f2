//! Takes the old tree beds out of the ground for concept work, and leaves channels as they are.
//!
//! Beds are a wave across the old rows. It stands out in the two-dimensional spectrum of the ground, which gives spacing,
//! bearing and height at once; where old rows are mapped, only waves along them count. What taking the beds out does to
//! ponds and slopes is reckoned and told.

use super::{NAME, SurveyParams};
use crate::finding::{Finding, Severity};
use crate::grid::Raster;
use crate::land::site::SiteLayers;
use crate::methods::flow::fill;
use crate::methods::surface::{Sought, Wave, find_wave, horn_gradient, slope_ratio, smooth};
use crate::units::M2_PER_HA;
use crate::wording::grouped;
use geo::{Coord, LineString};

/// Bed spacings looked for, metres (common practice: 2.5 to 6 m).
const SPACINGS_M: (f64, f64) = (2.4, 8.0);
/// Least height of beds worth smoothing, trough to crest, metres; below is survey noise.
const LEAST_HEIGHT_M: f64 = 0.05;
/// How far the beds may run off the mapped rows, degrees.
const OFF_ROWS_DEG: f64 = 15.0;

/// Ponds shallower than this are not counted as wet ground, metres.
const WET_M: f64 = 0.05;

/// The concept surface.
pub(super) struct Concept {
    /// Heights, metres.
    pub surface: Raster<f32>,
    /// Width of the smoothing, metres; zero when none.
    pub window_m: f64,
    /// Mean absolute difference from the surveyed heights inside the boundary, metres.
    pub mean_difference_m: f64,
}

/// A bed spacing, where it comes from, and the wave where it was measured.
struct Beds {
    spacing_m: f64,
    basis: String,
    wave: Option<Wave>,
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
        Some(Beds { spacing_m: params.bed_spacing_m, basis: "given in the pipeline file".to_owned(), wave: None })
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
    let stand = beds.wave.map_or(String::new(), |w| {
        format!(
            ", along bearing {:.0} degrees, about {:.2} m high from furrow to crest on {:.0} % of the ground looked at",
            w.bearing_deg,
            w.height_m,
            100.0 * w.share
        )
    });
    findings.push(Finding::new(
        Severity::Note,
        NAME,
        "beds_smoothed",
        format!(
            "Old tree beds {:.2} m apart{stand} ({}) were smoothed out over {window_m:.1} m for falls, ponds and flow; they change \
             the ground by {mean_difference_m:.3} m on average. Earthworks are reckoned on the surveyed heights.",
            beds.spacing_m, beds.basis
        ),
    ));
    findings.push(what_it_does(surveyed, &surface, inside));
    Concept { surface, window_m, mean_difference_m }
}

/// By how much ponds and slopes change.
fn what_it_does(surveyed: &Raster<f32>, concept: &Raster<f32>, inside: &[bool]) -> Finding {
    let [before, after] = [surveyed, concept].map(|ground| Lie::of(ground, inside));
    Finding::new(
        Severity::Note,
        NAME,
        "beds_effect",
        format!(
            "Taking the beds out changes what can pond inside the boundary from {} to {} m3, the ground under ponds deeper \
             than 0.05 m from {:.1} to {:.1} ha, and the mean slope of the cells from {:.2} to {:.2} %. Ponds between beds are \
             real until the beds are worked down.",
            grouped(before.ponded_m3),
            grouped(after.ponded_m3),
            before.wet_m2 / M2_PER_HA,
            after.wet_m2 / M2_PER_HA,
            100.0 * before.slope,
            100.0 * after.slope
        ),
    )
}

/// Figures of a ground inside the boundary.
struct Lie {
    ponded_m3: f64,
    wet_m2: f64,
    slope: f64,
}

impl Lie {
    fn of(ground: &Raster<f32>, inside: &[bool]) -> Self {
        let filled = fill(ground);
        let (east, north) = horn_gradient(ground);
        let slope = slope_ratio(&east, &north);
        let area_m2 = ground.spec.cell_area_m2();
        let (mut ponded_m3, mut wet_m2, mut sum, mut count) = (0.0, 0.0, 0.0, 0.0);
        for i in (0..ground.spec.len()).filter(|i| inside[*i] && ground.valid[*i]) {
            let depth_m = f64::from(filled.values[i] - ground.values[i]).max(0.0);
            ponded_m3 += depth_m * area_m2;
            wet_m2 += if depth_m > WET_M { area_m2 } else { 0.0 };
            if slope.valid[i] {
                sum += f64::from(slope.values[i]);
                count += 1.0;
            }
        }
        Self { ponded_m3, wet_m2, slope: if count > 0.0 { sum / count } else { 0.0 } }
    }
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

/// The beds the ground itself shows.
fn find(surveyed: &Raster<f32>, inside: &[bool], rows: &[LineString<f64>], tallest_m: f64) -> Option<Beds> {
    // Beds need three cells each to be seen at all.
    if surveyed.spec.cell_m > SPACINGS_M.0 / 3.0 * 2.0 {
        return None;
    }
    let axis_deg = mean_axis_deg(rows);
    let sought = Sought {
        spacing_m: SPACINGS_M,
        bearing_deg: axis_deg.map(|axis| (axis, OFF_ROWS_DEG)),
        least_height_m: LEAST_HEIGHT_M,
        tallest_m: 1.5 * tallest_m,
    };
    let wave = find_wave(surveyed, inside, &sought)?;
    let basis = if axis_deg.is_some() {
        "measured on the ground along the mapped old rows"
    } else {
        "measured on the ground; no old rows were mapped"
    };
    Some(Beds { spacing_m: wave.spacing_m, basis: basis.to_owned(), wave: Some(wave) })
}

/// Mean bearing of lines, weighted by length, ends counted alike, degrees.
fn mean_axis_deg(rows: &[LineString<f64>]) -> Option<f64> {
    let (mut cos2, mut sin2) = (0.0, 0.0);
    for part in rows.iter().flat_map(LineString::lines) {
        let length_m = part.dx().hypot(part.dy());
        if length_m > 0.0 {
            // Doubled angles make both ends of a line the same direction.
            cos2 += (part.dy().powi(2) - part.dx().powi(2)) / length_m;
            sin2 += 2.0 * part.dx() * part.dy() / length_m;
        }
    }
    (cos2.hypot(sin2) > 0.0).then(|| 0.5 * sin2.atan2(cos2).to_degrees())
}
