//! The frame rows lie in: straight, or led by a smooth line to whose parallels they belong.
//!
//! Places are told by how far to the right of the leading line they lie and how far along it. In a bent frame lengths along
//! grow on the outer side of a bend and shrink on its inner side, by one less the distance across times the curvature.
//! Shapes and units: metres. Edges of shapes are curves in a bent frame; they are broken into chords that stray no further
//! than [`CHORD_OFF_M`] there.
//! Source: as [`frame`](super::frame) and [`arc_line`](super::arc_line).
//! How we know: a ring by hand (`a_ring_has_rows_of_every_radius`), a line that does not bend gives the straight frame's rows
//! (`without_a_bend_it_is_the_straight_frame`), a shape that reaches over the centre of a bend is refused
//! (`beyond_the_centre_there_is_no_frame`).

use super::arc_line::ArcLine;
use super::frame::{Edges, Frame, FramePoint};
use super::parallel_lines::LineFamily;
use crate::units::Bearing;
use geo::{Coord, Line, LineString, MultiPolygon, Polygon};
use std::sync::Arc;

/// How far chords may stray from the curve they stand for, metres.
pub const CHORD_OFF_M: f64 = 0.002;
/// Chords of an edge are not longer than this, metres.
const LONGEST_CHORD_M: f64 = 20.0;
/// Chords are not shorter than this, metres, however tight the bend.
const SHORTEST_CHORD_M: f64 = 0.5;
/// Two ends of a chord lie no further apart in the frame than this many times their distance on the plan; a greater jump
/// means that the shape reaches over the centre of a bend.
const JUMP: f64 = 8.0;

/// A frame along rows.
#[derive(Debug, Clone, PartialEq)]
pub enum RowFrame {
    /// Rows of one bearing.
    Straight(Frame),
    /// Rows parallel to one smooth line.
    Bent(Arc<ArcLine>),
}

/// A stretch of a numbered row in the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Number of the row: `index * spacing` to the right of the first place asked for.
    pub index: i64,
    /// Distance to the right of the leading line, metres.
    pub across_m: f64,
    /// Where it begins along the leading line, metres.
    pub from_m: f64,
    /// Where it ends, metres.
    pub to_m: f64,
}

impl RowFrame {
    /// Where a place of the plan lies in this frame.
    #[must_use]
    pub fn enter(&self, at: Coord<f64>) -> FramePoint {
        match self {
            Self::Straight(frame) => frame.enter(at),
            Self::Bent(line) => line.enter(at),
        }
    }

    /// Where a place of this frame lies on the plan.
    #[must_use]
    pub fn leave(&self, across_m: f64, along_m: f64) -> Coord<f64> {
        match self {
            Self::Straight(frame) => frame.leave(across_m, along_m),
            Self::Bent(line) => line.leave(across_m, along_m),
        }
    }

    /// Direction of the row through a place.
    #[must_use]
    pub fn bearing_at(&self, at: Coord<f64>) -> Bearing {
        let (sin, cos) = match self {
            Self::Straight(frame) => {
                let ahead = frame.leave(0.0, 1.0) - frame.leave(0.0, 0.0);
                (ahead.x, ahead.y)
            }
            Self::Bent(line) => line.heading(line.enter(at).along_m).sin_cos(),
        };
        Bearing::from_east_north(sin, cos)
    }

    /// True length of a stretch, metres.
    #[must_use]
    pub fn length_m(&self, across_m: f64, from_m: f64, to_m: f64) -> f64 {
        match self {
            Self::Straight(_) => to_m - from_m,
            Self::Bent(line) => line.parallel_length_m(across_m, from_m, to_m),
        }
    }

    /// Least radius along a stretch, metres; infinite for a straight one, zero or less beyond the centre of a bend.
    #[must_use]
    pub fn tightest_m(&self, stretch: &Stretch) -> f64 {
        match self {
            Self::Straight(_) => f64::INFINITY,
            Self::Bent(line) => line.parallel_radius_m(stretch.across_m, stretch.from_m, stretch.to_m),
        }
    }

