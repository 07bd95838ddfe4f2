//! The proof for every row: does its water reach the drain, and the drain an outlet?
//!
//! Four things must hold: the row's water does not spill over a ridge into the next row, no more water stands in it than
//! is tolerated, the row falls from end to end, and its low end lies above the bed the drain there must have. Only what holds beyond the accuracy of the heights counts as yes.

use super::among_rows::{AmongBlocks, RowNow, band_m};
use super::network::Network;
use super::params::DrainsParams;
use crate::land::blocks::{Row, RowFall};
use crate::land::drains::{AmongRows, Drains, DrainsTo, GroundState, RowProof};
use crate::land::levelling::{BlockEarth, SurfaceKind};
use crate::methods::hydraulics::Inverts;
use crate::stages::drains::DrainsInput;
use crate::stages::falls::row_fall;
use crate::wording::grouped;

/// The drains a row is judged against.
pub struct Receiving<'a> {
    /// Drains.
    pub net: &'a Network,
    /// Graded beds.
    pub inverts: &'a Inverts,
    /// Lowest bed from which the outlet can still be reached, by node.
    pub reach_m: &'a [Option<f64>],
}

/// One answer with its margin and reason.
struct Verdict {
    drains: Drains,
    margin_m: f64,
    reason: String,
}

/// Proofs of all rows, by block and row number.
#[must_use]
pub fn proofs(
    input: &DrainsInput<'_>,
    receiving: &Receiving<'_>,
    among: &AmongBlocks,
    p: &DrainsParams,
) -> Vec<RowProof> {
    let mut proofs = Vec::new();
    for (b, block) in input.blocks.blocks.iter().enumerate() {
        let earth = input.levelling.and_then(|l| l.blocks.iter().find(|e| e.block == block.id));
        for (r, row) in block.rows.iter().enumerate() {
            let node = receiving.net.node_of_row.get(&(b, r)).copied();
            let to = node.map_or(DrainsTo::Nowhere, |n| receiving.net.leaves_to(n));
            let bed_m = node.and_then(|n| bed_m(receiving, n));
            let water = among.row(b, r);
            let at = |state| Place { bed_m, band_m: band_m(input, state, p), to: &to };
            let before = judge(before_fall(input, row), water.map(|w| w.0), &at(GroundState::Before), p);
            let after =
                after_fall(earth, r).map(|fall| judge(Some(fall), water.map(|w| w.1), &at(GroundState::After), p));
            let counts = after.as_ref().unwrap_or(&before);
            proofs.push(RowProof {
                block: block.id,
                row: row.number,
                before: before.drains,
                after: counts.drains,
                to: if bed_m.is_some() { to } else { DrainsTo::Nowhere },
                margin_m: (before.margin_m, counts.margin_m),
                reason: counts.reason.clone(),
                among: water.map(|(before, after)| AmongRows {
                    standing_m: (before.standing_m, after.standing_m),
                    end_ha: (before.end_ha, after.end_ha),
                    end_m3_s: (before.end_m3_s, after.end_m3_s),
                }),
            });
        }
    }
    proofs
}

/// The bed a row must lie above: the designed one, or the reach of the outlet where that is higher.
fn bed_m(receiving: &Receiving<'_>, node: usize) -> Option<f64> {
    receiving.reach_m[node].map(|reach| reach.max(receiving.inverts.invert_m[node]))
}

/// Fall of a row on the ground as it lies.
pub fn before_fall(input: &DrainsInput<'_>, row: &Row) -> Option<RowFall> {
    row.fall.or_else(|| row_fall(&input.ground.concept.0, &row.line.0))
}

/// Fall of a row on the surface to be built; nothing where no earth is formed.
pub fn after_fall(earth: Option<&BlockEarth>, row: usize) -> Option<RowFall> {
    let earth = earth.filter(|e| e.surface != SurfaceKind::AsItLies)?;
    earth.rows_after.get(row).copied()
}

/// Where a row's water is to go, and how well heights are known.
struct Place<'a> {
    bed_m: Option<f64>,
    band_m: f64,
    to: &'a DrainsTo,
}

/// One thing that must hold: spare height, negative when it fails, what is needed to be sure, and what is to be said.
type Condition = (f64, f64, String);

/// Judges one row on one surface.
fn judge(fall: Option<RowFall>, water: Option<RowNow>, place: &Place<'_>, p: &DrainsParams) -> Verdict {
    let Some(fall) = fall else {
        let reason = "the fall is not known, no ground was surveyed here".to_owned();
        return Verdict { drains: Drains::CannotBeTold, margin_m: 0.0, reason };
    };
    let (Some(bed_m), false) = (place.bed_m, *place.to == DrainsTo::Nowhere) else {
        let reason = "no drain leads from its low end to an outlet".to_owned();
        return Verdict { drains: Drains::No, margin_m: 0.0, reason };
    };
    let band_m = place.band_m;
    let margin_m = fall.low_level_m - bed_m;
    let end_to_end_m = fall.high_level_m - fall.low_level_m;
    let tolerance_m = p.reverse_tolerance_mm / 1_000.0;
    // A ridge lets water out before the furrow would: what stands is never deeper than the row alone would hold.
    let standing_m = water.map_or(fall.reverse_depth_m, |w| w.standing_m);
    // Noise in the heights adds to standing water and hardly ever takes from it, so standing water within the
    // tolerance needs no band of its own.
    let mut conditions: Vec<Condition> = water.and_then(|w| w.spills).map(spilling).into_iter().collect();
    conditions.extend([
        (
            tolerance_m - standing_m,
            0.0,
            format!(
                "{:.0} mm of water stands in it, {:.0} mm is tolerated",
                standing_m * 1_000.0,
                p.reverse_tolerance_mm
            ),
        ),
        (end_to_end_m, band_m, format!("it falls {:.0} mm from end to end", end_to_end_m * 1_000.0)),
        (
            margin_m - p.row_end_drop_mm / 1_000.0,
            band_m,
            format!(
                "its low end lies {} mm {} the bed the drain must have, it must lie {:.0} mm above",
                grouped(margin_m.abs() * 1_000.0),
                if margin_m < 0.0 { "below" } else { "above" },
                p.row_end_drop_mm
            ),
        ),
    ]);
    let failed = conditions.iter().find(|(spare, _, _)| *spare < -band_m);
    if let Some((_, _, why)) = failed {
        return Verdict { drains: Drains::No, margin_m, reason: why.clone() };
    }
    let unsure = conditions.iter().find(|(spare, needed, _)| *spare < *needed);
    if let Some((_, _, why)) = unsure {
        let reason = format!("{why}; the heights are good to {:.0} mm", band_m * 1_000.0);
        return Verdict { drains: Drains::CannotBeTold, margin_m, reason };
    }
    Verdict { drains: Drains::Yes, margin_m, reason: String::new() }
}

/// Water over a ridge: the furrow's own way out must surely be the higher one before it counts.
fn spilling((row, below_m): (u32, f64)) -> Condition {
    let said = if below_m.is_finite() {
        format!("its water spills over the ridge into row {row}, {:.0} mm before it would run out", below_m * 1_000.0)
    } else {
        format!("its water finds no way out but over the ridge into row {row}")
    };
    (-below_m, 0.0, said)
}
