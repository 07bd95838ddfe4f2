//! What should the ground become, and what does it cost to move?
//!
//! Per block a surface within the fall limits, lowered until cut is the wanted multiple of fill, raised where its low
//! ends would lie below the drain reach; then cut and fill, topsoil, haul and price.

mod doubts;
mod earth;
mod fixed;
mod haul;
mod lattice;
mod limits;
mod offers;
mod params;
mod places;
mod report;
mod risk;
mod settle;
mod stack;
mod surface;
#[cfg(test)]
mod tests;

pub use params::{BalanceOver, Forming, LevellingParams, TopsoilRule};

use crate::bibliography::Bibliography;
use crate::finding::{Outcome, Problem, Problems};
use crate::grid::{Cell, Raster};
use crate::land::blocks::{BlockPlan, Row, RowBlock, RowFall};
use crate::land::levelling::{BlockEarth, CutFill, DesignSurface, LevellingPlan, SurfaceKind};
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::{ElevationModel, Ground};
use crate::land::terrain::Contour;
use crate::land::water::WaterModel;
use crate::methods::earthwork::balance_offset;
use crate::methods::shapes::cells_inside;
use crate::methods::surface::contour_lines;
use crate::stages::falls::{parted_fall, row_fall};
use crate::stages::machines::Machines;
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::Slope;
use earth::Patch;
use fixed::FixedLevels;
use geo::{Contains, Intersects, Point, Polygon};
use haul::Carried;
use lattice::Lattice;
use limits::{Topsoil, Why};
use std::collections::BTreeMap;
use surface::{Shaped, Work};

/// Most the whole surface is shifted so that the cells balance as the lattice does, metres.
const MOST_TRIM_M: f64 = 0.01;
/// Contours shorter than this are left out, and how far a drawn one may lie from the traced one, metres.
const SHORTEST_CONTOUR_M: f64 = 40.0;
const CONTOUR_SIMPLIFY_M: f64 = 0.25;
/// Low ends below the drain reach by less than a finished surface may be off are not worth a word, metres.
const SAID_M: f64 = 0.01;

/// What the stage reads.
pub struct LevellingInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
    /// Water, for the drain reach.
    pub water: Option<&'a WaterModel>,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// A surface that stands in for the design.
    pub given_surface: Option<&'a ElevationModel>,
    /// Prices.
    pub rates: &'a Rates,
    /// Worth of the crop lost for good on a square metre whose row does not drain, dollars once; `None` lifts every row end
    /// to the drain reach that may be lifted.
    pub undrained_per_m2: Option<f64>,
}

/// What should the ground become, and what does it cost to move?
pub struct Levelling;

