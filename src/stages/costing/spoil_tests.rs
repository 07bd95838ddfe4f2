//! The budget of a farm whose drains give soil to a block.

use super::*;
use crate::land::costing::BudgetLine;
use crate::land::site::{EarthPlace, EarthPlaceKind};
use crate::stages::Silent;
use crate::stages::drains::DrainsParams;
use crate::stages::drains::test_farm::Farm;
use std::sync::atomic::AtomicBool;

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} against {b}");
}

/// The budget holds digging as before, carrying and places beside it, and takes the long haul that drain spoil spares off
/// the block it fills: nothing twice.
#[test]
fn the_budget_counts_spoil_once() {
    let mut farm = Farm::lacking(50.0);
    farm.levelling.as_mut().unwrap().blocks[0].cost = Range::new(500.0, 800.0, 1_200.0);
    farm.site.layers.earth_places = vec![EarthPlace {
        name: "pit".to_owned(),
        kind: EarthPlaceKind::Spoil,
        at: (310.0, 10.0).into(),
        capacity_m3: Some(30.0),
        price_per_m3: 0.5,
    }];
    let plan =
        farm.run(&DrainsParams { spoil_width_m: 3.0, spoil_over_block_mm: 0.0, ..DrainsParams::default() }).value;
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let budget = |drains: &DrainPlan| {
        let input = CostingInput {
            site: &farm.site,
            blocks: &farm.blocks,
            levelling: farm.levelling.as_ref(),
            drains: Some(drains),
            clearing: None,
            rates: &farm.rates,
        };
        CostingStage::run(input, &CostingParams::default(), &ctx).unwrap().value.budget
    };
    let with = budget(&plan);
    let without = budget(&DrainPlan { spoil: Vec::new(), ..plan.clone() });
    let sum = |lines: &[BudgetLine]| lines.iter().filter(|l| l.id != "CT-1").map(|l| l.amount.likely).sum::<f64>();
    let carrying: f64 = plan.spoil.iter().map(|s| s.cost.likely).sum();
    let spared: f64 = plan.spoil.iter().map(|s| s.spares.likely).sum();
    near(spared, 350.0, 1e-6);
    near(sum(&with) - sum(&without), carrying - spared, 1e-6);
    let line = |lines: &[BudgetLine], id: &str| lines.iter().find(|l| l.id == id).map_or(0.0, |l| l.amount.likely);
    near(line(&without, "LV-B1"), 800.0, 1e-9);
    near(line(&with, "LV-B1"), 450.0, 1e-6);
    for drain in &plan.drains {
        let id = format!("DR-{:02}", drain.id);
        near(line(&with, &id), drain.excavation_m3 * farm.rates.drain_per_m3.likely, 1e-6);
    }
}
