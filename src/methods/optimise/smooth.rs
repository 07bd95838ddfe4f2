//! A second pass over a fitted surface: smoother along the lanes for a small share more cost.
//!
//! An L1 optimum is seldom the only one and full of kinks. [`smooth`] looks for the surface of least sum of squared bends
//! among those within the limits whose cost is within a share of the least. Squares and cost are joined by a weight `W`: for
//! any `W` and any surface of cost at most `C`,
//!
//! `sum b^2 >= 2 (D - C) / W`, `D <= min cost + W / 2 sum b^2` over all surfaces within the limits,
//!
//! with `D` from [`super::dual_bound`], so the best `W` need not be known and the gap is proven whatever `W` was reached.
//! A surface that costs too much is blended with the fitted one: both keep the limits and cost is convex.
//!
//! Units: heights in ticks, squared bends in ticks squared.
//! Source: Lagrangian duality.
//! How we know: a hand-made case, limits and cost kept on random fits, the bound never above the squares of other surfaces.

use super::descent::Descent;
use super::frame::{frame, narrow};
use super::level::BendRule;
use super::problem::{Certificate, Fitted, LatticeFit, Refusal};
use super::rounding::Rounding;

/// Steps on the finest lattice after which the best so far is handed back whatever its gap.
const MOST_STEPS: usize = 3_000;
/// Parts of a blend, as a power of two.
const BLEND: i64 = 1 << 12;

/// A smoother surface and what is proven of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Smoothed {
    /// Heights, ticks, as in [`Fitted`].
    pub heights: Vec<i64>,
    /// Cost, weight times ticks.
    pub cost: i64,
    /// Most it was allowed to cost.
    pub most_cost: i64,
    /// Sum of squared bends along the lanes, ticks squared.
    pub squares: f64,
    /// No surface within the limits at no more than the allowed cost has a smaller sum.
    pub bound: f64,
}

impl Smoothed {
    /// Share by which the squares exceed the bound.
    #[must_use]
    pub fn gap(&self) -> f64 {
        let over = (self.squares - self.bound).max(0.0);
        if over == 0.0 { 0.0 } else { over / self.bound.max(f64::MIN_POSITIVE) }
    }
}

/// Sum of squared bends along the lanes, ticks squared.
#[must_use]
pub fn squared_bends(fit: &LatticeFit, heights: &[i64]) -> f64 {
    fit.bends(heights).map(|bend| (bend as f64).powi(2)).sum()
}

/// The smoothest surface whose cost exceeds the proven bound of a fitted one by at most a share; when the fitted one itself
/// costs more than that, at its cost. Stops at a gap of the squares, or with the gap reached after some thousand steps.
///
/// # Errors
/// As [`super::solve_fast`] on the same fit.
pub fn smooth(fit: &LatticeFit, fitted: &Fitted, share: f64, gap: f64) -> Result<Smoothed, Refusal> {
    let Certificate { cost, bound, .. } = fitted.certificate;
    let most_cost = ((bound * (1.0 + share)).floor() as i64).max(cost);
    let squares = squared_bends(fit, &fitted.heights);
    let mut best = Smoothed { heights: fitted.heights.clone(), cost, most_cost, squares, bound: 0.0 };
    if squares == 0.0 || fit.is_empty() {
        return Ok(best);
    }
    // At first bends weigh as much as the cost that may be spent on them.
    let mut weight = (most_cost as f64 - bound).max(1e-4 * bound).max(1.0) / squares;
    let mut frame = frame(fit, BendRule::Square(1.0))?;
    let (datum, scale) = (frame.datum, frame.scale);
    frame.level.bend = BendRule::Square((weight * scale) as f32);
    narrow(fit, datum, &mut frame.level, most_cost);
    let mut rounding = Rounding::new(fit, datum, 0);
    let mut descent = Descent::begin(fit, frame);
    while descent.steps() < MOST_STEPS && best.gap() > gap {
        let together = descent.round();
        best.bound = best.bound.max(2.0 * (together - most_cost as f64) / descent.bend_weight().unwrap_or(weight));
        if !descent.restarts_next() {
            continue;
        }
        let Some((cost, heights)) = rounding.surface(&descent.level, |p| descent.height(p)) else { continue };
        let whole = |p: usize| if fit.inside[p] { i64::from(heights[p]) + datum } else { fit.ground[p] };
        best.improve(fit, fitted, (0..fit.len()).map(whole).collect());
        // What is spent grows with some power of the weight below one.
        let (spent, to_spend) = (cost as f64 - bound, (most_cost as f64 - bound).max(1.0));
        weight *= (to_spend / spent.max(0.1 * to_spend)).powf(0.7);
        descent.weigh_bends(weight);
    }
    Ok(best)
}

