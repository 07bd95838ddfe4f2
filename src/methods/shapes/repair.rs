//! Makes a drawn outline valid when there is one plain reading of it, and says where it fails otherwise.
//!
//! Harmless faults (open or wrongly wound rings, repeated points, out-and-back spikes) are always put right. A
//! ring that crosses itself is rebuilt under both filling rules, even-odd and non-zero; where the
//! two agree and one polygon keeps nearly all the area, the crossing was a slip of the pen and that polygon is
//! taken. Where they differ or the area falls into several large parts, nobody but the drawer knows what was meant.
//! Shapes and units: metres. A valid polygon is returned as it stands.
//! Complexity: `O(E^2)` for finding crossings, only on invalid outlines.
//! Source: [`Bibliography::SimpleFeatures`](crate::bibliography::Bibliography::SimpleFeatures) for validity;
//! [`Bibliography::Ledoux2014`](crate::bibliography::Bibliography::Ledoux2014) for the filling rules.
//! How we know: one case per fault (`bow_tie_is_refused_with_its_crossing`, `slip_of_the_pen_is_mended`, `harmless_faults_go`).

use super::offset::drop_spikes;
use geo::algorithm::bool_ops::{FillRule, OpType};
use geo::algorithm::line_intersection::{LineIntersection, line_intersection};
use geo::orient::Direction;
use geo::{Area, BooleanOps, Coord, Line, LineString, LinesIter, MultiPolygon, Orient, Polygon, Validation};

/// Share of the area that the kept polygon must hold for a repair to count as unambiguous.
pub const KEPT_SHARE: f64 = 0.99;

/// A valid reading of an outline.
#[derive(Debug, Clone, PartialEq)]
pub struct Repaired {
    /// The outline as valid polygons (one, unless holes cut it apart).
    pub polygons: MultiPolygon<f64>,
    /// Area gained or lost against the drawn outline, square metres, zero or more.
    pub changed_area_m2: f64,
    /// What was done, as a sentence fragment; `None` when the outline was valid as drawn.
    pub note: Option<String>,
}

/// Why an outline has no plain reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RepairError {
    /// Fewer than three different points, or all on one line.
    #[error("outline has no area ({points} different points); draw at least three corners")]
    NoArea {
        /// Number of different points.
        points: usize,
    },
    /// A coordinate is infinite or not a number.
    #[error("outline has a coordinate that is not a number (point {index}); remove it")]
    NotFinite {
        /// Position in its ring, counted from 0.
        index: usize,
    },
    /// The outline crosses itself and could mean several shapes.
    #[error("outline crosses itself at east {:.2} m, north {:.2} m ({} crossings) and could mean several shapes (largest part {:.0} % of the area); redraw it there", .crossings[0].x, .crossings[0].y, .crossings.len(), .largest_share * 100.0)]
    Ambiguous {
        /// Where it crosses itself, at least one place, sorted by east then north.
        crossings: Vec<Coord<f64>>,
        /// Share of the whole area in the largest part, `[0, 1]`.
        largest_share: f64,
    },
}

/// A valid reading of a polygon.
///
/// # Errors
/// [`RepairError`] when the polygon has no area, has coordinates that are not numbers, or crosses itself in a
/// way that could mean several shapes.
pub fn repair(polygon: &Polygon<f64>) -> Result<Repaired, RepairError> {
    for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
        if let Some(index) = ring.0.iter().position(|c| !(c.x.is_finite() && c.y.is_finite())) {
            return Err(RepairError::NotFinite { index });
        }
    }
    if polygon.is_valid() && polygon.unsigned_area() > 0.0 {
        return Ok(as_drawn(polygon));
    }
    let tidy = tidied(polygon)?;
    if tidy.is_valid() && tidy.unsigned_area() > 0.0 {
        let changed_area_m2 = (tidy.unsigned_area() - polygon.unsigned_area()).abs();
        let note = Some("repeated points or spikes without area were removed".to_owned());
        return Ok(Repaired { polygons: MultiPolygon(vec![tidy.orient(Direction::Default)]), changed_area_m2, note });
    }
    uncrossed(&tidy)
}

/// A valid reading of a bare ring of points, closed or not.
///
/// # Errors
/// As [`repair`].
pub fn repair_ring(points: &[Coord<f64>]) -> Result<Repaired, RepairError> {
    // The polygon type closes rings itself.
    let open = points.first() != points.last();
    let mut repaired = repair(&Polygon::new(LineString(points.to_vec()), Vec::new()))?;
    if open && repaired.note.is_none() {
        repaired.note = Some("the ring was closed".to_owned());
    }
    Ok(repaired)
}

/// A valid polygon, wound the standard way.
fn as_drawn(polygon: &Polygon<f64>) -> Repaired {
    let oriented = polygon.orient(Direction::Default);
    let note = (&oriented != polygon).then(|| "rings were wound the standard way".to_owned());
    Repaired { polygons: MultiPolygon(vec![oriented]), changed_area_m2: 0.0, note }
}

