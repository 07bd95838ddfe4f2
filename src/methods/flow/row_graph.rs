//! Water between ridges: channels side by side that carry water along themselves and spill over the ridges between them.
//!
//! A channel is a line of stations with ground heights. Water passes freely from station to station, at the height of
//! the higher one; from a station to a station of another channel only over a ridge, whose crest stands `ridge_m` above
//! the higher of the two. A channel may be open at its ends: water leaves there at the height of the end station, or
//! over a sill. The filled level of a station is the lowest possible highest point of a way out, ridges
//! included; water follows that way. So sags pond until they spill along the channel or over a ridge, and where they
//! spill over a ridge is an overtopping point.
//!
//! Shapes and units: any number of channels of any number of stations; heights, sills and depths metres; `area_m2` is the
//! ground each station stands for; discharges in the unit of the runoff handed in. Where water can go on by several ways of
//! one level, the steepest fall of the ground decides, then the first in the list. A station where water can leave
//! does so only when it has no lower neighbour. Time O(n log n).
//!
//! Source: flood over the edges of a graph after [`Bibliography::Barnes2014`](crate::bibliography::Bibliography::Barnes2014),
//! with the level of an edge in place of the level of a cell; steepest descent and flats as in `direction`.
//!
//! How we know: a worked case by hand (`sag_ponds_then_overtops`), a slow filling as oracle and balance of water on random
//! channels (`levels_and_balance`); with ridges of no height, the levels and receivers of a grid (`no_ridges_is_a_grid`) and
//! the totals of a published one (`textbook_grid_without_ridges`).

use rayon::prelude::*;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// One station of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Ground height of the bed, metres.
    pub height_m: f64,
    /// Ground it stands for, square metres.
    pub area_m2: f64,
    /// Runoff that falls on it, in any unit of amount or rate.
    pub runoff: f64,
    /// Height over which water can leave the system here, metres; `None` where it cannot.
    pub exit_m: Option<f64>,
}

/// A way over a ridge between two stations of different channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// First station, by (channel, place along it).
    pub from: (u32, u32),
    /// Second station.
    pub to: (u32, u32),
    /// Height of the ridge above the higher of the two beds, metres; 0 where the ridge is cut.
    pub ridge_m: f64,
    /// Distance between the two, metres.
    pub length_m: f64,
}

/// Channels and the ridges between them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RowGraph {
    /// Stations of each channel, in order along it.
    pub channels: Vec<Vec<Station>>,
    /// Distance between following stations of each channel, metres.
    pub step_m: Vec<f64>,
    /// Ways over ridges.
    pub crossings: Vec<Crossing>,
}

/// Where the water of a station goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Onward {
    /// To a station of the same channel, by its place.
    Along(u32),
    /// Over a ridge to a station of another channel.
    Over((u32, u32)),
    /// Out of the system.
    Exit,
    /// Nowhere: no way out leads from here.
    Trapped,
}

/// What happens at one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationFlow {
    /// Level to which water must rise before it goes on, metres; at least the bed. Infinite where it is trapped.
    pub level_m: f64,
    /// Where it goes.
    pub onward: Onward,
    /// What runs through: its own runoff and everything upstream of it.
    pub through: f64,
}

impl StationFlow {
    /// Depth of standing water over a bed, metres; infinite where water is trapped.
    #[must_use]
    pub fn ponded_m(&self, bed_m: f64) -> f64 {
        self.level_m - bed_m
    }
}

/// Connected standing water.
#[derive(Debug, Clone, PartialEq)]
pub struct Sag {
    /// Wet stations, by (channel, place), in that order.
    pub stations: Vec<(u32, u32)>,
    /// Level it stands at before it spills, metres.
    pub level_m: f64,
    /// Greatest depth, metres.
    pub depth_m: f64,
    /// Wet area, square metres.
    pub area_m2: f64,
    /// Volume, cubic metres.
    pub volume_m3: f64,
}

/// Water going over a ridge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overtopping {
    /// Last station before the ridge.
    pub from: (u32, u32),
    /// First station beyond.
    pub to: (u32, u32),
    /// Level of the crest there, metres.
    pub crest_m: f64,
    /// What goes over.
    pub through: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct RowFlow {
    /// One entry a station, as the channels are given.
    pub stations: Vec<Vec<StationFlow>>,
    /// Standing water, by first station.
    pub sags: Vec<Sag>,
    /// Ridges gone over, by station.
    pub overtoppings: Vec<Overtopping>,
    /// Sum of what leaves by the exits.
    pub leaving: f64,
    /// Sum of what falls where no way out leads.
    pub trapped: f64,
}

impl RowFlow {
    /// What leaves the system at the first and at the last station of a channel (the same for a channel of one).
    #[must_use]
    pub fn end_discharges(&self, channel: usize) -> (f64, f64) {
        let leaving = |s: Option<&StationFlow>| s.filter(|s| s.onward == Onward::Exit).map_or(0.0, |s| s.through);
        (leaving(self.stations[channel].first()), leaving(self.stations[channel].last()))
    }
}

