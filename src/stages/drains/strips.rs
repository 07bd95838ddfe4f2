//! Land beside drains that may take their spoil.
//!
//! A strip of the wished width runs along each side of a stretch, from the edge of the cut. Left out is the side on which
//! rows end (a bank there would shut their water in), land beyond the boundary, crop, kept land, tracks and buffers of
//! water, and whatever lies nearer to another stretch, so that no land is counted twice.

use super::DrainsInput;
use super::params::DrainsParams;
use super::sizing::Dug;
use crate::grid::GridSpec;
use crate::methods::shapes::cells_inside;
use geo::{BoundingRect, Closest, ClosestPoint, Coord, Distance, Euclidean, Line, Point};

/// Cells across a strip.
const ACROSS: f64 = 8.0;
/// Cells of the grid strips are counted on at most; beyond it they grow.
const MOST_CELLS: f64 = 400_000.0;
/// Rows that end this far beyond a strip still send their water through it, metres.
const BEYOND_M: f64 = 10.0;

/// A drain between two stations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    /// Position of the drain.
    pub(super) drain: usize,
    /// From the upper station to the lower.
    pub(super) line: Line<f64>,
    /// Earth dug, bank cubic metres.
    pub(super) dug_m3: f64,
    /// Half the width of the cut at ground level, metres on the grid.
    pub(super) half_top_m: f64,
    /// Land beside it that may take spoil, square metres on the ground.
    pub(super) room_m2: f64,
}

impl Stretch {
    /// Its middle.
    pub(super) fn middle(&self) -> Coord<f64> {
        (self.line.start + self.line.end) / 2.0
    }

    /// Whether a place lies to the left of it, looking downstream.
    fn has_left(&self, at: Coord<f64>) -> bool {
        let (way, to) = (self.line.delta(), at - self.line.start);
        way.x * to.y - way.y * to.x > 0.0
    }

    fn distance_m(&self, at: Coord<f64>) -> f64 {
        match self.line.closest_point(&Point(at)) {
            Closest::Intersection(near) | Closest::SinglePoint(near) => Euclidean.distance(near, Point(at)),
            Closest::Indeterminate => f64::INFINITY,
        }
    }
}

/// The stretches of all drains with the land beside them that may take spoil.
pub(super) fn stretches(input: &DrainsInput<'_>, dug: &[Dug], p: &DrainsParams) -> Vec<Stretch> {
    let scale = |at: Coord<f64>| input.site.geodesy.scale_at(at);
    let mut list: Vec<Stretch> = dug.iter().enumerate().flat_map(|(i, d)| of_drain(i, d, &scale)).collect();
    let bounds = input.site.boundary.bounding_rect();
    let Some(bounds) = bounds.filter(|_| p.spoil_width_m > 0.0 && p.spoil_spread_mm > 0.0) else { return list };
    let cell_m = (p.spoil_width_m / ACROSS).max((bounds.width() * bounds.height() / MOST_CELLS).sqrt());
    let spec = GridSpec::covering(bounds, cell_m);
    let free = free(spec, input);
    let mut nearest = vec![(f64::INFINITY, usize::MAX); spec.len()];
    let ends = row_ends(input);
    for (i, stretch) in list.iter().enumerate() {
        let width_m = p.spoil_width_m * scale(stretch.line.start);
        let shut = sides_with_row_ends(stretch, &ends, width_m);
        claim(spec, stretch, width_m, &mut nearest, |beside, at| {
            if beside && !shut[usize::from(stretch.has_left(at))] { i } else { usize::MAX }
        });
    }
    for (cell, (_, owner)) in nearest.iter().enumerate().filter(|(cell, _)| free[*cell]) {
        if let Some(stretch) = list.get_mut(*owner) {
            stretch.room_m2 += input.site.geodesy.ground_area_m2(spec.centre(spec.cell(cell)), spec.cell_area_m2());
        }
    }
    list
}

