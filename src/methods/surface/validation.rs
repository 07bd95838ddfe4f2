//! How far heights between surveyed points can be trusted.
//!
//! The honest test of a strip survey leaves out whole swaths or whole blocks, because a point's neighbours along the
//! track are so near that leaving out single points shows nothing. What is left out together is called a turn: every
//! point of a turn is predicted from the points of all other turns. Blocks are left out in five turns, set like a
//! knight's move, so that two blocks left out together never share a side.
//!
//! Source: [`Bibliography::Roberts2017`](crate::bibliography::Bibliography::Roberts2017).
//!
//! How we know: `validation_of_a_plane_and_of_noise`, `residuals_keep_the_order_given`.

use super::interpolate::{HeightPoint, Interpolant, InterpolationError, Merged, read_all};
use super::mesh::Mesh;
use geo::Coord;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// How well heights are predicted where points are left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Validation {
    /// Root mean square of predicted minus surveyed height, metres.
    pub rmse_m: f64,
    /// Mean of predicted minus surveyed height, metres.
    pub bias_m: f64,
    /// 95th percentile of the absolute difference (nearest rank), metres.
    pub p95_m: f64,
    /// Greatest absolute difference, metres.
    pub max_m: f64,
    /// Number of points predicted; those outside the hull of the rest are not.
    pub n: usize,
}

impl Validation {
    /// The statement of differences (predicted minus surveyed), metres.
    #[must_use]
    pub fn of(errors: &[f64]) -> Self {
        let n = errors.len();
        let count = n.max(1) as f64;
        let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
        sizes.sort_unstable_by(f64::total_cmp);
        let rank = (0.95 * n as f64).ceil() as usize;
        Self {
            rmse_m: (errors.iter().map(|e| e * e).sum::<f64>() / count).sqrt(),
            bias_m: errors.iter().sum::<f64>() / count,
            p95_m: sizes.get(rank.saturating_sub(1)).copied().unwrap_or(0.0),
            max_m: sizes.last().copied().unwrap_or(0.0),
            n,
        }
    }
}

/// The turn of points that are never left out.
pub const KEPT: u32 = u32::MAX;
/// Points from which on two of the five turns of blocks are enough: a hundred thousand predictions and more.
const MANY: usize = 250_000;

/// The turn of a place when square blocks of side `block_m` are left out: 0 to 4.
#[must_use]
pub fn block_turn(at: Coord<f64>, block_m: f64) -> u32 {
    let (i, j) = ((at.x / block_m).floor() as i64, (at.y / block_m).floor() as i64);
    (i + 2 * j).rem_euclid(5) as u32
}

/// The turns of points by blocks. Of a large survey only the blocks of two turns are left out, which still is two
/// fifths of all points, evenly spread.
#[must_use]
pub fn block_turns(points: &[HeightPoint], block_m: f64) -> Vec<u32> {
    let turn = |p: &HeightPoint| match block_turn(p.at, block_m) {
        turn if turn >= 2 && points.len() > MANY => KEPT,
        turn => turn,
    };
    points.iter().map(turn).collect()
}

