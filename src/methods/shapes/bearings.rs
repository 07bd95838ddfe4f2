//! Which bearings are worth trying for parallel lines, and how many lines each needs.
//!
//! A line family of spacing `s` crosses an edge of length `L` at azimuth `phi` about
//! `L |sin(theta - phi)| / s` times, and two crossings bound one segment, so the number of
//! segments is `N(theta) = sum L |sin(theta - phi)| / 2s`: the mean over all positions of the first
//! line, for any polygon with holes. Between neighbouring edge azimuths every term is concave, hence
//! so is `N`, and its least value over a closed set of bearings is taken at an edge azimuth or at
//! an end of the set. No sweep over angles is needed.
//! Shapes and units: edges in metres, spacing in metres, slopes as ratios, bearings clockwise from north.
//! Ties: equal bearings keep the longer edge. Complexity: `O(E)` per bearing.
//! Source: [`Bibliography::Santalo1976`](crate::bibliography::Bibliography::Santalo1976) (Crofton's formula);
//! the concavity argument is given above in full.
//! How we know: brute force never wins (`sweep_never_beats_edges`), counted lines agree with the formula (in
//! `parallel_lines`), plane compass cases (`grade_interval_ends`).

use super::frame::Edges;
use crate::units::Bearing;

/// Edges whose axes differ by no more than this share one candidate, degrees.
const MERGE_DEG: f64 = 0.1;

/// Mean number of line segments over all positions of the first line: exact for the family, not rounded.
///
/// The total length of the lines is area / spacing whatever the bearing, so their mean length is
/// area / (spacing * this number). Not a number when the spacing is zero.
#[must_use]
pub fn row_count(shape: &impl Edges, bearing: Bearing, spacing_m: f64) -> f64 {
    let (east, north) = bearing.east_north();
    // L |sin(theta - phi)| is the extent of the edge across the bearing.
    let across_m: f64 = shape.edges().map(|e| (e.dx() * north - e.dy() * east).abs()).sum();
    across_m / (2.0 * spacing_m)
}

/// Axes in `[0, 180)` of all edges, merged within 0.1 degree, sorted by angle.
///
/// A group is represented by its longest edge, for which the row count is exact.
#[must_use]
pub fn edge_bearings(shape: &impl Edges) -> Vec<Bearing> {
    let mut bearings: Vec<Bearing> = edge_groups(shape).into_iter().map(|(b, _)| b).collect();
    bearings.sort_by(|a, b| a.degrees().total_cmp(&b.degrees()));
    bearings
}

/// As [`edge_bearings`], with the summed length of each group's edges (metres), longest first.
#[must_use]
pub fn edge_bearings_by_length(shape: &impl Edges) -> Vec<(Bearing, f64)> {
    let mut groups = edge_groups(shape);
    groups.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.degrees().total_cmp(&b.0.degrees())));
    groups
}

/// Groups of edges with the same axis: the bearing of the longest edge and the total length.
fn edge_groups(shape: &impl Edges) -> Vec<(Bearing, f64)> {
    let mut edges: Vec<(Bearing, f64)> = shape
        .edges()
        .map(|e| (Bearing::from_east_north(e.dx(), e.dy()).axis(), e.dx().hypot(e.dy())))
        .filter(|(_, length_m)| *length_m > 0.0)
        .collect();
    // Longest first, so that the first member of a group is the one that stands for it.
    edges.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.degrees().total_cmp(&b.0.degrees())));
    let mut groups: Vec<(Bearing, f64)> = Vec::new();
    for (bearing, length_m) in edges {
        match groups.iter_mut().find(|g| g.0.axis_angle_to(bearing) <= MERGE_DEG) {
            Some(group) => group.1 += length_m,
            None => groups.push((bearing, length_m)),
        }
    }
    groups
}

/// A closed range of bearings, read clockwise from `from` to `to`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BearingInterval {
    /// Anticlockwise end.
    pub from: Bearing,
    /// Clockwise end.
    pub to: Bearing,
}

impl BearingInterval {
    /// Whether a line of this bearing, read in either sense, lies in the interval (ends included, to 1e-9 degree).
    #[must_use]
    pub fn contains_axis(&self, bearing: Bearing) -> bool {
        let width = (self.to.degrees() - self.from.degrees()).rem_euclid(360.0);
        [bearing, bearing.reversed()].iter().any(|b| {
            let turn = (b.degrees() - self.from.degrees() + 1e-9).rem_euclid(360.0);
            turn <= width + 2e-9
        })
    }
}

