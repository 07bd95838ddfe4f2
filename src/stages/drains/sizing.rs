//! How much water each drain carries, and the section that carries it.

use super::network::{DraftDrain, Network, number};
use super::params::{DesignFlow, DrainsParams, TravelTime};
use crate::land::blocks::BlockPlan;
use crate::land::drains::{Drain, DrainSection, DrainStation};
use crate::methods::earthwork::volume::end_area_m3;
use crate::methods::hydraulics::{
    Inverts, ReturnRain, Section, bottom_width_m, bransby_williams_min, drainage_coefficient_m3_s, normal_depth_m,
    normal_flow, rational_m3_s,
};
use crate::units::Slope;
use geo::LineString;

/// Least depth of water a section is sized for, metres: a shallower sheet is not a drain.
const LEAST_WATER_M: f64 = 0.05;
/// Least fall the formula of Bransby Williams is asked about, metres per kilometre.
const LEAST_FALL_M_KM: f64 = 0.1;
/// A wider bed than this is no longer a drain one digs, metres (common practice, no source).
pub const WIDEST_BED_M: f64 = 10.0;
/// Deficits below this are rounding, metres.
pub const TOLERANCE_M: f64 = 1e-6;

/// What arrives at each node.
#[derive(Debug, Clone)]
pub struct Loads {
    /// Land upstream, hectares.
    pub area_ha: Vec<f64>,
    /// Time of concentration, minutes.
    pub travel_min: Vec<f64>,
    /// Peak of the design rain, cubic metres a second.
    pub rational_m3_s: Vec<f64>,
}

/// The longest way to a node: metres, minutes, and the height it starts at.
#[derive(Debug, Clone, Copy, Default)]
struct Longest {
    length_m: f64,
    time_min: f64,
    head_m: f64,
}

impl Loads {
    /// Adds up land and time from the heads down.
    #[must_use]
    pub fn of(net: &Network, rain: &ReturnRain, p: &DrainsParams) -> Self {
        let n = net.nodes.len();
        let mut area_ha: Vec<f64> = net.nodes.iter().map(|node| node.area_ha).collect();
        let mut longest: Vec<Longest> = net
            .nodes
            .iter()
            .map(|node| Longest {
                length_m: node.row_m,
                time_min: node.row_m / p.furrow_velocity_m_s / 60.0,
                head_m: node.ground_m + p.min_fall() * node.row_m,
            })
            .collect();
        for i in net.heads_first() {
            let Some(down) = net.nodes[i].down else { continue };
            area_ha[down] += area_ha[i];
            let length_m = net.nodes[i].length_m;
            let arrives = Longest {
                length_m: longest[i].length_m + length_m,
                time_min: longest[i].time_min + length_m / p.drain_velocity_m_s / 60.0,
                head_m: longest[i].head_m,
            };
            if arrives.time_min > longest[down].time_min {
                longest[down] = arrives;
            }
        }
        let travel_min: Vec<f64> = (0..n)
            .map(|i| match p.travel_time {
                TravelTime::Velocities => longest[i].time_min,
                TravelTime::BransbyWilliams => bransby_min(longest[i], net.nodes[i].ground_m, area_ha[i]),
            })
            .map(|t| t.max(p.least_travel_min))
            .collect();
        let rational_m3_s = (0..n)
            .map(|i| rational_m3_s(p.runoff_after_ratio, rain.intensity_mm_h(travel_min[i]), area_ha[i]))
            .collect();
        Self { area_ha, travel_min, rational_m3_s }
    }
}

fn bransby_min(way: Longest, ground_m: f64, area_ha: f64) -> f64 {
    if way.length_m <= 0.0 || area_ha <= 0.0 {
        return 0.0;
    }
    let length_km = way.length_m / 1_000.0;
    let fall_m_km = ((way.head_m - ground_m) / length_km).max(LEAST_FALL_M_KM);
    bransby_williams_min(length_km, area_ha / 100.0, fall_m_km)
}

