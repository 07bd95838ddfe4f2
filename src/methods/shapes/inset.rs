//! Takes a strip off along every edge of a polygon, of a width that may differ from edge to edge.
//!
//! What is taken is everything closer to an edge than that edge's width. Strips are therefore rounded about
//! the ends of their edge: at an outward-bending corner the wider strip reaches round it, so nothing that remains is
//! nearer to any edge than that edge asks for, holes included.
//! Shapes and units: metres. Edges are handed to the width function with the inside on their left.
//! Complexity: one union of E strips. Arcs as in [`offset`](super::offset).
//! Source: distance sets, arithmetic; set operations as in [`offset`](super::offset).
//! How we know: rectangles by hand (`two_widths`), equal widths agree with the library's own offset
//! (`equal_widths_are_a_plain_inset`), distances of what is left (`what_is_left_keeps_its_distance`).

use super::offset::{clean, round_style, union_raw};
use crate::units::Bearing;
use geo::orient::Direction;
use geo::{BooleanOps, Buffer, Coord, Line, LinesIter, MultiPolygon, Orient, Polygon};

/// What is left of a polygon after taking, along every edge, a strip of the width the function gives.
///
/// `width_m(bearing, start, end)` is asked once for each edge of each ring (exterior anticlockwise, holes
/// clockwise, so the inside is on the left); zero or less takes nothing. Pieces and holes below
/// `min_area_m2` are dropped.
#[must_use]
pub fn inset_by_edge(
    polygon: &Polygon<f64>,
    width_m: impl Fn(Bearing, Coord<f64>, Coord<f64>) -> f64,
    min_area_m2: f64,
) -> MultiPolygon<f64> {
    let oriented = polygon.orient(Direction::Default);
    let strips: Vec<Polygon<f64>> = oriented
        .lines_iter()
        .filter(|e| e.start != e.end)
        .flat_map(|e| strip(e, width_m(Bearing::from_east_north(e.dx(), e.dy()), e.start, e.end)))
        .collect();
    if strips.is_empty() {
        return clean(&MultiPolygon(vec![oriented]), min_area_m2);
    }
    clean(&oriented.difference(&union_raw(&strips)), min_area_m2)
}

/// Everything within `width_m` of an edge.
fn strip(edge: Line<f64>, width_m: f64) -> Vec<Polygon<f64>> {
    if width_m.is_nan() || width_m <= 0.0 {
        return Vec::new();
    }
    edge.buffer_with_style(round_style(width_m)).0
}

#[cfg(test)]
mod tests {
    use super::super::offset::buffer_polygon;
    use super::*;
    use geo::line_measures::{Distance, Euclidean};
    use geo::{Area, LineString, Point, polygon};
    use proptest::prelude::*;

    #[test]
    fn two_widths() {
        let r = polygon![(x: 0.0, y: 0.0), (x: 400.0, y: 0.0), (x: 400.0, y: 250.0), (x: 0.0, y: 250.0)];
        // 12 m at the ends (edges running north-south), 3 m along the sides.
        let left = inset_by_edge(
            &r,
            |b, _, _| {
                if b.axis_angle_to(Bearing::from_degrees(0.0)) < 45.0 { 12.0 } else { 3.0 }
            },
            1.0,
        );
        assert!((left.unsigned_area() - 376.0 * 244.0).abs() < 0.5, "{}", left.unsigned_area());
        assert!((inset_by_edge(&r, |_, _, _| 0.0, 1.0).unsigned_area() - 100_000.0).abs() < 1e-6);
        assert!(inset_by_edge(&r, |_, _, _| 130.0, 1.0).0.is_empty());
    }

    #[test]
    fn edges_have_the_inside_on_their_left() {
        // Given clockwise; the southern edge must still be read eastwards.
        let r = polygon![(x: 0.0, y: 0.0), (x: 0.0, y: 20.0), (x: 20.0, y: 20.0), (x: 20.0, y: 0.0)];
        let left = inset_by_edge(
            &r,
            |b, _, _| {
                if (b.degrees() - 90.0).abs() < 1.0 { 5.0 } else { 0.0 }
            },
            0.0,
        );
        assert!((left.unsigned_area() - 300.0).abs() < 0.1);
        let lowest = left.0[0].exterior().0.iter().map(|c| c.y).fold(f64::INFINITY, f64::min);
        assert!((lowest - 5.0).abs() < 0.005);
    }

    #[test]
    fn equal_widths_are_a_plain_inset() {
        let l = polygon![(x: 0.0, y: 0.0), (x: 100.0, y: 0.0), (x: 100.0, y: 40.0), (x: 40.0, y: 40.0), (x: 40.0, y: 100.0), (x: 0.0, y: 100.0)];
        let own = inset_by_edge(&l, |_, _, _| 6.0, 0.0).unsigned_area();
        let library = buffer_polygon(&MultiPolygon(vec![l]), -6.0).unsigned_area();
        // L of 100/40 less 6 m all round: 88 * 28 + 28 * 60, plus what the round inner corner leaves of a 6 m square.
        let by_hand = 88.0 * 28.0 + 28.0 * 60.0 + (36.0 - 9.0 * std::f64::consts::PI);
        assert!((own - library).abs() < 0.5, "{own} against {library}");
        assert!((own - by_hand).abs() < 0.5, "{own} against {by_hand}");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

        #[test]
        fn what_is_left_keeps_its_distance(radii in prop::collection::vec(40.0..150.0f64, 4..10), side in 1.0..8.0f64) {
            let n = radii.len();
            #[expect(clippy::cast_precision_loss, reason = "a dozen vertices")]
            let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
                let t = i as f64 / n as f64 * std::f64::consts::TAU;
                Coord { x: 5e5 + r * t.cos(), y: 7e6 + r * t.sin() }
            }).collect();
            let p = Polygon::new(ring, vec![]);
            let width = |b: Bearing| if b.axis_angle_to(Bearing::from_degrees(0.0)) < 45.0 { 10.0 } else { side };
            let left = inset_by_edge(&p, |b, _, _| width(b), 1.0);
            for e in p.orient(Direction::Default).lines_iter() {
                let wanted = width(Bearing::from_east_north(e.dx(), e.dy()));
                for c in left.0.iter().flat_map(|q| &q.exterior().0) {
                    prop_assert!(Euclidean.distance(&Point(*c), &e) > wanted - 0.006);
                }
            }
        }
    }
}