impl Smoothed {
    /// Takes a surface over, blended with the fitted one as far as the cost asks, when it is smoother.
    fn improve(&mut self, fit: &LatticeFit, fitted: &Fitted, heights: Vec<i64>) {
        let blend = |part: i64| -> Vec<i64> {
            let mix = |(new, old): (&i64, &i64)| old + ((new - old) * part).div_euclid(BLEND);
            heights.iter().zip(&fitted.heights).map(mix).collect()
        };
        let (mut kept, mut dear) = (0, BLEND + 1);
        while dear - kept > 1 {
            // The whole surface is tried first, then halves.
            let part = if dear > BLEND { BLEND } else { i64::midpoint(kept, dear) };
            if fit.cost(&blend(part)) <= self.most_cost {
                kept = part;
            } else {
                dear = part;
            }
        }
        let blended = blend(kept);
        let squares = squared_bends(fit, &blended);
        // Rounding down keeps limits on steps but may overstep one on bends.
        if squares < self.squares && fit.keeps(&blended) {
            (self.cost, self.squares) = (fit.cost(&blended), squares);
            self.heights = blended;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::tests_fits::{any_fit, fit_of, rough_ground};
    use crate::methods::optimise::{Step, solve_fast};
    use proptest::prelude::*;

    #[test]
    fn a_kink_is_spread_over_the_lane_when_that_is_free() {
        // Weightless points between two fixed ones: the straight line costs nothing and bends nowhere.
        let mut fit = fit_of(1, 9, Step { least: -20, most: 20 }, Step { least: 0, most: 0 });
        fit.ground = vec![0, 0, 0, 0, 0, 20, 40, 60, 80];
        fit.cut_weight = vec![9, 0, 0, 0, 0, 0, 0, 0, 9];
        fit.fill_weight.clone_from(&fit.cut_weight);
        let fitted = solve_fast(&fit, 0.0).unwrap();
        assert_eq!(fitted.certificate.cost, 0);
        let smoothed = smooth(&fit, &fitted, 0.01, 0.05).unwrap();
        assert!(fit.keeps(&smoothed.heights));
        assert_eq!(smoothed.cost, 0);
        assert!(smoothed.squares <= 4.0, "whole ticks of a straight line: {smoothed:?}");
    }

    #[test]
    fn a_rough_surface_gets_smoother_within_its_cost() {
        let fit = rough_ground(40, 60, 4);
        let fitted = solve_fast(&fit, 0.001).unwrap();
        let smoothed = smooth(&fit, &fitted, 0.01, 0.05).unwrap();
        assert!(fit.keeps(&smoothed.heights));
        assert!(smoothed.cost as f64 <= 1.01 * fitted.certificate.bound);
        assert!(smoothed.squares < 0.8 * squared_bends(&fit, &fitted.heights), "{}", smoothed.squares);
        assert!(smoothed.bound > 0.5 * smoothed.squares, "{} {}", smoothed.bound, smoothed.squares);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn squares_lie_above_their_bound((fit, _) in any_fit(3, 7), share in 0.0_f64..0.5) {
            if let Ok(fitted) = solve_fast(&fit, 0.0) {
                let smoothed = smooth(&fit, &fitted, share, 0.01).unwrap();
                prop_assert!(fit.keeps(&smoothed.heights));
                prop_assert!(smoothed.cost <= smoothed.most_cost);
                prop_assert!(smoothed.bound <= smoothed.squares, "{smoothed:?}");
                prop_assert!(smoothed.squares <= squared_bends(&fit, &fitted.heights));
                prop_assert_eq!(smoothed.squares, squared_bends(&fit, &smoothed.heights));
            }
        }
    }
}
