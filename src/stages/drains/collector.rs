//! Where a block's rows let go of their water: a line along the low ends, in the turning headland.

use crate::land::blocks::{HeadlandKind, RowBlock};
use crate::land::site::Site;
use crate::stages::row_frame;
use geo::{Coord, LineString, Simplify};

/// Low ends further apart than this many row spacings belong to two collectors.
const GAP_SPACINGS: f64 = 24.0;
/// Fewer rows than this are not worth a drain of their own: they let go into the headland and run to the nearest one.
const LEAST_ROWS: usize = 6;
/// As far as that may be, metres; rows further off are told to have no drain.
const HEADLAND_RUN_M: f64 = 60.0;
/// The line is drawn straight where it strays less than this from the row ends' own line, metres.
const STRAIGHTEN_M: f64 = 1.0;

/// The rows of one block that end along one line.
#[derive(Debug, Clone)]
pub struct Collector {
    /// Position of the block in the plan.
    pub block: usize,
    /// Positions of the rows in the block, in order along [`Self::line`].
    pub rows: Vec<usize>,
    /// Rows too far off to be drained by it: their water comes here in the end, but no drain is beside them.
    pub far_rows: Vec<usize>,
    /// Line past the row ends; one point when a single row ends there.
    pub line: Vec<Coord<f64>>,
}

/// The collectors of a block: one per end of the block that takes water, more where the row ends lie apart.
#[must_use]
pub fn collectors(site: &Site, block_at: usize, block: &RowBlock, default_offset_m: f64) -> Vec<Collector> {
    let Some(first) = block.rows.first() else { return Vec::new() };
    let frame = row_frame::through(block, first.high_end());
    let scale = site.geodesy.scale_at(first.high_end());
    let offset_m = scale * turning_width_m(block).map_or(default_offset_m, |w| w / 2.0);
    let gap_m = GAP_SPACINGS * block.row_spacing_m * scale;
    let mut all = Vec::new();
    for ahead in [true, false] {
        let mut ends: Vec<(f64, f64, usize)> = block
            .rows
            .iter()
            .enumerate()
            .filter_map(|(i, row)| {
                let (high, low) = (frame.enter(row.high_end()), frame.enter(row.low_end()));
                let falls_ahead = low.along_m >= high.along_m;
                let past_m = if falls_ahead { offset_m } else { -offset_m };
                (falls_ahead == ahead).then_some((low.across_m, low.along_m + past_m, i))
            })
            .collect();
        ends.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
        for Gathered { chain, near, far } in gathered(chains(&ends, gap_m)) {
            let points: Vec<Coord<f64>> = chain.iter().map(|(across, along, _)| frame.leave(*across, *along)).collect();
            let line = if points.len() > 1 { LineString(points).simplify(STRAIGHTEN_M).0 } else { points };
            let rows = chain.iter().map(|end| end.2).chain(near).collect();
            all.push(Collector { block: block_at, rows, far_rows: far, line });
        }
    }
    all
}

/// Row ends (across, along, position of the row) in a line.
type Chain = Vec<(f64, f64, usize)>;

/// A chain worth a drain, with the stray rows whose water comes to it along the headland.
struct Gathered {
    chain: Chain,
    near: Vec<usize>,
    far: Vec<usize>,
}

fn gathered(chains: Vec<Chain>) -> Vec<Gathered> {
    let alone = |chain| Gathered { chain, near: Vec::new(), far: Vec::new() };
    let (long, stray): (Vec<Chain>, Vec<Chain>) = chains.into_iter().partition(|c| c.len() >= LEAST_ROWS);
    if long.is_empty() {
        // A block of a few rows gets its drain all the same.
        return stray.into_iter().map(alone).collect();
    }
    let mut all: Vec<Gathered> = long.into_iter().map(alone).collect();
    for end in stray.into_iter().flatten() {
        let way_m =
            |chain: &Chain| chain.iter().map(|c| (c.0 - end.0).hypot(c.1 - end.1)).fold(f64::INFINITY, f64::min);
        let nearest = all.iter_mut().map(|g| (way_m(&g.chain), g)).min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((way, gathered)) = nearest {
            if way <= HEADLAND_RUN_M { &mut gathered.near } else { &mut gathered.far }.push(end.2);
        }
    }
    all
}

/// Width of the block's turning headland, metres on the ground.
fn turning_width_m(block: &RowBlock) -> Option<f64> {
    let turning = block.headlands.iter().filter(|h| h.kind == HeadlandKind::Turning);
    turning.map(|h| h.width_m).reduce(f64::min)
}

/// Joins ends, sorted across the rows, to runs in which each lies near the one before it.
fn chains(ends: &[(f64, f64, usize)], gap_m: f64) -> Vec<Vec<(f64, f64, usize)>> {
    let mut chains: Vec<Vec<(f64, f64, usize)>> = Vec::new();
    for end in ends {
        let mut nearest: Option<(f64, usize)> = None;
        for (i, chain) in chains.iter().enumerate() {
            let Some(last) = chain.last() else { continue };
            let apart_m = (end.0 - last.0).hypot(end.1 - last.1);
            // Two ends of one row line (cut by a hole) never share a collector.
            let beside = end.0 - last.0 > 1e-6;
            if beside && apart_m <= gap_m && nearest.is_none_or(|(d, _)| apart_m < d) {
                nearest = Some((apart_m, i));
            }
        }
        match nearest {
            Some((_, i)) => chains[i].push(*end),
            None => chains.push(vec![*end]),
        }
    }
    chains
}
