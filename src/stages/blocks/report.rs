//! What is noticed about the layout.

use super::{BlocksInput, BlocksParams, Watering, bent_check};
use crate::finding::{Finding, Place, Severity};
use crate::land::blocks::{BlockPlan, RowBlock};
use crate::units::M2_PER_HA;
use crate::wording::{counted, grouped};
use geo::Area;

const STAGE: &str = "blocks";
/// Share of row length in short rows that the trade lets pass (common practice, no source).
const SHORT_SHARE: f64 = 0.05;
/// Share of the row length that must fall within the limits for a bearing to keep them.
const WITHIN_FALL_RATIO: f64 = 0.9;
/// Savings below this share are not worth a word.
const SAVED_RATIO: f64 = 0.005;

pub(super) fn findings(plan: &BlockPlan, input: &BlocksInput<'_>, params: &BlocksParams) -> Vec<Finding> {
    let mut list = watering(input, params);
    list.extend(short_rows(plan, params));
    list.extend(falls(plan, params));
    list.extend(no_bearing_falls(plan, params));
    list.extend(turning_saves(plan));
    list.extend(left_out(plan));
    list.extend(bent_check::findings(plan, params));
    list.extend(certificate(plan));
    if input.ground.is_none() {
        list.push(Finding::new(
            Severity::Warning,
            STAGE,
            "falls_not_known",
            "No ground was given: the fall of the rows is not known, and no row is shown to drain.",
        ));
    }
    list
}

fn watering(input: &BlocksInput<'_>, params: &BlocksParams) -> Vec<Finding> {
    let note = |code: &str, text: String| vec![Finding::new(Severity::Note, STAGE, code, text)];
    match params.watering {
        Watering::None => {
            note("rain_fed", "The crop is taken to be rain-fed (`blocks.watering = \"none\"`).".to_owned())
        }
        Watering::Overhead => {
            note("overhead", "Overhead watering: towers, lanes and hydrants are not laid out in this plan.".to_owned())
        }
        Watering::Furrow if input.site.layers.water_supply.is_none() => vec![Finding::new(
            Severity::Warning,
            STAGE,
            "supply_assumed",
            format!(
                "Furrows are fed from the high ends and run at most {:.0} m; no water supply was given, so its place and flow are not checked.",
                params.furrow_run_m
            ),
        )],
        Watering::Furrow => {
            note("furrow", format!("Furrows are fed from the high ends and run at most {:.0} m.", params.furrow_run_m))
        }
    }
}

fn short_rows(plan: &BlockPlan, params: &BlocksParams) -> Vec<Finding> {
    plan.blocks
        .iter()
        .filter_map(|block| {
            let short: f64 = block.rows.iter().map(|r| r.length_m).filter(|l| *l < params.short_row_m).sum();
            let share = short / block.row_metres().max(1e-9);
            (share > SHORT_SHARE).then(|| {
                Finding::new(
                    Severity::Warning,
                    STAGE,
                    "short_rows",
                    format!(
                        "Block {}: {:.0} % of the row length is in rows shorter than {:.0} m (usual limit 5 %). Square the block off, move its edge or leave the corner in grass.",
                        block.name, 100.0 * share, params.short_row_m
                    ),
                )
                .at(Place::Named(format!("block {}", block.name)))
            })
        })
        .collect()
}

fn falls(plan: &BlockPlan, params: &BlocksParams) -> Vec<Finding> {
    plan.blocks
        .iter()
        .filter_map(|block| {
            let falls: Vec<_> = block.rows.iter().filter_map(|r| r.fall).collect();
            let flat = falls.iter().filter(|f| f.mean.percent() < params.min_fall_pct).count();
            let steep = falls.iter().filter(|f| f.mean.percent() > params.max_fall_pct).count();
            let ponding = falls.iter().filter(|f| f.reverse_depth_m * 1_000.0 > params.reverse_tolerance_mm).count();
            (flat + steep + ponding > 0).then(|| {
                Finding::new(
                    Severity::Warning,
                    STAGE,
                    "falls_as_it_lies",
                    format!(
                        "Block {}, ground as it lies: of {} rows {flat} fall less than {:.2} %, {steep} more than {:.2} %, and in {ponding} water stands deeper than {:.0} mm before it runs on.",
                        block.name, falls.len(), params.min_fall_pct, params.max_fall_pct, params.reverse_tolerance_mm
                    ),
                )
                .at(Place::Named(format!("block {}", block.name)))
            })
        })
        .collect()
}

