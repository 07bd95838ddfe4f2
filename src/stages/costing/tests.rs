//! Layout and worth reckon in the same money: two layouts of one field, their yearly costs beside their worths.

use super::{CostingInput, CostingParams, CostingStage};
use crate::grid::{GridSpec, Raster};
use crate::land::blocks::{BlockPlan, YearlyCost};
use crate::land::costing::Costing;
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::rates::Rates;
use crate::land::site::{GivenBlock, Site, SiteLayers};
use crate::land::survey::{AccuracyStatement, ElevationModel, Ground};
use crate::methods::economics::{annuity_present_value, capital_recovery_factor};
use crate::stages::blocks::{Blocks, BlocksInput, BlocksParams};
use crate::stages::{Ctx, Silent, Stage};
use crate::units::M2_PER_HA;
use geo::{Coord, MultiPolygon, Rect};
use std::sync::atomic::AtomicBool;

/// A field of 640 x 260 m drawn by the user, its rows at a bearing.
fn field(bearing_deg: f64) -> Site {
    let outline = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 640.0, y: 260.0 }).to_polygon();
    let given = GivenBlock { name: "12A".to_owned(), outline, bearing_deg: Some(bearing_deg) };
    Site {
        name: "test".to_owned(),
        parcels: Vec::new(),
        boundary: MultiPolygon(Vec::new()),
        parcels_worked_as_one: true,
        layers: SiteLayers { given_blocks: vec![given], ..SiteLayers::default() },
        not_given: Vec::new(),
        crs: CrsTag { name: String::new(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None },
        geodesy: LocalGeodesy::flat(),
    }
}

/// Ground that falls alike to the east and to the north.
fn ground() -> Ground {
    let spec = GridSpec { north_west: Coord { x: -50.0, y: 350.0 }, cell_m: 5.0, rows: 80, cols: 160 };
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        let at = spec.centre(spec.cell(i));
        raster.values[i] = (10.0 - 0.0015 * (at.x + at.y)) as f32;
    }
    let model = ElevationModel(raster);
    let accuracy = AccuracyStatement {
        vertical_sigma_m: 0.02,
        basis: String::new(),
        known: true,
        control_shift_m: None,
        control_sd_m: None,
    };
    Ground {
        surveyed: model.clone(),
        concept: model,
        smoothed_over_m: 0.0,
        beds_mean_m: 0.0,
        accuracy,
        point_density: None,
    }
}

fn reckoned(bearing_deg: f64, rates: &Rates, params: &CostingParams) -> (BlockPlan, Costing) {
    let (site, ground, cancel) = (field(bearing_deg), ground(), AtomicBool::new(false));
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let input = BlocksInput { site: &site, ground: Some(&ground), water: None, rates };
    let blocks = Blocks::run(input, &BlocksParams::default(), &ctx).unwrap().value;
    let input = CostingInput { site: &site, blocks: &blocks, levelling: None, drains: None, clearing: None, rates };
    let costing = CostingStage::run(input, params, &ctx).unwrap().value;
    (blocks, costing)
}

/// The terms the costing has no counterpart for without levelling and drains, or reckons otherwise: land and digging of
/// drains, drains across rows, falls, earth, haul of the crop, rows below the drain reach.
fn not_shared(cost: &YearlyCost) -> f64 {
    cost.total() - cost.turning - cost.short_rows - cost.headland
}

#[test]
fn long_rows_are_cheaper_in_the_layout_and_worth_more_by_the_same_money() {
    // Fields of the project's own; the factors are those of any handbook of engineering economy at 7 % over 12 years.
    let params = CostingParams::default();
    let margin = super::margin::earned_per_ha(&Rates::default(), &params);
    let rates = Rates { gross_margin_per_ha: crate::units::Range::exact(margin), ..Rates::default() };
    let (long, rich) = reckoned(90.0, &rates, &params);
    let (short, poor) = reckoned(0.0, &rates, &params);
    let cost = |plan: &BlockPlan| plan.blocks[0].judged.cost;
    let (a, b) = (cost(&long), cost(&short));
    assert!(not_shared(&a).abs().max(not_shared(&b).abs()) < b.total(), "{a:?} {b:?}");

    let yearly = capital_recovery_factor(0.07, 12);
    let dearer = rich.worth.npv.likely * yearly - poor.worth.npv.likely * yearly;
    // Turns are paid in the years that bear a crop: all but the fallows of years 6 and 12.
    let v = |year: i32| 1.07_f64.powi(-year);
    let crop_years = (annuity_present_value(0.07, 12) - v(6) - v(12)) * yearly;
    // What a hectare of crop is spared on ripping when there is no clearing stage, contingency on it.
    let planted_ha = |plan: &BlockPlan| plan.blocks[0].row_metres() * plan.blocks[0].row_spacing_m / M2_PER_HA;
    let cultivation = (planted_ha(&long) - planted_ha(&short)) * rates.cultivation_per_ha.likely * 1.15 * yearly;
    let shared = crop_years * (b.turning + b.short_rows - a.turning - a.short_rows) + b.headland - a.headland;
    assert!(dearer > 0.0 && shared > 0.0, "{dearer} {shared}");
    assert!((dearer - (shared - cultivation)).abs() < 0.01 * shared, "{dearer} {shared} {cultivation}");
}

#[test]
fn once_paid_money_is_paid_off_as_the_costing_discounts_it() {
    // 7 % over 12 years: 0.1259 of the sum a year, in any handbook's table of capital recovery.
    let (layout, worth) = (BlocksParams::default(), CostingParams::default());
    assert_eq!((layout.earth_years, layout.discount_pct), (worth.horizon_years, worth.discount_pct));
    assert!((layout.pay_off_per_year() - 0.1259).abs() < 5e-5);
}

/// The budget of a farm whose drains give soil to a block.
mod spoil {
    use crate::land::costing::BudgetLine;
    use crate::land::site::{EarthPlace, EarthPlaceKind};
    use crate::stages::Silent;
    use crate::stages::costing::*;
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
}
