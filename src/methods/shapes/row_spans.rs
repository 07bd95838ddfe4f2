//! Clips parallel lines to a polygon and keeps them clear of every edge by that edge's own distance.
//!
//! The points within a distance of a segment form a stadium, which is convex, so a line meets it in one interval: the hull of
//! what it has in common with the two end discs and with the band along the segment. A line's spans inside the
//! polygon less these intervals are exactly what [`inset_by_edge`](super::inset_by_edge) followed by a clip leaves, without
//! any polygon being built.
//! Shapes and units: metres. Spans come left to right as seen along the bearing, then along it.
//! Complexity: `O(E + X log X)` for E edges and X meetings of a line with an edge or its stadium.
//! Source: interval arithmetic of a line and a stadium; clipping as in [`parallel_lines`](super::parallel_lines).
//! How we know: `agrees_with_the_inset_polygon` on random rings with random widths, rectangles by hand (`rectangle`).

use super::frame::Frame;
use super::parallel_lines::ClippedLine;
use crate::units::Bearing;
use geo::{Coord, Line};

/// Spans shorter than this are rounding, metres.
const SHORTEST_M: f64 = 1e-3;

/// An edge of a ring, the inside on its left, and how far lines stay away from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClearEdge {
    /// The edge.
    pub line: Line<f64>,
    /// Distance kept from it, metres; zero or less keeps none.
    pub clear_m: f64,
}

/// The lines `origin + k * spacing_m` to the right of it, inside the closed rings the edges form and clear of each edge.
///
/// Nothing when the spacing is not a positive finite number.
#[must_use]
pub fn row_spans(edges: &[ClearEdge], bearing: Bearing, spacing_m: f64, origin: Coord<f64>) -> Vec<ClippedLine> {
    if !(spacing_m.is_finite() && spacing_m > 0.0) || edges.is_empty() {
        return Vec::new();
    }
    let frame = Frame::new(bearing, origin);
    let mut meetings = Meetings::new(&frame, edges, spacing_m);
    for edge in edges {
        meetings.add(&frame, edge);
    }
    meetings.spans(&frame)
}

/// What each line meets: crossings with the outline and closed intervals it may not use.
struct Meetings {
    first: i64,
    spacing_m: f64,
    crossings: Vec<Vec<f64>>,
    taken: Vec<Vec<(f64, f64)>>,
}

impl Meetings {
    #[expect(clippy::cast_possible_truncation, reason = "line numbers of any plan fit 2^53")]
    fn new(frame: &Frame, edges: &[ClearEdge], spacing_m: f64) -> Self {
        let (low, high) = edges
            .iter()
            .map(|e| frame.enter(e.line.start).across_m)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), a| (low.min(a), high.max(a)));
        let first = (low / spacing_m).floor() as i64;
        let count = usize::try_from((high / spacing_m).floor() as i64 - first + 1).unwrap_or(0);
        Self { first, spacing_m, crossings: vec![Vec::new(); count], taken: vec![Vec::new(); count] }
    }

    /// The numbers of the lines between two places across, counted from the first.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the lines there are")]
    fn lines(&self, low: f64, high: f64) -> std::ops::Range<usize> {
        let from = ((low / self.spacing_m).floor() as i64 + 1 - self.first).max(0) as usize;
        let to =
            ((high / self.spacing_m).floor() as i64 + 1 - self.first).clamp(0, self.crossings.len() as i64) as usize;
        from.min(to)..to
    }

    fn add(&mut self, frame: &Frame, edge: &ClearEdge) {
        let (p, q) = (frame.enter(edge.line.start), frame.enter(edge.line.end));
        let (low, high) = (p.across_m.min(q.across_m), p.across_m.max(q.across_m));
        for i in self.lines(low, high) {
            let at = self.across(i);
            let share = ((at - p.across_m) / (q.across_m - p.across_m)).clamp(0.0, 1.0);
            self.crossings[i].push(p.along_m + share * (q.along_m - p.along_m));
        }
        let r = edge.clear_m;
        if r > 0.0 {
            let segment = Segment { p: (p.across_m, p.along_m), q: (q.across_m, q.along_m) };
            for i in self.lines(low - r - self.spacing_m, high + r) {
                if let Some(interval) = segment.stadium_at(self.across(i), r) {
                    self.taken[i].push(interval);
                }
            }
        }
    }

    #[expect(clippy::cast_precision_loss, reason = "line numbers of any plan fit 2^53")]
    fn across(&self, i: usize) -> f64 {
        (self.first + i as i64) as f64 * self.spacing_m
    }

    fn spans(mut self, frame: &Frame) -> Vec<ClippedLine> {
        let mut out = Vec::new();
        for i in 0..self.crossings.len() {
            self.crossings[i].sort_by(f64::total_cmp);
            self.taken[i].sort_by(|a, b| a.0.total_cmp(&b.0));
            let across = self.across(i);
            let mut keep = |from: f64, to: f64| {
                if to - from >= SHORTEST_M {
                    let index = self.first + i as i64;
                    out.push(ClippedLine { index, start: frame.leave(across, from), end: frame.leave(across, to) });
                }
            };
            for pair in self.crossings[i].chunks_exact(2) {
                let (mut from, to) = (pair[0], pair[1]);
                for (begin, end) in self.taken[i].iter().filter(|(b, e)| *e > pair[0] && *b < pair[1]) {
                    if *begin > from {
                        keep(from, begin.min(to));
                    }
                    from = from.max(*end);
                }
                keep(from, to);
            }
        }
        out
    }
}