/// A drain and the earth dug between each of its stations and the next, bank cubic metres.
pub struct Dug {
    pub drain: Drain,
    pub stretches_m3: Vec<f64>,
}

/// Sizes every drain of a graded network.
#[must_use]
pub fn size(net: &Network, inverts: &Inverts, loads: &Loads, blocks: &BlockPlan, p: &DrainsParams) -> Vec<Dug> {
    net.drains.iter().enumerate().map(|(i, draft)| size_one(i, draft, net, inverts, loads, blocks, p)).collect()
}

fn size_one(
    position: usize,
    draft: &DraftDrain,
    net: &Network,
    inverts: &Inverts,
    loads: &Loads,
    blocks: &BlockPlan,
    p: &DrainsParams,
) -> Dug {
    let own: Vec<usize> = draft.nodes.iter().copied().filter(|n| net.nodes[*n].drain == position).collect();
    let depth = |n: &usize| net.nodes[*n].ground_m - inverts.invert_m[*n];
    let deepest_m = own.iter().map(depth).fold(0.0, f64::max);
    let area_ha = own.iter().map(|n| loads.area_ha[*n]).fold(0.0, f64::max);
    let rational = own.iter().map(|n| loads.rational_m3_s[*n]).fold(0.0, f64::max);
    let coefficient = drainage_coefficient_m3_s(p.drainage_coefficient_mm_day, area_ha);
    let design = design_m3_s(rational, area_ha, p);
    let spoon = deepest_m <= p.spoon_depth_m;
    let batter = if spoon { p.spoon_batter_h_per_v } else { p.deep_batter_h_per_v };
    let cuts: Vec<LocalCut> = own.iter().map(|n| local_cut(*n, net, inverts, loads, spoon, p)).collect();
    let widest = cuts.iter().fold(LocalCut::default(), |w, c| if c.bottom_m > w.bottom_m { *c } else { w });
    let velocity_m_s = cuts.iter().map(|c| c.velocity_m_s).fold(0.0, f64::max);
    let bottoms_m: Vec<f64> = draft
        .nodes
        .iter()
        .map(|n| own.iter().position(|o| o == n).or(own.len().checked_sub(1)).map_or(0.0, |i| cuts[i].bottom_m))
        .collect();
    let stations = stations(draft, net, inverts, &bottoms_m);
    let mouth_m = stations.last().map_or(0.0, |s| s.station_m);
    let stretches_m3 = stretches_m3(batter, &stations);
    let bed_fall_m = stations.first().map_or(0.0, |s| s.invert_m) - stations.last().map_or(0.0, |s| s.invert_m);
    let drain = Drain {
        id: number(position),
        kind: draft.kind,
        block: draft.block.map(|b| blocks.blocks[b].id),
        line: LineString(stations.iter().map(|s| s.at).collect()),
        section: DrainSection { bottom_m: widest.bottom_m, batter_h_per_v: batter, depth_m: deepest_m },
        grade: Slope::from_ratio(if mouth_m > 0.0 { bed_fall_m / mouth_m } else { 0.0 }),
        catchment_ha: area_ha,
        rational_m3_s: rational,
        coefficient_m3_s: coefficient,
        design_m3_s: design,
        flow_depth_m: cuts.iter().map(|c| c.flow_depth_m).fold(0.0, f64::max),
        velocity_m_s,
        velocity_limit_m_s: p.velocity_limit_m_s,
        excavation_m3: stretches_m3.iter().sum(),
        to: draft.to.clone(),
        deficit_m: own.iter().map(|n| inverts.deficit_m[*n]).fold(0.0, f64::max),
        stations,
    };
    Dug { drain, stretches_m3 }
}

fn stations(draft: &DraftDrain, net: &Network, inverts: &Inverts, bottoms_m: &[f64]) -> Vec<DrainStation> {
    let mut station_m = 0.0;
    let last = draft.nodes.len().saturating_sub(1);
    let mut stations = Vec::with_capacity(draft.nodes.len());
    for (i, n) in draft.nodes.iter().enumerate() {
        let node = &net.nodes[*n];
        stations.push(DrainStation {
            station_m,
            at: node.at,
            ground_m: node.ground_m,
            invert_m: inverts.invert_m[*n],
            drop_m: if i < last { inverts.drop_m[*n] } else { 0.0 },
            bottom_m: bottoms_m[i],
        });
        station_m += node.length_m;
    }
    stations
}

