//! Does every row drain, and do the drains carry it?
//!
//! * [`collector`]: a line along the low ends of each block's rows
//! * [`route`]: cheapest ways to outlets and waterways
//! * [`network`]: collectors and main drains as one tree of stations
//! * [`sizing`]: discharge and section of each drain
//! * [`among_rows`]: water in the [`furrows`], over the ridges between them, and at the row ends
//! * [`proof`]: the answer for every row
//! * [`strips`], [`spoil`], [`spoil_words`]: where the soil dug out goes
//! * [`crossing`], [`outflow`], [`report`]: what is met, what leaves, what to say

use crate::bibliography::Bibliography;
use crate::finding::{Finding, Outcome, Problem, ProblemKind, Problems, Severity};
use crate::land::blocks::BlockPlan;
use crate::land::drains::{Drain, DrainPlan, DrainsTo};
use crate::land::levelling::LevellingPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;
use crate::methods::hydraulics::{DrainNode, InvertError, Inverts, ReturnRain, drain_reach_m, grade_inverts};
use crate::stages::{Ctx, Stage, StageInfo};
use geo::Coord;

mod among_rows;
mod collector;
mod crossing;
mod culverts;
mod furrows;
mod network;
mod outflow;
mod params;
mod proof;
mod report;
mod route;
mod sizing;
mod spoil;
#[cfg(test)]
mod spoil_tests;
mod spoil_words;
mod strips;
#[cfg(test)]
pub(super) mod test_farm;
#[cfg(test)]
mod tests;
mod two_way;

pub use params::{DesignFlow, DrainsParams, TravelTime};

/// Ways to lay the drains, tried in turn until no outlet is too high: how many times the least fall a metre of main
/// drain weighs against outlet level (short ways first, then those that leave the bed deepest), and whether main
/// drains have their full depth or are as shallow as collectors.
const TRIALS: [(f64, bool); 3] = [(4.0, true), (1.0, true), (1.0, false)];

/// What the stage reads.
pub struct DrainsInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
    /// Terrain.
    pub terrain: &'a TerrainModel,
    /// Water.
    pub water: &'a WaterModel,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Design surface, when levelling is wanted.
    pub levelling: Option<&'a LevellingPlan>,
    /// Prices.
    pub rates: &'a Rates,
}

/// Does every row drain, and do the drains carry it?
pub struct DrainsStage;

