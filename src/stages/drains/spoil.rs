//! Where the soil dug out of drains goes.
//!
//! Digging leaves it beside the drain, at no further cost, as far as the land beside it can take it at the wished depth.
//! From there it may be carried along the drain to land with room, to blocks whose fill lacks soil, or to places for
//! spoil, or spread evenly over whole blocks, thin enough to change no fall: all in one plan of least money with machines that change with distance, in which a block that is filled saves
//! the long haul its soil was priced with. What nothing takes stays and is priced like a long haul.
//! A block's lack is taken to lie where its fill lies, in proportion. Drains are no obstacles: spoil is carried as they
//! are dug, from the side the machine stands on.

use super::DrainsInput;
use super::params::DrainsParams;
use super::strips::Stretch;
use crate::finding::{Problem, ProblemKind, Problems};
use crate::grid::GridSpec;
use crate::land::blocks::BlockId;
use crate::land::drains::{Spoil, SpoilTo};
use crate::land::levelling::LevellingPlan;
use crate::land::site::EarthPlaceKind;
use crate::methods::earthwork::haul_grid::{GridEarth, HaulEnd, HaulGround, PlaceKind};
use crate::methods::earthwork::haul_price::{GridPricedPlan, PricedHaul, PricedPlace, priced_hauls_over_grid};
use crate::methods::shapes::cells_inside;
use crate::stages::haul_ground::open_ground;
use crate::stages::machines::Machines;
use crate::units::Range;
use geo::{Area, BoundingRect, Centroid, Coord, MultiPoint, Point};
use std::collections::BTreeMap;

/// Side of the cells spoil is carried over, metres: about the distance between stations.
const CELL_M: f64 = 20.0;
/// Cells of the haul ground at most, for speed; beyond it they grow.
const MOST_CELLS: f64 = 5_000.0;
/// Side of the cells a block's lack is gathered in, in cells spoil is carried over.
const LACK_CELLS: f64 = 3.0;
/// Volumes below this are rounding, cubic metres.
pub(super) const LEAST_M3: f64 = 1.0;

/// What may take spoil.
#[derive(Debug, Clone, PartialEq)]
enum Taker {
    /// Land beside drains in one cell, square metres.
    Strip {
        cell: usize,
        area_m2: f64,
    },
    Block(BlockId),
    /// A whole block, square metres under rows.
    Over {
        block: BlockId,
        area_m2: f64,
    },
    /// Name and price a cubic metre.
    Place(String, f64),
}

/// A taker, where it lies, its room in bank cubic metres, and what a cubic metre costs there.
struct Offer {
    taker: Taker,
    place: PricedPlace,
}

/// Land on which spoil is spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Spread {
    /// Beside drains, in one cell.
    Strip(usize),
    Block(BlockId),
}

/// Spoil of one drain that goes one way, summed up.
#[derive(Default)]
struct Sum {
    volume_m3: f64,
    moment_m4: f64,
    depth_m4: f64,
    cost: Range,
}

/// Where the spoil of all stretches goes; by drain, then as [`SpoilTo`] is ordered. `drains` are the drains' numbers.
///
/// # Errors
/// When the prices of machines are refused.
pub(super) fn plan(
    input: &DrainsInput<'_>,
    (drains, stretches): (&[u32], &[Stretch]),
    p: &DrainsParams,
) -> Result<Vec<Spoil>, Problems> {
    let machines = Machines::of(input.rates)
        .map_err(|error| Problem::request("rates_refused", format!("prices of earth machines: {error}")))?;
    let dug: Vec<&Stretch> = stretches.iter().filter(|s| s.dug_m3 > 0.0).collect();
    let Some(ground) = ground(input, &dug, p) else { return Ok(Vec::new()) };
    let offers = offers(input, &ground.spec, stretches, &machines, p);
    let ground = opened(ground, &dug, &offers);
    let earth = GridEarth::gather(ground.spec, dug.iter().map(|s| (s.middle(), s.dug_m3))).map_err(bug)?;
    let places: Vec<PricedPlace> = offers.iter().map(|o| o.place).collect();
    let found = priced_hauls_over_grid(&ground, &earth, &places, &machines.likely).map_err(bug)?;
    let by_cell = ways(&found, &offers);
    let depths_m = depths(&by_cell, p);
    let mut sums: BTreeMap<(usize, SpoilTo, Option<usize>), Sum> = BTreeMap::new();
    for stretch in dug {
        let Some(cell) = ground.spec.cell_at(stretch.middle()).map(|c| ground.spec.index(c)) else { continue };
        share(stretch, cell, by_cell.get(&cell).map_or(&[][..], Vec::as_slice), &machines, &depths_m, &mut sums);
    }
    Ok(sums.into_iter().map(|((drain, to, machine), sum)| told(drains[drain], to, machine, &sum, &machines)).collect())
}

