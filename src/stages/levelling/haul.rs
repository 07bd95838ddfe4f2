//! Where the earth goes: within a block, between blocks, from and to places; with which machine and at what price.
//!
//! Two plans are made over the same gathered cells: the one of least metres gives the ways for the map, the one of least
//! money, with machines that change with distance, gives distances, machines and prices. Where cells are too many for the
//! second the shortest hauls are priced by the cheapest machine for each, and the block says so.

use super::earth::Patch;
use super::params::LevellingParams;
use crate::grid::GridSpec;
use crate::land::levelling::{BlockEarth, HaulArrow, HaulBand};
use crate::methods::earthwork::haul_grid::{
    GridEarth, HaulEnd, HaulGround, PathHaul, gather_arrows, haul_over_grid, in_cut_measure,
};
use crate::methods::earthwork::haul_price::priced_hauls_over_grid;
use crate::stages::machines::Machines;
use crate::units::Range;
use geo::{BoundingRect, Coord, MultiPoint, Point};

/// Upper ends of the bands of haul distance, metres; the last is open.
const BANDS_M: [f64; 5] = [100.0, 200.0, 300.0, 500.0, 1_000.0];
/// A push inside one haul cell, metres.
const SHORT_PUSH_M: f64 = 15.0;
/// Arrows drawn for a block.
const ARROWS: usize = 12;
/// Givers or takers beyond which the plan of least money takes too long.
const MOST_PRICED: usize = 2_000;

/// Earth that is carried one distance by one machine.
#[derive(Debug, Clone, Copy)]
pub(super) struct Load {
    pub(super) volume_m3: f64,
    pub(super) distance_m: f64,
    /// Position in the list of machines.
    pub(super) machine: usize,
    /// Cell the earth is taken from, on the grid of the plan.
    pub(super) from: HaulEnd,
}

/// What is carried within some ground.
pub(super) struct Carried {
    pub(super) spec: GridSpec,
    /// Cut that meets fill inside its own haul cell.
    pub(super) on_the_spot_m3: f64,
    /// Ways for the map.
    pub(super) ways: Vec<PathHaul>,
    /// What is priced.
    pub(super) loads: Vec<Load>,
    pub(super) cheapest: bool,
    /// What stays over (positive) or is missing, and where.
    pub(super) left: Vec<(Coord<f64>, f64)>,
}

/// Hauls over the patches, round what is not theirs; `None` where there is nothing.
pub(super) fn within(params: &LevellingParams, machines: &Machines, patches: &[Patch], cell_m: f64) -> Option<Carried> {
    let about = MultiPoint::from_iter(patches.iter().map(|p| Point(p.at)));
    let spec = GridSpec::covering(about.bounding_rect()?, cell_m);
    let mut ground = HaulGround::open(spec);
    ground.passable.fill(false);
    for cell in patches.iter().filter_map(|p| spec.cell_at(p.at)) {
        ground.passable[spec.index(cell)] = true;
    }
    over(&ground, params, machines, patches)
}

/// Hauls of the patches over given ground.
pub(super) fn over(
    ground: &HaulGround,
    params: &LevellingParams,
    machines: &Machines,
    patches: &[Patch],
) -> Option<Carried> {
    let spec = ground.spec;
    let net = patches.iter().map(|p| (p.at, in_cut_measure(p.depth_m * p.area_m2, params.cut_fill_ratio)));
    let gathered = GridEarth::gather(spec, net).ok()?;
    let shortest = haul_over_grid(ground, &gathered, &[]).ok()?;
    let cheapest = cheapest(ground, &gathered, machines);
    let left = shortest.unplaced.iter().map(|u| (spec.centre(spec.cell(u.cell as usize)), u.volume_m3)).collect();
    Some(Carried {
        spec,
        on_the_spot_m3: gathered.on_the_spot_m3,
        cheapest: cheapest.is_some(),
        loads: cheapest.unwrap_or_else(|| shortest.hauls.iter().map(|h| load(machines, h)).collect()),
        ways: shortest.hauls,
        left,
    })
}

/// The loads of least money, proven; `None` where there are too many cells.
fn cheapest(ground: &HaulGround, earth: &GridEarth, machines: &Machines) -> Option<Vec<Load>> {
    let count = |is: fn(f64) -> bool| earth.net_m3.iter().filter(|v| is(**v)).count();
    if count(|v| v > 0.0).max(count(|v| v < 0.0)) > MOST_PRICED {
        return None;
    }
    let found = priced_hauls_over_grid(ground, earth, &[], &machines.likely).ok().filter(|f| f.plan.is_proven)?;
    let one = |h: &crate::methods::earthwork::haul_price::PricedHaul| Load {
        volume_m3: h.volume_m3,
        distance_m: h.distance_m,
        machine: h.machine,
        from: found.givers[h.from],
    };
    Some(found.plan.hauls.iter().map(one).collect())
}

/// A haul by the machine that is cheapest for its length.
pub(super) fn load(machines: &Machines, haul: &PathHaul) -> Load {
    Load {
        volume_m3: haul.volume_m3,
        distance_m: haul.length_m,
        machine: machines.likely.at(haul.length_m).0,
        from: haul.from,
    }
}

/// Writes distance, bands and arrows of what is carried into a block.
pub(super) fn book(machines: &Machines, carried: &Carried, earth: &mut BlockEarth) {
    let push = Load {
        volume_m3: carried.on_the_spot_m3,
        distance_m: SHORT_PUSH_M,
        machine: machines.likely.at(SHORT_PUSH_M).0,
        from: HaulEnd::Cell(0),
    };
    let loads: Vec<Load> = std::iter::once(push).chain(carried.loads.iter().copied()).collect();
    let moved: f64 = loads.iter().map(|l| l.volume_m3).sum();
    let moment: f64 = loads.iter().map(|l| l.volume_m3 * l.distance_m).sum();
    earth.haul_mean_m = if moved > 0.0 { moment / moved } else { 0.0 };
    earth.hauls_cheapest = carried.cheapest;
    earth.bands = bands(machines, &loads);
    earth.hauls = gather_arrows(&carried.spec, &carried.ways, ARROWS)
        .into_iter()
        .map(|a| HaulArrow { from: a.from, to: a.to, path: a.path, volume_m3: a.volume_m3, distance_m: a.mean_haul_m })
        .collect();
}

/// Volume, mean price and machines of each band that has earth.
fn bands(machines: &Machines, loads: &[Load]) -> Vec<HaulBand> {
    let mut list = Vec::new();
    for band in 0..=BANDS_M.len() {
        let here: Vec<&Load> =
            loads.iter().filter(|l| BANDS_M.partition_point(|limit| *limit < l.distance_m) == band).collect();
        let volume_m3: f64 = here.iter().map(|l| l.volume_m3).sum();
        if volume_m3 <= 0.05 {
            continue;
        }
        let sum = here.iter().fold(Range::exact(0.0), |sum, l| {
            sum.zip(machines.price_per_m3(l.machine, l.distance_m), |a, p| a + p * l.volume_m3)
        });
        let by = |machine: usize| here.iter().filter(|l| l.machine == machine).map(|l| l.volume_m3).sum::<f64>();
        let by_machine = machines.kinds().enumerate().map(|(i, kind)| (kind, by(i))).filter(|m| m.1 > 0.05);
        list.push(HaulBand {
            up_to_m: BANDS_M.get(band).copied().unwrap_or(2.0 * BANDS_M[BANDS_M.len() - 1]),
            volume_m3,
            price_per_m3: sum.map(|p| p / volume_m3),
            by_machine: by_machine.collect(),
        });
    }
    list
}
