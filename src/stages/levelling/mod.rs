//! What should the ground become, and what does it cost to move?
//!
//! Per block a surface within the fall limits, lowered until cut is the wanted multiple of fill, raised where its low
//! ends would lie below the drain reach; then cut and fill, topsoil, haul and price.

mod earth;
mod params;
mod report;
mod surface;
#[cfg(test)]
mod tests;

pub use params::{Forming, LevellingParams};

use crate::bibliography::Bibliography;
use crate::finding::{Outcome, Problems};
use crate::grid::Raster;
use crate::land::blocks::{BlockPlan, RowBlock, RowFall};
use crate::land::levelling::{BlockEarth, CutFill, DesignSurface, LevellingPlan, SurfaceKind};
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::{ElevationModel, Ground};
use crate::land::water::WaterModel;
use crate::methods::earthwork::balance_offset;
use crate::stages::falls::row_fall;
use crate::stages::{Ctx, Stage, StageInfo};
use crate::units::{Range, Slope};
use earth::Formed;

/// Patches within which survey errors are alike, metres (common practice, no source).
const ERROR_PATCH_M: f64 = 50.0;

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
}

/// What should the ground become, and what does it cost to move?
pub struct Levelling;

impl Stage for Levelling {
    const INFO: StageInfo = StageInfo {
        name: "levelling",
        version: 1,
        question: "What should the ground become, and what does it cost to move?",
        method: "Plane: the least-squares plane over the block with row fall and cross-fall held within limits. Graded rows: \
                 along every lane of the block the least-squares profile that falls within the limits. Both are lowered by \
                 the exact offset at which cut is the wanted multiple of fill, then raised where low row ends would lie \
                 below the drain reach, as far as the limit allows. As it lies: no bulk earth. Volumes are cell sums in \
                 bank measure for cut, compacted for fill; haul is the least-moment transport between gathered cells, \
                 straight distances. Concept ground is used: old beds are taken to be worked down by cultivation.",
        needs: &["survey", "blocks"],
        reads: &[
            "concept ground",
            "accuracy statement",
            "row blocks",
            "drain reach",
            "topsoil zones",
            "given surface",
            "rates",
        ],
        makes: &["design surface", "cut and fill", "earth per block", "haul bands"],
        cites: &[
            Bibliography::ScaloppiWillardson1986,
            Bibliography::Easa1989,
            Bibliography::Walker1989,
            Bibliography::Barlow1972,
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
        let mut blocks = Vec::new();
        for (i, block) in input.blocks.blocks.iter().enumerate() {
            if ctx.cancelled() {
                break;
            }
            blocks.push(form(&input, params, block, &mut design, &mut cut_fill));
            ctx.progress.advance(Self::INFO.name, (i + 1) as f64 / input.blocks.blocks.len() as f64);
        }
        let plan = LevellingPlan {
            cut_range_m3: cut_range(&blocks, input.ground.accuracy.vertical_sigma_m),
            design: DesignSurface(ElevationModel(design)),
            cut_fill: CutFill(cut_fill),
            blocks,
        };
        let findings = report::findings(&plan, &input, params);
        Ok(Outcome { value: plan, findings })
    }
}

/// Forms one block and writes its cells.
fn form(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    block: &RowBlock,
    design: &mut Raster<f32>,
    cut_fill: &mut Raster<f32>,
) -> BlockEarth {
    let ground = &input.ground.concept.0;
    let cells = surface::cells_in(ground, &block.outline);
    let cell_m2 = ground.spec.cell_area_m2();
    let mut earth = blank(params, block);
    let formed = match input.given_surface {
        Some(given) => {
            earth.surface = SurfaceKind::Given;
            let heights: Vec<f64> =
                cells.iter().map(|c| given.0.bilinear(ground.spec.centre(*c)).unwrap_or(f64::NAN)).collect();
            earth::formed(ground, &cells, &heights)
        }
        None => {
            let shaped = surface::shape(params, ground, block, &cells);
            let Some(shaped) = shaped else { return earth };
            earth.binding = shaped.binding;
            let mut formed = earth::formed(ground, &cells, &shaped.heights_m);
            if params.surface != Forming::AsItLies {
                balance(input, params, block, &mut formed, cell_m2, &mut earth);
            }
            formed
        }
    };
    for cell in &formed {
        let z = ground.get(cell.cell).map_or(0.0, f64::from);
        #[expect(clippy::cast_possible_truncation, reason = "rasters hold f32")]
        {
            design.set(cell.cell, (z - cell.depth_m) as f32);
            cut_fill.set(cell.cell, cell.depth_m as f32);
        }
    }
    earth::measure(input, params, &formed, cell_m2, &mut earth);
    earth.rows_after = falls_after(design, block);
    (earth.row_fall, earth.cross_fall) = mean_falls(design, block, &earth.rows_after);
    earth
}

fn blank(params: &LevellingParams, block: &RowBlock) -> BlockEarth {
    BlockEarth {
        block: block.id,
        surface: match params.surface {
            Forming::AsItLies => SurfaceKind::AsItLies,
            Forming::GradedRows => SurfaceKind::GradedRows,
            Forming::Plane => SurfaceKind::Plane,
        },
        row_fall: Slope::default(),
        cross_fall: Slope::default(),
        formed_m2: 0.0,
        cut_m3: 0.0,
        fill_m3: 0.0,
        borrow_m3: 0.0,
        cut_fill_ratio: params.cut_fill_ratio,
        max_cut_m: 0.0,
        max_fill_m: 0.0,
        subsoil_m2: 0.0,
        strip_m3: 0.0,
        haul_mean_m: 0.0,
        bands: Vec::new(),
        cost: Range::exact(0.0),
        binding: Vec::new(),
        gap_ratio: None,
        rows_after: Vec::new(),
    }
}

/// Lowers the surface to the wanted ratio, then raises it to the drain reach as far as that is allowed.
fn balance(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    block: &RowBlock,
    formed: &mut [Formed],
    cell_m2: f64,
    earth: &mut BlockEarth,
) {
    let pairs: Vec<(f64, f64)> = formed.iter().map(|c| (c.depth_m, cell_m2)).collect();
    let lowered_m = balance_offset(&pairs, params.cut_fill_ratio);
    if !lowered_m.is_finite() {
        return;
    }
    let short_m = below_reach_m(input, block, formed, lowered_m);
    let raised_m = if short_m > 0.0 && short_m * 1_000.0 <= params.max_raise_mm { short_m } else { 0.0 };
    if raised_m > 0.0 {
        earth
            .binding
            .push(format!("raised {:.0} mm so that low row ends stand above the drain reach", raised_m * 1_000.0));
    } else if short_m > 0.0 {
        earth.binding.push(format!("low row ends lie up to {:.0} mm below the drain reach", short_m * 1_000.0));
    }
    for cell in formed {
        cell.depth_m += lowered_m - raised_m;
    }
}

/// How far the worst low row end of the lowered surface lies below the drain reach, metres; not more than zero when none.
fn below_reach_m(input: &LevellingInput<'_>, block: &RowBlock, formed: &[Formed], lowered_m: f64) -> f64 {
    let Some(water) = input.water else { return 0.0 };
    let spec = input.ground.concept.0.spec;
    let depths: std::collections::BTreeMap<_, f64> = formed.iter().map(|c| (c.cell, c.depth_m)).collect();
    block
        .rows
        .iter()
        .filter_map(|row| {
            let at = row.low_end();
            let cell = spec.cell_at(at)?;
            let ground = f64::from(input.ground.concept.0.get(cell)?);
            let height = ground - depths.get(&cell)? - lowered_m;
            Some(f64::from(water.reach.level.at(at)?) - height)
        })
        .fold(0.0, f64::max)
}

fn falls_after(design: &Raster<f32>, block: &RowBlock) -> Vec<RowFall> {
    let falls: Vec<RowFall> = block.rows.iter().filter_map(|r| row_fall(design, r.high_end(), r.low_end())).collect();
    // A list shorter than the rows could not be told apart row by row.
    if falls.len() == block.rows.len() { falls } else { Vec::new() }
}

/// Mean fall down the rows, and from the first row to the last.
fn mean_falls(design: &Raster<f32>, block: &RowBlock, falls: &[RowFall]) -> (Slope, Slope) {
    if falls.is_empty() {
        return (Slope::default(), Slope::default());
    }
    let along = falls.iter().map(|f| f.mean.ratio()).sum::<f64>() / falls.len() as f64;
    let middle = |i: usize| {
        let row = &block.rows[i];
        (row.high_end() + row.low_end()) / 2.0
    };
    let (first, last) = (middle(0), middle(block.rows.len() - 1));
    let apart = ((first.x - last.x).powi(2) + (first.y - last.y).powi(2)).sqrt();
    let across = match (design.bilinear(first), design.bilinear(last)) {
        (Some(a), Some(b)) if apart > 1.0 => (a - b) / apart,
        _ => 0.0,
    };
    (Slope::from_ratio(along), Slope::from_ratio(across))
}

/// Total cut with the 95 % range that survey errors alike within patches leave on it.
fn cut_range(blocks: &[BlockEarth], sigma_m: f64) -> Range {
    let cut: f64 = blocks.iter().map(|b| b.cut_m3).sum();
    let formed: f64 = blocks.iter().filter(|b| b.cut_m3 > 0.0).map(|b| b.formed_m2).sum();
    // Half of an error in height is cut: sd = sigma / 2 * area / sqrt(number of patches).
    let sd = 0.5 * sigma_m * (formed * ERROR_PATCH_M * ERROR_PATCH_M).sqrt();
    Range::new((cut - 1.96 * sd).max(0.0), cut, cut + 1.96 * sd)
}
