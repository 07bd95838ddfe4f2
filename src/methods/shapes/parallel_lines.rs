//! Clips a family of parallel lines to a polygon with holes.
//!
//! Each edge is turned into the frame of the bearing and asked which lines it crosses; the
//! crossings of a line, sorted along it, alternate between entering and leaving. A vertex counts
//! as below a line when it is strictly to its left (half-open rule), and every vertex is
//! classified by the same floating-point expression from both of its edges, so each ring is
//! crossed an even number of times and a vertex on a line can neither open nor close a segment twice.
//! A line that runs along a left edge is therefore not counted and one along a right edge is.
//! Shapes and units: metres. Result sorted left to right as seen along the bearing, then along it.
//! Ties: none, the order is by line number and then by distance. Complexity: `O(E + X log X)` for
//! E edges and X crossings.
//! Source: [`Bibliography::Foley1990`](crate::bibliography::Bibliography::Foley1990), scan-line polygon filling (even-odd, half-open edges).
//! How we know: hand cases (`square_has_its_lines`, `hole_cuts_lines`, `vertex_on_line_is_counted_once`) and properties
//! (`midpoints_lie_inside_and_lengths_make_the_area`, `mean_over_phases_is_the_formula`).

use super::frame::{Edges, Frame};
use crate::units::Bearing;
use geo::Coord;

/// Gaps between two segments of a line, and segments, shorter than this are not kept (1 mm, the
/// resolution of every coordinate written out).
const SHORTEST_M: f64 = 1e-3;

/// One straight piece of a numbered line, running in the direction of the bearing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClippedLine {
    /// Number of the line: it lies `index * spacing` to the right of the family's origin.
    pub index: i64,
    /// Where it enters the polygon.
    pub start: Coord<f64>,
    /// Where it leaves it.
    pub end: Coord<f64>,
}

impl ClippedLine {
    /// Length on the plan, metres.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        (self.end.x - self.start.x).hypot(self.end.y - self.start.y)
    }
    /// Point halfway.
    #[must_use]
    pub fn midpoint(&self) -> Coord<f64> {
        Coord { x: f64::midpoint(self.start.x, self.end.x), y: f64::midpoint(self.start.y, self.end.y) }
    }
}

/// Parallel lines over the whole plan: line 0 passes through the origin, line `k` lies `k * spacing` to its right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineFamily {
    /// Direction of every line.
    pub bearing: Bearing,
    /// Distance between neighbouring lines, metres; must be positive.
    pub spacing_m: f64,
    /// A point of line 0. Shapes that share an origin share their lines.
    pub origin: Coord<f64>,
}

impl LineFamily {
    /// The pieces of all lines inside a shape (even-odd rule over all its rings).
    ///
    /// Returns nothing when the spacing is not a positive finite number.
    #[must_use]
    pub fn clip(&self, shape: &impl Edges) -> Vec<ClippedLine> {
        if !(self.spacing_m.is_finite() && self.spacing_m > 0.0) {
            return Vec::new();
        }
        let frame = Frame::new(self.bearing, self.origin);
        let mut crossings = Vec::new();
        for edge in shape.edges() {
            self.cross(&frame, edge.start, edge.end, &mut crossings);
        }
        crossings.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        self.pair(&frame, &crossings)
    }

    /// Adds (line number, distance along it) for every line an edge crosses.
    #[expect(clippy::cast_possible_truncation, reason = "line numbers of any plan fit 2^53")]
    #[expect(clippy::cast_precision_loss, reason = "line numbers of any plan fit 2^53")]
    fn cross(&self, frame: &Frame, start: Coord<f64>, end: Coord<f64>, out: &mut Vec<(i64, f64)>) {
        let (p, q) = (frame.enter(start), frame.enter(end));
        // Lines numbered up to this one are left of, or at, the vertex.
        let reached = |across_m: f64| (across_m / self.spacing_m).floor() as i64;
        let (a, b) = (reached(p.across_m), reached(q.across_m));
        for k in a.min(b) + 1..=a.max(b) {
            let share = (k as f64 * self.spacing_m - p.across_m) / (q.across_m - p.across_m);
            let along = p.along_m + share.clamp(0.0, 1.0) * (q.along_m - p.along_m);
            out.push((k, along));
        }
    }

    /// Joins sorted crossings two by two, closing gaps and dropping pieces below [`SHORTEST_M`].
    #[expect(clippy::cast_precision_loss, reason = "line numbers of any plan fit 2^53")]
    fn pair(&self, frame: &Frame, crossings: &[(i64, f64)]) -> Vec<ClippedLine> {
        let mut spans: Vec<(i64, f64, f64)> = Vec::with_capacity(crossings.len() / 2);
        for pair in crossings.chunks_exact(2) {
            let (index, from, to) = (pair[0].0, pair[0].1, pair[1].1);
            debug_assert_eq!(index, pair[1].0, "a closed ring crosses a line an even number of times");
            match spans.last_mut() {
                Some(last) if last.0 == index && from - last.2 < SHORTEST_M => last.2 = to,
                _ => spans.push((index, from, to)),
            }
        }
        spans
            .into_iter()
            .filter(|(_, from, to)| to - from >= SHORTEST_M)
            .map(|(index, from, to)| {
                let across_m = index as f64 * self.spacing_m;
                ClippedLine { index, start: frame.leave(across_m, from), end: frame.leave(across_m, to) }
            })
            .collect()
    }
}

