//! What the stage has to say: places without room, pushes too long, and the cautions of the work.

use super::ClearingInput;
use super::params::{ClearingParams, Disposal};
use super::windrows::{BlockWindrows, cheapest_spacing_m, line_length_m};
use crate::finding::{Finding, Place, Severity};
use crate::land::blocks::RowBlock;
use crate::land::clearing::ClearingPlan;
use crate::wording::counted;
use geo::{Distance, Euclidean};

/// Works this close to a power line get its caution, metres (common practice, no source).
const POWER_CAUTION_M: f64 = 30.0;
/// A windrow higher than this does not burn clean or stand safely, metres (common practice, no source).
const HIGHEST_M: f64 = 3.0;
/// Directions of blocks further apart than this are said, degrees.
const SAME_DIRECTION_DEG: f64 = 5.0;

fn finding(severity: Severity, code: &str, message: String) -> Finding {
    Finding::new(severity, "clearing", code, message)
}

/// Heaps that found no place in a block.
#[must_use]
pub fn heaps_dropped(block: &RowBlock, dropped: u32, placed: usize) -> Option<Finding> {
    (dropped > 0).then(|| {
        let severity = if placed == 0 { Severity::Severe } else { Severity::Warning };
        let message = format!(
            "{dropped} of {} heaps of block {} found no place outside the stand-offs (boundary, power line, waterway, kept land, \
             building). Their debris is added to the heaps that did; carry it or stack it elsewhere.",
            dropped as usize + placed,
            block.name
        );
        finding(severity, "heap_without_place", message).at(Place::Named(block.name.clone()))
    })
}

/// What is to be said about the windrows of a block.
#[must_use]
pub fn block_findings(block: &RowBlock, laid: &BlockWindrows, p: &ClearingParams) -> Vec<Finding> {
    let mut all = Vec::new();
    let place = || Place::Named(block.name.clone());
    if laid.windrows.is_empty() && laid.debris_t > 0.0 {
        let message = format!(
            "Block {} has no room for a windrow outside the stand-offs: cart its {:.0} t of debris or narrow a stand-off with \
             the consent of whoever it protects.",
            block.name, laid.debris_t
        );
        all.push(finding(Severity::Severe, "no_windrow", message).at(place()));
        return all;
    }
    if laid.mean_push_m > p.max_push_m {
        let message = format!(
            "Debris of block {} is pushed {:.0} m on average, the limit is {:.0} m: heap it first and carry it.",
            block.name, laid.mean_push_m, p.max_push_m
        );
        all.push(finding(Severity::Warning, "push_too_long", message).at(place()));
    }
    let length_m: f64 = laid.windrows.iter().map(|w| line_length_m(&w.line)).sum();
    if length_m > 0.0 && laid.stays {
        let section_m2 = laid.debris_t * 1_000.0 / p.windrow_density_kg_m3 / length_m;
        let height_m = section_m2 / p.windrow_width_m;
        if height_m > HIGHEST_M {
            let message = format!(
                "The bank stacks of block {} would stand {height_m:.1} m high, more than {HIGHEST_M:.0} m: make them wider or burn part.",
                block.name
            );
            all.push(finding(Severity::Warning, "stack_too_high", message).at(place()));
        }
    }
    all
}

/// What is to be said about the property.
#[must_use]
pub fn findings(input: &ClearingInput<'_>, plan: &ClearingPlan, p: &ClearingParams) -> Vec<Finding> {
    if plan.cleared_ha <= 0.0 {
        return vec![finding(
            Severity::Note,
            "nothing_to_clear",
            "There is no block, so nothing is cleared.".to_owned(),
        )];
    }
    let mut all = vec![
        finding(
            Severity::Note,
            "debris_assumed",
            format!(
                "{:.0} t of dry debris ({:.0} t/ha above ground and {:.0} t/ha of stumps and roots, not measured) and about {:.0} t of soil \
                 end up in the windrows; count trees on three lines before asking for prices. The cheapest windrow spacing for the \
                 given prices is {:.0} m.",
                plan.debris_t,
                p.debris_t_ha,
                p.stumps_t_ha,
                p.soil_carried_t_ha * plan.cleared_ha,
                cheapest_spacing_m(p)
            ),
        ),
        finding(
            Severity::Warning,
            "clearing_caution",
            "Stems under tension whip back and root plates roll: closed cabs, people well clear, no two machines in one strip. \
             Do not clear or rake when the soil is too wet to carry the machine. Check permits and plantation, lease or carbon \
             obligations on the title before the first tree is pushed."
                .to_owned(),
        ),
    ];
    if p.disposal == Disposal::Burn || !plan.heaps.is_empty() {
        all.push(finding(
            Severity::Warning,
            "fire_permit",
            format!(
                "To be burnt: {}. Each fire ground needs the permit of the fire authority and its terms (notice to \
                 neighbours, season, wind, bare break, patrol till out) decide; the stand-offs here are only starting values.",
                counted(plan.heaps.len(), "heap")
            ),
        ));
    }
    all.extend(power_caution(input));
    all.extend(directions(input, plan));
    all
}

fn power_caution(input: &ClearingInput<'_>) -> Option<Finding> {
    let lines = &input.site.layers.power_lines;
    let near: Vec<&str> = input
        .blocks
        .blocks
        .iter()
        .filter(|b| lines.iter().any(|l| Euclidean.distance(&l.line, &b.outline) <= POWER_CAUTION_M))
        .map(|b| b.name.as_str())
        .collect();
    (!near.is_empty()).then(|| {
        finding(
            Severity::Severe,
            "power_line_near_works",
            format!(
                "A power line runs within {POWER_CAUTION_M:.0} m of block {}. Falling trees, raised booms and smoke can bring current \
                 down: keep the exclusion zone of the network owner, work with a spotter, have the owner fell or isolate where \
                 trees could reach the wires.",
                near.join(", ")
            ),
        )
    })
}

fn directions(input: &ClearingInput<'_>, plan: &ClearingPlan) -> Option<Finding> {
    let other: Vec<String> = input
        .blocks
        .blocks
        .iter()
        .filter(|b| b.bearing.axis_angle_to(plan.knock_down_bearing) > SAME_DIRECTION_DEG)
        .map(|b| format!("{} ({:.0} deg)", b.name, b.bearing.axis().degrees()))
        .collect();
    (!other.is_empty()).then(|| {
        finding(
            Severity::Note,
            "knock_down_per_block",
            format!(
                "The knock-down direction is given for the largest block. Lay the trees along the rows' own direction in: {}.",
                other.join(", ")
            ),
        )
    })
}
