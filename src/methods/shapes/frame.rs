//! A turned coordinate frame: how far along a bearing a point lies, and how far to its right.
//!
//! Everything that works with lines of one bearing (clipping, splitting, widths) first turns the
//! plan into this frame, where the lines are parallel to an axis. The origin is explicit because
//! national-grid coordinates are millions of metres and the sums would lose their last digits.
//! Shapes and units: metres in, metres out; bearings clockwise from north.
//! Source: plane rotation, arithmetic.
//! How we know: round trip and handedness (`turns_and_returns`, `right_is_right`).

use crate::units::Bearing;
use geo::{Coord, Line, LinesIter, MultiPolygon, Polygon};

/// Anything bounded by straight edges: all rings of a polygon or of several polygons.
pub trait Edges {
    /// Every edge of every ring, in the order the rings are stored.
    fn edges(&self) -> impl Iterator<Item = Line<f64>> + '_;
}

impl Edges for Polygon<f64> {
    fn edges(&self) -> impl Iterator<Item = Line<f64>> + '_ {
        self.lines_iter()
    }
}

impl Edges for MultiPolygon<f64> {
    fn edges(&self) -> impl Iterator<Item = Line<f64>> + '_ {
        self.0.iter().flat_map(LinesIter::lines_iter)
    }
}

/// A position in a [`Frame`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FramePoint {
    /// Metres to the right of the origin, looking along the bearing.
    pub across_m: f64,
    /// Metres ahead of the origin, along the bearing.
    pub along_m: f64,
}

/// Axes along a bearing and to its right, about an origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    origin: Coord<f64>,
    east: f64,
    north: f64,
}

impl Frame {
    /// The frame of a bearing about an origin.
    #[must_use]
    pub fn new(bearing: Bearing, origin: Coord<f64>) -> Self {
        let (east, north) = bearing.east_north();
        Self { origin, east, north }
    }

    /// The frame of a bearing about the first vertex of a shape; `None` when the shape has no edge.
    #[must_use]
    pub fn about(bearing: Bearing, shape: &impl Edges) -> Option<Self> {
        let first = shape.edges().next()?;
        Some(Self::new(bearing, first.start))
    }

    /// Where a point of the plan lies in this frame.
    #[must_use]
    pub fn enter(&self, point: Coord<f64>) -> FramePoint {
        let dx = point.x - self.origin.x;
        let dy = point.y - self.origin.y;
        FramePoint { across_m: dx * self.north - dy * self.east, along_m: dx * self.east + dy * self.north }
    }

    /// Where a point of this frame lies on the plan.
    #[must_use]
    pub fn leave(&self, across_m: f64, along_m: f64) -> Coord<f64> {
        Coord {
            x: self.origin.x + across_m * self.north + along_m * self.east,
            y: self.origin.y - across_m * self.east + along_m * self.north,
        }
    }

    /// Least and greatest position of a shape along the bearing; `None` for an empty shape.
    #[must_use]
    pub fn along_extent(&self, shape: &impl Edges) -> Option<(f64, f64)> {
        extent(shape.edges().map(|e| self.enter(e.start).along_m))
    }

    /// Least and greatest position of a shape across the bearing; `None` for an empty shape.
    #[must_use]
    pub fn across_extent(&self, shape: &impl Edges) -> Option<(f64, f64)> {
        extent(shape.edges().map(|e| self.enter(e.start).across_m))
    }
}

fn extent(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |acc, v| match acc {
        None => Some((v, v)),
        Some((lo, hi)) => Some((f64::min(lo, v), f64::max(hi, v))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_and_returns() {
        let frame = Frame::new(Bearing::from_degrees(37.0), Coord { x: 5e5, y: 6.9e6 });
        let p = Coord { x: 500_123.25, y: 6_900_456.5 };
        let f = frame.enter(p);
        let back = frame.leave(f.across_m, f.along_m);
        assert!((back.x - p.x).abs() < 1e-8 && (back.y - p.y).abs() < 1e-8);
    }

    #[test]
    fn right_is_right() {
        // Looking north, east is to the right; looking east, south is to the right.
        let north = Frame::new(Bearing::from_degrees(0.0), Coord { x: 0.0, y: 0.0 });
        assert!((north.enter(Coord { x: 3.0, y: 0.0 }).across_m - 3.0).abs() < 1e-12);
        let east = Frame::new(Bearing::from_degrees(90.0), Coord { x: 0.0, y: 0.0 });
        assert!((east.enter(Coord { x: 0.0, y: -2.0 }).across_m - 2.0).abs() < 1e-12);
    }
}
