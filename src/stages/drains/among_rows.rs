//! Water among the rows of each block: what leaves at the row ends, what stands in sags, and where it goes over a ridge.

use super::furrows::{Furrows, own_ways_m};
use super::params::DrainsParams;
use super::{DrainsInput, proof};
use crate::land::blocks::RowBlock;
use crate::land::drains::{GroundState, RowPond, RowSpill};
use crate::methods::flow::{RowFlow, RowGraph, Sag, row_flows};
use crate::methods::hydraulics::{ReturnRain, rational_m3_s};
use geo::{Coord, MultiLineString};

/// What one row does with water on one surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RowNow {
    /// Deepest standing water, metres; of what finds no way out, up to the lowest ridge it would reach.
    pub standing_m: f64,
    /// Land whose water leaves at its end, hectares.
    pub end_ha: f64,
    /// Peak discharge there, cubic metres a second.
    pub end_m3_s: f64,
    /// The row it spills into and how far below its own way out that ridge is, metres; the furthest below.
    pub spills: Option<(u32, f64)>,
}

/// Water among the rows of one block on one surface.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BlockWater {
    /// By position of the row.
    pub rows: Vec<RowNow>,
    /// Standing water, deepest first.
    pub ponds: Vec<RowPond>,
    /// Ridges gone over, largest catchment first.
    pub spills: Vec<RowSpill>,
}

/// Water among the rows, by position of the block.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct AmongBlocks {
    /// On the ground as it lies; `None` where heights are missing.
    pub before: Vec<Option<BlockWater>>,
    /// On the design surface; `None` where nothing is formed.
    pub after: Vec<Option<BlockWater>>,
}

/// What is followed besides the stage's inputs.
pub(super) struct Runoff<'a> {
    /// Design rain.
    pub rain: &'a ReturnRain,
    /// Land of a row, hectares, by (position of block, position of row).
    pub row_area_ha: &'a dyn Fn(usize, usize) -> f64,
    /// Whether a drain takes the row's low end.
    pub open: &'a dyn Fn(usize, usize) -> bool,
}

/// Follows the water of all blocks on both surfaces.
pub(super) fn follow(input: &DrainsInput<'_>, runoff: &Runoff<'_>, p: &DrainsParams) -> AmongBlocks {
    let blocks = &input.blocks.blocks;
    let furrows: Vec<Furrows> =
        blocks.iter().map(|b| Furrows::of(b, p.row_water_step_m, p.ridge_mm / 1_000.0)).collect();
    let formed = |b: usize| {
        let earth = input.levelling.and_then(|l| l.blocks.iter().find(|e| e.block == blocks[b].id));
        proof::after_fall(earth, 0).is_some()
    };
    let of = |state: GroundState| {
        let graphs = (0..blocks.len()).map(|b| match state {
            GroundState::Before => graph(&furrows[b], &|at| input.ground.concept.0.bilinear(at), b, runoff),
            GroundState::After if formed(b) => graph(&furrows[b], &|at| formed_m(input, at), b, runoff),
            GroundState::After => None,
        });
        let graphs: Vec<Option<RowGraph>> = graphs.collect();
        let known: Vec<&RowGraph> = graphs.iter().flatten().collect();
        let mut flows = row_flows(&known).into_iter();
        let tell = Telling { state, band_m: band_m(input, state, p), rain: runoff.rain, p };
        graphs
            .iter()
            .enumerate()
            .map(|(b, graph)| Some(tell.block(&blocks[b], &furrows[b], graph.as_ref()?, &flows.next()?)))
            .collect()
    };
    AmongBlocks { before: of(GroundState::Before), after: of(GroundState::After) }
}

/// What heights of a surface may be off by, metres.
pub(super) fn band_m(input: &DrainsInput<'_>, state: GroundState, p: &DrainsParams) -> f64 {
    match state {
        GroundState::Before => input.ground.accuracy.band_95_m(),
        GroundState::After => p.finish_tolerance_mm / 1_000.0,
    }
}

/// Height in a row of formed land. The outer rows lie on cells whose centres may be outside of it, where the cells beside
/// them stand for the design.
fn formed_m(input: &DrainsInput<'_>, at: Coord<f64>) -> Option<f64> {
    let design = input.levelling.and_then(|l| l.design.0.0.bilinear(at));
    design.or_else(|| input.ground.concept.0.bilinear(at))
}

fn graph(
    furrows: &Furrows,
    height_m: &dyn Fn(Coord<f64>) -> Option<f64>,
    block: usize,
    runoff: &Runoff<'_>,
) -> Option<RowGraph> {
    furrows.on(height_m, &|r| (runoff.row_area_ha)(block, r), &|r| (runoff.open)(block, r))
}

/// Turns the answer of the graph into the words of the job.
struct Telling<'a> {
    state: GroundState,
    band_m: f64,
    rain: &'a ReturnRain,
    p: &'a DrainsParams,
}

