//! What to say about the soil dug out of drains.

use super::DrainsInput;
use super::params::DrainsParams;
use super::spoil::LEAST_M3;
use crate::finding::{Finding, Place, Severity};
use crate::land::drains::{DrainPlan, Spoil, SpoilTo};
use crate::wording::grouped;

/// Drains named with what they have no place for.
const NAMED: usize = 5;

fn finding(severity: Severity, code: &str, message: String) -> Finding {
    Finding::new(severity, "drains", code, message)
}

/// All that is to be said: what has no place, what blocks get, where the rest goes.
pub(super) fn findings(input: &DrainsInput<'_>, plan: &DrainPlan, p: &DrainsParams) -> Vec<Finding> {
    let mut all: Vec<Finding> = nowhere(plan, p).into_iter().collect();
    all.extend(blocks(input, plan));
    all.extend(summary(plan, p));
    all
}

/// Spoil no place takes.
fn nowhere(plan: &DrainPlan, p: &DrainsParams) -> Option<Finding> {
    let mut left: Vec<&Spoil> =
        plan.spoil.iter().filter(|s| s.to == SpoilTo::Nowhere && s.volume_m3 > LEAST_M3).collect();
    let all_m3: f64 = left.iter().map(|s| s.volume_m3).sum();
    let cost: f64 = left.iter().map(|s| s.cost.likely).sum();
    left.sort_by(|a, b| b.volume_m3.total_cmp(&a.volume_m3).then(a.drain.cmp(&b.drain)));
    let place = plan.drains.iter().find(|d| left.first().is_some_and(|s| s.drain == d.id))?.stations.first()?.at;
    let named: Vec<String> =
        left.iter().take(NAMED).map(|s| format!("{} of drain DR-{:02}", grouped(s.volume_m3), s.drain)).collect();
    let more = if left.len() > NAMED { ", ..." } else { "" };
    let text = format!(
        "{} bank m3 of drain spoil have nowhere to go ({}{more}): land beside the drains is full at {:.0} mm and {:.0} m \
         to a side, blocks are at {:.0} mm. Give places for spoil in `site.earth_place`, or widen `drains.spoil_width_m`. Until then the budget holds \
         {} for a long haul. Do not heap it as a bank: it would shut water in.",
        grouped(all_m3),
        named.join(", "),
        p.spoil_spread_mm,
        p.spoil_width_m,
        p.spoil_over_block_mm,
        grouped(cost)
    );
    let at = Place::Point { east_m: place.x, north_m: place.y };
    Some(finding(Severity::Warning, "spoil_nowhere", text).at(at))
}

/// What drains give to blocks that lack soil.
fn blocks(input: &DrainsInput<'_>, plan: &DrainPlan) -> Vec<Finding> {
    let mut all = Vec::new();
    for block in &input.blocks.blocks {
        let given: Vec<&Spoil> = plan.spoil.iter().filter(|s| s.to == SpoilTo::Block(block.id)).collect();
        let sum = |of: fn(&Spoil) -> f64| given.iter().map(|s| of(s)).sum::<f64>();
        let volume_m3 = sum(|s| s.volume_m3);
        if volume_m3 <= LEAST_M3 {
            continue;
        }
        let earth = input.levelling.and_then(|l| l.blocks.iter().find(|e| e.block == block.id));
        let still_m3 = earth.map_or(0.0, |e| e.unplaced_m3) - volume_m3;
        let rest = if still_m3 > LEAST_M3 {
            format!("; {} m3 must still come from elsewhere", grouped(still_m3))
        } else {
            "; it lacks no more".to_owned()
        };
        let text = format!(
            "{}: {} bank m3 of the soil it lacks come out of the drains over {:.0} m, for {} in place of {} for a long \
             haul{rest}. Dig those drains while the block is filled.",
            block.name,
            grouped(volume_m3),
            sum(|s| s.volume_m3 * s.distance_m) / volume_m3,
            grouped(sum(|s| s.cost.likely)),
            grouped(sum(|s| s.spares.likely)),
        );
        all.push(finding(Severity::Note, "soil_from_drains", text).at(Place::Named(block.name.clone())));
    }
    all
}

/// Where all of it goes.
fn summary(plan: &DrainPlan, p: &DrainsParams) -> Option<Finding> {
    let dug_m3 = plan.spoil_m3(|_| true);
    if dug_m3 <= LEAST_M3 {
        return None;
    }
    let over_m3 = plan.spoil_m3(|to| matches!(to, SpoilTo::Over(_)));
    let parts = [
        ("spread beside the stretch they come from", plan.spoil_m3(|to| *to == SpoilTo::Beside)),
        ("carried along and spread beside another stretch", plan.spoil_m3(|to| *to == SpoilTo::Along)),
        ("fill of blocks that lack soil", plan.spoil_m3(|to| matches!(to, SpoilTo::Block(_)))),
        ("spread evenly over whole blocks", over_m3),
        ("brought to places for spoil", plan.spoil_m3(|to| matches!(to, SpoilTo::Place(_)))),
        ("without a place", plan.spoil_m3(|to| *to == SpoilTo::Nowhere)),
    ];
    let parts: Vec<String> =
        parts.iter().filter(|(_, m3)| *m3 > LEAST_M3).map(|(words, m3)| format!("{} {words}", grouped(*m3))).collect();
    let cost: f64 = plan.spoil.iter().map(|s| s.cost.likely).sum();
    let over = match plan
        .spoil
        .iter()
        .filter(|s| matches!(s.to, SpoilTo::Over(_)))
        .map(|s| s.depth_m)
        .max_by(f64::total_cmp)
    {
        Some(depth_m) if over_m3 > LEAST_M3 => format!(
            " Over blocks it lies {:.0} mm deep at most, evenly, and is worked in: have the subsoil tested first; where it is sodic, \
             saline or acid, set `drains.spoil_over_block_mm` to 0.",
            depth_m * 1_000.0
        ),
        _ => String::new(),
    };
    let text = format!(
        "Of {} bank m3 dug out of drains are {}. Spread soil lies no deeper than {:.0} mm loose ({:.2} loose m3 to a bank m3), \
         on the side away from the row ends.{over} Carrying comes to {} beside digging.",
        grouped(dug_m3),
        parts.join(", "),
        p.spoil_spread_mm,
        p.spoil_swell_ratio,
        grouped(cost)
    );
    Some(finding(Severity::Note, "drain_spoil", text))
}
