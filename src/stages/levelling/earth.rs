//! Quantities and price of one block's earth.

use super::limits::Topsoil;
use super::params::LevellingParams;
use crate::grid::{Cell, GridSpec, Raster};
use crate::land::levelling::{BlockEarth, HaulArrow, HaulBand, SurfaceKind, VolumeChecks};
use crate::land::rates::Rates;
use crate::methods::earthwork::haul_grid::{
    GridEarth, GridHaul, HaulEnd, HaulGround, PathHaul, gather_arrows, haul_over_grid, in_cut_measure,
};
use crate::methods::earthwork::{Diagonal, Volumes, cell_volumes, four_point, two_triangles};
use crate::units::{M2_PER_HA, Range};
use geo::{BoundingRect, Coord, MultiPoint, Point};

/// Upper ends of the haul bands that are priced apart, metres; the last is open.
const BANDS_M: [f64; 5] = [100.0, 200.0, 300.0, 500.0, 1_000.0];
/// A push inside one haul cell, metres.
const SHORT_PUSH_M: f64 = 15.0;
/// Arrows drawn for a block.
const ARROWS: usize = 12;
/// Cuts shallower than this cannot reach subsoil anywhere; the look-up of topsoil is the dear part.
const SHALLOW_M: f64 = 0.02;

/// A piece of formed ground: where, how deep (positive is cut), how large.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    pub(super) at: Coord<f64>,
    pub(super) depth_m: f64,
    pub(super) area_m2: f64,
}

/// Fills in everything that follows from the formed patches.
pub(super) fn measure(
    params: &LevellingParams,
    rates: &Rates,
    soil: &Topsoil,
    patches: &[Patch],
    haul_cell_m: f64,
    earth: &mut BlockEarth,
) {
    let sum = |f: fn(f64) -> f64| patches.iter().map(|p| f(p.depth_m) * p.area_m2).sum::<f64>();
    earth.formed_m2 = patches.iter().map(|p| p.area_m2).sum();
    earth.cut_m3 = sum(|d| d.max(0.0));
    earth.fill_m3 = sum(|d| (-d).max(0.0));
    earth.borrow_m3 = earth.fill_m3 * params.cut_fill_ratio - earth.cut_m3;
    earth.max_cut_m = patches.iter().map(|p| p.depth_m).fold(0.0, f64::max);
    earth.max_fill_m = patches.iter().map(|p| -p.depth_m).fold(0.0, f64::max);
    earth.subsoil_m2 =
        patches.iter().filter(|p| p.depth_m > SHALLOW_M && p.depth_m > soil.cuttable_m(p.at)).map(|p| p.area_m2).sum();
    earth.strip_m3 = earth.subsoil_m2 * params.respread_mm / 1_000.0;
    haul(params, rates, patches, haul_cell_m, earth);
    earth.cost = price(rates, earth);
}

/// Hauls over a grid that has the patches for its ground.
struct Hauled {
    spec: GridSpec,
    gathered: GridEarth,
    plan: GridHaul,
}

/// Hauls of least moment over the patches, round what is not theirs.
fn hauled(params: &LevellingParams, patches: &[Patch], cell_m: f64) -> Option<Hauled> {
    let about = MultiPoint::from_iter(patches.iter().map(|p| Point(p.at)));
    let spec = GridSpec::covering(about.bounding_rect()?, cell_m);
    let mut ground = HaulGround::open(spec);
    ground.passable.fill(false);
    for cell in patches.iter().filter_map(|p| spec.cell_at(p.at)) {
        ground.passable[spec.index(cell)] = true;
    }
    let net = patches.iter().map(|p| (p.at, in_cut_measure(p.depth_m * p.area_m2, params.cut_fill_ratio)));
    let gathered = GridEarth::gather(spec, net).ok()?;
    let plan = haul_over_grid(&ground, &gathered, &[]).ok()?;
    Some(Hauled { spec, gathered, plan })
}

fn haul(params: &LevellingParams, rates: &Rates, patches: &[Patch], cell_m: f64, earth: &mut BlockEarth) {
    if let Some(Hauled { spec, gathered, plan }) = hauled(params, patches, cell_m) {
        carried(rates, &spec, plan.hauls, gathered.on_the_spot_m3, earth);
    }
}

/// Distance, bands and arrows of what is carried from a block.
fn carried(rates: &Rates, spec: &GridSpec, hauls: Vec<PathHaul>, on_the_spot_m3: f64, earth: &mut BlockEarth) {
    let mut volumes = vec![0.0; BANDS_M.len() + 1];
    let (mut moved, mut moment) = (on_the_spot_m3, SHORT_PUSH_M * on_the_spot_m3);
    volumes[0] += on_the_spot_m3;
    for haul in &hauls {
        volumes[BANDS_M.partition_point(|limit| *limit < haul.length_m)] += haul.volume_m3;
        moved += haul.volume_m3;
        moment += haul.volume_m3 * haul.length_m;
    }
    earth.haul_mean_m = if moved > 0.0 { moment / moved } else { 0.0 };
    earth.bands = volumes
        .iter()
        .enumerate()
        .filter(|(_, v)| **v > 0.05)
        .map(|(i, v)| {
            let up_to_m = BANDS_M.get(i).copied().unwrap_or(2.0 * BANDS_M[BANDS_M.len() - 1]);
            let extra = (up_to_m / 100.0 - 1.0).max(0.0);
            let price_per_m3 =
                rates.levelling_per_m3.zip(rates.haul_per_m3_per_100_m, |base, step| base + step * extra);
            HaulBand { up_to_m, volume_m3: *v, price_per_m3 }
        })
        .collect();
    earth.hauls = gather_arrows(spec, &hauls, ARROWS)
        .into_iter()
        .map(|a| HaulArrow { from: a.from, to: a.to, path: a.path, volume_m3: a.volume_m3, distance_m: a.mean_haul_m })
        .collect();
}