/// Predicts every point by natural neighbours from the points of all other turns.
///
/// `turn_of` gives the turn of each point, [`KEPT`] for points never left out. Returns predicted minus surveyed height
/// in the order given, metres; `None` for points never left out, outside the hull of the rest or farther than `reach_m`
/// from all of them.
///
/// # Errors
/// When a point is not finite or the points left in a turn do not span a surface.
pub fn leave_out(
    points: &[HeightPoint],
    turn_of: &[u32],
    reach_m: f64,
) -> Result<Vec<Option<f64>>, InterpolationError> {
    let mut turns: Vec<u32> = turn_of.to_vec();
    turns.sort_unstable();
    turns.dedup();
    turns.retain(|turn| *turn != KEPT);
    let found: Vec<Vec<(usize, Option<f64>)>> = turns
        .par_iter()
        .map(|turn| {
            let (mut out, mut places, mut kept) = (Vec::new(), Vec::new(), Vec::new());
            for (i, (p, t)) in points.iter().zip(turn_of).enumerate() {
                if t == turn {
                    out.push(i);
                    places.push(p.at);
                } else {
                    kept.push(*p);
                }
            }
            let (mesh, _) = Mesh::new(&Merged::new(&kept)?.points, &[])?;
            let predicted = read_all(&mesh, &places, Interpolant::NaturalNeighbour, reach_m);
            let error = |(i, z): (usize, Option<f64>)| (i, z.map(|z| z - points[i].height_m));
            Ok(out.into_iter().zip(predicted).map(error).collect())
        })
        .collect::<Result<_, InterpolationError>>()?;
    let mut errors = vec![None; points.len()];
    found.into_iter().flatten().for_each(|(i, e)| errors[i] = e);
    Ok(errors)
}

/// Predicts the points of each square block of side `block_m` from the points of the others, by natural neighbours.
///
/// # Errors
/// When a point is not finite or the points left in one of the five turns do not span a surface.
pub fn block_cross_validation(points: &[HeightPoint], block_m: f64) -> Result<Validation, InterpolationError> {
    let points = Merged::new(points)?.points;
    let turns = block_turns(&points, block_m);
    let errors: Vec<f64> = leave_out(&points, &turns, f64::INFINITY)?.into_iter().flatten().collect();
    Ok(Validation::of(&errors))
}

#[cfg(test)]
mod tests {
    use super::super::interpolate::tests::strips;
    use super::*;

    /// Derived: a plane is predicted exactly; with steps of a known size the error has that size.
    #[test]
    fn validation_of_a_plane_and_of_noise() {
        let plane = block_cross_validation(&strips(300.0, 10.0, 5.0, |x, y| 0.01 * x + 0.02 * y), 50.0).unwrap();
        assert!(plane.n > 1000 && plane.max_m < 1e-9, "{plane:?}");
        // A bump every 50 m cannot be seen from the blocks beside it.
        let bumps = |x: f64, y: f64| 0.2 * (x / 8.0).sin() * (y / 8.0).sin();
        let rough = block_cross_validation(&strips(300.0, 10.0, 5.0, bumps), 50.0).unwrap();
        assert!(rough.rmse_m > 0.05 && rough.p95_m >= rough.rmse_m && rough.max_m >= rough.p95_m);
        let easy = block_cross_validation(&strips(300.0, 10.0, 5.0, bumps), 6.0).unwrap();
        assert!(easy.rmse_m < rough.rmse_m, "smaller blocks must look easier");
        let s = Validation::of(&[0.1, -0.1, 0.3, -0.3]);
        assert!((s.rmse_m - 0.05_f64.sqrt()).abs() < 1e-12 && s.bias_m.abs() < 1e-12 && s.p95_m == 0.3);
    }

    #[test]
    fn residuals_keep_the_order_given() {
        let points = strips(60.0, 10.0, 5.0, |x, _| if x > 25.0 && x < 35.0 { 0.1 } else { 0.0 });
        // Every line of the strip survey is its own swath; the third from the west stands 0.1 m high.
        let turns: Vec<u32> = points.iter().map(|p| ((p.at.x - 512_000.0) / 10.0).round() as u32).collect();
        let errors = leave_out(&points, &turns, f64::INFINITY).unwrap();
        for ((p, turn), e) in points.iter().zip(&turns).zip(&errors) {
            match turn {
                0 | 6 => {}
                3 => assert!((e.unwrap() + 0.1).abs() < 1e-9, "{p:?} {e:?}"),
                2 | 4 => assert!((e.unwrap() - 0.05).abs() < 0.01, "{p:?} {e:?}"),
                _ => assert!(e.unwrap().abs() < 0.01, "{p:?} {e:?}"),
            }
        }
    }
}