/// The ways out of each cell where something is dug.
fn ways<'a>(found: &'a GridPricedPlan, offers: &'a [Offer]) -> BTreeMap<usize, Vec<Way<'a>>> {
    let offer = |taker: usize| match found.takers[taker] {
        HaulEnd::Place(place) => offers.get(place as usize),
        HaulEnd::Cell(_) => None,
    };
    let carried = found.plan.hauls.iter().map(|h| (h.from, offer(h.to), Some(h), h.volume_m3));
    let left = found.plan.left_over.iter().map(|(giver, volume_m3)| (*giver, None, None, *volume_m3));
    let mut by_cell: BTreeMap<usize, Vec<Way<'_>>> = BTreeMap::new();
    for (giver, offer, haul, volume_m3) in carried.chain(left) {
        // Only cells give: there are no places to borrow from.
        if let HaulEnd::Cell(cell) = found.givers[giver] {
            by_cell.entry(cell as usize).or_default().push(Way { offer, haul, volume_m3 });
        }
    }
    by_cell
}

/// One way out of a cell.
struct Way<'a> {
    offer: Option<&'a Offer>,
    haul: Option<&'a PricedHaul>,
    volume_m3: f64,
}

fn bug(error: impl std::fmt::Display) -> Problems {
    Problem::new(ProblemKind::Bug, "spoil_hauls", format!("hauls of drain spoil: {error}")).into()
}

/// Open ground about drains and places; `None` where nothing is dug.
fn ground(input: &DrainsInput<'_>, dug: &[&Stretch], p: &DrainsParams) -> Option<HaulGround> {
    dug.first()?;
    let ends = dug.iter().flat_map(|s| [s.line.start, s.line.end]);
    let places = input.site.layers.earth_places.iter().map(|p| p.at);
    let lacking = input.levelling.map_or(&[][..], |l| &l.blocks).iter().filter(|e| e.unplaced_m3 > LEAST_M3);
    let blocks = input.blocks.blocks.iter().filter(|b| lacking.clone().any(|e| e.block == b.id));
    let corners = blocks.filter_map(|b| b.outline.bounding_rect()).flat_map(|r| [r.min(), r.max()]);
    let middles = whole_blocks(input, p).map(|(_, at, _)| at);
    let about: Vec<Coord<f64>> = ends.chain(places).chain(corners).chain(middles).collect();
    let bounds = MultiPoint::from_iter(about.iter().map(|at| Point(*at))).bounding_rect()?;
    let cell_m = CELL_M.max((bounds.width() * bounds.height() / MOST_CELLS).sqrt());
    // A margin of a cell, so that nothing lies on the outermost edge.
    let margin = Coord { x: cell_m, y: cell_m };
    open_ground(input.site, &[bounds.min() - margin, bounds.max() + margin], cell_m)
}

/// The ground with all that gives and takes spoil open to machines.
fn opened(mut ground: HaulGround, dug: &[&Stretch], offers: &[Offer]) -> HaulGround {
    for at in dug.iter().map(|s| s.middle()).chain(offers.iter().map(|o| o.place.at)) {
        if let Some(cell) = ground.spec.cell_at(at).map(|c| ground.spec.index(c)) {
            ground.passable[cell] = true;
        }
    }
    ground
}

