//! What every kind of surface would come to on a block: the price of simplicity, and of leaving the ground alone.

use super::earth::{self, Patch};
use super::lattice::Lattice;
use super::surface::{self, Work};
use crate::grid::Cell;
use crate::land::levelling::{BlockEarth, SurfaceKind, SurfaceOffer};

/// Distance between the points surfaces are compared at, metres: all kinds in a fraction of the time of the one built.
const COARSE_M: f64 = 10.0;
/// Side of the cells their hauls are planned on at least, metres.
const ROUGH_HAUL_M: f64 = 30.0;
/// Points a side a block has at least, so that small ones are not judged by a handful.
const LEAST_A_SIDE: f64 = 12.0;
/// Kinds that are compared, simplest to build first.
const KINDS: [SurfaceKind; 5] = [
    SurfaceKind::AsItLies,
    SurfaceKind::PlaneAlong,
    SurfaceKind::Plane,
    SurfaceKind::GradedRows,
    SurfaceKind::CrestedRows,
];

/// Every kind of surface on a block, cheapest first; ties keep the order of building.
pub(super) fn offers(fine: &Work<'_>, cells: &[Cell]) -> Vec<SurfaceOffer> {
    let ground = &fine.input.ground.concept.0;
    let side_m = (cells.len() as f64 * ground.spec.cell_area_m2()).sqrt();
    let step_m = COARSE_M.min(side_m / LEAST_A_SIDE).max(fine.params.lattice_m);
    let Some(lattice) = Lattice::of(ground, fine.block, cells, step_m) else { return Vec::new() };
    let work = Work { lattice: &lattice, is_final: false, ..*fine };
    let mut list: Vec<SurfaceOffer> = KINDS.iter().map(|kind| offer(&work, *kind)).collect();
    list.sort_by(|a, b| b.keeps_limits.cmp(&a.keeps_limits).then(a.cost.likely.total_cmp(&b.cost.likely)));
    list
}

fn offer(work: &Work<'_>, kind: SurfaceKind) -> SurfaceOffer {
    let (params, lattice) = (work.params, work.lattice);
    let mut earth = BlockEarth::none(work.block.id, kind, params.cut_fill_ratio);
    let Some(shaped) = surface::shape(work, kind) else {
        return SurfaceOffer {
            surface: kind,
            cut_m3: 0.0,
            fill_m3: 0.0,
            haul_mean_m: 0.0,
            cost: earth.cost,
            least_moved_m3: None,
            remarks: vec!["no such surface within the limits".to_owned()],
            keeps_limits: false,
        };
    };
    let ground = &work.input.ground.concept.0;
    let patches: Vec<Patch> = (0..lattice.len())
        .filter(|p| lattice.inside(*p))
        .filter_map(|p| {
            let at = lattice.at(p);
            let formed_m = if kind == SurfaceKind::AsItLies {
                lattice.ground_m[p]
            } else {
                shaped.height_m(lattice, ground, at)?
            };
            let area_m2 = f64::from(lattice.cells[p]) * ground.spec.cell_area_m2();
            Some(Patch { at, depth_m: lattice.ground_m[p] - formed_m, area_m2 })
        })
        .collect();
    let haul_cell_m = params.haul_cell_m.max(ROUGH_HAUL_M);
    earth::measure(params, (work.input.rates, work.machines), work.soil, &patches, haul_cell_m, &mut earth);
    let falls = kind != SurfaceKind::AsItLies || falls_as_it_lies(work);
    let mut remarks = shaped.binding.clone();
    if !falls {
        remarks.push("rows do not all fall within the limits".to_owned());
    }
    let short_m = super::below_reach_m(work.input, work.block, lattice, &shaped);
    if short_m > super::SAID_M {
        remarks.push(format!("low row ends lie up to {:.0} mm below the drain reach", short_m * 1_000.0));
    }
    let keeps_limits = falls && short_m <= super::SAID_M && shaped.given_up.is_empty();
    remarks.extend(shaped.given_up);
    SurfaceOffer {
        surface: kind,
        cut_m3: earth.cut_m3,
        fill_m3: earth.fill_m3,
        haul_mean_m: earth.haul_mean_m,
        cost: earth.cost,
        least_moved_m3: shaped.proof.map(|p| p.bound_m3),
        remarks,
        keeps_limits,
    }
}

/// Whether the rows fall within the limits on the ground as it lies. Not known counts as not.
fn falls_as_it_lies(work: &Work<'_>) -> bool {
    let (least, most) = (work.params.min_fall_pct, work.params.max_fall_pct);
    work.block
        .rows
        .iter()
        .all(|row| row.fall.is_some_and(|f| f.least.percent() >= least && f.greatest.percent() <= most))
}
