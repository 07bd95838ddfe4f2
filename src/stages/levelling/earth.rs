//! Quantities and price of one block's earth.

use super::haul::{self, Carried};
use super::limits::Topsoil;
use super::params::LevellingParams;
use crate::grid::{Cell, Raster};
use crate::land::levelling::{BlockEarth, SurfaceKind, VolumeChecks};
use crate::land::rates::Rates;
use crate::methods::earthwork::volume_grid::{VolumeRule, grid_volumes};
use crate::stages::machines::Machines;
use crate::units::{M2_PER_HA, Range};
use geo::Coord;

/// Cuts shallower than this cannot reach subsoil anywhere; the look-up of topsoil is the dear part.
const SHALLOW_M: f64 = 0.02;

/// A piece of formed ground: where, how deep (positive is cut), how large.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    pub(super) at: Coord<f64>,
    pub(super) depth_m: f64,
    pub(super) area_m2: f64,
}

/// Fills in everything that follows from the formed patches; hands back what is carried where.
pub(super) fn measure(
    params: &LevellingParams,
    (rates, machines): (&Rates, &Machines),
    soil: &Topsoil,
    patches: &[Patch],
    haul_cell_m: f64,
    earth: &mut BlockEarth,
) -> Option<Carried> {
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
    earth.unplaced_m3 = earth.borrow_m3;
    let carried = haul::within(params, machines, patches, haul_cell_m);
    if let Some(carried) = &carried {
        haul::book(machines, carried, earth);
    }
    earth.cost = price(rates, machines, earth);
    carried
}

/// Price of a block's earth.
pub(super) fn price(rates: &Rates, machines: &Machines, earth: &BlockEarth) -> Range {
    let smoothing = rates.smoothing_per_ha.map(|r| r * earth.formed_m2 / M2_PER_HA);
    if earth.surface == SurfaceKind::AsItLies {
        return smoothing;
    }
    let hauled = earth
        .bands
        .iter()
        .fold(Range::exact(0.0), |sum, band| sum.zip(band.price_per_m3, |a, p| a + p * band.volume_m3));
    let at_places: f64 = earth.places.iter().map(|p| p.price_per_m3 * p.volume_m3).sum();
    // What has no place yet is priced like a long haul.
    let borrow = machines.unknown_place_per_m3().map(|p| p * earth.unplaced_m3.max(0.0) + at_places);
    let strip = rates.topsoil_per_m3.map(|r| r * earth.strip_m3);
    smoothing.zip(hauled, |a, b| a + b).zip(borrow, |a, b| a + b).zip(strip, |a, b| a + b)
}

/// The volumes of one block's cells by three reckonings over the same ground.
pub(super) fn checks(cut_fill: &Raster<f32>, cells: &[Cell]) -> VolumeChecks {
    let (Some(rows), Some(cols)) = (span(cells.iter().map(|c| c.row)), span(cells.iter().map(|c| c.col))) else {
        return VolumeChecks::default();
    };
    let size = (rows.len(), cols.len());
    let mut depths = vec![None; size.0 * size.1];
    for cell in cells {
        let at = (cell.row - rows.start) as usize * size.1 + (cell.col - cols.start) as usize;
        depths[at] = cut_fill.get(*cell).map(f64::from);
    }
    let by = |rule: VolumeRule| {
        let v = grid_volumes(rule, size, cut_fill.spec.cell_area_m2(), |row, col| depths[row * size.1 + col]);
        (v.cut_m3, v.fill_m3)
    };
    VolumeChecks {
        cells_m3: by(VolumeRule::CellSum),
        four_point_m3: by(VolumeRule::FourPoint),
        prisms_m3: by(VolumeRule::TrianglePrisms),
    }
}

/// From the least to the greatest of some numbers.
fn span(numbers: impl Iterator<Item = u32> + Clone) -> Option<std::ops::Range<u32>> {
    Some(numbers.clone().min()?..numbers.max()? + 1)
}
