//! What is done to a proven surface so that it can be built: small depths are left, kinks are smoothed.
//!
//! Both passes start from a surface that keeps every limit and hand back one that does, at a stated share more earth.
//! They work with the weights of the balance, so the surface stays balanced but for a trace, which is trimmed afterwards.

use super::params::LevellingParams;
use crate::methods::optimise::{Balanced, Certificate, Fitted, LatticeFit, dead_band, smooth, ticks};

/// Gap the passes stop at; they are about looks, the earth they cost is capped.
const LOOSE_GAP: f64 = 0.3;
/// The dead band may take half of what is allowed, smoothing the rest.
const HALF: f64 = 0.5;

/// The surface after both passes, ticks. Where a pass refuses the surface stays as it was.
pub(super) fn settled(fit: &LatticeFit, found: &Balanced, params: &LevellingParams) -> Vec<f64> {
    let share = params.smoothing_pct / 100.0;
    // Where limits hold the surface off balance the weights of the balance would push it further.
    let is_balanced = found.left_over.abs() <= 1e-6 * found.moved().max(1.0);
    if share <= 0.0 || found.moved() <= 0.0 || !is_balanced {
        return found.heights.clone();
    }
    let (cut, fill) = found.weights;
    let weighted = LatticeFit {
        cut_weight: fit.cut_weight.iter().map(|w| w * cut).collect(),
        fill_weight: fit.fill_weight.iter().map(|w| w * fill).collect(),
        ..fit.clone()
    };
    // Whole limits are kept by heights rounded down.
    #[expect(clippy::cast_possible_truncation, reason = "heights on earth are far below 2^63 ticks")]
    let heights: Vec<i64> = found.heights.iter().map(|z| z.floor() as i64).collect();
    let certificate = Certificate { cost: weighted.cost(&heights), bound: found.weighted_bound, engine: found.engine };
    let mut fitted = Fitted { heights, certificate };
    let band = ticks(params.dead_band_mm / 1_000.0);
    if band > 0 {
        fitted = dead_band(&weighted, &fitted, band, HALF * share, LOOSE_GAP);
    }
    match smooth(&weighted, &fitted, share, LOOSE_GAP) {
        Ok(smoother) => smoother.heights.iter().map(|z| *z as f64).collect(),
        Err(_) => fitted.heights.iter().map(|z| *z as f64).collect(),
    }
}
