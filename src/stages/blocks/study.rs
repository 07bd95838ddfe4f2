//! The bearing study: what every bearing would give on a piece or a block.

use super::judge::{Judge, Look, Trial};
use super::outline::Outline;
use super::partition::Part;
use super::search::{self, Fixed};
use crate::land::blocks::{BearingTrial, YearlyCost};
use crate::units::{Bearing, M2_PER_HA};

/// The study of a whole piece; `taken` is the bearing most of its land got, `None` where its rows bend.
pub(super) fn of_piece(
    judge: &Judge<'_>,
    piece: u32,
    whole: &Outline,
    fixed: Fixed,
    taken: Option<Bearing>,
) -> Vec<BearingTrial> {
    let chosen = |b: Bearing| taken.is_some_and(|t| t.axis_angle_to(b) < 1e-6);
    let at = |b: Bearing| Some(judge.settle(whole, judge.judge(whole, b.axis(), Look::Close)?));
    let solved: Vec<Trial> = taken.and_then(at).into_iter().collect();
    let rows = search::study(judge, whole, fixed, &solved);
    rows.iter()
        .map(|(trial, why)| row(judge, (piece, String::new()), whole, trial, why, chosen(trial.bearing)))
        .collect()
}

/// The study of a block that is taken; the block is told by its place in the plan until it has a name.
pub(super) fn of_block(judge: &Judge<'_>, piece: u32, place: usize, part: &Part) -> Vec<BearingTrial> {
    let rows = search::study(judge, &part.outline, Fixed::default(), std::slice::from_ref(&part.trial));
    let chosen = |b: Bearing| part.trial.bearing.axis_angle_to(b) < 1e-6;
    rows.iter()
        .map(|(trial, why)| row(judge, (piece, place.to_string()), &part.outline, trial, why, chosen(trial.bearing)))
        .collect()
}

fn row(
    judge: &Judge<'_>,
    (piece, block): (u32, String),
    outline: &Outline,
    trial: &Trial,
    why: &str,
    chosen: bool,
) -> BearingTrial {
    let ha = outline.area_m2 / (judge.scale * judge.scale) / M2_PER_HA;
    let mut lengths = trial.lengths_m.clone();
    lengths.sort_by(f64::total_cmp);
    let quantile = |share: f64| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an index inside the list")]
        let i = (share * (lengths.len() - 1) as f64).round() as usize;
        lengths[i]
    };
    let per_ha = |dollars: f64| dollars / ha;
    let cost = &trial.cost;
    BearingTrial {
        piece,
        block,
        bearing: trial.bearing,
        reason: why.to_owned(),
        rows: u32::try_from(lengths.len()).unwrap_or(u32::MAX),
        mean_length_m: lengths.iter().sum::<f64>() / lengths.len() as f64,
        median_length_m: quantile(0.5),
        p10_length_m: quantile(0.1),
        turns_per_ha: lengths.len() as f64 / ha,
        headland_ratio: 1.0 - trial.cropped_ratio,
        within_fall_ratio: judge.within_fall(&trial.lines, trial.runs_along()),
        earth_m3_per_ha: trial.earth.map_or(0.0, |e| e.m3 / ha),
        earth_gap_ratio: trial.earth.and_then(|e| e.gap_ratio),
        two_way: trial.earth.is_some_and(|e| e.way == super::earth::Way::Both),
        lattice_m: judge.params.lattice_m,
        cost_per_ha: YearlyCost {
            turning: per_ha(cost.turning),
            headland: per_ha(cost.headland),
            drain_land: per_ha(cost.drain_land),
            drain_digging: per_ha(cost.drain_digging),
            short_rows: per_ha(cost.short_rows),
            long_rows: per_ha(cost.long_rows),
            fall: per_ha(cost.fall),
            earth: per_ha(cost.earth),
            crop_haul: per_ha(cost.crop_haul),
            undrained: per_ha(cost.undrained),
        },
        yearly_cost_per_ha: cost.total() / ha,
        once_cost_per_ha: trial.earth.map_or(0.0, |e| judge.earth_once(e.m3, e.haul_m) / ha),
        chosen,
    }
}
