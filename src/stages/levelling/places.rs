//! Hauls beyond a block: between blocks that are balanced together, from borrow places, to spoil places.

use super::earth::{self, Patch};
use super::haul::{self, Carried, Load, load};
use super::{BalanceOver, LevellingInput, LevellingParams};
use crate::grid::{Cell, GridSpec, Raster};
use crate::land::levelling::{BlockEarth, PlaceHaul};
use crate::land::site::EarthPlaceKind;
use crate::methods::earthwork::haul_grid::{
    GridEarth, HaulEnd, MOST_CROSSING_M, PathHaul, Place, PlaceKind, haul_over_grid,
};
use crate::stages::haul_ground::open_ground;
use crate::stages::machines::Machines;
use geo::Coord;
use std::collections::BTreeMap;

/// Volumes below this are the rounding of a balance, cubic metres.
const LEAST_M3: f64 = 1.0;

/// Hauls beyond blocks, and what finds no place. `carried` holds what was carried within each block.
pub(super) fn settle(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    machines: &Machines,
    (cut_fill, owner): (&Raster<f32>, &[u32]),
    blocks: &mut [BlockEarth],
    mut carried: Vec<Option<Carried>>,
) {
    for block in blocks.iter_mut() {
        block.unplaced_m3 = block.borrow_m3;
    }
    let together = params.balance_over == BalanceOver::Property;
    if together && let Some(all) = between_blocks(input, params, machines, (cut_fill, owner), blocks) {
        carried = all.into_iter().map(Some).collect();
    }
    let touched = serve(input, params, machines, blocks, &mut carried);
    for ((block, carried), touched) in blocks.iter_mut().zip(&carried).zip(touched) {
        if let Some(carried) = carried.as_ref().filter(|_| touched || together) {
            haul::book(machines, carried, block);
        }
        block.cost = earth::price(input.rates, machines, block);
    }
}

/// Hauls over all blocks at once, booked to the block the earth is cut from.
fn between_blocks(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    machines: &Machines,
    (cut_fill, owner): (&Raster<f32>, &[u32]),
    blocks: &mut [BlockEarth],
) -> Option<Vec<Carried>> {
    let area_m2 = cut_fill.spec.cell_area_m2();
    let patch =
        |cell: Cell, depth_m: f32| Patch { at: cut_fill.spec.centre(cell), depth_m: f64::from(depth_m), area_m2 };
    let patches: Vec<Patch> = cut_fill.iter().map(|(cell, depth_m)| patch(cell, depth_m)).collect();
    let points: Vec<Coord<f64>> = patches.iter().map(|p| p.at).collect();
    let mut ground = open_ground(input.site, &points, params.haul_cell_m)?;
    // Whatever is formed is driven on.
    for cell in points.iter().filter_map(|at| ground.spec.cell_at(*at)) {
        let at = ground.spec.index(cell);
        ground.passable[at] = true;
    }
    let all = haul::over(&ground, params, machines, &patches)?;
    let block_of = block_of_cells(&ground.spec, cut_fill, owner);
    let of = |end: HaulEnd| match end {
        HaulEnd::Cell(cell) => (block_of[cell as usize] as usize).checked_sub(1),
        HaulEnd::Place(_) => None,
    };
    let cut_m3: f64 = blocks.iter().map(|b| b.cut_m3).sum();
    let mut parts: Vec<Carried> = blocks
        .iter()
        .map(|block| Carried {
            spec: all.spec,
            on_the_spot_m3: if cut_m3 > 0.0 { all.on_the_spot_m3 * block.cut_m3 / cut_m3 } else { 0.0 },
            ways: Vec::new(),
            loads: Vec::new(),
            cheapest: all.cheapest,
            left: Vec::new(),
        })
        .collect();
    for way in all.ways {
        if let Some(at) = of(way.from) {
            parts[at].ways.push(way);
        }
    }
    for load in all.loads {
        if let Some(at) = of(load.from) {
            parts[at].loads.push(load);
        }
    }
    for left in all.left {
        let cell = ground.spec.cell_at(left.0).map(|c| ground.spec.index(c));
        if let Some(at) = cell.and_then(|c| (block_of[c] as usize).checked_sub(1)) {
            parts[at].left.push(left);
        }
    }
    for (block, part) in blocks.iter_mut().zip(&parts) {
        block.borrow_m3 = -part.left.iter().map(|(_, v)| v).sum::<f64>();
        block.unplaced_m3 = block.borrow_m3;
    }
    Some(parts)
}

/// The block each haul cell is booked to, by position plus one: the one it has its first cut cell in.
fn block_of_cells(spec: &GridSpec, cut_fill: &Raster<f32>, owner: &[u32]) -> Vec<u32> {
    let mut block_of = vec![0_u32; spec.len()];
    for (cell, depth_m) in cut_fill.iter() {
        if let Some(at) = spec.cell_at(cut_fill.spec.centre(cell)) {
            let slot = &mut block_of[spec.index(at)];
            let own = owner[cut_fill.spec.index(cell)];
            if *slot == 0 || (depth_m > 0.0 && *slot > own) {
                *slot = own;
            }
        }
    }
    block_of
}

