//! Rows, falls and headlands of a block whose outline and bearing are settled.

use super::search::Part;
use super::trial::Judge;
use crate::land::blocks::{BlockId, Headland, HeadlandKind, Row, RowBlock};
use crate::land::geodesy::LocalGeodesy;
use crate::methods::shapes::{difference, inset_by_edge, intersection};
use crate::stages::falls::row_fall;
use crate::units::Bearing;
use geo::{Centroid, Coord, LineString, MultiPolygon};

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
    let bearing = if part.trial.runs_along { axis } else { axis.reversed() };
    let layout = judge.lay_out(&part.outline, axis);
    let mut ends: Vec<(Coord<f64>, Coord<f64>)> =
        layout.lines.iter().map(|l| if part.trial.runs_along { (l.start, l.end) } else { (l.end, l.start) }).collect();
    if !part.trial.runs_along {
        // Lines come left to right along the axis; seen along the reversed bearing that is right to left.
        ends.reverse();
    }
    let rows = ends
        .into_iter()
        .enumerate()
        .map(|(i, (high, low))| Row {
            number: u32::try_from(i + 1).unwrap_or(u32::MAX),
            length_m: geodesy.ground_length_m(high, ((low.x - high.x).powi(2) + (low.y - high.y).powi(2)).sqrt()),
            fall: judge.ground.and_then(|g| row_fall(g, high, low)),
            line: LineString(vec![high, low]),
        })
        .collect();
    RowBlock {
        id: BlockId(0),
        name: label.name.clone().unwrap_or_default(),
        parcel: label.parcel.clone(),
        headlands: headlands(judge, part, bearing, &layout.cropped),
        outline: part.outline.clone(),
        cropped: layout.cropped,
        bearing,
        row_spacing_m: judge.params.row_spacing_m,
        rows,
        yearly_cost: part.trial.yearly,
        given: label.given,
    }
}

fn headlands(judge: &Judge<'_>, part: &Part, rows: Bearing, cropped: &MultiPolygon<f64>) -> Vec<Headland> {
    let (turning_m, side_m) = (judge.params.turning_headland_m, judge.params.side_headland_m);
    let outline = MultiPolygon(vec![part.outline.clone()]);
    let all = difference(&outline, cropped, SCRAP_M2);
    let ends_off = inset_by_edge(
        &part.outline,
        |edge, _, _| if Judge::is_side(edge, rows) { 0.0 } else { turning_m * judge.scale },
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

/// Numbers the blocks north to south, then west to east (by centre, to the metre), and names the nameless.
pub(super) fn number(blocks: &mut [RowBlock]) {
    let centre = |b: &RowBlock| b.outline.centroid().map_or((0.0, 0.0), |c| (-(c.y().round()), c.x().round()));
    blocks.sort_by(|a, b| {
        let (ca, cb) = (centre(a), centre(b));
        ca.0.total_cmp(&cb.0).then(ca.1.total_cmp(&cb.1))
    });
    for (i, block) in blocks.iter_mut().enumerate() {
        block.id = BlockId(u32::try_from(i + 1).unwrap_or(u32::MAX));
        if block.name.is_empty() {
            block.name = format!("B{:02}", i + 1);
        }
    }
}
