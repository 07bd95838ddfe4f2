//! Cuts polygons along straight lines, and finds the corners worth cutting from.
//!
//! A half-plane is stood for by a rectangle well beyond the polygon, turned with the bearing, and the
//! pieces are its intersections; so holes and several pieces on one side need no special case.
//! Shapes and units: metres; distances along a bearing are counted from the first point of the
//! polygon met when walking along it. Pieces are sorted along the bearing, then from left to right.
//! Source: half-plane clipping, set operations as in [`offset`](super::offset); the reflex-vertex cut is
//! [`Bibliography::OksanenVisala2009`](crate::bibliography::Bibliography::OksanenVisala2009)'s and Jin and Tang's usual move.
//! How we know: areas and hand cases (`u_falls_into_three`, `stations_cut_in_order`), property (`pieces_make_the_whole`).

use super::frame::{Edges, Frame};
use super::offset::intersection;
use crate::units::Bearing;
use geo::orient::Direction;
use geo::{Centroid, Coord, Orient, Polygon};

/// Pieces smaller than this are rounding, square metres.
const CRUMB_M2: f64 = 0.01;

/// A piece of a cut polygon.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Which slab it lies in: 0 before the first cut, 1 between the first and the second, and so on.
    pub slab: usize,
    /// Its outline.
    pub polygon: Polygon<f64>,
}

/// The pieces on both sides of the line through `point` along `bearing`: those on its left first.
///
/// A line that misses the polygon gives the polygon back (cleaned).
#[must_use]
pub fn split_across(polygon: &Polygon<f64>, point: Coord<f64>, bearing: Bearing) -> Vec<Polygon<f64>> {
    // Slabs follow one another along their bearing, so left and right of a line are the slabs of the bearing to its right.
    let rightward = Bearing::from_degrees(bearing.degrees() + 90.0);
    let Some(frame) = Frame::about(rightward, polygon) else {
        return Vec::new();
    };
    let cut = frame.enter(point).along_m;
    slabs(polygon, &frame, &[cut]).into_iter().map(|p| p.polygon).collect()
}

/// Cuts a polygon at right angles to `bearing` at distances `cuts_m` along it.
///
/// Cuts need not be sorted; those outside the polygon leave empty slabs, which keep their number.
#[must_use]
pub fn split_at_stations(polygon: &Polygon<f64>, bearing: Bearing, cuts_m: &[f64]) -> Vec<Piece> {
    let Some(frame) = Frame::about(bearing, polygon) else {
        return Vec::new();
    };
    let Some((first_m, _)) = frame.along_extent(polygon) else {
        return Vec::new();
    };
    let mut cuts: Vec<f64> = cuts_m.iter().map(|c| c + first_m).collect();
    cuts.sort_by(f64::total_cmp);
    slabs(polygon, &frame, &cuts)
}

/// Pieces between sorted cuts given as positions along the frame.
fn slabs(polygon: &Polygon<f64>, frame: &Frame, cuts: &[f64]) -> Vec<Piece> {
    let (Some(along), Some(across)) = (frame.along_extent(polygon), frame.across_extent(polygon)) else {
        return Vec::new();
    };
    let (low, high) = (along.0 - 1.0, along.1 + 1.0);
    let mut edges = vec![low];
    edges.extend(cuts.iter().map(|c| c.clamp(low, high)));
    edges.push(high);
    let mut pieces = Vec::new();
    for (slab, pair) in edges.windows(2).enumerate() {
        if pair[1] > pair[0] {
            let band = band(frame, (across.0 - 1.0, across.1 + 1.0), (pair[0], pair[1]));
            let mut found = intersection(polygon, &band, CRUMB_M2).0;
            found.sort_by(|a, b| left_to_right(frame, a).total_cmp(&left_to_right(frame, b)));
            pieces.extend(found.into_iter().map(|polygon| Piece { slab, polygon }));
        }
    }
    pieces
}

fn band(frame: &Frame, across: (f64, f64), along: (f64, f64)) -> Polygon<f64> {
    let ring = vec![
        frame.leave(across.0, along.0),
        frame.leave(across.1, along.0),
        frame.leave(across.1, along.1),
        frame.leave(across.0, along.1),
    ];
    Polygon::new(ring.into(), Vec::new())
}

fn left_to_right(frame: &Frame, piece: &Polygon<f64>) -> f64 {
    piece.centroid().map_or(0.0, |c| frame.enter(c.0).across_m)
}

/// A corner of the outer ring that points into the polygon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReflexVertex {
    /// The corner.
    pub at: Coord<f64>,
    /// Bearing of the edge that arrives, the inside on its left.
    pub bearing_in: Bearing,
    /// Bearing of the edge that leaves.
    pub bearing_out: Bearing,
    /// How far the outline turns right there, degrees in `(0, 180)`.
    pub turn_deg: f64,
}

