//! Quantities and price of one block's earth.

use super::LevellingInput;
use super::params::{Forming, LevellingParams};
use crate::grid::{Cell, Raster};
use crate::land::levelling::{BlockEarth, HaulBand, SurfaceKind};
use crate::land::rates::Rates;
use crate::methods::earthwork::{EarthPoint, gather, haul_bands, haul_plan, mean_haul};
use crate::units::{M2_PER_HA, Range};
use geo::{Contains, Coord, Point};

/// Upper ends of the haul bands that are priced apart, metres; the last is open.
const BANDS_M: [f64; 5] = [100.0, 200.0, 300.0, 500.0, 1_000.0];
/// A push inside one haul cell, metres.
const SHORT_PUSH_M: f64 = 15.0;
/// At most this many haul cells are planned exactly; larger blocks take larger cells.
const MOST_HAUL_CELLS: usize = 350;

/// A formed cell: where, how deep (positive is cut).
pub(super) struct Formed {
    pub(super) cell: Cell,
    pub(super) at: Coord<f64>,
    pub(super) depth_m: f64,
}

/// Topsoil depth anywhere, metres: the first zone that holds the point, else the assumed depth.
pub(super) fn topsoil_m(input: &LevellingInput<'_>, params: &LevellingParams, at: Coord<f64>) -> f64 {
    input
        .site
        .layers
        .topsoil
        .iter()
        .find(|zone| zone.outline.contains(&Point(at)))
        .map_or(params.assumed_topsoil_mm / 1_000.0, |zone| zone.depth_m)
}

/// Fills in everything that follows from the formed cells.
pub(super) fn measure(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    cells: &[Formed],
    cell_m2: f64,
    earth: &mut BlockEarth,
) {
    let sum = |f: fn(f64) -> f64| cells.iter().map(|c| f(c.depth_m)).sum::<f64>() * cell_m2;
    earth.formed_m2 = cells.len() as f64 * cell_m2;
    earth.cut_m3 = sum(|d| d.max(0.0));
    earth.fill_m3 = sum(|d| (-d).max(0.0));
    earth.borrow_m3 = earth.fill_m3 * params.cut_fill_ratio - earth.cut_m3;
    earth.max_cut_m = cells.iter().map(|c| c.depth_m).fold(0.0, f64::max);
    earth.max_fill_m = cells.iter().map(|c| -c.depth_m).fold(0.0, f64::max);
    let reserve_m = params.topsoil_reserve_mm / 1_000.0;
    let deep = cells
        .iter()
        // Where less than the reserve would be cut no zone can object; the look-up is the dear part.
        .filter(|c| c.depth_m > 0.02)
        .filter(|c| c.depth_m > (topsoil_m(input, params, c.at) - reserve_m).max(0.0))
        .count();
    earth.subsoil_m2 = deep as f64 * cell_m2;
    earth.strip_m3 = earth.subsoil_m2 * params.respread_mm / 1_000.0;
    haul(params, input.rates, cells, cell_m2, earth);
    earth.cost = price(params, input.rates, earth);
}

/// Hauls of least moment on gathered cells, and the volume in each band of distance.
fn haul(params: &LevellingParams, rates: &Rates, cells: &[Formed], cell_m2: f64, earth: &mut BlockEarth) {
    let net = || {
        cells.iter().map(|c| {
            let fill_ratio = if c.depth_m < 0.0 { params.cut_fill_ratio } else { 1.0 };
            (c.at, c.depth_m * fill_ratio * cell_m2)
        })
    };
    let mut side_m = params.haul_cell_m;
    let mut gathered = gather(net(), side_m);
    while gathered.cuts.len().max(gathered.fills.len()) > MOST_HAUL_CELLS {
        side_m *= 1.25;
        gathered = gather(net(), side_m);
    }
    let tiny =
        |points: &[EarthPoint]| -> Vec<EarthPoint> { points.iter().copied().filter(|p| p.volume_m3 > 1e-6).collect() };
    let Ok(plan) = haul_plan(&tiny(&gathered.cuts), &tiny(&gathered.fills)) else { return };
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
}

fn price(params: &LevellingParams, rates: &Rates, earth: &BlockEarth) -> Range {
    let smoothing = rates.smoothing_per_ha.map(|r| r * earth.formed_m2 / M2_PER_HA);
    if params.surface == Forming::AsItLies && earth.surface == SurfaceKind::AsItLies {
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

/// Formed cells from a surface and the ground.
pub(super) fn formed(ground: &Raster<f32>, cells: &[Cell], heights_m: &[f64]) -> Vec<Formed> {
    cells
        .iter()
        .zip(heights_m)
        .filter_map(|(cell, height)| {
            let z = f64::from(ground.get(*cell)?);
            height.is_finite().then(|| Formed { cell: *cell, at: ground.spec.centre(*cell), depth_m: z - height })
        })
        .collect()
}