/// Routes the runoff of every station out of the system.
///
/// # Panics
/// When a crossing names a station that is not there, or `step_m` has not one entry a channel.
#[must_use]
pub fn row_flow(graph: &RowGraph) -> RowFlow {
    assert_eq!(graph.channels.len(), graph.step_m.len(), "one step length a channel");
    let links = Links::new(graph);
    let level = links.levels();
    let next = links.receivers(&level);
    let through = links.totals(&level, &next);
    links.answer(&level, &next, &through)
}

/// [`row_flow`] of each graph, side by side.
///
/// # Panics
/// As [`row_flow`].
#[must_use]
pub fn row_flows(graphs: &[&RowGraph]) -> Vec<RowFlow> {
    graphs.par_iter().map(|graph| row_flow(graph)).collect()
}

/// A way between two stations.
#[derive(Clone, Copy)]
struct Edge {
    to: u32,
    sill_m: f64,
    length_m: f64,
    over: bool,
}

/// The graph with stations numbered in one row.
struct Links<'a> {
    first: Vec<u32>,
    stations: Vec<&'a Station>,
    /// Edges of station `k`: `edges[start[k]..start[k + 1]]`.
    start: Vec<usize>,
    edges: Vec<Edge>,
}

/// What a station hands its water to.
#[derive(Clone, Copy, PartialEq)]
enum Next {
    To { station: u32, over: bool, sill_m: f64 },
    Exit,
    Trapped,
}

impl<'a> Links<'a> {
    fn new(graph: &'a RowGraph) -> Self {
        let mut first = vec![0_u32];
        graph.channels.iter().for_each(|c| first.push(first[first.len() - 1] + c.len() as u32));
        let stations: Vec<&Station> = graph.channels.iter().flatten().collect();
        let higher = |a: u32, b: u32| stations[a as usize].height_m.max(stations[b as usize].height_m);
        let mut pairs: Vec<(u32, Edge)> = Vec::new();
        let mut join = |a: u32, b: u32, ridge_m: f64, length_m: f64, over: bool| {
            let sill_m = higher(a, b) + ridge_m;
            pairs.push((a, Edge { to: b, sill_m, length_m, over }));
            pairs.push((b, Edge { to: a, sill_m, length_m, over }));
        };
        for (channel, step_m) in first.windows(2).zip(&graph.step_m) {
            (channel[0] + 1..channel[1]).for_each(|k| join(k - 1, k, 0.0, *step_m, false));
        }
        let number = |(channel, place): (u32, u32)| {
            assert!((place as usize) < graph.channels[channel as usize].len(), "station {place} of channel {channel}");
            first[channel as usize] + place
        };
        for c in &graph.crossings {
            join(number(c.from), number(c.to), c.ridge_m.max(0.0), c.length_m, true);
        }
        pairs.sort_by_key(|(from, edge)| (*from, edge.over));
        let start = (0..=stations.len()).map(|k| pairs.partition_point(|(from, _)| (*from as usize) < k)).collect();
        Self { first, stations, start, edges: pairs.into_iter().map(|(_, edge)| edge).collect() }
    }

    fn edges(&self, k: usize) -> &[Edge] {
        &self.edges[self.start[k]..self.start[k + 1]]
    }

    /// Flood from the exits over the edges.
    fn levels(&self) -> Vec<f64> {
        let mut level = vec![f64::INFINITY; self.stations.len()];
        let mut heap = BinaryHeap::new();
        for (k, station) in self.stations.iter().enumerate() {
            if let Some(exit_m) = station.exit_m {
                level[k] = exit_m.max(station.height_m);
                heap.push(Reverse((sortable(level[k]), k)));
            }
        }
        while let Some(Reverse((bits, here))) = heap.pop() {
            if bits != sortable(level[here]) {
                continue;
            }
            for edge in self.edges(here) {
                let over = level[here].max(edge.sill_m);
                if over < level[edge.to as usize] {
                    level[edge.to as usize] = over;
                    heap.push(Reverse((sortable(over), edge.to as usize)));
                }
            }
        }
        level
    }

