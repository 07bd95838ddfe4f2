//! The narrowest strip of parallel lines that holds a polygon.
//!
//! The narrowest strip has an edge of the convex hull on one side and a hull vertex on the other, so each hull
//! edge is tried with its furthest vertex, which only moves forward as the edges turn.
//! Shapes and units: metres; the bearing is that of the strip, an axis in `[0, 180)`. Ties: the first
//! hull edge. Complexity: `O(V log V)` for the hull, then linear.
//! Source: [`Bibliography::Toussaint1983`](crate::bibliography::Bibliography::Toussaint1983), rotating calipers.
//! How we know: rectangles and triangles by hand (`known_widths`), a sweep never finds less (`sweep_never_beats_calipers`).

use crate::units::Bearing;
use geo::{ConvexHull, Coord, CoordsIter};

/// The narrowest strip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MinimumWidth {
    /// Direction of the strip, in `[0, 180)`.
    pub bearing: Bearing,
    /// Its width, metres.
    pub width_m: f64,
}

/// The narrowest strip that holds all points of a shape; `None` when they do not span an area.
#[must_use]
pub fn minimum_width(shape: &impl CoordsIter<Scalar = f64>) -> Option<MinimumWidth> {
    let hull = shape.convex_hull();
    let mut ring: Vec<Coord<f64>> = hull.exterior().0.clone();
    ring.pop();
    let n = ring.len();
    if n < 3 {
        return None;
    }
    let mut best: Option<MinimumWidth> = None;
    let mut far = 1;
    for i in 0..n {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        // The distance to the edge rises and then falls round a convex ring.
        for _ in 0..n {
            if distance(a, b, ring[(far + 1) % n]) <= distance(a, b, ring[far]) {
                break;
            }
            far = (far + 1) % n;
        }
        let width_m = distance(a, b, ring[far]);
        if width_m > 0.0 && best.is_none_or(|w| width_m < w.width_m) {
            let bearing = Bearing::from_east_north(b.x - a.x, b.y - a.y).axis();
            best = Some(MinimumWidth { bearing, width_m });
        }
    }
    best
}

/// Distance of `p` from the line through `a` and `b`, positive on its left.
fn distance(a: Coord<f64>, b: Coord<f64>, p: Coord<f64>) -> f64 {
    let (ex, ey) = (b.x - a.x, b.y - a.y);
    (ex * (p.y - a.y) - ey * (p.x - a.x)) / ex.hypot(ey)
}

#[cfg(test)]
mod tests {
    use super::super::frame::Frame;
    use super::*;
    use geo::{LineString, Polygon, polygon};
    use proptest::prelude::*;

    #[test]
    fn known_widths() {
        let r = polygon![(x: 0.0, y: 0.0), (x: 400.0, y: 0.0), (x: 400.0, y: 250.0), (x: 0.0, y: 250.0)];
        let w = minimum_width(&r).expect("a rectangle spans an area");
        assert!((w.width_m - 250.0).abs() < 1e-9 && (w.bearing.degrees() - 90.0).abs() < 1e-9);
        // A triangle is narrowest along its longest side: 3-4-5 has the height 12/5.
        let t = polygon![(x: 0.0, y: 0.0), (x: 3.0, y: 0.0), (x: 0.0, y: 4.0)];
        assert!((minimum_width(&t).expect("a triangle spans an area").width_m - 2.4).abs() < 1e-12);
        assert!(minimum_width(&LineString::from(vec![(0.0, 0.0), (5.0, 5.0)])).is_none());
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn sweep_never_beats_calipers(points in prop::collection::vec((0.0..500.0f64, 0.0..500.0f64), 4..20)) {
            let p = Polygon::new(LineString::from(points), vec![]);
            let Some(found) = minimum_width(&p) else { return Ok(()) };
            let width = |b: Bearing| Frame::about(b, &p).and_then(|f| f.across_extent(&p)).map_or(0.0, |(lo, hi)| hi - lo);
            prop_assert!((width(found.bearing) - found.width_m).abs() < 1e-6);
            for tenth in 0..1800 {
                prop_assert!(width(Bearing::from_degrees(f64::from(tenth) * 0.1)) > found.width_m - 1e-6);
            }
        }
    }
}
