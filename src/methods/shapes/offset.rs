//! Joining, cutting and widening polygons, always handing back clean ones.
//!
//! Wrappers over the polygon library of the `geo` crate with three promises its raw results do not make:
//! coordinates rounded to 1 mm (so that a written file reads back the same), pieces and holes below a
//! stated area dropped, exterior rings anticlockwise and holes clockwise.
//! Shapes and units: metres and square metres. Arcs are polygons inscribed in the true circle, no
//! further than [`ARC_TOLERANCE_M`] inside it wherever the radius is above 0.07 m and below 16 m; wider arcs
//! keep a step of 1.8 degrees (1.2 cm for 100 m).
//! Source: [`Bibliography::SimpleFeatures`](crate::bibliography::Bibliography::SimpleFeatures) for what a valid polygon is; polygon set
//! operations and offsets by the `geo` crate.
//! How we know: areas of discs and stadiums (`buffer_areas`), set identities (`parts_make_the_whole`), hand cases.

use geo::CoordsIter as _;
use geo::algorithm::buffer::{BufferStyle, LineCap, LineJoin};
use geo::orient::Direction;
use geo::{
    Area, BooleanOps, Buffer, Coord, LineString, MultiLineString, MultiPolygon, Orient, Polygon, Validation,
    unary_union,
};

/// Greatest distance between an arc and the polygon standing for it, metres.
pub const ARC_TOLERANCE_M: f64 = 0.002;

/// Resolution of coordinates: they are whole multiples of this many metres.
pub const RESOLUTION_M: f64 = 0.001;

/// The parts of `a` outside `b`, without pieces or holes below `min_area_m2`.
#[must_use]
pub fn difference(
    a: &impl BooleanOps<Scalar = f64>,
    b: &impl BooleanOps<Scalar = f64>,
    min_area_m2: f64,
) -> MultiPolygon<f64> {
    clean(&a.difference(b), min_area_m2)
}

/// What `a` and `b` have in common, without pieces or holes below `min_area_m2`.
#[must_use]
pub fn intersection(
    a: &impl BooleanOps<Scalar = f64>,
    b: &impl BooleanOps<Scalar = f64>,
    min_area_m2: f64,
) -> MultiPolygon<f64> {
    clean(&a.intersection(b), min_area_m2)
}

/// Everything covered by any of the polygons, without pieces or holes below `min_area_m2`.
#[must_use]
pub fn union_all<'a>(polygons: impl IntoIterator<Item = &'a Polygon<f64>>, min_area_m2: f64) -> MultiPolygon<f64> {
    clean(&union_raw(polygons), min_area_m2)
}

/// Union before cleaning. The library reads filled and empty from the winding, so that is set first.
pub(super) fn union_raw<'a>(polygons: impl IntoIterator<Item = &'a Polygon<f64>>) -> MultiPolygon<f64> {
    let oriented: Vec<Polygon<f64>> = polygons.into_iter().map(|p| p.orient(Direction::Default)).collect();
    union_in_halves(&oriented)
}

/// Edges one union takes at once. Above 16,000 the library sorts edges into bins with a slope of few bits, and a long
/// edge then costs it millions of steps; unions of halves stay below and have fewer edges than their parts.
const MOST_EDGES: usize = 8_000;

fn union_in_halves(polygons: &[Polygon<f64>]) -> MultiPolygon<f64> {
    let edges: usize = polygons.iter().map(|p| p.exterior().0.len()).sum();
    if edges <= MOST_EDGES || polygons.len() < 2 {
        return unary_union(polygons);
    }
    let (left, right) = polygons.split_at(polygons.len() / 2);
    let (left, right) = (union_in_halves(left), union_in_halves(right));
    unary_union(left.0.iter().chain(&right.0))
}

/// Everything within `half_width_m` of the lines, with round ends and joints.
///
/// Empty when the half width is not positive.
#[must_use]
pub fn buffer_lines(lines: &MultiLineString<f64>, half_width_m: f64) -> MultiPolygon<f64> {
    if half_width_m.is_nan() || half_width_m <= 0.0 || lines.0.is_empty() {
        return MultiPolygon(Vec::new());
    }
    clean(&lines.buffer_with_style(round_style(half_width_m)), 0.0)
}