impl Stage for Levelling {
    const INFO: StageInfo = StageInfo {
        name: "levelling",
        version: 5,
        question: "What should the ground become, and what does it cost to move?",
        method: "Graded rows: the balanced surface of least cut and fill whose rows fall within the limits and whose \
                 cross-fall keeps its own, over a lattice in the frame of the rows. Depth limits, levels that must not be cut \
                 through, ground that keeps its height at tracks, water, fences and kept trees, topsoil where it is to be kept, the drain reach at low row ends and the surface of the block beside \
                 are limits of its heights. It is solved exactly by a network simplex on whole hundredths of a millimetre, \
                 or for very large blocks and limited changes of grade by a first-order method with a proven gap; cut is \
                 made the wanted multiple of fill by a multiplier, and the bound of that search is printed. Limits that \
                 cannot be kept together are given up, softest first, and named with the chain that conflicts. With a crest, \
                 every row rises to a crest and falls to both ends. Plane: the least-squares plane within the limits, \
                 lowered to balance. Low row ends are lifted to the drain reach where that costs less than the crop lost below it \
                 is worth, alike for every kind of surface. As it lies: no bulk earth. All kinds are compared on a \
                 coarser lattice. Volumes are cell sums, bank measure for cut, compacted for fill, with four-point and \
                 prism sums beside them. Hauls over a grid of gathered cells, round what is not to be driven on, \
                 are the cheapest with machines that change with distance, proven; what a block lacks or has over goes \
                 from and to the places given for it. Concept ground is used: old beds are taken to be worked down by cultivation.",
        needs: &["survey", "blocks"],
        reads: &[
            "concept ground",
            "accuracy statement",
            "row blocks",
            "drain reach",
            "topsoil zones",
            "places that give or take soil",
            "given surface",
            "rates",
        ],
        makes: &[
            "design surface with contours",
            "cut and fill",
            "topsoil left and areas where yield is at risk",
            "earth per block with proof and offers",
            "hauls",
            "ranges and doubts",
        ],
        cites: &[
            Bibliography::ScaloppiWillardson1986,
            Bibliography::Easa1989,
            Bibliography::Walker1989,
            Bibliography::AhujaMagnantiOrlin1993,
            Bibliography::Cunningham1976,
            Bibliography::ChambollePock2011,
            Bibliography::Everett1963,
            Bibliography::Hitchcock1941,
            Bibliography::DantzigWolfe1960,
        ],
    };
    type Params = LevellingParams;
    type Input<'a> = LevellingInput<'a>;
    type Output = LevellingPlan;

    fn run(
        input: LevellingInput<'_>,
        params: &LevellingParams,
        ctx: &Ctx<'_>,
    ) -> Result<Outcome<LevellingPlan>, Problems> {
        let spec = input.ground.concept.0.spec;
        let mut design = Raster::empty(spec, 0.0_f32);
        let mut cut_fill = Raster::empty(spec, 0.0_f32);
        let soil = Topsoil::of(spec, &input.site.layers.topsoil, params);
        // Which block a cell belongs to, by position plus one.
        let mut owner = vec![0_u32; spec.len()];
        let (mut blocks, mut carried) = (Vec::new(), Vec::new());
        let machines = Machines::of(input.rates)
            .map_err(|error| Problem::request("rates_refused", format!("prices of earth machines: {error}")))?;
        let fixed = FixedLevels::of(spec, input.site, params);
        let mut together = together(&input, params, (&soil, &machines, &fixed), &design);
        for (i, block) in input.blocks.blocks.iter().enumerate() {
            if ctx.cancelled() {
                break;
            }
            let cells = cells_in(&design, &block.outline);
            let number = u32::try_from(i + 1).unwrap_or(u32::MAX);
            cells.iter().for_each(|cell| owner[spec.index(*cell)] = number);
            let job =
                Job { input: &input, params, soil: &soil, machines: &machines, fixed: &fixed, block, cells: &cells };
            let (earth, hauls) = form(&job, together.remove(&i), &mut design, &mut cut_fill);
            blocks.push(earth);
            carried.push(hauls);
            ctx.progress.advance(Self::INFO.name, (i + 1) as f64 / input.blocks.blocks.len() as f64);
        }
        edge_steps_m(&design, &owner, &mut blocks);
        places::settle(&input, params, &machines, (&cut_fill, &owner), &mut blocks, carried);
        let doubts = doubts::of(&blocks, &cut_fill, &input, (params, &machines));
        let topsoil_left = soil.left(&cut_fill);
        let reserve_m = params.topsoil_reserve_mm / 1_000.0;
        let plan = LevellingPlan {
            cut_range_m3: doubts.cut_m3,
            cost_range: doubts.cost,
            doubts: doubts.each,
            contours: draw_contours(&design, params)?,
            risk_areas: risk::areas(&cut_fill, &topsoil_left, reserve_m, &owner, &input.blocks.blocks),
            topsoil_left,
            design: DesignSurface(ElevationModel(design)),
            cut_fill: CutFill(cut_fill),
            blocks,
        };
        let changes_m = fixed.changes_m(&plan.cut_fill.0, &owner, plan.blocks.len());
        let findings = report::findings(&plan, &input, params, &changes_m);
        Ok(Outcome { value: plan, findings })
    }
}