impl Stage for DrainsStage {
    const INFO: StageInfo = StageInfo {
        name: "drains",
        version: 5,
        question: "Does every row drain, and do the drains carry it?",
        method: "A collector runs along the low ends of each block's rows, in the turning headland. Main drains lead from the \
                 collectors to outlets or mapped waterways on cheapest paths that keep off crop and kept land, and join each \
                 other. Beds are the highest that keep a least depth and a least fall everywhere, found in one pass from the \
                 heads down; where an outlet is too high the deficit and the head that causes it are named. Discharge is found \
                 by the rational formula and by drainage coefficient, sections by Manning with the bed grown up, velocity with \
                 the bed new. Among the rows water runs along the furrows and spills over the ridges between them, by a flood over the \
                 graph of both, so that row-end discharge, standing water and ridges gone over are known. Every row is proved \
                 on the ground as it lies and on the design surface; what the accuracy of \
                 the heights leaves open is said to be open. Soil dug out is spread beside the drains as far as there is room, \
                 fills blocks that lack soil, or goes to places for spoil, whatever is cheapest by distance and machine.",
        needs: &["survey", "terrain", "water", "blocks"],
        reads: &[
            "ground with its accuracy",
            "flow field and filled surface",
            "outlets, waterways, buffers, crossings of the boundary",
            "row blocks",
            "design surface and row falls after levelling, when wanted",
            "mapped culverts, tracks, power lines, buried services, levels not to be passed",
            "soil blocks lack, places for spoil, rates of earth machines",
        ],
        makes: &[
            "drains with stations, beds, sections, discharge and velocity",
            "a proof for every row before and after the works",
            "water standing among rows and ridges it goes over",
            "crossings and what they need",
            "mapped culverts beside the peak they have to pass",
            "where the soil dug out goes, and at what price",
            "catchment, peak and volume at every place where water leaves, before and after",
        ],
        cites: &[
            Bibliography::Barnes2014,
            Bibliography::BransbyWilliams1922,
            Bibliography::Chow1959,
            Bibliography::Cormen2009,
            Bibliography::Dijkstra1959,
            Bibliography::FortierScobey1926,
            Bibliography::Hds5,
            Bibliography::Hitchcock1941,
            Bibliography::Manning1891,
        ],
    };
    type Params = DrainsParams;
    type Input<'a> = DrainsInput<'a>;
    type Output = DrainPlan;

    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        let rain = design_rain(params)?;
        let parted = two_way::parted(&input);
        let input = match &parted {
            Some(halves) => DrainsInput { blocks: &halves.blocks, levelling: halves.levelling.as_ref(), ..input },
            None => input,
        };
        let row_area_ha = |b: usize, r: usize| row_area_ha(&input, b, r);
        let Some(laid) = lay_best(&input, params, &row_area_ha)? else {
            let finding = Finding::new(Severity::Note, "drains", "no_rows", "There are no rows, so no drain was laid.");
            return Ok(Outcome { value: DrainPlan::default(), findings: vec![finding] });
        };
        ctx.progress.advance("drains", 0.5);
        let Laid { net, inverts, reach_m, full_depth } = laid;
        let loads = sizing::Loads::of(&net, &rain, params);
        let dug = sizing::size(&net, &inverts, &loads, input.blocks, params);
        let stretches = strips::stretches(&input, &dug, params);
        let drains: Vec<Drain> = dug.into_iter().map(|d| d.drain).collect();
        let numbers: Vec<u32> = drains.iter().map(|d| d.id).collect();
        let spoil = spoil::plan(&input, (&numbers, &stretches), params)?;
        let receiving = proof::Receiving { net: &net, inverts: &inverts, reach_m: &reach_m };
        let open =
            |b: usize, r: usize| net.node_of_row.get(&(b, r)).is_some_and(|n| net.leaves_to(*n) != DrainsTo::Nowhere);
        let runoff = among_rows::Runoff { rain: &rain, row_area_ha: &row_area_ha, open: &open };
        let among = among_rows::follow(&input, &runoff, params);
        let proofs = two_way::joined(proof::proofs(&input, &receiving, &among, params));
        let (row_ponds, row_spills) = among.told();
        let crossings = crossing::crossings(input.site, &input.blocks.tracks, &drains, params);
        let works = outflow::Works { net: &net, loads: &loads, rain: &rain, row_area_ha: &row_area_ha };
        let outflows = outflow::outflows(&input, &works, params);
        let culverts = culverts::checks(&input, &works, params);
        let plan = DrainPlan { drains, proofs, crossings, outflows, row_ponds, row_spills, spoil, culverts };
        let mut findings = report::findings(&input, &plan, &net, &inverts, params);
        findings.extend(culverts::findings(&plan.culverts, params));
        findings.extend(report::held_width(&net, &plan.drains, &sizing::shallow(&net, &inverts, &loads, params)));
        if !full_depth {
            findings.push(report::shallow_note(params));
        }
        ctx.progress.advance("drains", 1.0);
        Ok(Outcome { value: plan, findings })
    }
}

fn design_rain(p: &DrainsParams) -> Result<ReturnRain, Problems> {
    if p.rain_duration_min.len() != p.rain_intensity_mm_h.len() {
        let (a, b) = (p.rain_duration_min.len(), p.rain_intensity_mm_h.len());
        let message = format!(
            "`drains.rain_duration_min` has {a} numbers and `drains.rain_intensity_mm_h` has {b}, both must have as many"
        );
        return Err(Problem::request("rain_table", message).into());
    }
    if p.max_fall_pct < p.min_fall_pct {
        let message =
            format!("`drains.max_fall_pct` {} is below `drains.min_fall_pct` {}", p.max_fall_pct, p.min_fall_pct);
        return Err(Problem::request("drain_falls", message).into());
    }
    ReturnRain::new(&p.rain_table()).map_err(|e| Problem::request("rain_table", format!("design rain: {e}")).into())
}

