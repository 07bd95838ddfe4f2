//! Lines worth cutting along, read off a map of which direction serves each place best.
//!
//! Every cell is priced for every direction: the turning its row would cost it, the land when the row is too short, and the
//! depth of earth the lanes of that direction need there; neighbours of different directions pay for the headland between them.
//! Where the cheapest map changes direction, a straight line is laid through the border.

use super::earth::Lattice;
use super::judge::Judge;
use super::outline::Outline;
use super::partition::CutLine;
use super::search::{self, Fixed};
use crate::grid::GridSpec;
use crate::methods::optimise::Labelling;
use crate::methods::shapes::{Frame, cells_inside, row_spans};
use crate::units::Bearing;
use geo::{BoundingRect, Coord};
use std::collections::BTreeMap;

/// Cells of the map, and their least side in metres.
const CELLS: f64 = 1_600.0;
const LEAST_CELL_M: f64 = 8.0;
/// Directions besides the candidates, and candidates taken.
const TURNS: u32 = 12;
const CANDIDATES: usize = 10;
/// Borders shorter than this many cells lead to no cut, and at most so many borders do.
const BORDER_CELLS: usize = 4;
const BORDERS: usize = 6;

/// Lines along the borders of the cheapest map of directions.
pub(super) fn cut_lines(judge: &Judge<'_>, whole: &Outline, fixed: Fixed) -> Vec<CutLine> {
    if fixed.bearing.is_some() || whole.area_m2 < 2e4 * judge.params.min_block_ha {
        return Vec::new();
    }
    let Some(rect) = whole.polygon.bounding_rect() else { return Vec::new() };
    let spec = GridSpec::covering(rect, (whole.area_m2 / CELLS).sqrt().max(LEAST_CELL_M));
    let inside = cells_inside(spec, &whole.polygon);
    let bearings = directions(judge, whole);
    let mut price = vec![0.0; spec.len() * bearings.len()];
    for (k, bearing) in bearings.iter().enumerate() {
        let cell_price = prices(judge, whole, *bearing, spec.cell_m);
        for i in (0..spec.len()).filter(|i| inside[*i]) {
            price[i * bearings.len() + k] = cell_price(spec.centre(spec.cell(i))) * spec.cell_area_m2();
        }
    }
    let border = spec.cell_m * judge.params.shared_headland_m * judge.margin_per_m2();
    let labels =
        Labelling { cols: spec.cols as usize, inside: inside.clone(), labels: bearings.len(), price, border }.solve();
    lines(&labels, &inside, spec, &bearings)
}

fn directions(judge: &Judge<'_>, whole: &Outline) -> Vec<Bearing> {
    let mut list: Vec<Bearing> =
        search::corners(judge, whole, Fixed::default()).into_iter().take(CANDIDATES).map(|(b, _)| b).collect();
    for i in 0..TURNS {
        let turn = Bearing::from_degrees(f64::from(i) * 180.0 / f64::from(TURNS));
        if list.iter().all(|b| b.axis_angle_to(turn) > 3.0) {
            list.push(turn);
        }
    }
    list
}

/// What a square metre costs in a year under rows of a bearing, by place.
fn prices(judge: &Judge<'_>, whole: &Outline, bearing: Bearing, h: f64) -> impl Fn(Coord<f64>) -> f64 {
    let p = judge.params;
    let spacing = p.row_spacing_m * judge.scale;
    let origin = whole.edges.first().map_or_else(Coord::default, |(l, _)| l.start);
    let frame = Frame::new(bearing, origin);
    let mut runs: BTreeMap<i64, Vec<(f64, f64)>> = BTreeMap::new();
    for span in row_spans(&whole.clear(p, judge.scale, bearing), bearing, h, origin) {
        let ends = (frame.enter(span.start).along_m, frame.enter(span.end).along_m);
        runs.entry(span.index).or_default().push(ends);
    }
    let depths = Lattice::of(judge, whole, bearing, None, h).and_then(|lattice| lattice.lane_depths(judge));
    let earth = judge.yearly_of(judge.earth_once(0.5, 0.0));
    let (margin, turn, least) = (judge.margin_per_m2(), judge.turn_cost(), p.min_row_length_m * judge.scale);
    let longest = p.longest_row_m() * judge.scale;
    move |at| {
        let place = frame.enter(at);
        #[expect(clippy::cast_possible_truncation, reason = "line numbers of any plan fit 2^53")]
        let lane = (place.across_m / h).round() as i64;
        let run = runs.get(&lane).into_iter().flatten().find(|(from, to)| (*from..=*to).contains(&place.along_m));
        let length = run.map_or(0.0, |(from, to)| to - from).min(longest);
        let rows = if length < least { margin } else { (turn / (spacing * length)).min(margin) };
        rows + depths.as_ref().map_or(0.0, |d| d(at)) * earth
    }
}

/// Straight lines through the longest borders, each as fitted and turned onto the directions it parts.
fn lines(labels: &[u32], inside: &[bool], spec: GridSpec, bearings: &[Bearing]) -> Vec<CutLine> {
    let cols = spec.cols as usize;
    let mut borders: BTreeMap<(u32, u32), Vec<Coord<f64>>> = BTreeMap::new();
    for i in (0..spec.len()).filter(|i| inside[*i]) {
        let right = ((i + 1) % cols != 0).then_some(i + 1);
        for j in [right, Some(i + cols)].into_iter().flatten().filter(|j| *j < spec.len() && inside[*j]) {
            if labels[i] != labels[j] {
                let middle = (spec.centre(spec.cell(i)) + spec.centre(spec.cell(j))) / 2.0;
                borders.entry((labels[i].min(labels[j]), labels[i].max(labels[j]))).or_default().push(middle);
            }
        }
    }
    let mut longest: Vec<_> = borders.into_iter().filter(|(_, points)| points.len() >= BORDER_CELLS).collect();
    longest.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then(a.0.cmp(&b.0)));
    longest
        .into_iter()
        .take(BORDERS)
        .flat_map(|((a, b), points)| {
            let (at, fitted) = main_axis(&points);
            [Some(fitted), bearings.get(a as usize).copied(), bearings.get(b as usize).copied()]
                .into_iter()
                .flatten()
                .map(move |bearing| CutLine { at, bearing })
        })
        .collect()
}

/// Middle and direction of the line with the least sum of squared distances (the main axis of the scatter).
fn main_axis(points: &[Coord<f64>]) -> (Coord<f64>, Bearing) {
    let n = points.len() as f64;
    let middle = points.iter().fold(Coord::zero(), |sum, p| sum + *p) / n;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        let d = *p - middle;
        xx += d.x * d.x;
        xy += d.x * d.y;
        yy += d.y * d.y;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    (middle, Bearing::from_east_north(angle.cos(), angle.sin()).axis())
}
