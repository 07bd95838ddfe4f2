//! Water leaving the property, before and after the works.
//!
//! After the works each block's land drains where its rows lead; all other land as before. A drain that ends at an
//! outlet or waterway inside the property reaches the boundary where the ground takes it from there.

use super::network::Network;
use super::params::DrainsParams;
use super::route::{cells_around, distance_m, paint};
use super::sizing::Loads;
use crate::grid::FlowField;
use crate::land::drains::{DrainsTo, OutflowChange};
use crate::methods::flow::{catchment_of, receiver};
use crate::methods::hydraulics::{ReturnRain, bransby_williams_min, rational_m3_s, runoff_volume_m3};
use crate::stages::drains::DrainsInput;
use crate::units::M2_PER_HA;
use geo::Coord;
use std::collections::BTreeMap;

/// The crossing on the ground is looked for this many cells around the place stated.
const LOOK_CELLS: f64 = 2.5;
/// Least fall the travel time before the works is reckoned with, metres per kilometre.
const LEAST_FALL_M_KM: f64 = 0.1;

/// Ends the name of an outlet whose water stays on the property and is counted again where it leaves.
pub const INSIDE: &str = " (inside the property)";

/// A place water leaves by or passes, while it is added up.
pub(super) struct Exit {
    name: String,
    at: Coord<f64>,
    before_ha: f64,
    before_min: f64,
    /// Block land taken away and brought, hectares, and how long the brought water travels.
    gone_ha: f64,
    come_ha: f64,
    come_min: f64,
}

/// What the comparison reads besides the stage's inputs.
pub struct Works<'a> {
    /// Drains as a tree.
    pub net: &'a Network,
    /// What arrives at each node.
    pub loads: &'a Loads,
    /// Design rain.
    pub rain: &'a ReturnRain,
    /// Land of a row, hectares, by (position of block, position of row).
    pub row_area_ha: &'a dyn Fn(usize, usize) -> f64,
}

/// One entry per place where water leaves: the crossings of today first, then new ones.
#[must_use]
pub fn outflows(input: &DrainsInput<'_>, works: &Works<'_>, p: &DrainsParams) -> Vec<OutflowChange> {
    let today = &input.water.outflows;
    let ways = LongestWays::of(input);
    let mut exits: Vec<Exit> = today
        .iter()
        .map(|c| Exit {
            name: format!("boundary crossing {}", c.id),
            at: c.at,
            before_ha: c.catchment_ha,
            before_min: ways.travel_min(c.at, c.catchment_ha).max(p.least_travel_min),
            gone_ha: 0.0,
            come_ha: 0.0,
            come_min: 0.0,
        })
        .collect();
    name_outlets(input, &mut exits, p);
    let elsewhere = take_blocks_away(input, works, &mut exits);
    bring_rows(input, works, &mut exits, p);
    if elsewhere > 0.0 {
        exits.push(Exit {
            name: "land that drains to no known place today".to_owned(),
            at: input.water.outflows.first().map_or_else(Coord::default, |c| c.at),
            before_ha: elsewhere,
            before_min: p.least_travel_min,
            gone_ha: elsewhere,
            come_ha: 0.0,
            come_min: 0.0,
        });
    }
    exits.extend(inner_outlets(input, works, &ways, p));
    exits.into_iter().map(|exit| change(exit, works.rain, p)).collect()
}

/// Outlets from which the ground leads on to a crossing further down: their water is counted again there.
fn inner_outlets(input: &DrainsInput<'_>, works: &Works<'_>, ways: &LongestWays<'_>, p: &DrainsParams) -> Vec<Exit> {
    let apart = |at: Coord<f64>| input.water.outflows.iter().all(|c| distance_m(c.at, at) > p.same_outflow_within_m);
    let inner = input.water.outlets.iter().filter(|o| apart(o.at) && input.water.outflow_of.at(o.at).is_some());
    inner
        .map(|outlet| {
            let spec = ways.flow.spec;
            let above = ways.mouth_near(outlet.at).map(|cell| catchment_of(ways.flow, cell)).unwrap_or_default();
            let before_ha = above.iter().filter(|inside| **inside).count() as f64 * spec.cell_area_m2() / M2_PER_HA;
            let here = Here {
                name: format!("{}{INSIDE}", outlet.name),
                at: outlet.at,
                above: &above,
                before_ha,
                before_min: ways.travel_min(outlet.at, before_ha).max(p.least_travel_min),
            };
            gathered(input, works, here, |node| {
                let leads = works.net.leaves_to(node) == DrainsTo::Outlet(outlet.id);
                leads.then(|| works.loads.travel_min[works.net.last(node)])
            })
        })
        .collect()
}

/// A place inside the property that water passes.
pub(super) struct Here<'a> {
    /// Name.
    pub name: String,
    /// Place.
    pub at: Coord<f64>,
    /// Land that drains there today, a cell of the ground an entry.
    pub above: &'a [bool],
    /// The same, hectares.
    pub before_ha: f64,
    /// How long its water travels today, minutes.
    pub before_min: f64,
}