/// Takes what blocks lack from borrow places and what they have over to spoil places; says which blocks that touched.
fn serve(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    machines: &Machines,
    blocks: &mut [BlockEarth],
    carried: &mut [Option<Carried>],
) -> Vec<bool> {
    let mut touched = vec![false; blocks.len()];
    for kind in [EarthPlaceKind::Borrow, EarthPlaceKind::Spoil] {
        let sign = if kind == EarthPlaceKind::Borrow { -1.0 } else { 1.0 };
        let mut ends: Vec<(usize, Coord<f64>, f64)> = Vec::new();
        for (i, (block, part)) in blocks.iter().zip(carried.iter()).enumerate() {
            if -sign * block.unplaced_m3 > LEAST_M3 {
                let left = part.iter().flat_map(|c| &c.left).filter(|(_, v)| v * sign > 0.0);
                ends.extend(left.map(|(at, v)| (i, *at, *v)));
            }
        }
        for (i, place, way) in hauls_of(input, params, machines, kind, &ends) {
            touched[i] = true;
            book_place(input, machines, (kind, place), way, &mut blocks[i], carried[i].as_mut());
        }
    }
    touched
}

/// Hauls between places of a kind and what blocks lack or have over: block, place, way.
fn hauls_of(
    input: &LevellingInput<'_>,
    params: &LevellingParams,
    machines: &Machines,
    kind: EarthPlaceKind,
    ends: &[(usize, Coord<f64>, f64)],
) -> Vec<(usize, usize, PathHaul)> {
    let given: Vec<(usize, Place)> = input
        .site
        .layers
        .earth_places
        .iter()
        .enumerate()
        .filter(|(_, p)| p.kind == kind)
        .map(|(i, p)| {
            let role = if kind == EarthPlaceKind::Borrow { PlaceKind::Borrow } else { PlaceKind::Spoil };
            let price_m = machines.as_metres(p.price_per_m3, MOST_CROSSING_M);
            (i, Place { at: p.at, kind: role, capacity_m3: p.capacity_m3, price_m })
        })
        .collect();
    if given.is_empty() || ends.is_empty() {
        return Vec::new();
    }
    let about: Vec<Coord<f64>> = ends.iter().map(|e| e.1).chain(given.iter().map(|g| g.1.at)).collect();
    let Some(mut ground) = open_ground(input.site, &about, params.haul_cell_m) else { return Vec::new() };
    let spec = ground.spec;
    // Several blocks may have ends in one cell; what is hauled there is shared as they lack it.
    let mut shares: BTreeMap<u32, Vec<(usize, f64)>> = BTreeMap::new();
    for (block, at, volume_m3) in ends {
        if let Some(cell) = spec.cell_at(*at).map(|c| spec.index(c)) {
            ground.passable[cell] = true;
            shares.entry(u32::try_from(cell).unwrap_or(u32::MAX)).or_default().push((*block, volume_m3.abs()));
        }
    }
    let Ok(gathered) = GridEarth::gather(spec, ends.iter().map(|(_, at, v)| (*at, *v))) else { return Vec::new() };
    let places: Vec<Place> = given.iter().map(|g| g.1).collect();
    let Ok(plan) = haul_over_grid(&ground, &gathered, &places) else { return Vec::new() };
    let mut list = Vec::new();
    for way in plan.hauls {
        let (cell, place) = match (way.from, way.to) {
            (HaulEnd::Place(p), HaulEnd::Cell(c)) | (HaulEnd::Cell(c), HaulEnd::Place(p)) => (c, given[p as usize].0),
            _ => continue,
        };
        let here = &shares[&cell];
        let whole: f64 = here.iter().map(|s| s.1).sum();
        for (block, part) in here {
            list.push((*block, place, PathHaul { volume_m3: way.volume_m3 * part / whole, ..way.clone() }));
        }
    }
    list
}

/// Adds a haul from or to a place to its block.
fn book_place(
    input: &LevellingInput<'_>,
    machines: &Machines,
    (kind, place): (EarthPlaceKind, usize),
    way: PathHaul,
    block: &mut BlockEarth,
    carried: Option<&mut Carried>,
) {
    let given = &input.site.layers.earth_places[place];
    let (volume_m3, length_m) = (way.volume_m3, way.length_m);
    match block.places.iter_mut().find(|p| p.kind == kind && p.place == given.name) {
        Some(known) => {
            let all_m3 = known.volume_m3 + volume_m3;
            known.distance_m += (length_m - known.distance_m) * volume_m3 / all_m3;
            known.volume_m3 = all_m3;
        }
        None => block.places.push(PlaceHaul {
            place: given.name.clone(),
            kind,
            volume_m3,
            distance_m: length_m,
            price_per_m3: given.price_per_m3,
        }),
    }
    block.unplaced_m3 -= if kind == EarthPlaceKind::Borrow { volume_m3 } else { -volume_m3 };
    if let Some(carried) = carried {
        carried.loads.push(Load { from: way.from, ..load(machines, &way) });
        carried.ways.push(way);
    }
}