/// Hauls over all blocks at once, booked to the block the earth is cut from. What no haul reaches is borrowed.
pub(super) fn haul_together(
    params: &LevellingParams,
    rates: &Rates,
    cut_fill: &Raster<f32>,
    owner: &[u32],
    blocks: &mut [BlockEarth],
) {
    let area_m2 = cut_fill.spec.cell_area_m2();
    let patch =
        |cell: Cell, depth_m: f32| Patch { at: cut_fill.spec.centre(cell), depth_m: f64::from(depth_m), area_m2 };
    let patches: Vec<Patch> = cut_fill.iter().map(|(cell, depth_m)| patch(cell, depth_m)).collect();
    let Some(Hauled { spec, gathered, plan }) = hauled(params, &patches, params.haul_cell_m) else { return };
    // A haul cell on the line between two blocks is booked to the one it has its first cut cell in.
    let mut block_of = vec![0_u32; spec.len()];
    for (cell, depth_m) in cut_fill.iter() {
        if let Some(at) = spec.cell_at(cut_fill.spec.centre(cell)) {
            let slot = &mut block_of[spec.index(at)];
            if *slot == 0 || (depth_m > 0.0 && *slot > owner[cut_fill.spec.index(cell)]) {
                *slot = owner[cut_fill.spec.index(cell)];
            }
        }
    }
    let block_at = |end: HaulEnd| match end {
        HaulEnd::Cell(cell) => block_of[cell as usize],
        HaulEnd::Place(_) => 0,
    };
    let cut_m3: f64 = blocks.iter().map(|b| b.cut_m3).sum();
    let mut by_block: Vec<Vec<PathHaul>> = vec![Vec::new(); blocks.len()];
    for haul in plan.hauls {
        if let Some(at) = (block_at(haul.from) as usize).checked_sub(1) {
            by_block[at].push(haul);
        }
    }
    let mut lacking = vec![0.0; blocks.len()];
    for left in plan.unplaced {
        if let Some(at) = (block_of[left.cell as usize] as usize).checked_sub(1) {
            lacking[at] -= left.volume_m3;
        }
    }
    for ((block, hauls), lacking) in blocks.iter_mut().zip(by_block).zip(lacking) {
        let spot_m3 = if cut_m3 > 0.0 { gathered.on_the_spot_m3 * block.cut_m3 / cut_m3 } else { 0.0 };
        carried(rates, &spec, hauls, spot_m3, block);
        block.borrow_m3 = lacking;
        block.cost = price(rates, block);
    }
}

/// Price of a block's earth.
pub(super) fn price(rates: &Rates, earth: &BlockEarth) -> Range {
    let smoothing = rates.smoothing_per_ha.map(|r| r * earth.formed_m2 / M2_PER_HA);
    if earth.surface == SurfaceKind::AsItLies {
        return smoothing;
    }
    let hauled = earth
        .bands
        .iter()
        .fold(Range::exact(0.0), |sum, band| sum.zip(band.price_per_m3, |a, p| a + p * band.volume_m3));
    // Soil from elsewhere is priced like the longest band: its place is not known yet.
    let borrow = rates
        .levelling_per_m3
        .zip(rates.haul_per_m3_per_100_m, |base, step| (base + step * 9.0) * earth.borrow_m3.max(0.0));
    let strip = rates.topsoil_per_m3.map(|r| r * earth.strip_m3);
    smoothing.zip(hauled, |a, b| a + b).zip(borrow, |a, b| a + b).zip(strip, |a, b| a + b)
}

/// The volumes of one block's cells by three reckonings. Squares between cell centres are taken where all four corners are
/// formed, so the last two cover a little less ground than the cells.
pub(super) fn checks(cut_fill: &Raster<f32>, cells: &[Cell]) -> VolumeChecks {
    let area_m2 = cut_fill.spec.cell_area_m2();
    let depth_of = |c: &Cell| cut_fill.get(*c).map(f64::from);
    // Cells come row by row, so the one to the east is the next and the two below are found by halving.
    let own = |c: Cell| cells.binary_search(&c).ok().and_then(|i| depth_of(&cells[i]));
    let squares = || {
        cells.windows(2).filter_map(|pair| {
            let [c, east] = [pair[0], pair[1]];
            if east != Cell::new(c.row, c.col + 1) {
                return None;
            }
            let (south, corner) = (Cell::new(c.row + 1, c.col), Cell::new(c.row + 1, c.col + 1));
            Some([depth_of(&c)?, depth_of(&east)?, own(south)?, own(corner)?])
        })
    };
    let pair = |v: Volumes| (v.cut_m3, v.fill_m3);
    VolumeChecks {
        cells_m3: pair(cell_volumes(cells.iter().filter_map(depth_of), area_m2)),
        four_point_m3: pair(squares().map(|corners| four_point(corners, area_m2)).sum()),
        prisms_m3: pair(squares().map(|corners| two_triangles(corners, area_m2, Diagonal::Falling)).sum()),
    }
}