    /// A stretch on the plan, within [`CHORD_OFF_M`].
    #[must_use]
    pub fn drawn(&self, across_m: f64, from_m: f64, to_m: f64) -> Vec<Coord<f64>> {
        match self {
            Self::Straight(frame) => vec![frame.leave(across_m, from_m), frame.leave(across_m, to_m)],
            Self::Bent(line) => line.drawn(across_m, from_m, to_m, CHORD_OFF_M),
        }
    }

    /// The rings of a shape in the frame, across as x and along as y. `None` when the shape reaches over the centre of a
    /// bend: places there have no row of their own.
    #[must_use]
    pub fn unrolled(&self, shape: &MultiPolygon<f64>) -> Option<MultiPolygon<f64>> {
        let ring = |ring: &LineString<f64>| self.unrolled_ring(ring);
        let polygon = |p: &Polygon<f64>| {
            let holes: Option<Vec<LineString<f64>>> = p.interiors().iter().map(ring).collect();
            Some(Polygon::new(ring(p.exterior())?, holes?))
        };
        shape.0.iter().map(polygon).collect::<Option<Vec<_>>>().map(MultiPolygon)
    }

    fn unrolled_ring(&self, ring: &LineString<f64>) -> Option<LineString<f64>> {
        let point = |at: Coord<f64>| {
            let p = self.enter(at);
            Coord { x: p.across_m, y: p.along_m }
        };
        let mut points: Vec<Coord<f64>> = Vec::with_capacity(ring.0.len());
        points.push(point(*ring.0.first()?));
        for edge in ring.lines() {
            let count = self.chords(edge);
            for k in 1..=count {
                let share = f64::from(k) / f64::from(count);
                // Corners keep their last digit.
                let next = point(if k == count { edge.end } else { edge.start + edge.delta() * share });
                let last = points[points.len() - 1];
                let on_plan = edge.dx().hypot(edge.dy()) / f64::from(count);
                if (next.x - last.x).hypot(next.y - last.y) > JUMP * on_plan + 1e-3 {
                    return None;
                }
                points.push(next);
            }
        }
        Some(LineString(points))
    }

    /// Chords an edge is broken into.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of chords along an edge")]
    fn chords(&self, edge: Line<f64>) -> u32 {
        let Self::Bent(line) = self else { return 1 };
        let most = line.most_curvature_per_m();
        let chord_m = if most > 0.0 { (8.0 * CHORD_OFF_M / most).sqrt() } else { LONGEST_CHORD_M };
        let chord_m = chord_m.clamp(SHORTEST_CHORD_M, LONGEST_CHORD_M);
        (edge.dx().hypot(edge.dy()) / chord_m).ceil().max(1.0) as u32
    }

    /// Least and greatest place along and across of a shape: `((near, far), (left, right))`. `None` for an empty shape or
    /// one that reaches over the centre of a bend.
    #[must_use]
    pub fn extent(&self, shape: &MultiPolygon<f64>) -> Option<((f64, f64), (f64, f64))> {
        let unrolled = self.unrolled(shape)?;
        let mut found: Option<((f64, f64), (f64, f64))> = None;
        for edge in unrolled.edges() {
            let c = edge.start;
            let ((near, far), (left, right)) = found.unwrap_or(((c.y, c.y), (c.x, c.x)));
            found = Some(((near.min(c.y), far.max(c.y)), (left.min(c.x), right.max(c.x))));
        }
        found
    }

    /// The least any stretch of a row inside a shape is shortened to, as a ratio to the stretch of the leading line beside
    /// it; 1 where rows are straight. `None` as for [`extent`](Self::extent).
    #[must_use]
    pub fn least_stretch(&self, shape: &MultiPolygon<f64>) -> Option<f64> {
        let Self::Bent(line) = self else { return Some(1.0) };
        // Across times curvature is greatest on the rim.
        let unrolled = self.unrolled(shape)?;
        Some(unrolled.edges().map(|edge| line.stretch(edge.start.x, edge.start.y)).fold(1.0, f64::min))
    }