/// The polygon without repeated points and spikes; holes left without area go.
fn tidied(polygon: &Polygon<f64>) -> Result<Polygon<f64>, RepairError> {
    let tidy_ring = |ring: &LineString<f64>| {
        let mut points = ring.0.clone();
        points.pop();
        drop_spikes(&mut points);
        let mut closed = LineString(points);
        closed.close();
        closed
    };
    let exterior = tidy_ring(polygon.exterior());
    // Neither four different points (the ring is closed) nor two edges: nothing encloses an area.
    if exterior.0.len() < 4 || lies_on_a_line(&exterior) {
        let mut points: Vec<_> = polygon.exterior().0.clone();
        points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        points.dedup();
        return Err(RepairError::NoArea { points: points.len() });
    }
    let holes = polygon.interiors().iter().map(tidy_ring).filter(|r| r.0.len() >= 4).collect();
    Ok(Polygon::new(exterior, holes))
}

fn lies_on_a_line(ring: &LineString<f64>) -> bool {
    let first = ring.0[0];
    let far = ring.0.iter().copied().max_by(|a, b| length(first, *a).total_cmp(&length(first, *b)));
    far.is_none_or(|far| {
        let reach = length(first, far);
        ring.0.iter().all(|c| {
            let cross = (far.x - first.x) * (c.y - first.y) - (far.y - first.y) * (c.x - first.x);
            cross.abs() <= 1e-3 * reach
        })
    })
}

fn length(a: Coord<f64>, b: Coord<f64>) -> f64 {
    (b.x - a.x).hypot(b.y - a.y)
}

/// Rebuilds a crossing outline where both filling rules agree on one dominant polygon.
fn uncrossed(tidy: &Polygon<f64>) -> Result<Repaired, RepairError> {
    let nothing = MultiPolygon::<f64>(Vec::new());
    let under = |rule| tidy.boolean_op_with_fill_rule(&nothing, OpType::Union, rule);
    let (even_odd, non_zero) = (under(FillRule::EvenOdd), under(FillRule::NonZero));
    // Even-odd never fills more than non-zero, so measuring the largest part against the larger area also asks
    // whether the two agree. Holes may be stored in either winding, which only even-odd reads as holes.
    let whole = if tidy.interiors().is_empty() { non_zero.unsigned_area() } else { even_odd.unsigned_area() };
    let largest = even_odd.0.iter().max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()));
    let Some(largest) = largest.filter(|_| whole > 0.0) else {
        return Err(RepairError::NoArea { points: tidy.exterior().0.len() - 1 });
    };
    let largest_share = largest.unsigned_area() / whole;
    let crossings = crossings(tidy);
    if largest_share < KEPT_SHARE {
        // A ring can also be invalid by running along itself; then its first corner is the place.
        let crossings = if crossings.is_empty() { vec![tidy.exterior().0[0]] } else { crossings };
        return Err(RepairError::Ambiguous { crossings, largest_share });
    }
    let place = crossings.first().map_or(String::new(), |c| format!(" at east {:.2} m, north {:.2} m", c.x, c.y));
    let polygons = MultiPolygon(vec![largest.orient(Direction::Default)]);
    Ok(Repaired {
        changed_area_m2: whole - largest.unsigned_area(),
        note: Some(format!(
            "the outline crossed or touched itself{place}; {:.2} % of its area was kept",
            largest_share * 100.0
        )),
        polygons,
    })
}

