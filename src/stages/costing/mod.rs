//! Is it worth it?
//!
//! Quantities of the plan times the rates of the pipeline file give the budget; a year-by-year cash flow over whole
//! crop cycles gives the worth against leaving the land as it is. Every figure is low / likely / high; the low case
//! takes every number at its bad end at once, the high case every number at its good end.

mod budget;
mod margin;
#[cfg(test)]
mod tests;
mod worth;

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problems, Severity};
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::costing::Costing;
use crate::land::drains::{DrainPlan, Drains};
use crate::land::levelling::LevellingPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::{M2_PER_HA, Range};
use crate::wording::grouped;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Yields, prices and the horizon of the cash flow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CostingParams {
    /// Yield of a full plant crop, tonnes per cropped hectare.
    #[schemars(extend("x-source" = "common practice, no source; 60-120"))]
    pub yield_t_ha: Range,
    /// What the mill pays, per tonne.
    #[schemars(extend("x-source" = "common practice, no source; price formula 0.009 x sugar price x (CCS - 4) + 0.6 at 13.5 CCS and 435, 550 and 695 per tonne of sugar"))]
    pub price_per_t: Range,
    /// Harvest, haul and levies, per tonne.
    #[schemars(extend("x-source" = "common practice, no source; 9-13 plus levies"))]
    pub harvest_per_t: Range,
    /// Growing a ratoon, per hectare and year.
    #[schemars(extend("x-source" = "common practice, no source"))]
    pub growing_per_ha: Range,
    /// First crop on new land, per cent of a full plant crop.
    #[schemars(range(min = 10.0, max = 120.0), extend("x-source" = "common practice, no source"))]
    pub first_crop_pct: f64,
    /// Decline of each ratoon, per cent.
    #[schemars(range(min = 0.0, max = 40.0), extend("x-source" = "common practice, no source; 5-10"))]
    pub ratoon_decline_pct: f64,
    /// Ratoons in a cycle.
    #[schemars(range(min = 0, max = 12), extend("x-source" = "common practice, no source; 3-6"))]
    pub ratoons: u32,
    /// Yield lost where rows do not drain, tonnes per hectare.
    #[schemars(range(min = 0.0, max = 60.0), extend("x-source" = "about 10 t/ha between smoothed and ponded cane land (USDA ARS Misc. Pub. 1062)"))]
    pub undrained_loss_t_ha: f64,
    /// Yield lost where the topsoil is cut away, per cent.
    #[schemars(range(min = 0.0, max = 80.0), extend("x-source" = "common practice, no source; 5-50"))]
    pub subsoil_loss_pct: f64,
    /// Years in which that loss halves.
    #[schemars(range(min = 0.5, max = 50.0), extend("x-source" = "common practice, no source; 3-5"))]
    pub subsoil_halving_years: f64,
    /// What the land earns if it is left as it is, per hectare and year.
    #[schemars(range(min = -5_000.0, max = 5_000.0), extend("x-source" = "the user's knowledge"))]
    pub leave_as_is_per_ha: f64,
    /// Real discount rate, per cent a year.
    #[schemars(range(min = 0.0, max = 30.0), extend("x-source" = "common practice, no source; 6-8"))]
    pub discount_pct: f64,
    /// Years reckoned, the works being year 0.
    #[schemars(range(min = 1, max = 60), extend("x-source" = "two crop cycles"))]
    pub horizon_years: u32,
}

impl Default for CostingParams {
    fn default() -> Self {
        Self {
            yield_t_ha: Range::new(70.0, 90.0, 110.0),
            price_per_t: Range::new(38.0, 47.6, 60.0),
            harvest_per_t: Range::new(9.0, 11.0, 13.0),
            growing_per_ha: Range::new(900.0, 1_100.0, 1_400.0),
            first_crop_pct: 90.0,
            ratoon_decline_pct: 7.0,
            ratoons: 4,
            undrained_loss_t_ha: 10.0,
            subsoil_loss_pct: 15.0,
            subsoil_halving_years: 4.0,
            leave_as_is_per_ha: 0.0,
            discount_pct: 7.0,
            horizon_years: 12,
        }
    }
}

/// What the stage reads.
pub struct CostingInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Earthworks, when wanted.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains, when wanted.
    pub drains: Option<&'a DrainPlan>,
    /// Clearing, when wanted.
    pub clearing: Option<&'a ClearingPlan>,
    /// Prices.
    pub rates: &'a Rates,
}

/// Is it worth it?
pub struct CostingStage;

impl Stage for CostingStage {
    const INFO: StageInfo = StageInfo {
        name: "costing",
        version: 3,
        question: "Is it worth it?",
        method: "Budget: quantities of the plan times low / likely / high rates, contingency as its own line. Cash flow: \
                 works in year 0, then crop cycles of a plant crop, ratoons and a fallow; rows not proven to drain lose \
                 yield, land cut into subsoil loses a share that mends, turns and short rows cost harvester time as \
                 the layout was judged. Net present value, \
                 payback, peak debt, break-even price and yield against leaving the land as it is. The low case takes \
                 every number at its bad end at once.",
        needs: &["survey", "blocks"],
        reads: &["row blocks", "earthworks", "drains", "clearing steps", "rates"],
        makes: &["budget", "cash flow", "worth", "sensitivity"],
        cites: &[Bibliography::AsabeEp496],
    };
    type Params = CostingParams;
    type Input<'a> = CostingInput<'a>;
    type Output = Costing;

