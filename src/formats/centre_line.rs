//! A centre line for a long area, such as a creek mapped by its banks.

use geo::{Coord, Distance, Euclidean, InterpolateLine, Length, LineString, Point, Polygon};

/// Stations along the line at most.
const STATIONS: u32 = 200;

/// Splits the outline at its two furthest vertices into two banks and walks midway between them.
///
/// Right for long areas without branches, which is what a reach of a creek is; `None` for fewer than three vertices.
#[must_use]
pub fn between_banks(area: &Polygon<f64>) -> Option<LineString<f64>> {
    let ring = &area.exterior().0;
    let open = ring.get(..ring.len().checked_sub(1)?)?;
    if open.len() < 3 {
        return None;
    }
    let (i, j) = furthest_pair(open)?;
    let left = LineString(open[i..=j].to_vec());
    let right = LineString(open[j..].iter().chain(&open[..=i]).rev().copied().collect());
    let length = Euclidean.length(&left).max(Euclidean.length(&right));
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 4 and 200")]
    let stations = (length / 10.0).clamp(4.0, f64::from(STATIONS)) as u32;
    let line = (0..=stations)
        .map(|k| {
            let t = f64::from(k) / f64::from(stations);
            let (a, b) = (at_ratio(&left, t)?, at_ratio(&right, t)?);
            Some(a + (b - a) / 2.0)
        })
        .collect::<Option<Vec<Coord<f64>>>>()?;
    Some(LineString(line))
}

fn at_ratio(line: &LineString<f64>, ratio: f64) -> Option<Coord<f64>> {
    Euclidean.point_at_ratio_from_start(line, ratio).map(|p| p.0)
}

/// The two vertices furthest apart; the first such pair in ring order when several are.
fn furthest_pair(open: &[Coord<f64>]) -> Option<(usize, usize)> {
    let mut best = (0.0, None);
    for (i, a) in open.iter().enumerate() {
        for (j, b) in open.iter().enumerate().skip(i + 1) {
            let d = Euclidean.distance(Point(*a), Point(*b));
            if d > best.0 {
                best = (d, Some((i, j)));
            }
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    #[test]
    fn the_line_runs_midway() {
        // A straight creek 10 m wide whose banks are y = 0 and y = 10: the middle is y = 5 away from its two ends.
        let creek = polygon![(x: -5.0, y: 5.0), (x: 0.0, y: 0.0), (x: 200.0, y: 0.0), (x: 205.0, y: 5.0), (x: 200.0, y: 10.0), (x: 0.0, y: 10.0)];
        let line = between_banks(&creek).unwrap();
        assert!(line.0.iter().all(|c| (c.y - 5.0).abs() < 1e-9));
        assert!((Euclidean.length(&line) - 210.0).abs() < 1e-9);
    }
}