/// What is known of one block before it is formed.
struct Job<'a> {
    input: &'a LevellingInput<'a>,
    params: &'a LevellingParams,
    soil: &'a Topsoil,
    machines: &'a Machines,
    fixed: &'a FixedLevels,
    block: &'a RowBlock,
    cells: &'a [Cell],
}

/// Surfaces of blocks that are balanced together, by position of the block; empty when each is balanced by itself.
fn together(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    (soil, machines, fixed): (&Topsoil, &Machines, &FixedLevels),
    design: &Raster<f32>,
) -> BTreeMap<usize, (Lattice, Shaped)> {
    let alone = params.balance_over == BalanceOver::Block || !params.surface.follows_rows();
    if alone || input.given_surface.is_some() {
        return BTreeMap::new();
    }
    let ground = &input.ground.concept.0;
    let lattices: Vec<(usize, Lattice)> = input
        .blocks
        .blocks
        .iter()
        .enumerate()
        .filter_map(|(i, block)| {
            Some((i, Lattice::of(ground, block, &cells_in(ground, &block.outline), params.lattice_m)?))
        })
        .collect();
    let works: Vec<Work<'_>> = lattices
        .iter()
        .map(|(i, lattice)| Work {
            input,
            params,
            block: &input.blocks.blocks[*i],
            lattice,
            soil,
            machines,
            fixed,
            is_final: true,
            design,
        })
        .collect();
    let crested = params.surface == Forming::CrestedRows;
    let kept = works.iter().map(|work| {
        let kind = if crested { SurfaceKind::CrestedRows } else { SurfaceKind::GradedRows };
        let mut kept = surface::kept(offers::raises(work, &cells_in(ground, &work.block.outline), kind));
        // All are formed at once, so none can be tied to a surface beside it that is there already.
        kept.retain(|why| *why != Why::Neighbour);
        kept
    });
    match surface::graded(&works, crested, kept.collect()) {
        Some(shaped) => lattices.into_iter().zip(shaped).map(|((i, lattice), s)| (i, (lattice, s))).collect(),
        None => BTreeMap::new(),
    }
}

/// Forms one block and writes its cells; hands back its earth and what is carried in it.
fn form(
    job: &Job<'_>,
    ready: Option<(Lattice, Shaped)>,
    design: &mut Raster<f32>,
    cut_fill: &mut Raster<f32>,
) -> (BlockEarth, Option<Carried>) {
    let Job { input, params, soil, machines, block, cells, .. } = *job;
    let ground = &input.ground.concept.0;
    let mut earth = BlockEarth::none(block.id, kind_for(params, block), params.cut_fill_ratio);
    let heights: Vec<f64> = match input.given_surface {
        Some(given) => {
            earth.surface = SurfaceKind::Given;
            cells.iter().map(|c| given.0.bilinear(ground.spec.centre(*c)).unwrap_or(f64::NAN)).collect()
        }
        None => {
            let Some(heights) = worked_out(job, ready, design, &mut earth) else { return (earth, None) };
            heights
        }
    };
    let mut patches = Vec::new();
    for (cell, height) in cells.iter().zip(&heights) {
        let Some(z) = ground.get(*cell).map(f64::from).filter(|_| height.is_finite()) else { continue };
        #[expect(clippy::cast_possible_truncation, reason = "rasters hold f32")]
        {
            design.set(*cell, *height as f32);
            cut_fill.set(*cell, (z - height) as f32);
        }
        patches.push(Patch { at: ground.spec.centre(*cell), depth_m: z - height, area_m2: ground.spec.cell_area_m2() });
    }
    let carried = earth::measure(params, (input.rates, machines), soil, &patches, params.haul_cell_m, &mut earth);
    earth.checks = earth::checks(cut_fill, cells);
    earth.rows_after = falls_after(design, block, earth.surface == SurfaceKind::CrestedRows);
    (earth.row_fall, earth.cross_fall) = mean_falls(design, block, &earth.rows_after);
    (earth, carried)
}

