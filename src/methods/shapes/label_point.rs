//! The point of a polygon furthest from its edges: where a label or a sign stands clear.
//!
//! Cells of a square cover are searched best bound first (distance at the centre plus half the
//! diagonal) and split in four until no cell can beat the best centre by more than the tolerance.
//! Shapes and units: metres. Ties: the cell pushed first. Complexity: about `O(E log(size / tolerance))`.
//! Source: [`Bibliography::GarciaCastellanos2007`](crate::bibliography::Bibliography::GarciaCastellanos2007) for the question;
//! branch and bound on a quadtree, our own wording.
//! How we know: centres of a square, a ring and an L by hand (`known_centres`), distance really found (`stays_inside`).

use super::frame::Edges;
use geo::line_measures::{Distance, Euclidean};
use geo::{BoundingRect, Contains, Coord, Line, Point, Polygon};
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A point well inside a polygon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LabelPoint {
    /// The point.
    pub at: Coord<f64>,
    /// Its distance to the nearest edge, metres.
    pub clearance_m: f64,
}

/// The inner point furthest from all edges, to within `tolerance_m` of the best distance.
///
/// `None` for a polygon without area. A tolerance below 1 mm is taken as 1 mm.
#[must_use]
pub fn label_point(polygon: &Polygon<f64>, tolerance_m: f64) -> Option<LabelPoint> {
    let tolerance_m = if tolerance_m >= 1e-3 { tolerance_m } else { 1e-3 };
    let bounds = polygon.bounding_rect()?;
    let side = bounds.width().min(bounds.height());
    if side <= 0.0 || !side.is_finite() {
        return None;
    }
    let edges: Vec<Line<f64>> = polygon.edges().collect();
    let mut queue = BinaryHeap::new();
    let mut number = 0;
    let mut push = |queue: &mut BinaryHeap<SearchCell>, centre: Coord<f64>, half: f64| {
        let clearance = signed_clearance(polygon, &edges, centre);
        queue.push(SearchCell { centre, half, clearance, number });
        number += 1;
    };
    let half = side / 2.0;
    let mut y = bounds.min().y;
    while y < bounds.max().y {
        let mut x = bounds.min().x;
        while x < bounds.max().x {
            push(&mut queue, Coord { x: x + half, y: y + half }, half);
            x += side;
        }
        y += side;
    }
    let mut best: Option<LabelPoint> = None;
    while let Some(cell) = queue.pop() {
        let best_m = best.map_or(0.0, |b| b.clearance_m);
        if cell.clearance > best_m {
            best = Some(LabelPoint { at: cell.centre, clearance_m: cell.clearance });
        }
        let best_m = best_m.max(cell.clearance);
        if cell.bound() - best_m <= tolerance_m {
            continue;
        }
        let h = cell.half / 2.0;
        for (dx, dy) in [(-h, -h), (h, -h), (-h, h), (h, h)] {
            push(&mut queue, Coord { x: cell.centre.x + dx, y: cell.centre.y + dy }, h);
        }
    }
    best
}

/// Distance to the nearest edge, negative outside.
fn signed_clearance(polygon: &Polygon<f64>, edges: &[Line<f64>], at: Coord<f64>) -> f64 {
    let nearest = edges.iter().map(|e| Euclidean.distance(&Point(at), e)).fold(f64::INFINITY, f64::min);
    if polygon.contains(&at) { nearest } else { -nearest }
}

#[derive(Debug)]
struct SearchCell {
    centre: Coord<f64>,
    half: f64,
    clearance: f64,
    number: usize,
}

impl SearchCell {
    /// No point of the cell is further from the edges than this.
    fn bound(&self) -> f64 {
        self.clearance + self.half * std::f64::consts::SQRT_2
    }
}

impl Ord for SearchCell {
    fn cmp(&self, other: &Self) -> Ordering {
        self.bound().total_cmp(&other.bound()).then(other.number.cmp(&self.number))
    }
}
impl PartialOrd for SearchCell {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl PartialEq for SearchCell {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for SearchCell {}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    #[test]
    fn known_centres() {
        let square = polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 10.0), (x: 0.0, y: 10.0)];
        let p = label_point(&square, 0.01).expect("a square has a centre");
        assert!((p.at.x - 5.0).abs() < 0.02 && (p.at.y - 5.0).abs() < 0.02 && (p.clearance_m - 5.0).abs() < 0.011);
        // L with arms of 4 m in a 10 m square: the largest disc touches both outer sides and the inner corner,
        // r = (4 - r) * sqrt(2) gives r = 4 sqrt(2) / (1 + sqrt(2)) = 2.3431.
        let l = polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0, y: 4.0), (x: 4.0, y: 4.0), (x: 4.0, y: 10.0), (x: 0.0, y: 10.0)];
        let p = label_point(&l, 0.005).expect("an L has an inside");
        assert!((p.clearance_m - 2.343_146).abs() < 0.006, "{}", p.clearance_m);
    }

    #[test]
    fn stays_inside() {
        let ring = |a: f64, b: f64| geo::LineString::from(vec![(a, a), (b, a), (b, b), (a, b), (a, a)]);
        let holed = Polygon::new(ring(0.0, 100.0), vec![ring(20.0, 80.0)]);
        let p = label_point(&holed, 0.1).expect("a frame has an inside");
        assert!(holed.contains(&p.at), "the centroid would stand in the hole");
        assert!(p.clearance_m > 9.9, "{}", p.clearance_m);
        let flat = polygon![(x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 20.0, y: 0.0)];
        assert!(label_point(&flat, 0.1).is_none());
    }
}
