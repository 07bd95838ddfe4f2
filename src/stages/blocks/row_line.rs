//! A row of a trial, straight or bent.

use crate::methods::shapes::ClippedLine;
use geo::Coord;

/// A row's line on the grid.
#[derive(Debug, Clone)]
pub(super) struct RowLine {
    pub(super) start: Coord<f64>,
    pub(super) end: Coord<f64>,
    /// Places between the ends of a row that bends.
    between: Vec<Coord<f64>>,
    length_m: f64,
}

impl RowLine {
    /// A straight row.
    pub(super) fn straight(line: &ClippedLine) -> Self {
        Self { start: line.start, end: line.end, between: Vec::new(), length_m: line.length_m() }
    }

    /// A row through drawn places whose curve has a known length; `None` for fewer than two places.
    pub(super) fn bent(mut points: Vec<Coord<f64>>, length_m: f64) -> Option<Self> {
        let end = points.pop()?;
        let mut points = points.into_iter();
        let start = points.next()?;
        Some(Self { start, end, between: points.collect(), length_m })
    }

    /// Length on the grid, metres.
    pub(super) fn length_m(&self) -> f64 {
        self.length_m
    }

    /// All places from start to end, or the other way round.
    pub(super) fn points(&self, along: bool) -> Vec<Coord<f64>> {
        let mut points = Vec::with_capacity(self.between.len() + 2);
        points.push(self.start);
        points.extend(&self.between);
        points.push(self.end);
        if !along {
            points.reverse();
        }
        points
    }
}

/// Places of a line at least so far apart, both its ends among them.
pub(super) fn thinned(points: &[Coord<f64>], apart_m: f64) -> Vec<Coord<f64>> {
    let [first, inner @ .., last] = points else { return points.to_vec() };
    let mut kept = vec![*first];
    let far = |a: Coord<f64>, b: Coord<f64>| (a.x - b.x).hypot(a.y - b.y) >= apart_m;
    for at in inner {
        if far(kept[kept.len() - 1], *at) && far(*last, *at) {
            kept.push(*at);
        }
    }
    kept.push(*last);
    kept
}