/// Corners of the outer ring turning right by more than `min_turn_deg`, in ring order (anticlockwise).
///
/// A cut along either edge's extension removes the corner.
#[must_use]
pub fn reflex_vertices(polygon: &Polygon<f64>, min_turn_deg: f64) -> Vec<ReflexVertex> {
    let oriented = polygon.orient(Direction::Default);
    let outline = Polygon::new(oriented.exterior().clone(), Vec::new());
    let edges: Vec<_> = outline.edges().filter(|e| e.start != e.end).collect();
    let n = edges.len();
    (0..n)
        .filter_map(|i| {
            let (a, b) = (edges[(i + n - 1) % n], edges[i]);
            let bearing_in = Bearing::from_east_north(a.dx(), a.dy());
            let bearing_out = Bearing::from_east_north(b.dx(), b.dy());
            let turn_deg = (bearing_out.degrees() - bearing_in.degrees()).rem_euclid(360.0);
            (turn_deg < 180.0 && turn_deg > min_turn_deg).then_some(ReflexVertex {
                at: b.start,
                bearing_in,
                bearing_out,
                turn_deg,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area, LineString, polygon};
    use proptest::prelude::*;

    fn u_shape() -> Polygon<f64> {
        polygon![
            (x: 0.0, y: 0.0), (x: 30.0, y: 0.0), (x: 30.0, y: 20.0), (x: 20.0, y: 20.0),
            (x: 20.0, y: 10.0), (x: 10.0, y: 10.0), (x: 10.0, y: 20.0), (x: 0.0, y: 20.0)
        ]
    }

    #[test]
    fn u_falls_into_three() {
        let parts = split_across(&u_shape(), Coord { x: 0.0, y: 15.0 }, Bearing::from_degrees(90.0));
        // Walking east, the two tips are on the left (north), the rest on the right.
        assert_eq!(parts.len(), 3);
        let areas: Vec<f64> = parts.iter().map(Polygon::unsigned_area).collect();
        assert!(
            (areas[0] - 50.0).abs() < 1e-6 && (areas[1] - 50.0).abs() < 1e-6 && (areas[2] - 400.0).abs() < 1e-6,
            "{areas:?}"
        );
        assert_eq!(split_across(&u_shape(), Coord { x: 0.0, y: 99.0 }, Bearing::from_degrees(90.0)).len(), 1);
    }

    #[test]
    fn stations_cut_in_order() {
        let r = polygon![(x: 100.0, y: 50.0), (x: 150.0, y: 50.0), (x: 150.0, y: 60.0), (x: 100.0, y: 60.0)];
        let west = split_at_stations(&r, Bearing::from_degrees(270.0), &[30.0, 10.0]);
        let areas: Vec<f64> = west.iter().map(|p| p.polygon.unsigned_area()).collect();
        assert_eq!(west.iter().map(|p| p.slab).collect::<Vec<_>>(), vec![0, 1, 2]);
        assert!((areas[0] - 100.0).abs() < 1e-6 && (areas[1] - 200.0).abs() < 1e-6 && (areas[2] - 200.0).abs() < 1e-6);
        let most_east = west[0].polygon.exterior().0.iter().map(|c| c.x).fold(0.0, f64::max);
        assert!((most_east - 150.0).abs() < 1e-6, "walking west, the first piece is the eastern one");
    }

    #[test]
    fn reflex_corners_of_a_u() {
        let corners = reflex_vertices(&u_shape(), 1.0);
        assert_eq!(corners.len(), 2);
        assert_eq!(corners[0].at, Coord { x: 20.0, y: 10.0 });
        assert!((corners[0].bearing_in.degrees() - 180.0).abs() < 1e-9);
        assert!((corners[0].bearing_out.degrees() - 270.0).abs() < 1e-9);
        assert!((corners[0].turn_deg - 90.0).abs() < 1e-9);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

        #[test]
        fn pieces_make_the_whole(radii in prop::collection::vec(40.0..150.0f64, 4..12), d in 0.0..360.0f64, cuts in prop::collection::vec(-20.0..250.0f64, 0..4)) {
            let n = radii.len();
            #[expect(clippy::cast_precision_loss, reason = "a dozen vertices")]
            let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
                let t = i as f64 / n as f64 * std::f64::consts::TAU;
                Coord { x: 5e5 + r * t.cos(), y: 7e6 + r * t.sin() }
            }).collect();
            let p = Polygon::new(ring, vec![]);
            let parts = split_at_stations(&p, Bearing::from_degrees(d), &cuts);
            let total: f64 = parts.iter().map(|q| q.polygon.unsigned_area()).sum();
            // A millimetre of rounding along at most 1.5 km of outline and cuts.
            prop_assert!((total - p.unsigned_area()).abs() < 1.5);
            prop_assert!(parts.windows(2).all(|w| w[0].slab <= w[1].slab));
        }
    }
}