/// The cut at one node: a drain widens as it gathers water and narrows where it lies deep or falls fast.
#[derive(Debug, Clone, Copy, Default)]
struct LocalCut {
    bottom_m: f64,
    /// Width that would hold the water below the ground, without a limit.
    wished_m: f64,
    flow_depth_m: f64,
    velocity_m_s: f64,
}

/// Where the bed of a drain is held at [`WIDEST_BED_M`] and its water rises instead.
#[derive(Debug, Clone, Copy)]
pub struct Shallow {
    /// Position of the drain in [`Network::drains`].
    pub drain: usize,
    /// Station where the water rises highest.
    pub node: usize,
    /// Width that would hold the water there, metres.
    pub wished_m: f64,
    /// Water above the ground there at design discharge, metres; not above zero when only the freeboard is used up.
    pub above_ground_m: f64,
    /// Length of drain with its bed at the limit, metres.
    pub length_m: f64,
}

/// The drains that would need a wider bed than is dug, each with its worst station.
#[must_use]
pub fn shallow(net: &Network, inverts: &Inverts, loads: &Loads, p: &DrainsParams) -> Vec<Shallow> {
    let mut all = Vec::new();
    for (position, draft) in net.drains.iter().enumerate() {
        let own: Vec<usize> = draft.nodes.iter().copied().filter(|n| net.nodes[*n].drain == position).collect();
        let depth_m = |n: usize| net.nodes[n].ground_m - inverts.invert_m[n];
        let spoon = own.iter().map(|n| depth_m(*n)).fold(0.0, f64::max) <= p.spoon_depth_m;
        let mut worst: Option<Shallow> = None;
        let mut length_m = 0.0;
        for n in own {
            let cut = local_cut(n, net, inverts, loads, spoon, p);
            if cut.wished_m <= cut.bottom_m {
                continue;
            }
            length_m += net.nodes[n].length_m;
            // The mouth has no depth of its own: it lets go there what arrives.
            let above_ground_m = cut.flow_depth_m - depth_m(n).max(p.collector_depth_m);
            if worst.is_none_or(|w| above_ground_m > w.above_ground_m) {
                worst = Some(Shallow { drain: position, node: n, wished_m: cut.wished_m, above_ground_m, length_m });
            }
        }
        all.extend(worst.map(|w| Shallow { length_m, ..w }));
    }
    all
}

fn local_cut(n: usize, net: &Network, inverts: &Inverts, loads: &Loads, spoon: bool, p: &DrainsParams) -> LocalCut {
    let (batter, least_bottom_m) =
        if spoon { (p.spoon_batter_h_per_v, 0.0) } else { (p.deep_batter_h_per_v, p.deep_bottom_m) };
    let design = design_m3_s(loads.rational_m3_s[n], loads.area_ha[n], p);
    // Where a drain comes out at a bank it has no depth, and needs none: the least depth of the rest is asked of it.
    let depth_m = (net.nodes[n].ground_m - inverts.invert_m[n]).max(p.collector_depth_m);
    let water_m = (depth_m - p.freeboard_m).max(LEAST_WATER_M);
    let fall = if net.nodes[n].down.is_some() { inverts.slope_ratio[n] } else { p.min_fall() };
    let fall = fall.clamp(p.min_fall(), 1.0);
    // The numbers were checked with the parameters, so a section always exists.
    let wished_m = bottom_width_m(design, water_m, batter, p.roughness_grown_n, fall)
        .map_or(least_bottom_m, |b| (b.max(least_bottom_m) * 10.0).ceil() / 10.0);
    // On low ground at least fall the width grows without end: past the limit the water rises instead, between banks.
    let bottom_m = wished_m.min(WIDEST_BED_M.max(least_bottom_m));
    let section = Section::Trapezoid { bottom_m, batter_h_per_v: batter };
    LocalCut {
        bottom_m,
        wished_m,
        flow_depth_m: normal_depth_m(&section, design, p.roughness_grown_n, fall).unwrap_or(0.0),
        velocity_m_s: normal_flow(&section, design, p.roughness_new_n, fall).map_or(0.0, |f| f.velocity_m_s),
    }
}