    fn run(input: CostingInput<'_>, params: &CostingParams, ctx: &Ctx<'_>) -> Result<Outcome<Costing>, Problems> {
        let areas = budget::areas(&input);
        let lines = budget::budget(&input, &areas);
        let total = budget::total(&lines);
        let farm = farm(&input, &areas);
        let cases = cases(&input, total, params);
        let earth = lines.iter().filter(|l| l.group == "levelling").map(|l| l.amount.likely).sum();
        let value = Costing {
            cash: worth::cash(&farm, &cases, params),
            worth: worth::worth(&farm, &cases, params),
            sensitivity: worth::sensitivity(&farm, &cases[1], earth, params),
            per_ha: total.map(|t| if areas.cropped_ha > 0.0 { t / areas.cropped_ha } else { 0.0 }),
            cropped_ha: areas.cropped_ha,
            budget: lines,
            total,
        };
        ctx.progress.advance(Self::INFO.name, 1.0);
        let mut findings = findings(&value);
        findings.extend(margin::apart(input.rates, params));
        findings.extend(margin::interest_apart(input.blocks.pay_off_per_year, params));
        Ok(Outcome { value, findings })
    }
}

fn farm(input: &CostingInput<'_>, areas: &budget::Areas) -> worth::Farm {
    let undrained_ratio = input.drains.map_or(0.0, |drains| {
        let undrained = drains.proofs.iter().filter(|p| p.after != Drains::Yes).count();
        if drains.proofs.is_empty() { 0.0 } else { undrained as f64 / drains.proofs.len() as f64 }
    });
    let subsoil_m2: f64 = input.levelling.map_or(0.0, |l| l.blocks.iter().map(|b| b.subsoil_m2).sum());
    let subsoil_ratio = if areas.cropped_ha > 0.0 { (subsoil_m2 / M2_PER_HA / areas.cropped_ha).min(1.0) } else { 0.0 };
    worth::Farm { cropped_ha: areas.cropped_ha, undrained_ratio, subsoil_ratio }
}

/// Hours that turns and short rows take in a year of crop: as the layout was judged, whose dollars are at the likely rate.
fn turning_h(input: &CostingInput<'_>) -> f64 {
    let dollars: f64 = input.blocks.blocks.iter().map(|b| b.judged.cost.turning + b.judged.cost.short_rows).sum();
    let per_h = input.rates.harvester_per_h.likely;
    if per_h > 0.0 { dollars / per_h } else { 0.0 }
}

/// Bad, likely and good.
fn cases(input: &CostingInput<'_>, total: Range, params: &CostingParams) -> [worth::Case; 3] {
    let turning_h = turning_h(input);
    let replant = input.rates.planting_per_ha.zip(input.rates.cover_crop_per_ha, |a, b| a + b);
    let case =
        |works, price_per_t, yield_t_ha, harvest_per_t, growing_per_ha, replant_per_ha, per_h: f64| worth::Case {
            works,
            price_per_t,
            yield_t_ha,
            harvest_per_t,
            growing_per_ha,
            replant_per_ha,
            turning_per_year: turning_h * per_h,
            delay_years: 0,
        };
    let p = params;
    let rate = input.rates.harvester_per_h;
    [
        case(
            total.high,
            p.price_per_t.low,
            p.yield_t_ha.low,
            p.harvest_per_t.high,
            p.growing_per_ha.high,
            replant.high,
            rate.high,
        ),
        case(
            total.likely,
            p.price_per_t.likely,
            p.yield_t_ha.likely,
            p.harvest_per_t.likely,
            p.growing_per_ha.likely,
            replant.likely,
            rate.likely,
        ),
        case(
            total.low,
            p.price_per_t.high,
            p.yield_t_ha.high,
            p.harvest_per_t.low,
            p.growing_per_ha.low,
            replant.low,
            rate.low,
        ),
    ]
}

fn findings(costing: &Costing) -> Vec<Finding> {
    let stage = "costing";
    let mut findings = Vec::new();
    if costing.total.low > 0.0 && costing.total.high > 2.0 * costing.total.low {
        findings.push(Finding::new(
            Severity::Warning,
            stage,
            "wide_cost_range",
            format!(
                "The budget runs from {} to {}, a factor of {:.1}: get quotes and the re-survey before borrowing on it.",
                grouped(costing.total.low),
                grouped(costing.total.high),
                costing.total.high / costing.total.low
            ),
        ));
    }
    if costing.worth.npv.likely < 0.0 {
        findings.push(Finding::new(
            Severity::Severe,
            stage,
            "does_not_pay",
            format!(
                "At likely prices the plan is worth {} less than leaving the land as it is; it breaks even at {} a tonne.",
                grouped(-costing.worth.npv.likely),
                costing.worth.break_even_price[1].map_or_else(|| "no price".to_owned(), |p| format!("{p:.2}"))
            ),
        ));
    } else if costing.worth.npv.low < 0.0 {
        findings.push(Finding::new(
            Severity::Warning,
            stage,
            "may_not_pay",
            format!(
                "The plan pays at likely prices, but with every number at its bad end it is worth {} less than leaving the \
                 land as it is.",
                grouped(-costing.worth.npv.low)
            ),
        ));
    }
    findings
}