/// Where edges of a polygon cross or overlap other than at shared corners, sorted by east then north.
fn crossings(polygon: &Polygon<f64>) -> Vec<Coord<f64>> {
    let edges: Vec<Line<f64>> = polygon.lines_iter().collect();
    let mut found = Vec::new();
    for (i, a) in edges.iter().enumerate() {
        for b in &edges[i + 1..] {
            match line_intersection(*a, *b) {
                Some(LineIntersection::SinglePoint { intersection, is_proper }) => {
                    let corner = a.end == b.start || b.end == a.start;
                    if is_proper || !corner {
                        found.push(intersection);
                    }
                }
                Some(LineIntersection::Collinear { intersection }) => found.push(intersection.start),
                None => {}
            }
        }
    }
    found.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    found.dedup();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Winding, polygon};

    fn at(x: f64, y: f64) -> Coord<f64> {
        Coord { x, y }
    }

    #[test]
    fn valid_is_unchanged() {
        let square = polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)];
        let r = repair(&square).expect("a square is valid");
        assert_eq!(r.polygons.0, vec![square]);
        assert_eq!((r.changed_area_m2, r.note), (0.0, None));
    }

    #[test]
    fn bow_tie_is_refused_with_its_crossing() {
        let tie = polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 10.0), (x: 10.0, y: 0.0), (x: 0.0, y: 10.0)];
        let Err(RepairError::Ambiguous { crossings, largest_share }) = repair(&tie) else {
            panic!("a bow tie has two equal halves");
        };
        assert_eq!(crossings, vec![at(5.0, 5.0)]);
        assert!((largest_share - 0.5).abs() < 1e-6);
        let text = repair(&tie).expect_err("as above").to_string();
        assert!(text.contains("east 5.00 m, north 5.00 m") && text.contains("50 %"), "{text}");
    }

    #[test]
    fn twice_round_is_refused() {
        // The outline laps over itself: even-odd leaves the overlap out, non-zero keeps it.
        let lap = polygon![
            (x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0),
            (x: 0.0, y: 1.0), (x: 9.0, y: 1.0), (x: 9.0, y: 9.0), (x: 1.0, y: 9.0), (x: 1.0, y: 0.5), (x: 0.0, y: 0.5)
        ];
        assert!(matches!(repair(&lap), Err(RepairError::Ambiguous { .. })));
    }

    #[test]
    fn curl_is_refused_because_the_rules_differ() {
        // One loop inside, wound like the outline: even-odd makes it a hole of a single polygon, non-zero fills it.
        let curl = polygon![
            (x: 0.0, y: 0.0), (x: 7.0, y: 0.0), (x: 7.0, y: 5.0), (x: 3.0, y: 5.0), (x: 3.0, y: -1.0),
            (x: 10.0, y: -1.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)
        ];
        let Err(RepairError::Ambiguous { crossings, largest_share }) = repair(&curl) else {
            panic!("a loop of 20 m2 in 107 m2 is no slip of the pen");
        };
        assert_eq!(crossings, vec![at(3.0, 0.0)]);
        assert!((largest_share - 87.0 / 107.0).abs() < 1e-6, "{largest_share}");
    }

    #[test]
    fn slip_of_the_pen_is_mended() {
        // The last corner overshoots the first edge by half a metre: a loop of a few square decimetres.
        let slip = polygon![
            (x: 0.0, y: 0.0), (x: 100.0, y: 0.0), (x: 100.0, y: 100.0), (x: 0.0, y: 100.0), (x: 1.0, y: -0.5)
        ];
        let r = repair(&slip).expect("one polygon holds nearly all the area");
        assert_eq!(r.polygons.0.len(), 1);
        assert!(r.polygons.is_valid() && r.polygons.0[0].exterior().is_ccw());
        assert!(r.changed_area_m2 > 0.1 && r.changed_area_m2 < 1.0, "{}", r.changed_area_m2);
        let note = r.note.expect("a repair is reported");
        assert!(note.contains("crossed") && note.contains("east"), "{note}");
    }

    #[test]
    fn harmless_faults_go() {
        let open = [at(0.0, 0.0), at(10.0, 0.0), at(10.0, 10.0), at(0.0, 10.0)];
        assert_eq!(repair_ring(&open).expect("closed for the user").note.as_deref(), Some("the ring was closed"));
        let clockwise = [at(0.0, 0.0), at(0.0, 10.0), at(10.0, 10.0), at(10.0, 0.0), at(0.0, 0.0)];
        let r = repair_ring(&clockwise).expect("winding is put right");
        assert!(r.polygons.0[0].exterior().is_ccw() && r.note.is_some());
        let spiky = [
            at(0.0, 0.0),
            at(10.0, 0.0),
            at(10.0, 0.0),
            at(14.0, 0.0),
            at(10.0, 0.0),
            at(10.0, 10.0),
            at(0.0, 10.0),
            at(0.0, 0.0),
        ];
        let r = repair_ring(&spiky).expect("a spike has no area");
        assert_eq!(r.polygons.0[0].exterior().0.len(), 5);
        assert!((r.polygons.unsigned_area() - 100.0).abs() < 1e-9 && r.changed_area_m2 < 1e-9);
    }

    #[test]
    fn nothing_and_nonsense_are_refused() {
        assert_eq!(repair_ring(&[at(0.0, 0.0), at(5.0, 5.0)]), Err(RepairError::NoArea { points: 2 }));
        assert!(matches!(repair_ring(&[at(0.0, 0.0), at(5.0, 5.0), at(9.0, 9.0)]), Err(RepairError::NoArea { .. })));
        assert!(matches!(
            repair_ring(&[at(0.0, 0.0), at(f64::NAN, 5.0), at(9.0, 0.0)]),
            Err(RepairError::NotFinite { index: 1 })
        ));
        assert!(matches!(repair_ring(&[]), Err(RepairError::NoArea { points: 0 })));
    }

    #[test]
    fn hole_outside_is_not_accepted_as_drawn() {
        let ring = |a: f64, b: f64| LineString::from(vec![(a, a), (b, a), (b, b), (a, b), (a, a)]);
        let p = Polygon::new(ring(0.0, 10.0), vec![ring(8.0, 14.0)]);
        assert!(matches!(repair(&p), Err(RepairError::Ambiguous { .. })));
    }
}