/// What passes a place inside the property before and after: rows whose water drains lead away from it are taken off, rows
/// whose water comes there are added. `comes` gives the minutes the water of a node travels to it, `None` when it does not.
pub(super) fn gathered(
    input: &DrainsInput<'_>,
    works: &Works<'_>,
    here: Here<'_>,
    comes: impl Fn(usize) -> Option<f64>,
) -> Exit {
    let spec = input.terrain.flow.spec;
    let (name, at, before_ha, before_min) = (here.name, here.at, here.before_ha, here.before_min);
    let mut exit = Exit { name, at, before_ha, before_min, gone_ha: 0.0, come_ha: 0.0, come_min: 0.0 };
    for (b, block) in input.blocks.blocks.iter().enumerate() {
        let (mut cells, mut hit) = (0.0, 0.0);
        paint(spec, &block.outline, |i| {
            cells += 1.0;
            hit += if here.above.get(i).copied().unwrap_or(false) { 1.0 } else { 0.0 };
        });
        for (node, ha) in drained_rows(works, b, block.rows.len()) {
            exit.gone_ha += if cells > 0.0 { ha * hit / cells } else { 0.0 };
            if let Some(minutes) = comes(node) {
                exit.come_ha += ha;
                exit.come_min = exit.come_min.max(minutes);
            }
        }
    }
    exit
}

/// An outlet close to a crossing lends it its name.
fn name_outlets(input: &DrainsInput<'_>, exits: &mut [Exit], p: &DrainsParams) {
    for outlet in &input.water.outlets {
        if let Some(i) = nearest(exits, outlet.at, p.same_outflow_within_m) {
            exits[i].name.clone_from(&outlet.name);
        }
    }
}

fn nearest(exits: &[Exit], at: Coord<f64>, within_m: f64) -> Option<usize> {
    let near = (0..exits.len()).filter(|i| distance_m(exits[*i].at, at) <= within_m);
    near.min_by(|a, b| distance_m(exits[*a].at, at).total_cmp(&distance_m(exits[*b].at, at)).then(a.cmp(b)))
}

/// Takes the land of every block with drained rows from where it drains today; gives the land that drains nowhere known.
fn take_blocks_away(input: &DrainsInput<'_>, works: &Works<'_>, exits: &mut [Exit]) -> f64 {
    let of = &input.water.outflow_of;
    let place_of: BTreeMap<u32, usize> = input.water.outflows.iter().enumerate().map(|(i, c)| (c.id, i)).collect();
    let mut elsewhere_ha = 0.0;
    for (b, block) in input.blocks.blocks.iter().enumerate() {
        let moved_ha: f64 = drained_rows(works, b, block.rows.len()).map(|(_, ha)| ha).sum();
        let mut cells = vec![0.0_f64; exits.len() + 1];
        paint(of.spec, &block.outline, |i| {
            let exit = of.valid[i].then(|| place_of.get(&of.values[i])).flatten();
            cells[exit.copied().unwrap_or(exits.len())] += 1.0;
        });
        let total: f64 = cells.iter().sum();
        if total == 0.0 {
            elsewhere_ha += moved_ha;
            continue;
        }
        for (exit, count) in exits.iter_mut().zip(&cells) {
            exit.gone_ha += moved_ha * count / total;
        }
        elsewhere_ha += moved_ha * cells[exits.len()] / total;
    }
    elsewhere_ha
}

/// Rows of a block whose water a drain leads away, with their land.
fn drained_rows<'a>(works: &'a Works<'_>, b: usize, rows: usize) -> impl Iterator<Item = (usize, f64)> + 'a {
    (0..rows).filter_map(move |r| {
        let node = *works.net.node_of_row.get(&(b, r))?;
        (works.net.leaves_to(node) != DrainsTo::Nowhere).then(|| (node, (works.row_area_ha)(b, r)))
    })
}

/// Brings the rows' land to where their drains let it go.
fn bring_rows(input: &DrainsInput<'_>, works: &Works<'_>, exits: &mut Vec<Exit>, p: &DrainsParams) {
    for (b, block) in input.blocks.blocks.iter().enumerate() {
        for (node, ha) in drained_rows(works, b, block.rows.len()) {
            let mouth = works.net.last(node);
            let at = works.net.nodes[mouth].at;
            let by_ground = input.water.outflow_of.at(at);
            let named = by_ground.and_then(|id| input.water.outflows.iter().position(|c| c.id == id));
            let exit = nearest(exits, at, p.same_outflow_within_m).or(named).unwrap_or_else(|| {
                exits.push(Exit {
                    name: new_name(input, &works.net.leaves_to(node)),
                    at,
                    before_ha: 0.0,
                    before_min: p.least_travel_min,
                    gone_ha: 0.0,
                    come_ha: 0.0,
                    come_min: 0.0,
                });
                exits.len() - 1
            });
            exits[exit].come_ha += ha;
            exits[exit].come_min = exits[exit].come_min.max(works.loads.travel_min[mouth]);
        }
    }
}