/// Land of a row: the block's land shared by row length, so that headlands are counted too.
fn row_area_ha(input: &DrainsInput<'_>, block: usize, row: usize) -> f64 {
    let rows = &input.blocks.blocks[block];
    let total_m = rows.row_metres();
    if total_m <= 0.0 {
        return 0.0;
    }
    outflow::block_area_ha(input, block) * rows.rows[row].length_m / total_m
}

/// A laid and graded network.
struct Laid {
    net: network::Network,
    inverts: Inverts,
    reach_m: Vec<Option<f64>>,
    full_depth: bool,
}

/// Lays the drains with each weight in turn until no outlet is too high, else keeps the least deficit.
fn lay_best(
    input: &DrainsInput<'_>,
    p: &DrainsParams,
    row_area_ha: &dyn Fn(usize, usize) -> f64,
) -> Result<Option<Laid>, Problems> {
    let blocks = input.blocks.blocks.iter().enumerate();
    let collectors: Vec<collector::Collector> =
        blocks.flat_map(|(i, b)| collector::collectors(input.site, i, b, p.collector_offset_m)).collect();
    let ground = route::RouteGround::new(input.site, input.water, input.blocks, &input.ground.concept, p);
    let (Some(ground), false) = (ground, collectors.is_empty()) else { return Ok(None) };
    let max_invert_m = |b: usize, r: usize| {
        let level = low_level_m(input, b, r)?;
        Some(level - p.row_end_drop_mm / 1_000.0)
    };
    let water = network::RowWater {
        area_ha: row_area_ha,
        max_invert_m: &max_invert_m,
        ground_m: &|at| ground_m(input, at),
        ground_per_grid: &|at| 1.0 / input.site.geodesy.scale_at(at),
    };
    let mut best: Option<(f64, Laid)> = None;
    for (weight, full_depth) in TRIALS {
        let routes = ground.routes(weight * p.min_fall());
        let depth_m = if full_depth { p.main_depth_m } else { p.main_depth_m.min(p.collector_depth_m) };
        let net = network::lay(&collectors, &routes, input.blocks, &water, p, depth_m);
        let laid = Laid { full_depth, ..grade(net, p).map_err(bug)? };
        let deficit_m: f64 = laid.inverts.deficit_m.iter().sum();
        if best.as_ref().is_none_or(|(least, _)| deficit_m < *least) {
            best = Some((deficit_m, laid));
        }
        if deficit_m <= sizing::TOLERANCE_M {
            break;
        }
    }
    Ok(best.map(|(_, laid)| laid))
}

fn grade(net: network::Network, p: &DrainsParams) -> Result<Laid, InvertError> {
    let nodes: Vec<DrainNode> = net
        .nodes
        .iter()
        .map(|n| DrainNode {
            ground_m: n.ground_m,
            min_depth_m: n.min_depth_m,
            max_invert_m: n.max_invert_m,
            min_invert_m: n.min_invert_m,
            downstream: n.down,
            length_m: n.length_m,
        })
        .collect();
    let inverts = grade_inverts(&nodes, p.min_fall(), p.max_fall_pct / 100.0)?;
    let reach_m = drain_reach_m(&nodes, p.min_fall())?;
    Ok(Laid { net, inverts, reach_m, full_depth: true })
}

fn bug(error: InvertError) -> Problems {
    Problem::new(ProblemKind::Bug, "drain_tree", format!("drain network: {error}")).into()
}

/// Ground after the works: the design surface where earth is formed, else the ground as it lies.
fn ground_m(input: &DrainsInput<'_>, at: Coord<f64>) -> Option<f64> {
    let design = input.levelling.and_then(|l| {
        // Next to the formed land the design has no height of its own.
        l.design.0.0.at(at)?;
        l.design.0.0.bilinear(at)
    });
    design.or_else(|| input.ground.concept.0.bilinear(at))
}

/// Height of a row's low end after the works.
fn low_level_m(input: &DrainsInput<'_>, block: usize, row: usize) -> Option<f64> {
    let b = &input.blocks.blocks[block];
    let earth = input.levelling.and_then(|l| l.blocks.iter().find(|e| e.block == b.id));
    let fall = proof::after_fall(earth, row).or_else(|| proof::before_fall(input, &b.rows[row]));
    fall.map(|f| f.low_level_m)
}