    /// Steepest fall of the filled level over an edge that lies no higher; standing water goes by the fewest steps to
    /// where it falls or leaves.
    fn receivers(&self, level: &[f64]) -> Vec<Next> {
        let n = self.stations.len();
        let mut next = vec![Next::Trapped; n];
        let mut ready: Vec<u32> = Vec::new();
        for k in (0..n).filter(|k| level[*k].is_finite()) {
            let open = |e: &&Edge| e.sill_m <= level[k] && level[e.to as usize] < level[k];
            let fall = |e: &Edge| (level[k] - level[e.to as usize]) / e.length_m;
            let steepest = self.edges(k).iter().filter(open).reduce(|a, b| if fall(b) > fall(a) { b } else { a });
            next[k] = match steepest {
                Some(e) => Next::To { station: e.to, over: e.over, sill_m: e.sill_m },
                None if self.stations[k].exit_m.is_some_and(|exit| exit <= level[k]) => Next::Exit,
                None => continue,
            };
            ready.push(k as u32);
        }
        let mut at = 0;
        while at < ready.len() {
            let here = ready[at] as usize;
            at += 1;
            for e in self.edges(here) {
                let from = e.to as usize;
                if next[from] == Next::Trapped && level[from] == level[here] && e.sill_m <= level[here] {
                    next[from] = Next::To { station: here as u32, over: e.over, sill_m: e.sill_m };
                    ready.push(from as u32);
                }
            }
        }
        next
    }

    /// Adds runoff up along the receivers.
    fn totals(&self, level: &[f64], next: &[Next]) -> Vec<f64> {
        let mut total: Vec<f64> = self.stations.iter().map(|s| s.runoff).collect();
        let mut waiting = vec![0_u32; total.len()];
        let receiver = |k: usize| match next[k] {
            Next::To { station, .. } => Some(station as usize),
            Next::Exit | Next::Trapped => None,
        };
        (0..total.len()).filter_map(receiver).for_each(|to| waiting[to] += 1);
        let mut ready: Vec<usize> = (0..total.len()).filter(|k| waiting[*k] == 0 && level[*k].is_finite()).collect();
        while let Some(here) = ready.pop() {
            let Some(to) = receiver(here) else { continue };
            total[to] += total[here];
            waiting[to] -= 1;
            if waiting[to] == 0 {
                ready.push(to);
            }
        }
        total
    }

    fn name(&self, k: usize) -> (u32, u32) {
        let channel = self.first.partition_point(|f| *f as usize <= k) - 1;
        (channel as u32, k as u32 - self.first[channel])
    }

    fn answer(&self, level: &[f64], next: &[Next], through: &[f64]) -> RowFlow {
        let mut overtoppings = Vec::new();
        let (mut leaving, mut trapped) = (0.0, 0.0);
        let mut flows = Vec::with_capacity(level.len());
        for k in 0..level.len() {
            let onward = match next[k] {
                Next::To { station, over: false, .. } => Onward::Along(self.name(station as usize).1),
                Next::To { station, over: true, sill_m } => {
                    let to = self.name(station as usize);
                    overtoppings.push(Overtopping { from: self.name(k), to, crest_m: sill_m, through: through[k] });
                    Onward::Over(to)
                }
                Next::Exit => Onward::Exit,
                Next::Trapped => Onward::Trapped,
            };
            leaving += if onward == Onward::Exit { through[k] } else { 0.0 };
            trapped += if onward == Onward::Trapped { through[k] } else { 0.0 };
            flows.push(StationFlow { level_m: level[k], onward, through: through[k] });
        }
        let stations = self.first.windows(2).map(|w| flows[w[0] as usize..w[1] as usize].to_vec()).collect();
        RowFlow { stations, sags: self.sags(level), overtoppings, leaving, trapped }
    }

    /// Wet stations of one level that touch through edges under water.
    fn sags(&self, level: &[f64]) -> Vec<Sag> {
        let wet = |k: usize| level[k].is_finite() && level[k] > self.stations[k].height_m;
        let mut seen = vec![false; level.len()];
        let mut sags = Vec::new();
        for start in (0..level.len()).filter(|k| wet(*k)) {
            if std::mem::replace(&mut seen[start], true) {
                continue;
            }
            let mut members = vec![start];
            let mut at = 0;
            while at < members.len() {
                let here = members[at];
                at += 1;
                for e in self.edges(here) {
                    let to = e.to as usize;
                    if !seen[to] && wet(to) && level[to] == level[here] && e.sill_m < level[here] {
                        seen[to] = true;
                        members.push(to);
                    }
                }
            }
            members.sort_unstable();
            let depth = |k: &usize| level[*k] - self.stations[*k].height_m;
            sags.push(Sag {
                level_m: level[start],
                depth_m: members.iter().map(depth).fold(0.0, f64::max),
                area_m2: members.iter().map(|k| self.stations[*k].area_m2).sum(),
                volume_m3: members.iter().map(|k| depth(k) * self.stations[*k].area_m2).sum(),
                stations: members.iter().map(|k| self.name(*k)).collect(),
            });
        }
        sags
    }
}

/// Sorts as the number does.
fn sortable(height: f64) -> u64 {
    let bits = (height + 0.0).to_bits();
    if bits >> 63 == 1 { !bits } else { bits | (1 << 63) }
}

#[cfg(test)]
#[path = "row_graph_tests.rs"]
mod tests;