/// Blocks of land that is not formed on which no bearing keeps the falls: the best there is and the limit in the way.
fn no_bearing_falls(plan: &BlockPlan, params: &BlocksParams) -> Vec<Finding> {
    if params.form_land {
        return Vec::new();
    }
    let told = |block: &RowBlock| {
        let tried = plan.study.iter().filter(|t| t.block == block.name);
        let best = tried.reduce(|a, b| if b.within_fall_ratio > a.within_fall_ratio { b } else { a })?;
        let falls: Vec<f64> = block.rows.iter().filter_map(|r| Some(r.fall?.mean.percent())).collect();
        let flat = falls.iter().filter(|f| **f < params.min_fall_pct).count();
        let steep = falls.iter().filter(|f| **f > params.max_fall_pct).count();
        let limit = if flat >= steep {
            format!("the least fall of {:.2} %", params.min_fall_pct)
        } else {
            format!("the greatest fall of {:.2} %", params.max_fall_pct)
        };
        let text = format!(
            "Block {}: no bearing keeps the falls on the ground as it lies. At best {:.0} % of the row length does, at {:.0} degrees; in the way is {limit}.",
            block.name,
            100.0 * best.within_fall_ratio,
            best.bearing.degrees()
        );
        (!falls.is_empty() && best.within_fall_ratio < WITHIN_FALL_RATIO).then(|| {
            Finding::new(Severity::Warning, STAGE, "no_bearing_within_falls", text)
                .at(Place::Named(format!("block {}", block.name)))
        })
    };
    plan.blocks.iter().filter_map(told).collect()
}

/// Blocks whose rows would be cheaper at another bearing: a wish, one bearing for several blocks or the longest row hold
/// them back.
fn turning_saves(plan: &BlockPlan) -> Vec<Finding> {
    let told = |block: &RowBlock| {
        let tried = || plan.study.iter().filter(|t| t.block == block.name);
        let taken = tried().find(|t| t.chosen)?;
        let known = tried().filter(|t| t.earth_gap_ratio.is_some());
        let best = known.reduce(|a, b| if b.yearly_cost_per_ha < a.yearly_cost_per_ha { b } else { a })?;
        let saved = taken.yearly_cost_per_ha - best.yearly_cost_per_ha;
        let turned = best.bearing.axis_angle_to(taken.bearing);
        let text = format!(
            "Block {}: rows turned by {turned:.1} degrees, to {:.1} degrees, would save {saved:.0} a hectare and year ({:.0} instead of {:.0}).",
            block.name,
            best.bearing.degrees(),
            best.yearly_cost_per_ha,
            taken.yearly_cost_per_ha
        );
        (saved > SAVED_RATIO * taken.yearly_cost_per_ha).then(|| {
            Finding::new(Severity::Note, STAGE, "turning_saves", text).at(Place::Named(format!("block {}", block.name)))
        })
    };
    plan.blocks.iter().filter_map(told).collect()
}

/// How near the layout comes to what no straight layout can beat.
fn certificate(plan: &BlockPlan) -> Option<Finding> {
    let rows: usize = plan.blocks.iter().map(|b| b.rows.len()).sum();
    let lost_m2: f64 = plan.left_out.iter().map(|l| l.outline.unsigned_area()).sum();
    let yearly: f64 = plan.blocks.iter().map(|b| b.judged.cost.total()).sum();
    let earth: f64 = plan.blocks.iter().map(|b| b.judged.cost.earth).sum();
    (plan.rows_lower_bound > 0.0 && plan.yearly_lower_bound > 0.0).then(|| {
        Finding::new(
            Severity::Note,
            STAGE,
            "layout_certificate",
            format!(
                "{}; as much straight row on this land needs at least {:.0} (ratio {:.2}). The layout costs {} a year, {} of it earth; turning and lost land alone cost any straight layout at least {} (ratio {:.2}). {:.2} ha got no rows.",
                counted(rows, "row"),
                plan.rows_lower_bound,
                rows as f64 / plan.rows_lower_bound,
                grouped(yearly),
                grouped(earth),
                grouped(plan.yearly_lower_bound),
                yearly / plan.yearly_lower_bound,
                lost_m2.max(0.0) / M2_PER_HA
            ),
        )
    })
}

fn left_out(plan: &BlockPlan) -> Vec<Finding> {
    let ha: f64 = plan.left_out.iter().map(|l| l.outline.unsigned_area()).sum::<f64>() / M2_PER_HA;
    if plan.left_out.is_empty() {
        return Vec::new();
    }
    vec![Finding::new(
        Severity::Note,
        STAGE,
        "left_without_rows",
        format!(
            "{}, {ha:.2} ha together, got no rows: {}.",
            counted(plan.left_out.len(), "plantable piece"),
            plan.left_out[0].reason
        ),
    )]
}
