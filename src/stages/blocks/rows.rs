//! Rows, falls and headlands of a block whose outline and bearing are settled.

use super::bent::{EDGE_M, cropped};
use super::earth::Way;
use super::judge::Judge;
use super::outline::{Outline, is_side};
use super::partition::Part;
use crate::land::blocks::{BlockId, BlockPlan, Headland, HeadlandKind, Judged, Row, RowBlock};
use crate::land::geodesy::LocalGeodesy;
use crate::land::site::GivenBlock;
use crate::methods::shapes::{RowFrame, difference, inset_by_edge, intersection};
use crate::stages::falls::row_fall;
use crate::stages::row_frame::bend_of;
use crate::units::Bearing;
use geo::{Area, Centroid, Coord, Line, LineString, MultiPolygon};
use std::sync::Arc;

/// Headland scraps below this are rounding, square metres.
const SCRAP_M2: f64 = 5.0;

/// Name and origin of a block before it has a number.
pub(super) struct Label {
    pub(super) name: Option<String>,
    pub(super) parcel: String,
    pub(super) given: bool,
}

/// Lays the block out for good.
pub(super) fn block(judge: &Judge<'_>, geodesy: &LocalGeodesy, part: &Part, label: &Label) -> RowBlock {
    let axis = part.trial.bearing;
    let along = part.trial.runs_along();
    let bearing = if along { axis } else { axis.reversed() };
    let frame = part.trial.bent.as_ref().map(|line| RowFrame::Bent(Arc::clone(line)));
    let rows_at = |at: Coord<f64>| frame.as_ref().map_or(axis, |f| f.bearing_at(at));
    let broken = frame.as_ref().map(|_| part.outline.broken(EDGE_M));
    let outline = broken.as_ref().unwrap_or(&part.outline);
    let cropped = cropped(judge, outline, rows_at, 0.0);
    let mut lines: Vec<(Vec<Coord<f64>>, f64)> =
        part.trial.lines.iter().map(|l| (l.points(along), l.length_m())).collect();
    if !along {
        // Lines come left to right along the axis; seen along the reversed bearing that is right to left.
        lines.reverse();
    }
    let rows = lines
        .into_iter()
        .enumerate()
        .map(|(i, (line, length_m))| Row {
            number: u32::try_from(i + 1).unwrap_or(u32::MAX),
            length_m: geodesy.ground_length_m(line[0], length_m),
            fall: judge.ground.and_then(|g| row_fall(g, &line)),
            line: LineString(line),
        })
        .collect();
    let bent = part.trial.bent.as_ref().map(|line| if along { bend_of(line) } else { bend_of(&line.reversed()) });
    RowBlock {
        id: BlockId(0),
        name: label.name.clone().unwrap_or_default(),
        parcel: label.parcel.clone(),
        headlands: headlands(judge, outline, rows_at, &cropped),
        outline: part.outline.polygon.clone(),
        cropped,
        bearing,
        bent,
        row_spacing_m: judge.params.row_spacing_m,
        rows,
        judged: Judged {
            cost: part.trial.cost,
            two_way: part.trial.earth.is_some_and(|e| e.way == Way::Both),
            earth_m3: part.trial.earth.map_or(0.0, |e| e.m3),
            earth_gap_ratio: part.trial.earth.and_then(|e| e.gap_ratio),
            crop_haul_m: part.trial.crop_haul_m,
        },
        given: label.given,
    }
}

/// The strips between an outline and the land under rows; `rows` tells the direction of the rows at a place.
fn headlands(
    judge: &Judge<'_>,
    outline: &Outline,
    rows: impl Fn(Coord<f64>) -> Bearing,
    cropped: &MultiPolygon<f64>,
) -> Vec<Headland> {
    let (turning_m, side_m) = (judge.params.turning_headland_m, judge.params.side_headland_m);
    let all = difference(&MultiPolygon(vec![outline.polygon.clone()]), cropped, SCRAP_M2);
    let ends_off = inset_by_edge(
        &outline.polygon,
        |_, start, end| {
            let rows = rows((start + end) / 2.0);
            let width = outline.width_at(judge.params, start, end, rows);
            if is_side(Line::new(start, end), rows) { 0.0 } else { width * judge.scale }
        },
        SCRAP_M2,
    );
    let turning = difference(&all, &ends_off, SCRAP_M2);
    let side = intersection(&all, &ends_off, SCRAP_M2);
    let strip = |kind, width_m| move |outline| Headland { kind, outline, width_m };
    turning
        .0
        .into_iter()
        .map(strip(HeadlandKind::Turning, turning_m))
        .chain(side.0.into_iter().map(strip(HeadlandKind::Side, side_m)))
        .collect()
}

/// Numbers the blocks north to south, then west to east (by centre, to the metre), names the nameless, and puts the names
/// into the bearing study.
pub(super) fn number(plan: &mut BlockPlan, previous: &[GivenBlock]) {
    keep_names(&mut plan.blocks, previous);
    let centre = |b: &RowBlock| b.outline.centroid().map_or((0.0, 0.0), |c| (-(c.y().round()), c.x().round()));
    let mut order: Vec<usize> = (0..plan.blocks.len()).collect();
    order.sort_by(|i, j| {
        let (a, b) = (centre(&plan.blocks[*i]), centre(&plan.blocks[*j]));
        a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
    });
    for (n, i) in order.iter().enumerate() {
        let block = &mut plan.blocks[*i];
        block.id = BlockId(u32::try_from(n + 1).unwrap_or(u32::MAX));
    }
    let taken: Vec<String> = plan.blocks.iter().map(|b| b.name.clone()).collect();
    let mut fresh = (1..).map(|n| format!("B{n:02}")).filter(|name| !taken.contains(name));
    for i in order {
        if plan.blocks[i].name.is_empty() {
            plan.blocks[i].name = fresh.next().unwrap_or_default();
        }
    }
    for trial in &mut plan.study {
        if let Some(block) = trial.block.parse::<usize>().ok().and_then(|i| plan.blocks.get(i)) {
            trial.block = block.name.clone();
        }
    }
    plan.blocks.sort_by_key(|b| b.id);
}

/// Gives nameless blocks the names of the earlier blocks they overlap most, each name once, the largest overlap first.
fn keep_names(blocks: &mut [RowBlock], previous: &[GivenBlock]) {
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (i, block) in blocks.iter().enumerate().filter(|(_, b)| b.name.is_empty()) {
        for (j, old) in previous.iter().enumerate() {
            let shared_m2 = intersection(&block.outline, &old.outline, SCRAP_M2).unsigned_area();
            if shared_m2 > 0.0 {
                pairs.push((shared_m2, i, j));
            }
        }
    }
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    for (_, i, j) in pairs {
        let used = blocks.iter().any(|b| b.name == previous[j].name);
        if blocks[i].name.is_empty() && !used {
            blocks[i].name.clone_from(&previous[j].name);
        }
    }
}