/// All that may take spoil: strips by cell, then blocks, then places. All spoil must go somewhere, so prices hold for any
/// common shift; one is added that leaves none below zero.
fn offers(
    input: &DrainsInput<'_>,
    spec: &GridSpec,
    stretches: &[Stretch],
    machines: &Machines,
    p: &DrainsParams,
) -> Vec<Offer> {
    let saved = machines.unknown_place_per_m3().likely;
    // Digging leaves spoil spread on the spot already.
    let spread = machines.likely.at(0.0).1;
    let shift = saved.max(spread);
    let offer = |taker, at, capacity_m3, price_per_m3: f64| {
        let place = PricedPlace { at, kind: PlaceKind::Spoil, capacity_m3, price_per_m3: shift + price_per_m3 };
        Offer { taker, place }
    };
    let mut areas_m2: BTreeMap<usize, f64> = BTreeMap::new();
    for stretch in stretches.iter().filter(|s| s.room_m2 > 0.0) {
        if let Some(cell) = spec.cell_at(stretch.middle()) {
            *areas_m2.entry(spec.index(cell)).or_default() += stretch.room_m2;
        }
    }
    let strips = areas_m2.into_iter().map(|(cell, area_m2)| {
        let room_m3 = area_m2 * p.spoil_spread_mm / 1_000.0 / p.spoil_swell_ratio;
        offer(Taker::Strip { cell, area_m2 }, spec.centre(spec.cell(cell)), Some(room_m3), -spread)
    });
    let mut list: Vec<Offer> = strips.collect();
    for (block, at, lacks_m3) in input.levelling.iter().flat_map(|l| lacks(input, l, spec)) {
        list.push(offer(Taker::Block(block), at, Some(lacks_m3), -saved));
    }
    for (block, at, area_m2) in whole_blocks(input, p) {
        let room_m3 = area_m2 * p.spoil_over_block_mm / 1_000.0 / p.spoil_swell_ratio;
        list.push(offer(Taker::Over { block, area_m2 }, at, Some(room_m3), 0.0));
    }
    let mut used = used_m3(input.levelling);
    for place in input.site.layers.earth_places.iter().filter(|p| p.kind == EarthPlaceKind::Spoil) {
        let taken = used.entry(&place.name).or_default();
        let capacity_m3 = place.capacity_m3.map(|all_m3| {
            let left_m3 = (all_m3 - *taken).max(0.0);
            *taken = (*taken - all_m3).max(0.0);
            left_m3
        });
        list.push(offer(
            Taker::Place(place.name.clone(), place.price_per_m3),
            place.at,
            capacity_m3,
            place.price_per_m3,
        ));
    }
    list
}

/// Blocks spoil may be spread over: middle and square metres under rows.
fn whole_blocks<'a>(
    input: &DrainsInput<'a>,
    p: &DrainsParams,
) -> impl Iterator<Item = (BlockId, Coord<f64>, f64)> + use<'a> {
    let blocks = if p.spoil_over_block_mm > 0.0 { &input.blocks.blocks[..] } else { &[] };
    blocks.iter().filter_map(|b| Some((b.id, b.cropped.centroid()?.0, b.cropped.unsigned_area())))
}

/// What blocks bring to spoil places already, bank cubic metres by name.
fn used_m3<'a>(levelling: Option<&'a LevellingPlan>) -> BTreeMap<&'a str, f64> {
    let mut used: BTreeMap<&'a str, f64> = BTreeMap::new();
    let hauls = levelling.into_iter().flat_map(|l| &l.blocks).flat_map(|e| &e.places);
    for haul in hauls.filter(|h| h.kind == EarthPlaceKind::Spoil) {
        *used.entry(haul.place.as_str()).or_default() += haul.volume_m3;
    }
    used
}

/// What each block lacks and no place gives, bank cubic metres, spread over its fill in proportion.
fn lacks(input: &DrainsInput<'_>, levelling: &LevellingPlan, spec: &GridSpec) -> Vec<(BlockId, Coord<f64>, f64)> {
    let depths = &levelling.cut_fill.0;
    let mut list = Vec::new();
    for earth in levelling.blocks.iter().filter(|e| e.unplaced_m3 > LEAST_M3) {
        let Some(block) = input.blocks.blocks.iter().find(|b| b.id == earth.block) else { continue };
        let inside = cells_inside(depths.spec, &block.outline);
        let Some(bounds) = block.outline.bounding_rect() else { continue };
        let coarse = GridSpec::covering(bounds, spec.cell_m * LACK_CELLS);
        let mut fills: BTreeMap<usize, (f64, Coord<f64>)> = BTreeMap::new();
        for (cell, depth_m) in depths.iter().filter(|(cell, d)| *d < 0.0 && inside[depths.spec.index(*cell)]) {
            let at = depths.spec.centre(cell);
            let Some(into) = coarse.cell_at(at).map(|c| coarse.index(c)) else { continue };
            let fill = f64::from(-depth_m);
            let sum = fills.entry(into).or_insert((0.0, Coord::zero()));
            *sum = (sum.0 + fill, sum.1 + at * fill);
        }
        let all: f64 = fills.values().map(|f| f.0).sum();
        list.extend(fills.into_values().map(|(fill, at)| (block.id, at / fill, earth.unplaced_m3 * fill / all)));
    }
    list
}