/// A segment in the frame: across and along.
struct Segment {
    p: (f64, f64),
    q: (f64, f64),
}

impl Segment {
    /// Where the line `across = at` lies within `r` of the segment.
    fn stadium_at(&self, at: f64, r: f64) -> Option<(f64, f64)> {
        let mut hull: Option<(f64, f64)> = None;
        let mut grow = |low: f64, high: f64| {
            hull = Some(hull.map_or((low, high), |(a, b): (f64, f64)| (a.min(low), b.max(high))));
        };
        for end in [self.p, self.q] {
            let d = at - end.0;
            if d.abs() < r {
                let half = (r * r - d * d).sqrt();
                grow(end.1 - half, end.1 + half);
            }
        }
        // The band: foot points between the ends, and no further than r from the segment's line.
        let (dx, dy) = (self.q.0 - self.p.0, self.q.1 - self.p.1);
        let length = dx.hypot(dy);
        if length > 0.0 {
            let (ux, uy) = (dx / length, dy / length);
            let x = at - self.p.0;
            // Foot: 0 <= x ux + y uy <= length; distance: |x uy - y ux| <= r.
            let foot = bounds(uy, x * ux, 0.0, length);
            let near = bounds(-ux, x * uy, -r, r);
            if let (Some(f), Some(n)) = (foot, near) {
                let (low, high) = (f.0.max(n.0), f.1.min(n.1));
                if low <= high && low.is_finite() && high.is_finite() {
                    grow(self.p.1 + low, self.p.1 + high);
                }
            }
        }
        hull
    }
}

/// The `y` with `low <= c + k y <= high`; everything for `k` zero when `c` lies between.
fn bounds(k: f64, c: f64, low: f64, high: f64) -> Option<(f64, f64)> {
    if k.abs() < 1e-12 {
        return (low..=high).contains(&c).then_some((f64::NEG_INFINITY, f64::INFINITY));
    }
    let (a, b) = ((low - c) / k, (high - c) / k);
    Some((a.min(b), a.max(b)))
}

#[cfg(test)]
mod tests {
    use super::super::frame::Edges;
    use super::super::inset_by_edge;
    use super::super::parallel_lines::LineFamily;
    use super::*;
    use geo::orient::Direction;
    use geo::{LineString, Orient, Polygon, polygon};
    use proptest::prelude::*;

    fn clear(polygon: &Polygon<f64>, width: impl Fn(Bearing) -> f64) -> Vec<ClearEdge> {
        let oriented = polygon.orient(Direction::Default);
        let edge = |line: Line<f64>| ClearEdge { line, clear_m: width(Bearing::from_east_north(line.dx(), line.dy())) };
        oriented.edges().map(edge).collect()
    }

    #[test]
    fn rectangle() {
        // Check value: 400 x 250 m, rows of 1.8 m, 6 m at the ends: floor(250 / 1.8) = 138 rows of 388 m, 53.544 km
        // (arithmetic), the first row half a spacing in.
        let r = polygon![(x: 0.0, y: 0.0), (x: 400.0, y: 0.0), (x: 400.0, y: 250.0), (x: 0.0, y: 250.0)];
        let north = Bearing::from_degrees(0.0);
        let edges = clear(&r, |b| if b.axis_angle_to(north) < 45.0 { 6.0 } else { 0.0 });
        let rows = row_spans(&edges, Bearing::from_degrees(90.0), 1.8, Coord { x: 0.0, y: 250.0 - 0.9 });
        assert_eq!(rows.iter().filter(|r| r.start.y > 0.9).count(), 138);
        let sum: f64 = rows.iter().filter(|r| r.start.y > 0.9).map(ClippedLine::length_m).sum();
        assert!((sum - 53_544.0).abs() < 1e-6, "{sum}");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

        #[test]
        fn agrees_with_the_inset_polygon(radii in prop::collection::vec(40.0..150.0f64, 4..12), d in 0.0..180.0f64, wide in 1.0..12.0f64, narrow in 0.0..6.0f64) {
            let n = radii.len();
            #[expect(clippy::cast_precision_loss, reason = "a dozen vertices")]
            let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
                let t = i as f64 / n as f64 * std::f64::consts::TAU;
                Coord { x: 5e5 + r * t.cos(), y: 7e6 + r * t.sin() }
            }).collect();
            let p = Polygon::new(ring, vec![]);
            let rows = Bearing::from_degrees(d);
            let width = |b: Bearing| if b.axis_angle_to(rows) < 30.0 { narrow } else { wide };
            let origin = Coord { x: 5e5, y: 7e6 };
            let spans = row_spans(&clear(&p, width), rows, 2.0, origin);
            let inset = inset_by_edge(&p, |b, _, _| width(b), 0.0);
            let clipped = LineFamily { bearing: rows, spacing_m: 2.0, origin }.clip(&inset);
            let total = |lines: &[ClippedLine]| lines.iter().map(ClippedLine::length_m).sum::<f64>();
            // The inset's arcs are inscribed polygons within 2 mm and its corners are rounded to 1 mm; a row that runs along
            // its edge may come or go with that.
            let one = spans.iter().chain(&clipped).map(ClippedLine::length_m).fold(0.0, f64::max);
            prop_assert!((total(&spans) - total(&clipped)).abs() < 0.5 + one, "{} {}", total(&spans), total(&clipped));
            for span in &spans {
                for edge in clear(&p, width) {
                    prop_assert!(geo::Distance::distance(&geo::Euclidean, &Line::new(span.start, span.end), &edge.line) > edge.clear_m - 1e-6);
                }
            }
        }
    }
}