    /// The rows `first_m + k * spacing_m` to the right, inside a shape; left to right, then along. `None` when the shape
    /// reaches over the centre of a bend.
    #[must_use]
    pub fn clip(&self, shape: &MultiPolygon<f64>, spacing_m: f64, first_m: f64) -> Option<Vec<Stretch>> {
        // In the unrolled plan the rows run due north.
        let family =
            LineFamily { bearing: Bearing::from_degrees(0.0), spacing_m, origin: Coord { x: first_m, y: 0.0 } };
        let lines = family.clip(&self.unrolled(shape)?);
        let stretch =
            |l: &super::ClippedLine| Stretch { index: l.index, across_m: l.start.x, from_m: l.start.y, to_m: l.end.y };
        Some(lines.iter().map(stretch).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::super::arc_line::Arc as Piece;
    use super::*;
    use geo::Area;
    use std::f64::consts::PI;

    /// A half ring of two radii about the origin, north of it, from west to east.
    fn half_ring(inner_m: f64, outer_m: f64) -> MultiPolygon<f64> {
        let arc = |r: f64, back: bool| -> Vec<Coord<f64>> {
            (0..=720)
                .map(|k| {
                    let t = PI * f64::from(if back { 720 - k } else { k }) / 720.0;
                    Coord { x: -r * t.cos(), y: r * t.sin() }
                })
                .collect()
        };
        let ring = arc(outer_m, false).into_iter().chain(arc(inner_m, true)).collect();
        MultiPolygon(vec![Polygon::new(ring, vec![])])
    }

    fn about_the_origin(radius_m: f64) -> RowFrame {
        let half = Piece { length_m: PI * radius_m, curvature_per_m: 1.0 / radius_m };
        RowFrame::Bent(Arc::new(ArcLine::new(Coord { x: -radius_m, y: 0.0 }, 0.0, vec![half]).unwrap()))
    }

    #[test]
    fn a_ring_has_rows_of_every_radius() {
        // Half a ring of 300 to 400 m, rows 2 m apart from 301 m on: 50 rows of pi x radius; their metres times the spacing
        // make the area (arithmetic).
        let (shape, frame) = (half_ring(300.0, 400.0), about_the_origin(350.0));
        let rows = frame.clip(&shape, 2.0, -49.0).unwrap();
        assert_eq!(rows.len(), 50);
        let mut metres = 0.0;
        for row in &rows {
            let radius_m = 350.0 - row.across_m;
            let length_m = frame.length_m(row.across_m, row.from_m, row.to_m);
            assert!((length_m - PI * radius_m).abs() < 0.05, "{radius_m}: {length_m}");
            assert!((frame.tightest_m(row) - radius_m).abs() < 1e-6);
            metres += length_m;
            for at in frame.drawn(row.across_m, row.from_m, row.to_m) {
                assert!((at.x.hypot(at.y) - radius_m).abs() < 1e-6);
            }
        }
        assert!((2.0 * metres - shape.unsigned_area()).abs() < 0.001 * shape.unsigned_area());
        let top = frame.bearing_at(Coord { x: 0.0, y: 390.0 });
        assert!((top.degrees() - 90.0).abs() < 1e-6);
    }

    #[test]
    fn without_a_bend_it_is_the_straight_frame() {
        let piece = Piece { length_m: 500.0, curvature_per_m: 0.0 };
        let origin = Coord { x: 120.0, y: 40.0 };
        let bearing = Bearing::from_degrees(63.0);
        let line = ArcLine::new(origin, 63.0_f64.to_radians(), vec![piece]).unwrap();
        let (bent, straight) = (RowFrame::Bent(Arc::new(line)), RowFrame::Straight(Frame::new(bearing, origin)));
        let shape = half_ring(200.0, 420.0);
        let (a, b) = (bent.clip(&shape, 5.0, 1.0).unwrap(), straight.clip(&shape, 5.0, 1.0).unwrap());
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            assert!(a.index == b.index && (a.from_m - b.from_m).abs() < 1e-6 && (a.to_m - b.to_m).abs() < 1e-6);
        }
    }

    #[test]
    fn beyond_the_centre_there_is_no_frame() {
        // A square about the centre of the bend: where it passes it, neighbours on the plan are far apart in the frame.
        let square = |s: f64| geo::Rect::new(Coord { x: -s, y: -s }, Coord { x: s, y: s }).to_polygon().into();
        assert!(about_the_origin(100.0).clip(&square(90.0), 2.0, 0.0).is_none());
    }
}