/// Heights of a block's cells on the surface that was worked out, with its proof and its offers; `None` when no surface
/// could be fitted.
fn worked_out(
    job: &Job<'_>,
    ready: Option<(Lattice, Shaped)>,
    design: &Raster<f32>,
    earth: &mut BlockEarth,
) -> Option<Vec<f64>> {
    let Job { input, params, soil, machines, fixed, block, cells } = *job;
    let ground = &input.ground.concept.0;
    let (lattice, ready) = match ready {
        Some((lattice, shaped)) => (lattice, Some(shaped)),
        None => (Lattice::of(ground, block, cells, params.lattice_m)?, None),
    };
    let work = Work { input, params, block, lattice: &lattice, soil, machines, fixed, is_final: true, design };
    let (offers, lifting) = offers::offers(&work, cells, earth.surface);
    (earth.offers, earth.not_raised) = (offers, lifting.not_raised);
    if kind_for(params, block) != params.surface.kind() && block.bent.is_some() {
        earth
            .binding
            .push("rows that bend are graded row by row: on a plane their fall would change along them".to_owned());
    }
    let alone = ready.is_none();
    let shaped = ready.or_else(|| surface::shape(&work, earth.surface, lifting.raise))?;
    let mut heights: Vec<f64> =
        cells.iter().map(|c| shaped.height_m(&lattice, ground, ground.spec.centre(*c)).unwrap_or(f64::NAN)).collect();
    if params.surface != Forming::AsItLies {
        trim(job, alone, &mut heights);
        let short_m = below_reach_m(input, block, &lattice, &shaped);
        if short_m > SAID_M {
            earth.binding.push(format!("low row ends lie up to {:.0} mm below the drain reach", short_m * 1_000.0));
        }
    }
    earth.binding.extend(shaped.binding);
    earth.given_up = shaped.given_up;
    earth.proof = shaped.proof;
    Some(heights)
}

/// The lattice is balanced; its cells are rougher than its points. The few millimetres that balance the cells too are taken
/// off here, but not below a level that must not be cut through.
fn trim(job: &Job<'_>, alone: bool, heights: &mut [f64]) {
    let Job { input, params, block, cells, .. } = *job;
    let ground = &input.ground.concept.0;
    let pairs: Vec<(f64, f64)> = cells
        .iter()
        .zip(heights.iter())
        .filter_map(|(c, h)| Some((f64::from(ground.get(*c)?) - h, 1.0)))
        .filter(|(depth, _)| depth.is_finite())
        .collect();
    let lowered_m = balance_offset(&pairs, params.cut_fill_ratio);
    if alone && lowered_m.abs() <= MOST_TRIM_M {
        heights.iter_mut().for_each(|h| *h -= lowered_m);
    }
    if !params.surface.follows_rows() {
        // A plane is a plane; where it cuts too deep that is told.
        return;
    }
    for zone in input.site.layers.level_limits.iter().filter(|z| z.outline.intersects(&block.outline)) {
        for (cell, height) in cells.iter().zip(heights.iter_mut()) {
            let Some(z) = ground.get(*cell).map(f64::from) else { continue };
            if zone.outline.contains(&Point(ground.spec.centre(*cell))) {
                *height = height.max(zone.level_m.min(z));
            }
        }
    }
}

/// How far the worst low row end of the surface lies below the drain reach, metres; zero when none does.
fn below_reach_m(input: &LevellingInput<'_>, block: &RowBlock, lattice: &Lattice, shaped: &Shaped) -> f64 {
    let Some(water) = input.water else { return 0.0 };
    let ground = &input.ground.concept.0;
    block
        .rows
        .iter()
        .map(Row::low_end)
        .filter_map(|at| Some(f64::from(water.reach.level.at(at)?) - shaped.height_m(lattice, ground, at)?))
        .fold(0.0, f64::max)
}

