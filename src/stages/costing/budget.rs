//! Quantities of the plan times the rates of the pipeline file.

use super::CostingInput;
use crate::land::costing::BudgetLine;
use crate::land::drains::{DrainPlan, SpoilTo};
use crate::units::{M2_PER_HA, Range};
use geo::{Area, Euclidean, Length};

/// Areas the budget and the cash flow are reckoned on, on the ground.
pub(super) struct Areas {
    pub(super) gross_ha: f64,
    pub(super) cropped_ha: f64,
    pub(super) headland_m2: f64,
}

pub(super) fn areas(input: &CostingInput<'_>) -> Areas {
    let geodesy = &input.site.geodesy;
    let ground = |m2: f64| geodesy.ground_area_m2(geodesy.origin, m2);
    let blocks = &input.blocks.blocks;
    let gross = ground(blocks.iter().map(|b| b.outline.unsigned_area()).sum());
    // Land between the headlands that no row stands on bears nothing: it is counted with them, and grassed.
    let cropped: f64 = blocks.iter().map(|b| b.row_metres() * b.row_spacing_m).sum::<f64>().min(gross);
    Areas { gross_ha: gross / M2_PER_HA, cropped_ha: cropped / M2_PER_HA, headland_m2: (gross - cropped).max(0.0) }
}

struct Budget(Vec<BudgetLine>);

impl Budget {
    fn add(&mut self, id: &str, group: &str, item: &str, quantity: f64, unit: &str, rate: Range) {
        if quantity <= 0.0 {
            return;
        }
        self.0.push(BudgetLine {
            id: id.to_owned(),
            group: group.to_owned(),
            item: item.to_owned(),
            quantity,
            unit: unit.to_owned(),
            rate,
            amount: rate.map(|r| r * quantity),
            source: "rates table of the pipeline file".to_owned(),
        });
    }
    /// A line whose amount another stage worked out.
    #[expect(clippy::too_many_arguments, reason = "a budget line has that many columns")]
    fn add_amount(
        &mut self,
        id: &str,
        group: &str,
        item: &str,
        quantity: f64,
        unit: &str,
        amount: Range,
        source: &str,
    ) {
        if amount.high <= 0.0 {
            return;
        }
        self.0.push(BudgetLine {
            id: id.to_owned(),
            group: group.to_owned(),
            item: item.to_owned(),
            quantity,
            unit: unit.to_owned(),
            rate: if quantity > 0.0 { amount.map(|a| a / quantity) } else { amount },
            amount,
            source: source.to_owned(),
        });
    }
}

/// All budget lines in order of work, the contingency last.
pub(super) fn budget(input: &CostingInput<'_>, areas: &Areas) -> Vec<BudgetLine> {
    let rates = input.rates;
    let mut budget = Budget(Vec::new());
    budget.add(
        "SV-1",
        "survey and design",
        "concept, constraints and approvals",
        1.0,
        "property",
        rates.concept_and_approvals,
    );
    budget.add(
        "SV-2",
        "survey and design",
        "RTK survey of the cleared ground",
        areas.gross_ha,
        "ha",
        rates.survey_per_ha,
    );
    budget.add("SV-3", "survey and design", "design and set-out files", areas.gross_ha, "ha", rates.design_per_ha);
    clearing(input, areas, &mut budget);
    levelling(input, areas, &mut budget);
    drains(input, &mut budget);
    let track_m: f64 = input.blocks.tracks.iter().map(|t| Euclidean.length(&t.line)).sum();
    budget.add("TR-1", "access", "gravelled tracks", track_m, "m", rates.track_per_m);
    budget.add("GR-1", "environment", "grass on headlands", areas.headland_m2, "m2", rates.grass_per_m2);
    budget.add(
        "CV-1",
        "environment",
        "cover crop through the wet season",
        areas.cropped_ha,
        "ha",
        rates.cover_crop_per_ha,
    );
    budget.add("PL-1", "planting", "lime, spread", areas.cropped_ha, "ha", rates.lime_per_ha);
    budget.add("PL-2", "planting", "planting the crop", areas.cropped_ha, "ha", rates.planting_per_ha);
    let sum = total(&budget.0);
    budget.add_amount(
        "CT-1",
        "contingency",
        "contingency on all of the above",
        1.0,
        "sum",
        rates.contingency_pct.zip(sum, |pct, sum| pct / 100.0 * sum),
        "rates table, per cent",
    );
    budget.0
}

