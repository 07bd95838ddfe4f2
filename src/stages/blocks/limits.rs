//! Cuts parts whose rows are too long or whose area is too large, into the fewest equal slabs.

use super::judge::{Judge, Look};
use super::outline::{Outline, PieceEdges};
use super::partition::Part;
use crate::methods::shapes::{Frame, split_at_stations};
use crate::units::{Bearing, M2_PER_HA};

/// Slabs smaller than this are scraps of the cut, hectares.
const SCRAP_HA: f64 = 0.02;
/// What a slab is wider than its rows and headlands, metres.
const SLACK_M: f64 = 0.01;
/// Slabs of slabs: an odd shape may need more than one round.
const ROUNDS: u32 = 4;

/// The part, or its slabs; slabs keep the bearing of the whole, so that one set of guidance lines serves them all.
pub(super) fn within_limits(judge: &Judge<'_>, edges: &PieceEdges, part: Part) -> Vec<Part> {
    // A quick look lists one row in several: the longest must be known.
    match judge.judge(&part.outline, part.trial.bearing, Look::Close) {
        Some(trial) => rounds(judge, edges, Part { trial, ..part }, ROUNDS),
        None => Vec::new(),
    }
}

fn rounds(judge: &Judge<'_>, edges: &PieceEdges, part: Part, left: u32) -> Vec<Part> {
    let p = judge.params;
    let bearing = part.trial.bearing;
    let longest = part.trial.lengths_m.iter().copied().fold(0.0, f64::max);
    let area_ha = part.outline.area_m2 / M2_PER_HA;
    let Some(frame) = Frame::about(bearing, &part.outline.polygon) else { return vec![part] };
    let cut = if longest > p.longest_row_m() {
        let extent = frame.along_extent(&part.outline.polygon);
        let slab_m = (p.longest_row_m() + p.shared_headland_m) * judge.scale;
        extent.map(|(from, to)| (bearing, equal_cuts(to - from, ((to - from) / slab_m).ceil().max(2.0), 0.0, 0.0)))
    } else if area_ha > p.max_block_ha {
        // Between its headlands a block is a whole number of traffic units wide, so that none ends on half a pass.
        let unit = p.row_spacing_m * f64::from(p.traffic_unit_rows) * judge.scale;
        let side = p.side_headland_m * judge.scale;
        let across = Bearing::from_degrees(bearing.degrees() + 90.0);
        let extent = frame.across_extent(&part.outline.polygon);
        extent.map(|(from, to)| (across, equal_cuts(to - from, (area_ha / p.max_block_ha).ceil().max(2.0), unit, side)))
    } else {
        None
    };
    let Some((along, cuts)) = cut.filter(|_| left > 0) else { return vec![part] };
    let pieces = split_at_stations(&part.outline.polygon, along, &cuts);
    if pieces.len() < 2 {
        return vec![part];
    }
    pieces
        .into_iter()
        .map(|piece| Outline::of(&piece.polygon, edges))
        .filter(|outline| outline.area_m2 > SCRAP_HA * M2_PER_HA)
        .filter_map(|outline| Some(Part { trial: judge.judge(&outline, bearing, Look::Close)?, outline }))
        .flat_map(|part| rounds(judge, edges, part, left - 1))
        .collect()
}

/// Places of equal cuts, rounded so that what is left between them, less a side headland along each edge and half of one
/// along each cut, is a whole number of units; a unit of zero rounds nothing.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
fn equal_cuts(extent_m: f64, slabs: f64, unit_m: f64, side_m: f64) -> Vec<f64> {
    (1..slabs as u32)
        .map(|i| {
            let at = extent_m * f64::from(i) / slabs;
            // A finger's breadth more, so that rounding does not cost the last row.
            let headlands_m = side_m * (f64::from(i) + 0.5) + SLACK_M * f64::from(i);
            if unit_m > 0.0 { headlands_m + ((at - headlands_m) / unit_m).round() * unit_m } else { at }
        })
        .collect()
}