/// Downhill bearings on a plane along which the fall lies between two limits.
///
/// `gradient_east` and `gradient_north` are the rise of the plane per metre east and north. The
/// bearings are those read downhill; the same line read uphill is not listed again. There are two
/// intervals, one on each side of the steepest way down (they touch there when even the steepest way
/// is within the limit), one interval of all bearings when the plane is flat and no fall is asked for,
/// and none when no bearing is steep enough.
#[must_use]
pub fn admissible_bearings(
    gradient_east: f64,
    gradient_north: f64,
    min_fall: f64,
    max_fall: f64,
) -> Vec<BearingInterval> {
    let steepest = gradient_east.hypot(gradient_north);
    if steepest < min_fall || max_fall < min_fall || max_fall < 0.0 {
        return Vec::new();
    }
    if steepest <= 0.0 {
        // A level plane has no way down; every axis has the fall that is asked for, none.
        return vec![BearingInterval { from: Bearing::from_degrees(0.0), to: Bearing::from_degrees(180.0) }];
    }
    let down = Bearing::from_east_north(-gradient_east, -gradient_north).degrees();
    let widest = (min_fall.max(0.0) / steepest).acos().to_degrees();
    let narrowest = (max_fall / steepest).min(1.0).acos().to_degrees();
    vec![
        BearingInterval { from: Bearing::from_degrees(down - widest), to: Bearing::from_degrees(down - narrowest) },
        BearingInterval { from: Bearing::from_degrees(down + narrowest), to: Bearing::from_degrees(down + widest) },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Coord, LineString, Polygon, polygon};
    use proptest::prelude::*;

    fn deg(d: f64) -> Bearing {
        Bearing::from_degrees(d)
    }

    #[test]
    fn rectangle_counts() {
        // 400 m x 250 m at 1.8 m: 250/1.8 = 138.9 rows along, 400/1.8 = 222.2 across (arithmetic).
        let r = polygon![(x: 0.0, y: 0.0), (x: 400.0, y: 0.0), (x: 400.0, y: 250.0), (x: 0.0, y: 250.0)];
        assert!((row_count(&r, deg(90.0), 1.8) - 250.0 / 1.8).abs() < 1e-9);
        assert!((row_count(&r, deg(0.0), 1.8) - 400.0 / 1.8).abs() < 1e-9);
        assert_eq!(edge_bearings(&r), vec![deg(0.0), deg(90.0)]);
        assert_eq!(edge_bearings_by_length(&r)[0], (deg(90.0), 800.0));
    }

    #[test]
    fn nearly_equal_edges_merge_also_across_north() {
        // 0.04 degrees either side of north are one candidate, that of the longer edge.
        let t = 0.04_f64.to_radians().tan();
        let p =
            polygon![(x: 0.0, y: 0.0), (x: 50.0, y: 0.0), (x: 50.0 + 100.0 * t, y: 100.0), (x: -100.0 * t, y: 100.0)];
        assert_eq!(edge_bearings(&p).len(), 2);
    }

    #[test]
    fn grade_interval_ends() {
        // Slope 2 % falling to the east, grade wanted 0.5 %: cos(t) = 1/4, so 90 -+ 75.5224878 (arithmetic).
        let found = admissible_bearings(-0.02, 0.0, 0.005, 0.03);
        assert_eq!(found.len(), 2);
        assert!((found[0].from.degrees() - 14.477_512_186).abs() < 1e-6);
        assert!((found[1].to.degrees() - 165.522_487_814).abs() < 1e-6);
        assert!((found[0].to.degrees() - 90.0).abs() < 1e-9);
        // With at most 1 % the middle 60 degrees on either side of the steepest way are out.
        let capped = admissible_bearings(-0.02, 0.0, 0.005, 0.01);
        assert!((capped[0].to.degrees() - 30.0).abs() < 1e-9);
        assert!((capped[1].from.degrees() - 150.0).abs() < 1e-9);
        assert!(capped[0].contains_axis(deg(200.0)) && !capped[0].contains_axis(deg(90.0)));
        assert!(admissible_bearings(0.001, 0.0, 0.002, 0.01).is_empty());
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

        #[test]
        fn sweep_never_beats_edges(radii in prop::collection::vec(40.0..300.0f64, 4..15)) {
            let n = radii.len();
            #[expect(clippy::cast_precision_loss, reason = "a dozen vertices")]
            let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
                let t = i as f64 / n as f64 * std::f64::consts::TAU;
                Coord { x: 5e5 + r * t.cos(), y: 7e6 + r * t.sin() }
            }).collect();
            let shape = Polygon::new(ring, vec![]);
            let best = edge_bearings(&shape).iter().map(|b| row_count(&shape, *b, 1.8)).fold(f64::INFINITY, f64::min);
            let sweep = (0..1800).map(|i| row_count(&shape, deg(f64::from(i) * 0.1), 1.8)).fold(f64::INFINITY, f64::min);
            // Merged candidates may miss a neighbour's azimuth by 0.1 degree: a term changes by at most 0.00175 of itself.
            prop_assert!(best <= sweep * (1.0 + 1.8e-3), "edges {best}, sweep {sweep}");
        }

        #[test]
        fn interval_ends_meet_the_limits(ge in -0.02..0.02f64, gn in -0.02..0.02f64, lo in 0.0005..0.003f64, wide in 0.0..0.01f64) {
            for i in admissible_bearings(ge, gn, lo, lo + wide) {
                for b in [i.from, i.to] {
                    let (e, n) = b.east_north();
                    let fall = -(ge * e + gn * n);
                    prop_assert!(fall >= lo - 1e-9 && fall <= lo + wide + 1e-9);
                }
            }
        }
    }
}