impl Telling<'_> {
    fn block(&self, block: &RowBlock, furrows: &Furrows, graph: &RowGraph, flow: &RowFlow) -> BlockWater {
        let spills = self.spills(block, furrows, graph, flow);
        let rows = (0..block.rows.len()).map(|r| self.row(block, graph, flow, r)).collect();
        let told_m = self.band_m.max(self.p.reverse_tolerance_mm / 1_000.0);
        let mut ponds: Vec<RowPond> =
            flow.sags.iter().filter(|sag| sag.depth_m > told_m).map(|sag| self.pond(block, furrows, sag)).collect();
        ponds.sort_by(|a, b| b.depth_m.total_cmp(&a.depth_m));
        BlockWater { rows, ponds, spills }
    }

    fn row(&self, block: &RowBlock, graph: &RowGraph, flow: &RowFlow, r: usize) -> RowNow {
        let beds = graph.channels[r].iter();
        let depth = flow.stations[r].iter().zip(beds).map(|(s, bed)| s.ponded_m(bed.height_m));
        let end_ha = flow.end_discharges(r).1;
        let minutes = (block.rows[r].length_m / self.p.furrow_velocity_m_s / 60.0).max(self.p.least_travel_min);
        let runoff = match self.state {
            GroundState::Before => self.p.runoff_before_ratio,
            GroundState::After => self.p.runoff_after_ratio,
        };
        let own = own_ways_m(&graph.channels[r]);
        let number = |at: (u32, u32)| block.rows[at.0 as usize].number;
        let over = flow.overtoppings.iter().filter(|o| o.from.0 as usize == r && number(o.from) != number(o.to));
        let below = over.map(|o| (number(o.to), own[o.from.1 as usize] - o.crest_m));
        RowNow {
            standing_m: depth.filter(|d| d.is_finite()).fold(0.0, f64::max),
            end_ha,
            end_m3_s: rational_m3_s(runoff, self.rain.intensity_mm_h(minutes), end_ha),
            spills: below.reduce(|a, b| if b.1 > a.1 { b } else { a }),
        }
    }

    fn pond(&self, block: &RowBlock, furrows: &Furrows, sag: &Sag) -> RowPond {
        let mut lines = Vec::new();
        for run in sag.stations.chunk_by(|a, b| a.0 == b.0 && a.1 + 1 == b.1) {
            lines.push(furrows.stretch(run[0].0, run[0].1, run[run.len() - 1].1));
        }
        let numbers = || sag.stations.iter().map(|s| block.rows[s.0 as usize].number);
        RowPond {
            block: block.id,
            state: self.state,
            furrows: MultiLineString(lines),
            rows: (numbers().min().unwrap_or(0), numbers().max().unwrap_or(0)),
            level_m: sag.level_m,
            depth_m: sag.depth_m,
            area_m2: sag.area_m2,
            volume_m3: sag.volume_m3,
        }
    }

    /// Where water leaves its furrow for another row, crests between two halves of one row left out.
    fn spills(&self, block: &RowBlock, furrows: &Furrows, graph: &RowGraph, flow: &RowFlow) -> Vec<RowSpill> {
        let number = |station: (u32, u32)| block.rows[station.0 as usize].number;
        let over = flow.overtoppings.iter().filter(|o| number(o.from) != number(o.to));
        let mut spills: Vec<RowSpill> = over
            .map(|o| {
                let way_m = own_ways_m(&graph.channels[o.from.0 as usize])[o.from.1 as usize];
                RowSpill {
                    block: block.id,
                    state: self.state,
                    at: furrows.place(o.from),
                    from_row: number(o.from),
                    to_row: number(o.to),
                    crest_m: o.crest_m,
                    below_own_way_m: way_m.is_finite().then_some(way_m - o.crest_m),
                    catchment_ha: o.through,
                }
            })
            .collect();
        spills.sort_by(|a, b| b.catchment_ha.total_cmp(&a.catchment_ha));
        spills
    }
}

impl BlockWater {
    fn in_state(mut self, state: GroundState) -> Self {
        self.ponds.iter_mut().for_each(|pond| pond.state = state);
        self.spills.iter_mut().for_each(|spill| spill.state = state);
        self
    }
}

impl AmongBlocks {
    /// One row before and after; after is before where nothing is formed.
    pub(super) fn row(&self, block: usize, row: usize) -> Option<(RowNow, RowNow)> {
        let of = |side: &[Option<BlockWater>]| side.get(block)?.as_ref()?.rows.get(row).copied();
        let before = of(&self.before)?;
        Some((before, of(&self.after).unwrap_or(before)))
    }
    /// Ponds and spills on both surfaces, by block. Where nothing is formed, what is before stays after.
    pub(super) fn told(self) -> (Vec<RowPond>, Vec<RowSpill>) {
        let mut ponds = Vec::new();
        let mut spills = Vec::new();
        for (before, after) in self.before.into_iter().zip(self.after) {
            let after = after.or_else(|| before.clone().map(|water| water.in_state(GroundState::After)));
            for water in [before, after].into_iter().flatten() {
                ponds.extend(water.ponds);
                spills.extend(water.spills);
            }
        }
        (ponds, spills)
    }
}

#[cfg(test)]
#[path = "among_rows_tests.rs"]
mod tests;
