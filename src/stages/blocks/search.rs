//! The best bearing of a piece, and the best way to cut it up.

use super::trial::{Judge, Samples, Trial};
use crate::methods::earthwork::fit_plane_of;
use crate::methods::shapes::{
    Frame, admissible_bearings, edge_bearings_by_length, minimum_width, reflex_vertices, split_across,
    split_at_stations,
};
use crate::units::{Bearing, M2_PER_HA};
use geo::{Area, Polygon, Simplify};

/// Edges tried, longest first.
const EDGES: usize = 12;
/// Cuts laid out after all have been sketched.
const CLOSE_LOOKS: usize = 3;
/// Bearings tried when a cut is weighed.
const QUICK: usize = 6;
/// A cut must save this share of the yearly cost to be taken: fewer blocks are worth something by themselves.
const LEAST_SAVING_RATIO: f64 = 0.03;
/// Re-entrant corners tried at each level, sharpest first, and levels of cutting.
const CORNERS: usize = 8;
const LEVELS: u32 = 3;

/// A piece with the bearing taken for it.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) outline: Polygon<f64>,
    pub(super) trial: Trial,
}

/// Every bearing tried on a piece with the reason it was tried, cheapest first; ties go to the smaller bearing.
pub(super) fn study(judge: &Judge<'_>, piece: &Polygon<f64>, wish: Option<Bearing>) -> Vec<(Trial, &'static str)> {
    let samples = judge.samples(piece);
    let mut trials = run(judge, piece, samples.as_ref(), candidates(judge, piece, wish));
    // A degree either side of the leaders: the optimum over falls need not sit at an edge.
    let leaders: Vec<Bearing> = trials.iter().take(3).map(|(t, _)| t.bearing).collect();
    let close = leaders
        .iter()
        .flat_map(|b| [-2.0, -1.0, 1.0, 2.0].map(|d| (Bearing::from_degrees(b.degrees() + d).axis(), "refined")));
    trials.extend(run(judge, piece, samples.as_ref(), close.collect()));
    sort(&mut trials);
    trials.dedup_by(|a, b| a.0.bearing.axis_angle_to(b.0.bearing) < 1e-6);
    trials
}