/// The lines of a shape on their own: line 0 lies `phase_m` to the right of the leftmost point of the shape.
///
/// A `phase_m` of half the spacing centres the strips; the shape's leftmost point is the one
/// furthest to the left looking along the bearing. An empty shape has no lines.
#[must_use]
pub fn parallel_lines(shape: &impl Edges, bearing: Bearing, spacing_m: f64, phase_m: f64) -> Vec<ClippedLine> {
    let Some(frame) = Frame::about(bearing, shape) else {
        return Vec::new();
    };
    let Some((left_m, _)) = frame.across_extent(shape) else {
        return Vec::new();
    };
    let origin = frame.leave(left_m + phase_m, 0.0);
    LineFamily { bearing, spacing_m, origin }.clip(shape)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::shapes::bearings::row_count;
    use geo::{Area, Contains, Point, Polygon, polygon};
    use proptest::prelude::*;

    fn deg(d: f64) -> Bearing {
        Bearing::from_degrees(d)
    }

    #[test]
    fn square_has_its_lines() {
        let square = polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)];
        let lines = parallel_lines(&square, deg(0.0), 2.0, 1.0);
        assert_eq!(lines.len(), 5);
        assert!((lines[0].start.x - 1.0).abs() < 1e-12 && lines[0].start.y.abs() < 1e-12);
        assert!((lines[0].end.y - 10.0).abs() < 1e-12, "runs north, along the bearing");
        let east = parallel_lines(&square, deg(90.0), 2.0, 1.0);
        assert!((east[0].start.y - 9.0).abs() < 1e-9, "the left of an eastward bearing is the north");
        assert!(east[0].end.x > east[0].start.x);
    }

    #[test]
    fn hole_cuts_lines() {
        let ring = |a: f64, b: f64| geo::LineString::from(vec![(a, a), (b, a), (b, b), (a, b), (a, a)]);
        let holed = Polygon::new(ring(0.0, 10.0), vec![ring(4.0, 6.0)]);
        let lines = parallel_lines(&holed, deg(0.0), 1.0, 0.5);
        assert_eq!(lines.len(), 12);
        assert_eq!(lines.iter().filter(|l| l.index == 4).count(), 2);
        let total: f64 = lines.iter().map(ClippedLine::length_m).sum();
        assert!((total - 96.0).abs() < 1e-9);
    }

    #[test]
    fn vertex_on_line_is_counted_once() {
        // A diamond whose left, top, right and bottom vertices all lie on lines, and a notch that only touches one.
        let diamond = polygon![(x: 0.0, y: 2.0), (x: 2.0, y: 0.0), (x: 4.0, y: 2.0), (x: 2.0, y: 4.0)];
        let lines = parallel_lines(&diamond, deg(0.0), 2.0, 0.0);
        assert_eq!(lines.len(), 1);
        assert!((lines[0].length_m() - 4.0).abs() < 1e-12);
        let notch = polygon![(x: 0.0, y: 0.0), (x: 4.0, y: 0.0), (x: 4.0, y: 4.0), (x: 2.0, y: 2.0), (x: 0.0, y: 4.0)];
        let lines = parallel_lines(&notch, deg(0.0), 2.0, 0.0);
        assert_eq!(lines.iter().filter(|l| l.index == 1).count(), 1);
    }

    #[test]
    fn nonsense_spacing_gives_nothing() {
        let square = polygon![(x: 0.0, y: 0.0), (x: 1.0, y: 0.0), (x: 1.0, y: 1.0)];
        for spacing in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(parallel_lines(&square, deg(0.0), spacing, 0.0).is_empty());
        }
    }

    /// A star-shaped, usually concave ring about a centre.
    fn star(radii: &[f64], centre: (f64, f64)) -> geo::LineString<f64> {
        let n = radii.len();
        (0..n)
            .map(|i| {
                #[expect(clippy::cast_precision_loss, reason = "a dozen vertices")]
                let t = i as f64 / n as f64 * std::f64::consts::TAU;
                Coord { x: centre.0 + radii[i] * t.cos(), y: centre.1 + radii[i] * t.sin() }
            })
            .collect()
    }

    prop_compose! {
        fn holed_star()(outer in prop::collection::vec(60.0..200.0f64, 5..14), inner in prop::collection::vec(5.0..20.0f64, 4..7))
            -> Polygon<f64> {
            let centre = (512_000.0, 6_900_000.0);
            Polygon::new(star(&outer, centre), vec![star(&inner, centre)])
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn midpoints_lie_inside_and_lengths_make_the_area(shape in holed_star(), d in 0.0..360.0f64, phase in 0.0..1.0f64) {
            let spacing = 0.5;
            let lines = parallel_lines(&shape, deg(d), spacing, phase * spacing);
            for line in &lines {
                prop_assert!(shape.contains(&Point(line.midpoint())) || line.length_m() < 0.01);
                let (east, north) = deg(d).east_north();
                prop_assert!((line.end.x - line.start.x) * east + (line.end.y - line.start.y) * north > 0.0);
            }
            prop_assert!(lines.windows(2).all(|w| w[0].index <= w[1].index));
            let covered: f64 = lines.iter().map(ClippedLine::length_m).sum::<f64>() * spacing;
            let area = shape.unsigned_area();
            prop_assert!((covered - area).abs() < 0.01 * area, "{covered} against {area}");
        }

        #[test]
        fn mean_over_phases_is_the_formula(shape in holed_star(), d in 0.0..180.0f64) {
            let (spacing, phases) = (7.0, 400);
            let counted: usize = (0..phases)
                .map(|i| parallel_lines(&shape, deg(d), spacing, spacing * (f64::from(i) + 0.5) / f64::from(phases)).len())
                .sum();
            #[expect(clippy::cast_precision_loss, reason = "a small count")]
            let mean = counted as f64 / f64::from(phases);
            let formula = row_count(&shape, deg(d), spacing);
            prop_assert!((mean - formula).abs() < 0.05 + 0.002 * formula, "{mean} against {formula}");
        }
    }
}
