//! What is noticed about the earthworks.

use super::limits::Why;
use super::{LevellingInput, LevellingParams};
use crate::finding::{Finding, Place, Severity};
use crate::land::levelling::{BlockEarth, LevellingPlan, SurfaceKind};
use crate::methods::shapes::cells_inside;
use crate::units::M2_PER_HA;
use crate::wording::grouped;

const STAGE: &str = "levelling";
/// Earth beyond this is called over-levelling, cubic metres a hectare (common practice, no source).
const OVER_LEVELLED_M3_HA: f64 = 800.0;
/// Mean haul beyond which another block shape is worth a thought, metres (common practice, no source).
const LONG_HAUL_M: f64 = 150.0;
/// Bared subsoil below this is not told: it is a smoothing of the ground, square metres.
const LEAST_SUBSOIL_M2: f64 = 100.0;
/// Soil off balance beyond this share of the cut is said.
const WORTH_SAYING: f64 = 0.03;
/// Proofs looser than this are pointed out, as a ratio.
const LOOSE_GAP: f64 = 0.05;
/// Steps between cells of two blocks hold some fall too, millimetres.
const STEP_ROUNDING_MM: f64 = 30.0;

pub(super) fn findings(
    plan: &LevellingPlan,
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    changes_m: &[Vec<(Why, f64)>],
) -> Vec<Finding> {
    let mut list = Vec::new();
    for ((earth, block), changes_m) in plan.blocks.iter().zip(&input.blocks.blocks).zip(changes_m) {
        for (severity, code, text) in of_block(earth, params).into_iter().chain(level_changed(changes_m, params)) {
            list.push(
                Finding::new(severity, STAGE, code, format!("Block {}: {text}", block.name))
                    .at(Place::Named(format!("block {}", block.name))),
            );
        }
    }
    if params.cut_fill_ratio <= 1.0 {
        list.push(Finding::new(
            Severity::Warning,
            STAGE,
            "no_shrinkage",
            "The cut:fill ratio is 1.0: placed soil always shrinks. Set `levelling.cut_fill_ratio` for the soil.",
        ));
    }
    if input.ground.accuracy.budget_only() && plan.blocks.iter().any(|b| b.cut_m3 > 0.0) {
        list.push(Finding::new(
            Severity::Severe,
            STAGE,
            "budget_only",
            format!(
                "Quantities are for budget only, do not build: the ground is known to {:.3} m (1 sigma, {}). Cut {} m3, 95 % between {} and {} m3 from survey error alone.",
                input.ground.accuracy.vertical_sigma_m,
                input.ground.accuracy.basis,
                grouped(plan.cut_range_m3.likely),
                grouped(plan.cut_range_m3.low),
                grouped(plan.cut_range_m3.high)
            ),
        ));
    }
    if input.ground.smoothed_over_m > 0.0 {
        list.push(Finding::new(
            Severity::Note,
            STAGE,
            "beds_not_in_volumes",
            format!(
                "Old tree beds ({:.0} mm on average) are taken to be worked down by raking and discs; they are not in the volumes.",
                1_000.0 * input.ground.beds_mean_m
            ),
        ));
    }
    if input.site.layers.topsoil.is_empty() && plan.blocks.iter().any(|b| b.cut_m3 > 0.0) {
        list.push(Finding::new(
            Severity::Warning,
            STAGE,
            "topsoil_assumed",
            format!(
                "No topsoil depths were given; {:.0} mm is assumed everywhere. Probe it before cutting.",
                params.assumed_topsoil_mm
            ),
        ));
    }
    list.extend(level_limits(plan, input));
    list
}

/// A design that cuts below a level that must not be passed (acid-sulfate or sodic layer, watertable, rock).
fn level_limits(plan: &LevellingPlan, input: &LevellingInput<'_>) -> Vec<Finding> {
    let design = &plan.design.0.0;
    let ground = &input.ground.concept.0;
    let mut list = Vec::new();
    for limit in &input.site.layers.level_limits {
        let inside = cells_inside(design.spec, &limit.outline);
        // Ground that lies below the level already and is not cut is not the design's doing.
        let passed = design
            .iter()
            .filter(|(cell, z)| inside[design.spec.index(*cell)] && f64::from(*z) < limit.level_m)
            .filter(|(cell, z)| ground.get(*cell).is_some_and(|g| g - z > 0.001));
        let depths_m: Vec<f64> = passed.map(|(_, z)| limit.level_m - f64::from(z)).collect();
        if let Some(deepest_m) = depths_m.iter().copied().reduce(f64::max) {
            let ha = depths_m.len() as f64 * design.spec.cell_area_m2() / M2_PER_HA;
            list.push(Finding::new(
                Severity::Severe,
                STAGE,
                "level_limit_passed",
                format!(
                    "STOP: the design cuts {ha:.2} ha below {:.2} m ({}), by up to {:.0} mm. Have the soil tested and do not cut there; local rules decide.",
                    limit.level_m,
                    if limit.reason.is_empty() { "reason not given" } else { &limit.reason },
                    1_000.0 * deepest_m
                ),
            ));
        }
    }
    list
}