fn clearing(input: &CostingInput<'_>, areas: &Areas, budget: &mut Budget) {
    match input.clearing {
        Some(clearing) => {
            for (i, step) in clearing.steps.iter().enumerate() {
                let id = format!("CL-{}", i + 1);
                budget.add_amount(
                    &id,
                    "clearing",
                    &step.name,
                    step.area_ha,
                    "ha",
                    step.cost,
                    "clearing stage: hours times rate",
                );
            }
        }
        None => budget.add(
            "CL-1",
            "clearing",
            "ripping, discs, stick-picking",
            areas.cropped_ha,
            "ha",
            input.rates.cultivation_per_ha,
        ),
    }
}

fn levelling(input: &CostingInput<'_>, areas: &Areas, budget: &mut Budget) {
    let Some(levelling) = input.levelling else {
        budget.add(
            "LV-0",
            "levelling",
            "smoothing of beds and stump holes",
            areas.gross_ha,
            "ha",
            input.rates.smoothing_per_ha,
        );
        return;
    };
    budget.add("LV-0", "levelling", "bringing earthmoving plant", 1.0, "property", input.rates.mobilise);
    for (earth, block) in levelling.blocks.iter().zip(&input.blocks.blocks) {
        let id = format!("LV-{}", block.name);
        let item = format!("block {}: {}", block.name, earth.surface.words());
        let (quantity, unit) =
            if earth.cut_m3 > 0.0 { (earth.cut_m3, "bank m3") } else { (earth.formed_m2 / M2_PER_HA, "ha") };
        // Soil the drains give is not hauled from far.
        let spares = input.drains.map_or(Range::exact(0.0), |d| d.spares(block.id));
        let cost = earth.cost.zip(spares, |cost, spares| (cost - spares).max(0.0));
        let source = if spares.likely > 0.0 {
            "levelling stage: volume by haul band; less the long haul that drain spoil spares"
        } else {
            "levelling stage: volume by haul band"
        };
        budget.add_amount(&id, "levelling", &item, quantity, unit, cost, source);
    }
}

/// What the digging rate does not hold: it leaves spoil spread beside the drain.
fn spoil(drains: &DrainPlan, budget: &mut Budget) {
    let mut add = |id, item, is: fn(&SpoilTo) -> bool| {
        let mine = drains.spoil.iter().filter(|s| is(&s.to));
        let amount = mine.fold(Range::exact(0.0), |sum, s| sum.zip(s.cost, |a, b| a + b));
        let source = "drains stage: volume by distance and machine";
        budget.add_amount(id, "drains", item, drains.spoil_m3(is), "bank m3", amount, source);
    };
    add("DR-H1", "drain spoil carried along and spread", |to| *to == SpoilTo::Along);
    add("DR-H2", "drain spoil hauled to fill", |to| matches!(to, SpoilTo::Block(_)));
    add("DR-H3", "drain spoil spread over whole blocks", |to| matches!(to, SpoilTo::Over(_)));
    add("DR-H4", "drain spoil hauled to places for spoil", |to| matches!(to, SpoilTo::Place(_)));
    add("DR-H5", "drain spoil without a place, as a long haul", |to| *to == SpoilTo::Nowhere);
}

fn drains(input: &CostingInput<'_>, budget: &mut Budget) {
    let Some(drains) = input.drains else { return };
    for drain in &drains.drains {
        let id = format!("DR-{:02}", drain.id);
        let item = format!("{} {:.0} m", drain.kind.word(), drain.stations.last().map_or(0.0, |s| s.station_m));
        budget.add(&id, "drains", &item, drain.excavation_m3, "bank m3", input.rates.drain_per_m3);
    }
    spoil(drains, budget);
    let drops = drains.drains.iter().flat_map(|d| &d.stations).filter(|s| s.drop_m > 0.05).count();
    budget.add("DR-R", "drains", "rock drops", drops as f64, "each", input.rates.rock_chute_each);
    let mouths = drains
        .drains
        .iter()
        .filter(|d| {
            matches!(d.to, crate::land::drains::DrainsTo::Outlet(_) | crate::land::drains::DrainsTo::Waterway(_))
        })
        .count();
    budget.add("DR-S", "drains", "silt traps at the mouths", mouths as f64, "each", input.rates.silt_trap_each);
    let culverts = drains.crossings.iter().filter(|c| c.culvert_mm.is_some()).count();
    budget.add("CR-1", "access", "culvert crossings", culverts as f64, "each", input.rates.culvert_each);
}

/// Sum of the lines.
pub(super) fn total(lines: &[BudgetLine]) -> Range {
    lines.iter().fold(Range::exact(0.0), |sum, line| sum.zip(line.amount, |a, b| a + b))
}
