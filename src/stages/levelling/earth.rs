//! Quantities and price of one block's earth.

use super::limits::Topsoil;
use super::params::LevellingParams;
use crate::grid::{Cell, GridSpec, Raster};
use crate::land::levelling::{BlockEarth, HaulArrow, HaulBand, SurfaceKind, VolumeChecks};
use crate::land::rates::Rates;
use crate::methods::earthwork::haul_grid::{GridEarth, HaulGround, gather_arrows, haul_over_grid, in_cut_measure};
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

/// Hauls of least moment over the block, round what is not the block's, and the volume in each band of distance.
fn haul(params: &LevellingParams, rates: &Rates, patches: &[Patch], cell_m: f64, earth: &mut BlockEarth) {
    let about = MultiPoint::from_iter(patches.iter().map(|p| Point(p.at)));
    let Some(rect) = about.bounding_rect() else { return };
    let spec = GridSpec::covering(rect, cell_m);
    let mut ground = HaulGround::open(spec);
    ground.passable.fill(false);
    for patch in patches {
        if let Some(cell) = spec.cell_at(patch.at) {
            ground.passable[spec.index(cell)] = true;
        }
    }
    let net = patches.iter().map(|p| (p.at, in_cut_measure(p.depth_m * p.area_m2, params.cut_fill_ratio)));
    let Ok(gathered) = GridEarth::gather(spec, net) else { return };
    let Ok(plan) = haul_over_grid(&ground, &gathered, &[]) else { return };
    let mut volumes = plan.bands_m3(&BANDS_M);
    let hauled = plan.hauled_m3();
    let moved = hauled + gathered.on_the_spot_m3;
    earth.haul_mean_m =
        if moved > 0.0 { (plan.mean_haul_m() * hauled + SHORT_PUSH_M * gathered.on_the_spot_m3) / moved } else { 0.0 };
    volumes[0] += gathered.on_the_spot_m3;
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
    earth.hauls = gather_arrows(&spec, &plan.hauls, ARROWS)
        .into_iter()
        .map(|a| HaulArrow { from: a.from, to: a.to, path: a.path, volume_m3: a.volume_m3, distance_m: a.mean_haul_m })
        .collect();
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