/// What a block lacks or has over and no place gives or takes.
fn off_balance(earth: &BlockEarth) -> Option<(Severity, &'static str, String)> {
    let worth_saying = WORTH_SAYING * earth.cut_m3.max(1.0);
    let served: f64 = earth.places.iter().map(|p| p.volume_m3).sum();
    let served = if served > 0.0 {
        format!(", beside {} m3 from or to the places given", grouped(served))
    } else {
        ". Give places in `site.earth_place`".to_owned()
    };
    if earth.unplaced_m3 > worth_saying {
        let text = format!(
            "{} bank m3 of soil are lacking before soil dug out of drains is counted (see the drain order){served}.",
            grouped(earth.unplaced_m3)
        );
        Some((Severity::Warning, "borrow", text))
    } else if earth.unplaced_m3 < -worth_saying {
        let text = format!("{} bank m3 of soil are left over and have no place{served}.", grouped(-earth.unplaced_m3));
        Some((Severity::Warning, "spoil", text))
    } else {
        None
    }
}

/// Ground that should have kept its height.
fn level_changed(changes_m: &[(Why, f64)], params: &LevellingParams) -> Option<(Severity, &'static str, String)> {
    let beyond = |m: f64| 1_000.0 * m > params.fixed_level_mm + STEP_ROUNDING_MM;
    let each: Vec<String> = changes_m
        .iter()
        .filter(|(_, m)| beyond(*m))
        .map(|(why, m)| format!("{:.0} mm at {}", 1_000.0 * m, why.words()))
        .collect();
    (!each.is_empty()).then(|| {
        let text = format!(
            "cuts or fills where ground should keep its height, more than {:.0} mm: up to {}. Meet it with a batter of at least 1:4, move the edge of the block, or ask whoever owns what stands there.",
            params.fixed_level_mm,
            each.join(", ")
        );
        (Severity::Warning, "fixed_level_changed", text)
    })
}

fn of_block(earth: &BlockEarth, params: &LevellingParams) -> Vec<(Severity, &'static str, String)> {
    let mut list = Vec::new();
    let ha = (earth.formed_m2 / M2_PER_HA).max(1e-9);
    if earth.surface != SurfaceKind::AsItLies && earth.rows_after.is_empty() {
        list.push((
            Severity::Severe,
            "not_formed",
            "no surface within the limits could be fitted, or its rows leave the ground model.".to_owned(),
        ));
    }
    if earth.subsoil_m2 >= LEAST_SUBSOIL_M2 {
        list.push((
            if earth.subsoil_m2 > 0.25 * earth.formed_m2 { Severity::Severe } else { Severity::Warning },
            "cut_into_subsoil",
            format!(
                "{:.2} ha is cut deeper than topsoil less its reserve of {:.0} mm (deepest cut {:.0} mm). Strip and spread {} m3 of topsoil there, or choose a surface with less earth: yield on bare subsoil can halve.",
                earth.subsoil_m2 / M2_PER_HA, params.topsoil_reserve_mm, 1_000.0 * earth.max_cut_m, grouped(earth.strip_m3)
            ),
        ));
    }
    if earth.cut_m3 / ha > OVER_LEVELLED_M3_HA {
        list.push((
            Severity::Warning,
            "over_levelled",
            format!(
                "{:.0} m3/ha of cut is more than {OVER_LEVELLED_M3_HA:.0}: look at other bearings or smaller blocks.",
                earth.cut_m3 / ha
            ),
        ));
    }
    if earth.haul_mean_m > LONG_HAUL_M {
        list.push((
            Severity::Note,
            "long_haul",
            format!("mean haul {:.0} m is beyond {LONG_HAUL_M:.0} m, where price climbs.", earth.haul_mean_m),
        ));
    }
    if earth.surface != SurfaceKind::AsItLies {
        list.extend(off_balance(earth));
    }
    if !earth.given_up.is_empty() {
        list.push((
            Severity::Severe,
            "limits_conflict",
            format!(
                "the limits cannot all be kept, so the softest was given up: {}. Shorten the rows, change the bearing, lower the outlet or widen the limit.",
                earth.given_up.join("; then: ")
            ),
        ));
    }
    if earth.edge_step_m * 1_000.0 > params.block_step_mm + STEP_ROUNDING_MM && earth.surface != SurfaceKind::AsItLies {
        list.push((
            Severity::Warning,
            "step_at_edge",
            format!(
                "stands up to {:.0} mm above or below the block beside it, more than {:.0} mm: build a batter of at least 1:4 there, off the turning strip.",
                1_000.0 * earth.edge_step_m, params.block_step_mm
            ),
        ));
    }
    if let Some(proof) = earth.proof.filter(|p| p.gap_ratio() > LOOSE_GAP) {
        list.push((
            Severity::Note,
            "loose_proof",
            format!("its earth is proven to lie within {:.1} % of the least possible only.", 100.0 * proof.gap_ratio()),
        ));
    }
    if let Some(low) = earth.not_raised {
        list.push((
            Severity::Warning,
            "not_raised",
            format!(
                "{:.2} ha of its rows end below the drain reach and are not lifted: that would add {} to the price of the earth, the crop lost there is worth {} once (`blocks.undrained_loss_ratio` of the margin, over the years paid off). These rows do not drain: lower the outlet, or leave them in grass.",
                low.area_m2 / M2_PER_HA,
                grouped(low.raising),
                grouped(low.loss)
            ),
        ));
    } else if let Some(below) = earth.binding.iter().find(|b| b.contains("below the drain reach")) {
        list.push((Severity::Severe, "below_drain_reach", format!("{below}, more than the {:.0} mm it may be raised: those rows cannot drain to any outlet at minimum grade.", params.max_raise_mm)));
    }
    list
}