fn run(
    judge: &Judge<'_>,
    piece: &Polygon<f64>,
    samples: Option<&Samples>,
    list: Vec<(Bearing, &'static str)>,
) -> Vec<(Trial, &'static str)> {
    let mut trials: Vec<(Trial, &'static str)> =
        list.iter().filter_map(|(bearing, why)| Some((judge.judge(piece, samples, *bearing)?, *why))).collect();
    sort(&mut trials);
    trials
}

fn sort(trials: &mut [(Trial, &'static str)]) {
    trials.sort_by(|a, b| {
        a.0.yearly.total_cmp(&b.0.yearly).then(a.0.bearing.degrees().total_cmp(&b.0.bearing.degrees()))
    });
}

/// Bearings worth trying: edges, the narrow way, ends of the admissible falls, a sweep, the user's wish.
fn candidates(judge: &Judge<'_>, piece: &Polygon<f64>, wish: Option<Bearing>) -> Vec<(Bearing, &'static str)> {
    let mut list: Vec<(Bearing, &'static str)> = Vec::new();
    list.extend(wish.map(|b| (b.axis(), "wish")));
    let simple = piece.simplify(3.0);
    list.extend(edge_bearings_by_length(&simple).into_iter().take(EDGES).map(|(b, _)| (b, "edge")));
    list.extend(minimum_width(piece).map(|w| (w.bearing.axis(), "narrow way")));
    if let Some(samples) = judge.samples(piece) {
        list.extend(fall_ends(judge, &samples).into_iter().map(|b| (b.axis(), "end of the falls")));
    }
    list.extend((0..18).map(|i| (Bearing::from_degrees(f64::from(i) * 10.0), "sweep")));
    let mut kept: Vec<(Bearing, &'static str)> = Vec::new();
    for (bearing, why) in list {
        if kept.iter().all(|(b, _)| b.axis_angle_to(bearing) > 0.05) {
            kept.push((bearing, why));
        }
    }
    kept
}

fn fall_ends(judge: &Judge<'_>, samples: &Samples) -> Vec<Bearing> {
    let Some(plane) = fit_plane_of(&samples.moments) else { return Vec::new() };
    admissible_bearings(
        plane.slope_x,
        plane.slope_y,
        judge.params.min_fall_pct / 100.0,
        judge.params.max_fall_pct / 100.0,
    )
    .into_iter()
    .flat_map(|interval| [interval.from, interval.to])
    .collect()
}

/// The best single bearing of a piece.
pub(super) fn best(judge: &Judge<'_>, piece: &Polygon<f64>, fixed: Option<Bearing>) -> Option<Trial> {
    let samples = judge.samples(piece);
    match fixed {
        Some(bearing) => judge.judge(piece, samples.as_ref(), bearing),
        None => run(judge, piece, samples.as_ref(), candidates(judge, piece, None)).into_iter().next().map(|(t, _)| t),
    }
}

/// The least sketched price of a part over the bearings a quick look takes.
fn sketch(judge: &Judge<'_>, piece: &Polygon<f64>, fixed: Option<Bearing>) -> f64 {
    let samples = judge.samples(piece);
    let bearings = fixed.map_or_else(|| quick_bearings(judge, piece), |b| vec![(b, "wish")]);
    bearings.iter().map(|(b, _)| judge.sketch(piece, samples.as_ref(), *b)).fold(f64::INFINITY, f64::min)
}

fn quick_bearings(judge: &Judge<'_>, piece: &Polygon<f64>) -> Vec<(Bearing, &'static str)> {
    candidates(judge, piece, None).into_iter().filter(|(_, why)| *why != "sweep").take(QUICK).collect()
}

/// A bearing nearly as good as the best, for judging whether a cut is worth it: the longest edges and the narrow way.
fn quick(judge: &Judge<'_>, piece: &Polygon<f64>, fixed: Option<Bearing>) -> Option<Trial> {
    if fixed.is_some() {
        return best(judge, piece, fixed);
    }
    let samples = judge.samples(piece);
    run(judge, piece, samples.as_ref(), quick_bearings(judge, piece)).into_iter().next().map(|(t, _)| t)
}

/// Cuts a piece at its re-entrant corners wherever that saves money; every part keeps its own best bearing.
pub(super) fn partition(judge: &Judge<'_>, piece: &Polygon<f64>, fixed: Option<Bearing>) -> Vec<Part> {
    cut(judge, piece, fixed, LEVELS)
}

fn cut(judge: &Judge<'_>, piece: &Polygon<f64>, fixed: Option<Bearing>, levels: u32) -> Vec<Part> {
    let Some(trial) = best(judge, piece, fixed) else { return Vec::new() };
    let whole = Part { outline: piece.clone(), trial };
    let least_m2 = judge.params.min_block_ha * M2_PER_HA;
    if levels == 0 || piece.unsigned_area() < 2.0 * least_m2 {
        return vec![whole];
    }
    let choices = cuts(piece, whole.trial.bearing, least_m2);
    // Every cut is sketched; only the most promising are laid out.
    let mut sketched: Vec<(f64, Vec<Polygon<f64>>)> =
        choices.into_iter().map(|parts| (parts.iter().map(|p| sketch(judge, p, fixed)).sum(), parts)).collect();
    sketched.sort_by(|a, b| a.0.total_cmp(&b.0));
    let cheapest = sketched
        .into_iter()
        .take(CLOSE_LOOKS)
        .filter_map(|(_, parts)| {
            let costs: Option<Vec<f64>> = parts.iter().map(|p| quick(judge, p, fixed).map(|t| t.yearly)).collect();
            costs.map(|c| (c.iter().sum::<f64>(), parts))
        })
        .reduce(|a, b| if b.0 < a.0 { b } else { a });
    match cheapest {
        Some((cost, parts)) if cost < whole.trial.yearly * (1.0 - LEAST_SAVING_RATIO) => {
            parts.iter().flat_map(|part| cut(judge, part, fixed, levels - 1)).collect()
        }
        _ => vec![whole],
    }
}

/// Ways to cut a piece in two or more through its re-entrant corners: along either edge, along and across the rows.
fn cuts(piece: &Polygon<f64>, rows: Bearing, least_m2: f64) -> Vec<Vec<Polygon<f64>>> {
    let simple = piece.simplify(3.0);
    let mut corners = reflex_vertices(&simple, 20.0);
    corners.sort_by(|a, b| b.turn_deg.abs().total_cmp(&a.turn_deg.abs()));
    let mut choices = Vec::new();
    for corner in corners.into_iter().take(CORNERS) {
        let across = Bearing::from_degrees(rows.degrees() + 90.0);
        for bearing in [corner.bearing_in, corner.bearing_out, rows, across] {
            let parts: Vec<Polygon<f64>> =
                split_across(piece, corner.at, bearing).into_iter().filter(|p| p.unsigned_area() > 1.0).collect();
            if parts.len() >= 2 && parts.iter().all(|p| p.unsigned_area() >= least_m2) {
                choices.push(parts);
            }
        }
    }
    choices
}

/// Cuts a part whose rows are too long or whose area is too large, into the fewest equal slabs.
pub(super) fn within_limits(judge: &Judge<'_>, part: Part, fixed: Option<Bearing>) -> Vec<Part> {
    let p = judge.params;
    let longest = part.trial.lengths_m.iter().copied().fold(0.0, f64::max);
    let bearing = part.trial.bearing;
    let Some(frame) = Frame::about(bearing, &part.outline) else { return vec![part] };
    if longest > p.longest_row_m() {
        let Some((from, to)) = frame.along_extent(&part.outline) else { return vec![part] };
        let slabs = ((to - from) / ((p.longest_row_m() + 2.0 * p.turning_headland_m) * judge.scale)).ceil().max(2.0);
        let cuts: Vec<f64> = (1..slabs as u32).map(|i| (to - from) * f64::from(i) / slabs).collect();
        return recut(judge, &part, bearing, &cuts, fixed);
    }
    let area_ha = part.outline.unsigned_area() / M2_PER_HA;
    if area_ha > p.max_block_ha {
        let across = Bearing::from_degrees(bearing.degrees() + 90.0);
        let Some((from, to)) = frame.across_extent(&part.outline) else { return vec![part] };
        let slabs = (area_ha / p.max_block_ha).ceil().max(2.0);
        // Cut lines stand a whole number of traffic units apart, so that no block ends on half a pass.
        let unit = p.row_spacing_m * f64::from(p.traffic_unit_rows) * judge.scale;
        let cuts: Vec<f64> =
            (1..slabs as u32).map(|i| ((to - from) * f64::from(i) / slabs / unit).round() * unit).collect();
        return recut(judge, &part, across, &cuts, fixed);
    }
    vec![part]
}

fn recut(judge: &Judge<'_>, part: &Part, cut_along: Bearing, cuts: &[f64], fixed: Option<Bearing>) -> Vec<Part> {
    let bearing = part.trial.bearing;
    let pieces = split_at_stations(&part.outline, cut_along, cuts);
    if pieces.len() < 2 {
        return vec![part.clone()];
    }
    pieces
        .into_iter()
        .filter_map(|piece| {
            // Slabs keep the bearing of the whole: one set of guidance lines serves them all.
            let trial = best(judge, &piece.polygon, Some(fixed.unwrap_or(bearing)))?;
            Some(Part { outline: piece.polygon, trial })
        })
        .flat_map(|part| {
            if part.outline.unsigned_area() < 0.02 * M2_PER_HA { Vec::new() } else { within_limits(judge, part, fixed) }
        })
        .collect()
}
