//! Where do the trees go, and in which order?
//!
//! * [`windrows`]: lines of debris along the future rows or along a bank
//! * [`heaps`]: where debris is burnt
//! * [`hours`]: machine hours and cost

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Place, Problem, Problems, Severity};
use crate::land::blocks::{BlockPlan, RowBlock};
use crate::land::clearing::ClearingPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::water::WaterModel;
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::Bearing;
use geo::{Coord, MultiPolygon};

mod heaps;
mod hours;
mod params;
mod report;
#[cfg(test)]
mod tests;
mod windrows;

pub use params::{ClearingParams, Disposal, SpacingChoice};
use windrows::BlockWindrows;

/// What the stage reads.
pub struct ClearingInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Water.
    pub water: &'a WaterModel,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Prices.
    pub rates: &'a Rates,
}

/// Where do the trees go, and in which order?
pub struct Clearing;

impl Stage for Clearing {
    const INFO: StageInfo = StageInfo {
        name: "clearing",
        version: 2,
        question: "Where do the trees go, and in which order?",
        method: "Windrows lie parallel with the future rows of each block, evenly spread, with gaps at set distances and at \
                 every flow line, clear of waterways, power lines and kept land; or along the block edge nearest to a bank. \
                 Trees are laid parallel with the windrow, the rake travels at right angles. Heaps stand along the windrows \
                 outside every stand-off; one that finds no place is dropped and said. Raking time is B + sum(M N) + D F, \
                 other hours are rates of work.",
        needs: &["survey", "water", "blocks"],
        reads: &["row blocks", "flow lines, waterways, kept land, power lines, boundary", "rates"],
        makes: &["windrows, heaps or bank stacks", "knock-down and rake bearings", "hours and cost of each operation"],
        cites: &[Bibliography::Santalo1976],
    };
    type Params = ClearingParams;
    type Input<'a> = ClearingInput<'a>;
    type Output = ClearingPlan;

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        check(params)?;
        let forbidden = windrows::forbidden(input.site, input.water, params);
        let mut findings = Vec::new();
        let mut plan = empty_plan(&input);
        let (mut pushed, mut total_t) = (0.0, 0.0);
        for block in &input.blocks.blocks {
            let laid = lay(&input, block, &forbidden, params, &mut findings);
            let area_ha = windrows::block_ha(input.site, block);
            if !laid.stays {
                let (heaps, dropped) = heaps::heaps(input.site, &laid, area_ha, params);
                findings.extend(report::heaps_dropped(block, dropped, heaps.len()));
                plan.heaps.extend(heaps);
            }
            pushed += laid.mean_push_m * laid.debris_t;
            total_t += laid.debris_t;
            plan.cleared_ha += area_ha;
            plan.windrows.extend(laid.windrows);
        }
        plan.debris_t = total_t;
        plan.mean_push_m = if total_t > 0.0 { pushed / total_t } else { 0.0 };
        plan.steps = hours::steps(plan.cleared_ha, input.rates, params);
        number(&mut plan);
        findings.extend(report::findings(&input, &plan, params));
        findings.sort_by_key(|f| f.severity);
        ctx.progress.advance("clearing", 1.0);
        Ok(Outcome { value: plan, findings })
    }
}

fn check(p: &ClearingParams) -> Result<(), Problems> {
    let mut problems = Problems::default();
    if p.trees_per_ha.len() != p.rake_min_per_tree.len() {
        let (a, b) = (p.trees_per_ha.len(), p.rake_min_per_tree.len());
        let message = format!(
            "`clearing.trees_per_ha` has {a} numbers and `clearing.rake_min_per_tree` has {b}, both need one a class"
        );
        problems.push(Problem::request("tree_classes", message));
    }
    if p.gap_m >= p.gap_every_m {
        let message = format!("`clearing.gap_m` {} is not below `clearing.gap_every_m` {}", p.gap_m, p.gap_every_m);
        problems.push(Problem::request("windrow_gaps", message));
    }
    problems.into_result(())
}

fn empty_plan(input: &ClearingInput<'_>) -> ClearingPlan {
    // One direction for the property's summary: that of its largest block. Each block's windrows follow its own rows.
    let largest = input
        .blocks
        .blocks
        .iter()
        .reduce(|a, b| if windrows::block_ha(input.site, b) > windrows::block_ha(input.site, a) { b } else { a });
    let axis = largest.map_or_else(Bearing::default, |b| b.bearing).axis();
    ClearingPlan {
        knock_down_bearing: axis,
        rake_bearing: Bearing::from_degrees(axis.degrees() + 90.0).axis(),
        windrows: Vec::new(),
        heaps: Vec::new(),
        steps: Vec::new(),
        cleared_ha: 0.0,
        mean_push_m: 0.0,
        debris_t: 0.0,
    }
}

fn lay(
    input: &ClearingInput<'_>,
    block: &RowBlock,
    forbidden: &MultiPolygon<f64>,
    p: &ClearingParams,
    findings: &mut Vec<Finding>,
) -> BlockWindrows {
    let on_bank = match p.disposal {
        Disposal::Burn => None,
        Disposal::BankStack => {
            let stacks = windrows::along_bank(input.site, input.water, block, forbidden, p);
            if stacks.is_none() {
                let message = format!(
                    "No edge of block {} lies near a bank, so its debris is raked into windrows along the rows and burnt or carted.",
                    block.name
                );
                let finding = Finding::new(Severity::Warning, "clearing", "no_bank_near", message);
                findings.push(finding.at(Place::Named(block.name.clone())));
            }
            stacks
        }
    };
    let laid = on_bank.unwrap_or_else(|| windrows::along_rows(input.site, block, forbidden, p));
    findings.extend(report::block_findings(block, &laid, p));
    laid
}

/// Numbers windrows and heaps north to south, then west to east.
fn number(plan: &mut ClearingPlan) {
    let middle = |line: &geo::LineString<f64>| {
        let (a, b) = (line.0.first().copied().unwrap_or_default(), line.0.last().copied().unwrap_or_default());
        Coord { x: f64::midpoint(a.x, b.x), y: f64::midpoint(a.y, b.y) }
    };
    let order = |a: Coord<f64>, b: Coord<f64>| b.y.total_cmp(&a.y).then(a.x.total_cmp(&b.x));
    plan.windrows.sort_by(|a, b| order(middle(&a.line), middle(&b.line)));
    plan.heaps.sort_by(|a, b| order(a.at, b.at));
    for (id, windrow) in (1..).zip(&mut plan.windrows) {
        windrow.id = id;
    }
    for (id, heap) in (1..).zip(&mut plan.heaps) {
        heap.id = id;
    }
}