/// Depth soil is spread to on each piece of land that takes some, loose, metres.
fn depths(by_cell: &BTreeMap<usize, Vec<Way<'_>>>, p: &DrainsParams) -> BTreeMap<Spread, f64> {
    let mut depths_m: BTreeMap<Spread, f64> = BTreeMap::new();
    for way in by_cell.values().flatten() {
        let (land, area_m2) = match way.offer.map(|o| &o.taker) {
            Some(Taker::Strip { cell, area_m2 }) => (Spread::Strip(*cell), *area_m2),
            Some(Taker::Over { block, area_m2 }) => (Spread::Block(*block), *area_m2),
            _ => continue,
        };
        *depths_m.entry(land).or_default() += way.volume_m3 * p.spoil_swell_ratio / area_m2;
    }
    depths_m
}

/// Shares the ways out of a cell among what was dug there.
fn share(
    stretch: &Stretch,
    cell: usize,
    ways: &[Way<'_>],
    machines: &Machines,
    depths_m: &BTreeMap<Spread, f64>,
    sums: &mut BTreeMap<(usize, SpoilTo, Option<usize>), Sum>,
) {
    let all_m3: f64 = ways.iter().map(|w| w.volume_m3).sum();
    if all_m3 <= 0.0 {
        // Less than the litres hauls are planned in.
        sums.entry((stretch.drain, SpoilTo::Nowhere, None)).or_default().volume_m3 += stretch.dug_m3;
        return;
    }
    for way in ways {
        let volume_m3 = stretch.dug_m3 * way.volume_m3 / all_m3;
        let (Some(haul), Some(offer)) = (way.haul, way.offer) else {
            sums.entry((stretch.drain, SpoilTo::Nowhere, None)).or_default().volume_m3 += volume_m3;
            continue;
        };
        let carried = machines.price_per_m3(haul.machine, haul.distance_m);
        let (to, machine, price, depth_m) = match &offer.taker {
            Taker::Strip { cell: own, .. } if *own == cell => {
                (SpoilTo::Beside, None, Range::exact(0.0), depths_m[&Spread::Strip(cell)])
            }
            Taker::Strip { cell: other, .. } => {
                let spot = machines.price_per_m3(machines.likely.at(0.0).0, 0.0);
                let further = carried.zip(spot, |all, spot| (all - spot).max(0.0));
                (SpoilTo::Along, Some(haul.machine), further, depths_m[&Spread::Strip(*other)])
            }
            Taker::Block(block) => (SpoilTo::Block(*block), Some(haul.machine), carried, 0.0),
            Taker::Over { block, .. } => {
                (SpoilTo::Over(*block), Some(haul.machine), carried, depths_m[&Spread::Block(*block)])
            }
            Taker::Place(name, at) => (SpoilTo::Place(name.clone()), Some(haul.machine), carried.map(|c| c + at), 0.0),
        };
        let sum = sums.entry((stretch.drain, to, machine)).or_default();
        sum.volume_m3 += volume_m3;
        sum.moment_m4 += volume_m3 * haul.distance_m;
        sum.depth_m4 += volume_m3 * depth_m;
        sum.cost = sum.cost.zip(price, |c, p| c + p * volume_m3);
    }
}

fn told(drain: u32, to: SpoilTo, machine: Option<usize>, sum: &Sum, machines: &Machines) -> Spoil {
    let unknown = machines.unknown_place_per_m3().map(|p| p * sum.volume_m3);
    let cost = if to == SpoilTo::Nowhere { unknown } else { sum.cost };
    let spares = if matches!(to, SpoilTo::Block(_)) { unknown } else { Range::exact(0.0) };
    let mean = |moment: f64| if sum.volume_m3 > 0.0 { moment / sum.volume_m3 } else { 0.0 };
    Spoil {
        drain,
        to,
        machine: machine.and_then(|m| machines.kinds().nth(m)),
        volume_m3: sum.volume_m3,
        distance_m: mean(sum.moment_m4),
        depth_m: mean(sum.depth_m4),
        cost,
        spares,
    }
}