fn new_name(input: &DrainsInput<'_>, to: &DrainsTo) -> String {
    match to {
        DrainsTo::Outlet(id) => {
            let outlet = input.water.outlets.iter().find(|o| o.id == *id);
            outlet.map_or_else(|| format!("outlet {id}"), |o| o.name.clone())
        }
        DrainsTo::Waterway(id) => {
            let waterway = input.site.layers.waterways.iter().find(|w| w.id == *id);
            waterway.map_or_else(|| format!("waterway {id}"), |w| w.name.clone())
        }
        _ => "new place".to_owned(),
    }
}

/// Catchment, peak and volume of a place before and after.
pub(super) fn change(exit: Exit, rain: &ReturnRain, p: &DrainsParams) -> OutflowChange {
    let kept_ha = (exit.before_ha - exit.gone_ha).max(0.0);
    let after_ha = kept_ha + exit.come_ha;
    let run = |ratio: f64, minutes: f64, ha: f64| rational_m3_s(ratio, rain.intensity_mm_h(minutes), ha);
    // Two waters that do not gather together peak apart; the time of the whole is weighted by land.
    let after_min = if after_ha > 0.0 {
        ((kept_ha * exit.before_min + exit.come_ha * exit.come_min) / after_ha).max(p.least_travel_min)
    } else {
        p.least_travel_min
    };
    let after_ratio = if after_ha > 0.0 {
        (kept_ha * p.runoff_before_ratio + exit.come_ha * p.runoff_after_ratio) / after_ha
    } else {
        p.runoff_before_ratio
    };
    let storm_mm = rain.depth_mm(p.storm_duration_min);
    OutflowChange {
        name: exit.name,
        at: exit.at,
        catchment_ha: (exit.before_ha, after_ha),
        peak_m3_s: (run(p.runoff_before_ratio, exit.before_min, exit.before_ha), run(after_ratio, after_min, after_ha)),
        volume_m3: (
            runoff_volume_m3(storm_mm * p.runoff_before_ratio, exit.before_ha),
            runoff_volume_m3(storm_mm * after_ratio, after_ha),
        ),
    }
}

/// Longest flow path to every cell: length and the height it starts at.
pub(super) struct LongestWays<'a> {
    flow: &'a FlowField,
    input: &'a DrainsInput<'a>,
    way: Vec<(f64, f64)>,
}

impl<'a> LongestWays<'a> {
    pub(super) fn of(input: &'a DrainsInput<'a>) -> Self {
        let flow = &input.terrain.flow;
        let filled = &input.terrain.filled.0;
        let mut way: Vec<(f64, f64)> = filled.values.iter().map(|z| (0.0, f64::from(*z))).collect();
        for i in flow.upstream_first.iter().map(|i| *i as usize) {
            let Some(to) = receiver(flow, i) else { continue };
            let step_m = distance_m(flow.spec.centre(flow.spec.cell(i)), flow.spec.centre(flow.spec.cell(to)));
            let length_m = way[i].0 + step_m;
            if length_m > way[to].0 {
                way[to] = (length_m, way[i].1);
            }
        }
        Self { flow, input, way }
    }
    /// The cell near a place that the longest flow path reaches.
    fn mouth_near(&self, at: Coord<f64>) -> Option<usize> {
        let spec = self.flow.spec;
        let around = cells_around(spec, at, LOOK_CELLS * spec.cell_m);
        around.into_iter().max_by(|a, b| self.way[*a].0.total_cmp(&self.way[*b].0).then(b.cmp(a)))
    }
    /// Time of concentration at a place, by Bransby Williams.
    pub(super) fn travel_min(&self, at: Coord<f64>, area_ha: f64) -> f64 {
        let Some(cell) = self.mouth_near(at).filter(|c| self.way[*c].0 > 0.0 && area_ha > 0.0) else { return 0.0 };
        let (length_m, head_m) = self.way[cell];
        let length_km = length_m / 1_000.0;
        let mouth_m = f64::from(self.input.terrain.filled.0.values[cell]);
        let fall_m_km = ((head_m - mouth_m) / length_km).max(LEAST_FALL_M_KM);
        bransby_williams_min(length_km, area_ha / 100.0, fall_m_km)
    }
}

/// Land of a block, hectares on the ground.
#[must_use]
pub fn block_area_ha(input: &DrainsInput<'_>, block: usize) -> f64 {
    use geo::Area;
    let block = &input.blocks.blocks[block];
    let at = block.outline.exterior().0.first().copied().unwrap_or_default();
    input.site.geodesy.ground_area_m2(at, block.outline.unsigned_area()) / M2_PER_HA
}