/// The polygons grown (`distance_m` > 0) or shrunk (`distance_m` < 0), with round corners.
#[must_use]
pub fn buffer_polygon(shape: &MultiPolygon<f64>, distance_m: f64) -> MultiPolygon<f64> {
    if shape.0.is_empty() || distance_m == 0.0 || !distance_m.is_finite() {
        return clean(shape, 0.0);
    }
    clean(&shape.orient(Direction::Default).buffer_with_style(round_style(distance_m)), 0.0)
}

/// Round joints and ends fine enough for [`ARC_TOLERANCE_M`].
pub(super) fn round_style(distance_m: f64) -> BufferStyle<f64> {
    // A chord of angle t stays within r (1 - cos(t/2)) of its arc; the library itself limits the
    // angle to between 1.8 and 45 degrees.
    let angle = 2.0 * (1.0 - (ARC_TOLERANCE_M / distance_m.abs()).min(1.0)).acos();
    BufferStyle::new(distance_m).line_cap(LineCap::Round(angle)).line_join(LineJoin::Round(angle))
}

/// Points beyond which a polygon is rebuilt without asking whether it has to be.
const MANY_POINTS: usize = 300;

/// Rounds to 1 mm, drops pieces and holes below `min_area_m2` and sets the winding.
///
/// Rounding can close a neck narrower than a millimetre; a piece that becomes invalid by it is
/// rebuilt once by a union with itself.
#[must_use]
pub fn clean(shape: &MultiPolygon<f64>, min_area_m2: f64) -> MultiPolygon<f64> {
    let mut kept = Vec::with_capacity(shape.0.len());
    for piece in &shape.0 {
        let Some(rounded) = round_polygon(piece, min_area_m2) else {
            continue;
        };
        // The validity test is quadratic; beyond a few hundred points the union itself is the quicker way to be sure.
        if rounded.coords_count() <= MANY_POINTS && rounded.is_valid() {
            kept.push(rounded);
        } else {
            let rebuilt = union_raw([&rounded]);
            kept.extend(rebuilt.0.iter().filter_map(|p| round_polygon(p, min_area_m2)));
        }
    }
    MultiPolygon(kept)
}

/// A polygon with rounded rings and no small hole, or `None` when it is itself too small.
fn round_polygon(piece: &Polygon<f64>, min_area_m2: f64) -> Option<Polygon<f64>> {
    let exterior = round_ring(piece.exterior())?;
    let holes = piece.interiors().iter().filter_map(round_ring).filter(|h| ring_area(h) >= min_area_m2).collect();
    let polygon = Polygon::new(exterior, holes).orient(Direction::Default);
    (polygon.unsigned_area() >= min_area_m2).then_some(polygon)
}

/// A ring on the millimetre lattice without repeated points and out-and-back spikes; `None` when nothing is left.
pub(super) fn round_ring(ring: &LineString<f64>) -> Option<LineString<f64>> {
    let mut points: Vec<Coord<f64>> = ring.0.iter().map(|c| round_coord(*c)).collect();
    points.pop(); // A stored ring repeats its first point.
    drop_spikes(&mut points);
    if points.len() < 3 {
        return None;
    }
    let mut closed = LineString(points);
    closed.close();
    (ring_area(&closed) > 0.0).then_some(closed)
}

/// A coordinate on the millimetre lattice.
#[must_use]
pub fn round_coord(c: Coord<f64>) -> Coord<f64> {
    // Dividing by 1000 gives the double nearest to the decimal number; multiplying by 0.001 would not.
    Coord { x: (c.x * 1000.0).round() / 1000.0, y: (c.y * 1000.0).round() / 1000.0 }
}

/// Removes repeated points and points where the open ring turns straight back on itself.
pub(super) fn drop_spikes(points: &mut Vec<Coord<f64>>) {
    let mut i = 0;
    let mut clean_in_a_row = 0;
    while points.len() >= 3 && clean_in_a_row < points.len() {
        let n = points.len();
        i %= n;
        let (before, here, after) = (points[(i + n - 1) % n], points[i], points[(i + 1) % n]);
        if is_spike(before, here, after) {
            points.remove(i);
            // The neighbour may have become a spike in its turn.
            i = (i + points.len() - 1) % points.len();
            clean_in_a_row = 0;
        } else {
            i += 1;
            clean_in_a_row += 1;
        }
    }
}