fn of_drain(drain: usize, dug: &Dug, scale: &dyn Fn(Coord<f64>) -> f64) -> Vec<Stretch> {
    let section = dug.drain.section;
    let stations = dug.drain.stations.windows(2);
    stations
        .zip(&dug.stretches_m3)
        .map(|(pair, dug_m3)| {
            let depth_m = pair.iter().map(|s| (s.ground_m - s.invert_m).max(0.0)).sum::<f64>() / 2.0;
            let half_top_m = (section.bottom_m / 2.0 + section.batter_h_per_v * depth_m) * scale(pair[0].at);
            Stretch { drain, line: Line::new(pair[0].at, pair[1].at), dug_m3: *dug_m3, half_top_m, room_m2: 0.0 }
        })
        .collect()
}

/// Cells on which soil may lie.
fn free(spec: GridSpec, input: &DrainsInput<'_>) -> Vec<bool> {
    let mut free = cells_inside(spec, &input.site.boundary);
    let mut bar = |inside: Vec<bool>| free.iter_mut().zip(inside).for_each(|(free, barred)| *free &= !barred);
    bar(cells_inside(spec, &input.water.no_rows));
    input.site.layers.keep_areas.iter().for_each(|keep| bar(cells_inside(spec, &keep.outline)));
    input.blocks.blocks.iter().for_each(|block| bar(cells_inside(spec, &block.cropped)));
    free
}

/// Low ends of all rows, west to east.
fn row_ends(input: &DrainsInput<'_>) -> Vec<Coord<f64>> {
    let mut ends: Vec<Coord<f64>> =
        input.blocks.blocks.iter().flat_map(|b| &b.rows).map(crate::land::blocks::Row::low_end).collect();
    ends.sort_by(|a, b| a.x.total_cmp(&b.x));
    ends
}

/// Whether rows end on the right and on the left of a stretch.
fn sides_with_row_ends(stretch: &Stretch, ends: &[Coord<f64>], width_m: f64) -> [bool; 2] {
    let reach_m = stretch.half_top_m + width_m + BEYOND_M;
    let (a, b) = (stretch.line.start.x, stretch.line.end.x);
    let from = ends.partition_point(|end| end.x < a.min(b) - reach_m);
    let near = ends[from..].iter().take_while(|end| end.x <= a.max(b) + reach_m);
    let mut sides = [false; 2];
    for end in near.filter(|end| stretch.distance_m(**end) <= reach_m) {
        sides[usize::from(stretch.has_left(*end))] = true;
    }
    sides
}

/// Gives a stretch the cells that lie nearer to the edge of its cut than to another's. `owner` says who owns a cell in the
/// strip or in the cut itself.
fn claim(
    spec: GridSpec,
    stretch: &Stretch,
    width_m: f64,
    nearest: &mut [(f64, usize)],
    owner: impl Fn(bool, Coord<f64>) -> usize,
) {
    let reach_m = stretch.half_top_m + width_m;
    let (a, b) = (stretch.line.start, stretch.line.end);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid")]
    let range = |low: f64, high: f64, count: u32| {
        let clamp = |metres: f64| (metres / spec.cell_m).floor().clamp(0.0, f64::from(count)) as u32;
        clamp(low)..clamp(high + spec.cell_m)
    };
    let (west, north) = (spec.north_west.x, spec.north_west.y);
    for row in range(north - a.y.max(b.y) - reach_m, north - a.y.min(b.y) + reach_m, spec.rows) {
        for col in range(a.x.min(b.x) - reach_m - west, a.x.max(b.x) + reach_m - west, spec.cols) {
            let cell = crate::grid::Cell::new(row, col);
            let at = spec.centre(cell);
            let from_edge_m = stretch.distance_m(at) - stretch.half_top_m;
            let known = &mut nearest[spec.index(cell)];
            if from_edge_m <= width_m && from_edge_m < known.0 {
                *known = (from_edge_m, owner(from_edge_m >= 0.0, at));
            }
        }
    }
}
