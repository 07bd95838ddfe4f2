//! A second pass over a fitted surface that leaves the ground alone where it hardly had to move.
//!
//! Nobody moves earth for a centimetre. [`dead_band`] holds the points of small depth at their ground, as many as the limits
//! let stand together, and fits the others again. Which can stand together one sweep tells: lowered from the held heights
//! as far as the steps between them ask, those that stay where they are are no higher above any other than the steps allow,
//! whichever the pair; the rest are let go.
//!
//! Units: heights in ticks.
//! Source: the sweep as in [`super::repair`]; a dead band is common practice, no source.
//! How we know: limits and cost are kept and small depths become fewer, on rough ground and random fits.

use super::fast::solve_fast;
use super::problem::{Engine, Fitted, LatticeFit};
use super::repair::{Side, Tick, reach, settle};

/// Times the band in which points are held is halved when holding them costs too much.
const HALVED: u32 = 3;
/// Times points that came into the band are held as well.
const AGAIN: usize = 2;

/// Number of points off their ground by less than a band, ticks.
#[must_use]
pub fn small_depths(fit: &LatticeFit, heights: &[i64], band: i64) -> usize {
    (0..fit.len()).filter(|p| fit.inside[*p] && is_small(fit.ground[*p] - heights[*p], band)).count()
}

/// Whether a depth is one nobody would move earth for.
fn is_small(depth: i64, band: i64) -> bool {
    depth != 0 && depth.abs() < band
}

/// A surface with fewer depths under a band, ticks, at a cost no more than a share over the proven bound: points of small
/// depth go back to their ground where the limits allow.
///
/// The others are fitted to a gap. The certificate is of the fit itself, with the bound of the fitted surface. Hands the
/// fitted surface back when none is better.
#[must_use]
pub fn dead_band(fit: &LatticeFit, fitted: &Fitted, band: i64, share: f64, gap: f64) -> Fitted {
    let most_cost = fitted.certificate.bound * (1.0 + share);
    let mut best = fitted.clone();
    let mut fewest = small_depths(fit, &fitted.heights, band);
    for _ in 0..AGAIN {
        let better = (0..=HALVED).find_map(|halved| {
            let held = hold(fit, &best.heights, band >> halved)?;
            let found = solve_fast(&held, gap).ok()?;
            let small = small_depths(fit, &found.heights, band);
            (small < fewest && fit.cost(&found.heights) as f64 <= most_cost).then_some((small, found.heights))
        });
        let Some((small, heights)) = better else { break };
        fewest = small;
        best.certificate.cost = fit.cost(&heights);
        best.certificate.engine = Engine::Fast;
        best.heights = heights;
    }
    best
}

/// The fit with points of no or small depth held at their ground, those that can stand together. `None` when the limits
/// cannot be kept at all.
fn hold(fit: &LatticeFit, heights: &[i64], band: i64) -> Option<LatticeFit> {
    let within = reach(fit).ok()?;
    let free = |list: &[i64], p: usize, free: i64| list.get(p).copied().unwrap_or(free);
    let near = |p: usize| {
        let (low, high) = (free(&within.lowest, p, i64::MIN), free(&within.highest, p, i64::MAX));
        let depth = fit.ground[p] - heights[p];
        fit.inside[p] && (depth == 0 || is_small(depth, band)) && (low..=high).contains(&fit.ground[p])
    };
    let height = |p: usize| if near(p) { fit.ground[p] } else { <i64 as Tick>::of(free(&within.highest, p, i64::MAX)) };
    let mut lowered: Vec<i64> = (0..fit.len()).map(height).collect();
    settle(fit, &mut lowered, Side::Below).ok()?;
    let held = |p: usize| near(p) && lowered[p] == fit.ground[p];
    let range = |p: usize| if held(p) { (fit.ground[p], fit.ground[p]) } else { fit.range(p) };
    let (lowest, highest) = (0..fit.len()).map(range).unzip();
    Some(LatticeFit { lowest, highest, ..fit.clone() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::tests_fits::{any_fit, rough_ground};
    use proptest::prelude::*;

    #[test]
    fn small_depths_go_back_to_the_ground() {
        let fit = rough_ground(40, 60, 4);
        let fitted = solve_fast(&fit, 0.001).unwrap();
        let banded = dead_band(&fit, &fitted, 1_500, 0.05, 0.002);
        assert!(fit.keeps(&banded.heights));
        assert_eq!(fit.cost(&banded.heights), banded.certificate.cost);
        assert!(banded.certificate.gap() <= 0.05);
        let before = small_depths(&fit, &fitted.heights, 1_500);
        assert!(small_depths(&fit, &banded.heights, 1_500) < before * 2 / 3, "{before}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn limits_and_cost_are_kept((fit, _) in any_fit(4, 6), share in 0.0_f64..2.0) {
            if let Ok(fitted) = solve_fast(&fit, 0.0) {
                let banded = dead_band(&fit, &fitted, 3, share, 0.0);
                prop_assert!(fit.keeps(&banded.heights));
                prop_assert_eq!(fit.cost(&banded.heights), banded.certificate.cost);
                prop_assert!(small_depths(&fit, &banded.heights, 3) <= small_depths(&fit, &fitted.heights, 3));
                let most = fitted.certificate.bound * (1.0 + share);
                prop_assert!(banded == fitted || banded.certificate.cost as f64 <= most);
            }
        }
    }
}
