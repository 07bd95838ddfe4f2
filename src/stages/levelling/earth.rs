//! Quantities and price of one block's earth.

use super::limits::Topsoil;
use super::params::LevellingParams;
use crate::grid::{Cell, Raster};
use crate::land::levelling::{BlockEarth, HaulArrow, HaulBand, SurfaceKind, VolumeChecks};
use crate::land::rates::Rates;
use crate::methods::earthwork::{
    Diagonal, EarthPoint, Volumes, cell_volumes, four_point, gather, haul_bands, haul_plan, mean_haul, two_triangles,
};
use crate::units::{M2_PER_HA, Range};
use geo::Coord;

/// Upper ends of the haul bands that are priced apart, metres; the last is open.
const BANDS_M: [f64; 5] = [100.0, 200.0, 300.0, 500.0, 1_000.0];
/// A push inside one haul cell, metres.
const SHORT_PUSH_M: f64 = 15.0;
/// Hauls kept for the map, and the least share of the cut one carries.
const ARROWS: usize = 12;
const ARROW_SHARE: f64 = 0.02;
/// Cuts shallower than this cannot reach subsoil anywhere; the look-up of topsoil is the dear part.
const SHALLOW_M: f64 = 0.02;

/// A piece of formed ground: where, how deep (positive is cut), how large.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    pub(super) at: Coord<f64>,
    pub(super) depth_m: f64,
    pub(super) area_m2: f64,
}

/// How closely a haul is planned.
#[derive(Debug, Clone, Copy)]
pub(super) struct HaulDetail {
    /// Side of the cells earth is gathered on, metres.
    pub(super) cell_m: f64,
    /// At most this many cells are planned exactly; larger blocks take larger cells.
    pub(super) most_cells: usize,
}

impl HaulDetail {
    /// For the surface that is built.
    pub(super) fn full(params: &LevellingParams) -> Self {
        Self { cell_m: params.haul_cell_m, most_cells: 350 }
    }

    /// For comparing surfaces.
    pub(super) fn rough(params: &LevellingParams) -> Self {
        Self { cell_m: params.haul_cell_m.max(25.0), most_cells: 60 }
    }
}

/// Fills in everything that follows from the formed patches.
pub(super) fn measure(
    params: &LevellingParams,
    rates: &Rates,
    soil: &Topsoil,
    patches: &[Patch],
    detail: HaulDetail,
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
    haul(params, rates, patches, detail, earth);
    earth.cost = price(rates, earth);
}

/// Hauls of least moment on gathered cells, and the volume in each band of distance.
fn haul(params: &LevellingParams, rates: &Rates, patches: &[Patch], detail: HaulDetail, earth: &mut BlockEarth) {
    let net = || {
        patches.iter().map(|p| {
            let fill_ratio = if p.depth_m < 0.0 { params.cut_fill_ratio } else { 1.0 };
            (p.at, p.depth_m * fill_ratio * p.area_m2)
        })
    };
    let mut side_m = detail.cell_m;
    let mut gathered = gather(net(), side_m);
    while gathered.cuts.len().max(gathered.fills.len()) > detail.most_cells {
        side_m *= 1.25;
        gathered = gather(net(), side_m);
    }
    let tiny =
        |points: &[EarthPoint]| -> Vec<EarthPoint> { points.iter().copied().filter(|p| p.volume_m3 > 1e-6).collect() };
    let (cuts, fills) = (tiny(&gathered.cuts), tiny(&gathered.fills));
    let Ok(plan) = haul_plan(&cuts, &fills) else { return };
    let mut volumes = haul_bands(&plan.hauls, &BANDS_M);
    let hauled: f64 = plan.hauls.iter().map(|h| h.volume_m3).sum();
    let moved = hauled + gathered.on_the_spot_m3;
    earth.haul_mean_m = if moved > 0.0 {
        (mean_haul(&plan.hauls) * hauled + SHORT_PUSH_M * gathered.on_the_spot_m3) / moved
    } else {
        0.0
    };
    if let Some(first) = volumes.first_mut() {
        *first += gathered.on_the_spot_m3;
    }
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
    let mut arrows: Vec<HaulArrow> = plan
        .hauls
        .iter()
        .filter(|h| h.volume_m3 > ARROW_SHARE * earth.cut_m3)
        .map(|h| HaulArrow {
            from: cuts[h.from].at,
            to: fills[h.to].at,
            volume_m3: h.volume_m3,
            distance_m: h.distance_m,
        })
        .collect();
    arrows.sort_by(|a, b| b.volume_m3.total_cmp(&a.volume_m3));
    arrows.truncate(ARROWS);
    earth.hauls = arrows;
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