fn design_m3_s(rational_m3_s: f64, area_ha: f64, p: &DrainsParams) -> f64 {
    let coefficient = drainage_coefficient_m3_s(p.drainage_coefficient_mm_day, area_ha);
    match p.design_flow {
        DesignFlow::Rational => rational_m3_s,
        DesignFlow::Coefficient => coefficient,
        DesignFlow::Larger => rational_m3_s.max(coefficient),
    }
}

/// Earth dug, by mean end areas between stations, each with its own bottom. Where ground lies below the bed nothing is
/// dug; drains have no fill.
fn stretches_m3(batter_h_per_v: f64, stations: &[DrainStation]) -> Vec<f64> {
    let areas: Vec<f64> = stations
        .iter()
        .map(|s| {
            Section::Trapezoid { bottom_m: s.bottom_m, batter_h_per_v }.area_m2((s.ground_m - s.invert_m).max(0.0))
        })
        .collect();
    stations
        .windows(2)
        .zip(areas.windows(2))
        .map(|(pair, area)| end_area_m3(area[0], area[1], pair[1].station_m - pair[0].station_m))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::land::drains::{DrainKind, DrainsTo};
    use crate::stages::drains::network::Node;
    use geo::Coord;

    /// 116.9 ha at 100 mm a day are 1.353 m3/s; Manning's equation (Chow 1959, equation 5-6) for n = 0.05, 0.05 % fall and
    /// batters 1 in 8, solved by bisection outside this program: 0.2 m of water would need a bed 43.68 m wide, on a bed of
    /// 10 m it stands 0.4467 m deep.
    #[test]
    fn a_bed_stops_widening_and_its_water_rises_instead() {
        let node = |x: f64, down| Node {
            drain: 0,
            at: Coord { x, y: 0.0 },
            ground_m: 10.0 - 0.0005 * x,
            min_depth_m: 0.3,
            max_invert_m: None,
            min_invert_m: None,
            down,
            length_m: if down.is_some() { 20.0 } else { 0.0 },
            area_ha: 0.0,
            row_m: 0.0,
        };
        let draft = DraftDrain { kind: DrainKind::Main, block: None, nodes: vec![0, 1], to: DrainsTo::Nowhere };
        let nodes = vec![node(0.0, Some(1)), node(20.0, None)];
        let net = Network { nodes, drains: vec![draft], ..Network::default() };
        let inverts = Inverts {
            invert_m: vec![9.7, 9.69],
            slope_ratio: vec![0.0005, 0.0],
            drop_m: vec![0.0; 2],
            deficit_m: vec![0.0; 2],
            controlling_head: vec![0; 2],
        };
        let loads = Loads { area_ha: vec![116.9; 2], travel_min: vec![60.0; 2], rational_m3_s: vec![0.0; 2] };
        let p = DrainsParams::default();
        let drain = &size(&net, &inverts, &loads, &BlockPlan::default(), &p)[0].drain;
        assert!((drain.section.bottom_m - WIDEST_BED_M).abs() < 1e-9);
        assert!((drain.flow_depth_m - 0.446_7).abs() < 5e-4, "{}", drain.flow_depth_m);
        let [held] = shallow(&net, &inverts, &loads, &p)[..] else { panic!("one drain is held") };
        assert!((held.wished_m - 43.68).abs() < 0.11, "{}", held.wished_m);
        assert!((held.above_ground_m - (0.446_7 - 0.3)).abs() < 5e-4 && (held.length_m - 20.0).abs() < 1e-9);
        let small = Loads { area_ha: vec![10.0; 2], ..loads };
        assert!(shallow(&net, &inverts, &small, &p).is_empty());
    }
}