fn is_spike(before: Coord<f64>, here: Coord<f64>, after: Coord<f64>) -> bool {
    if here == before || here == after {
        return true;
    }
    let (ax, ay) = (here.x - before.x, here.y - before.y);
    let (bx, by) = (after.x - here.x, after.y - here.y);
    let cross = ax * by - ay * bx;
    let dot = ax * bx + ay * by;
    // Straight back to within a tenth of a millimetre over the longer arm.
    dot < 0.0 && cross.abs() <= 1e-4 * ax.hypot(ay).max(bx.hypot(by))
}

pub(super) fn ring_area(ring: &LineString<f64>) -> f64 {
    Polygon::new(ring.clone(), Vec::new()).unsigned_area()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Winding, line_string, polygon};
    use proptest::prelude::*;

    fn square(x: f64, y: f64, side: f64) -> Polygon<f64> {
        polygon![(x: x, y: y), (x: x + side, y: y), (x: x + side, y: y + side), (x: x, y: y + side)]
    }

    #[test]
    fn buffer_areas() {
        // Stadium: 2 r L + pi r^2 (Steiner); the inscribed polygon is smaller by at most perimeter * tolerance.
        let line = MultiLineString(vec![line_string![(x: 5e5, y: 7e6), (x: 5e5 + 100.0, y: 7e6)]]);
        let area = buffer_lines(&line, 10.0).unsigned_area();
        let exact = 2000.0 + std::f64::consts::PI * 100.0;
        assert!(area <= exact + 0.2 && exact - area < 0.5, "{area} against {exact}");
        // Square grown by r: s^2 + 4 s r + pi r^2; shrunk: (s - 2r)^2.
        let s = MultiPolygon(vec![square(5e5, 7e6, 100.0)]);
        let grown = buffer_polygon(&s, 5.0).unsigned_area();
        assert!((grown - (12_000.0 + 25.0 * std::f64::consts::PI)).abs() < 0.2, "{grown}");
        assert!((buffer_polygon(&s, -5.0).unsigned_area() - 8_100.0).abs() < 0.2);
        assert!(buffer_polygon(&s, -60.0).0.is_empty());
    }

    #[test]
    fn results_are_rounded_wound_and_free_of_slivers() {
        let cut = difference(&square(0.0, 0.0, 10.0), &square(1.0 / 3.0, 3.0, 2.0), 0.5);
        assert_eq!(cut.0.len(), 1);
        assert!(cut.0[0].exterior().is_ccw() && cut.0[0].interiors()[0].is_cw());
        for c in &cut.0[0].interiors()[0].0 {
            assert_eq!(*c, round_coord(*c));
        }
        let sliver = difference(&square(0.0, 0.0, 10.0), &square(0.0, 0.01, 20.0), 0.5);
        assert!(sliver.0.is_empty(), "0.1 m2 is below the limit");
    }

    #[test]
    fn clockwise_input_does_not_matter() {
        let a = polygon![(x: 0.0, y: 0.0), (x: 0.0, y: 4.0), (x: 4.0, y: 4.0), (x: 4.0, y: 0.0)];
        let b = square(2.0, 0.0, 4.0);
        assert!((union_all([&a, &b], 0.0).unsigned_area() - 24.0).abs() < 1e-6);
        assert!((union_all([&b, &a], 0.0).unsigned_area() - 24.0).abs() < 1e-6);
    }

    #[test]
    fn spikes_go() {
        let mut p: Vec<Coord<f64>> = [(0.0, 0.0), (10.0, 0.0), (15.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
            .map(|(x, y)| Coord { x, y })
            .to_vec();
        drop_spikes(&mut p);
        assert_eq!(p.len(), 4);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn parts_make_the_whole(x in -12.0..12.0f64, y in -12.0..12.0f64, side in 1.0..30.0f64) {
            let (a, b) = (square(0.0, 0.0, 10.0), square(x, y, side));
            let inside = intersection(&a, &b, 0.0).unsigned_area();
            let outside = difference(&a, &b, 0.0).unsigned_area();
            prop_assert!((inside + outside - 100.0).abs() < 0.05);
            let all = union_all([&a, &b], 0.0).unsigned_area();
            prop_assert!((all - (100.0 + side * side - inside)).abs() < 0.1);
        }
    }
}