/// Greatest step from each block to the formed cells of the blocks beside it, metres.
fn edge_steps_m(design: &Raster<f32>, owner: &[u32], blocks: &mut [BlockEarth]) {
    let spec = design.spec;
    for (i, own) in owner.iter().enumerate().filter(|(_, own)| **own > 0) {
        for (beside, _) in spec.neighbours(spec.cell(i)) {
            let j = spec.index(beside);
            if owner[j] > 0 && owner[j] != *own && design.valid[i] && design.valid[j] {
                let step_m = f64::from((design.values[i] - design.values[j]).abs());
                let block = &mut blocks[*own as usize - 1];
                block.edge_step_m = block.edge_step_m.max(step_m);
            }
        }
    }
}

/// The surface a block gets: rows laid out to fall both ways get their crest, rows that bend are graded row by row where a
/// plane is wished for.
fn kind_for(params: &LevellingParams, block: &RowBlock) -> SurfaceKind {
    let graded = if block.judged.two_way { SurfaceKind::CrestedRows } else { SurfaceKind::GradedRows };
    match params.surface.kind() {
        SurfaceKind::GradedRows => graded,
        SurfaceKind::Plane | SurfaceKind::PlaneAlong if block.bent.is_some() => graded,
        other => other,
    }
}

fn falls_after(design: &Raster<f32>, block: &RowBlock, crested: bool) -> Vec<RowFall> {
    let fall = if crested { parted_fall } else { row_fall };
    let falls: Vec<RowFall> = block.rows.iter().filter_map(|r| fall(design, &r.line.0)).collect();
    // A list shorter than the rows could not be told apart row by row.
    if falls.len() == block.rows.len() { falls } else { Vec::new() }
}

/// Mean fall down the rows, and from the first row to the last.
fn mean_falls(design: &Raster<f32>, block: &RowBlock, falls: &[RowFall]) -> (Slope, Slope) {
    if falls.is_empty() {
        return (Slope::default(), Slope::default());
    }
    let along = falls.iter().map(|f| f.mean.ratio()).sum::<f64>() / falls.len() as f64;
    let (first, last) = (block.rows[0].middle(), block.rows[block.rows.len() - 1].middle());
    let apart = ((first.x - last.x).powi(2) + (first.y - last.y).powi(2)).sqrt();
    let across = match (design.bilinear(first), design.bilinear(last)) {
        (Some(a), Some(b)) if apart > 1.0 => (a - b) / apart,
        _ => 0.0,
    };
    (Slope::from_ratio(along), Slope::from_ratio(across))
}

/// Contours of the surface to be built.
fn draw_contours(design: &Raster<f32>, params: &LevellingParams) -> Result<Vec<Contour>, Problem> {
    let lines = contour_lines(design, params.contour_interval_m, SHORTEST_CONTOUR_M, CONTOUR_SIMPLIFY_M)
        .map_err(|error| Problem::data("contours_failed", format!("contours of the design surface: {error}")))?;
    #[expect(clippy::cast_possible_truncation, reason = "levels over interval are small whole numbers")]
    let major = |level_m: f64| (level_m / params.contour_interval_m).round() as i64 % 5 == 0;
    Ok(lines.into_iter().map(|(level_m, lines)| Contour { level_m, major: major(level_m), lines }).collect())
}

/// Cells of a grid whose centre lies in a polygon, row by row.
fn cells_in(raster: &Raster<f32>, outline: &Polygon<f64>) -> Vec<Cell> {
    let inside = cells_inside(raster.spec, outline);
    inside.iter().enumerate().filter(|(_, inside)| **inside).map(|(i, _)| raster.spec.cell(i)).collect()
}
