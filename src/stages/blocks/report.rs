//! What is noticed about the layout.

use super::{BlocksInput, BlocksParams, Watering};
use crate::finding::{Finding, Place, Severity};
use crate::land::blocks::BlockPlan;
use crate::units::M2_PER_HA;
use geo::Area;

const STAGE: &str = "blocks";
/// Share of row length in short rows that the trade lets pass (common practice, no source).
const SHORT_SHARE: f64 = 0.05;

pub(super) fn findings(plan: &BlockPlan, input: &BlocksInput<'_>, params: &BlocksParams) -> Vec<Finding> {
    let mut list = watering(input, params);
    list.extend(short_rows(plan, params));
    list.extend(falls(plan, params));
    list.extend(left_out(plan));
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
                "{rows} rows; as much straight row on this land needs at least {:.0} (ratio {:.2}). The layout costs {yearly:.0} a year, {earth:.0} of it earth; turning and lost land alone cost any straight layout at least {:.0} (ratio {:.2}). {:.2} ha got no rows.",
                plan.rows_lower_bound,
                rows as f64 / plan.rows_lower_bound,
                plan.yearly_lower_bound,
                yearly / plan.yearly_lower_bound,
                lost_m2 / M2_PER_HA
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
            "{} plantable piece(s), {ha:.2} ha together, got no rows: {}.",
            plan.left_out.len(),
            plan.left_out[0].reason
        ),
    )]
}
