//! A bound no surface within the limits can beat, from any multipliers whatever, in whole numbers.
//!
//! Take a surface `z` that keeps every limit, depths `d = z - g`, and any numbers `y_e`, one for each step across and each
//! bend. As `(K z)_e = (K d)_e + (K g)_e` lies between its limits `a_e` and `b_e`,
//! `y_e (K d)_e <= max(a_e y_e, b_e y_e) - y_e (K g)_e`. Summed, with `r = K' y`:
//!
//! `cost(z) >= sum_i [c_i(z_i) + r_i d_i] + sum_e min(y_e ((K g)_e - a_e), y_e ((K g)_e - b_e))`.
//!
//! What is left falls apart into lanes, and the least value of each over all heights within the limits along it is found
//! exactly ([`super::slope_trick`]): the best multipliers of the steps along need not be known. (Bends that cost half their
//! square times `w` bring `y (K g) - y^2 / 2 w` instead, as `y b <= w b^2 / 2 + y^2 / 2 w`.)
//!
//! Where `|r|` outweighs the points for a whole stretch of a lane, the least value depends on how far heights can go, so
//! each keeps a range `[L_i, U_i]` in which it lies for one optimal `z` at least. The caller takes one of these:
//! - without limits on bends: `L` is the greatest surface within the limits below the ground, `U` the least above (the ground
//!   first moved between the least and greatest surfaces of all). If `z` is optimal so is `max(z, L)`: it keeps the limits
//!   (they form a lattice), and where it differs it rises from `z_i < L_i` to `L_i <= g_i`, nearer to the ground; where
//!   `L_i > g_i`, `L_i` is the least height the point can have and `z_i` is not below it. Likewise `min(z, U)`.
//! - always: an optimal surface costs at most what a known one costs, `C`, so no point of positive weight `w` lies further
//!   than `C / w` from its ground; steps carry that over to points of no weight.
//!
//! Multipliers come in single precision and are rounded to whole numbers, weights scaled to match; any multipliers are
//! valid, so nothing is lost by that but a hair of the bound, and from there on all is exact.
//!
//! Source: weak duality.
//! How we know: never above the least cost over all whole surfaces, for random fits and random multipliers.

use super::level::BendRule;
use super::problem::{LatticeFit, Step};
use super::slope_trick::SlopeTrick;
use rayon::prelude::*;

/// Parts of the mean weight multipliers are rounded to, as a power of two.
const FINE: i32 = 16;

/// Multipliers are cut off there, so that no sum of them runs over; any multipliers are valid.
const MOST_PARTS: f64 = (1_u64 << 44) as f64;

/// What the bound is of.
pub(super) struct Question<'a> {
    pub fit: &'a LatticeFit,
    /// Heights are ticks above this.
    pub datum: i64,
    /// Cost of a tick of depth is this times the fit's weights, a power of two; multipliers are in the same measure.
    pub scale: f64,
    /// Ranges of the heights, above the datum.
    pub low: &'a [i32],
    pub high: &'a [i32],
    /// What bends cost; limits are taken from the fit.
    pub bend: BendRule,
}

/// Multipliers, each to be taken times a factor.
#[derive(Debug, Clone, Copy)]
pub(super) struct Multipliers<'a> {
    pub across: &'a [f32],
    /// Empty when bends are free.
    pub bends: &'a [f32],
    pub factor: f32,
}

/// What a lane's programme works with.
struct Workspace {
    cost: SlopeTrick,
    pull: Vec<i64>,
}

/// The bound on the cost, squares included, weight times ticks: a whole number. Minus infinity when it cannot be told.
pub(super) fn bound(question: &Question<'_>, multipliers: Multipliers<'_>) -> f64 {
    let fit = question.fit;
    // Weights are times `2^parts`; that of the mean weight comes to `2^FINE` at least.
    let parts = (FINE + question.scale.log2().round() as i32).clamp(0, FINE);
    let whole = |value: f32| {
        let exact = f64::from(value) * f64::from(multipliers.factor) / question.scale * f64::from(1 << parts);
        exact.clamp(-MOST_PARTS, MOST_PARTS).round() as i64
    };
    let sum: Option<i128> = (0..fit.lanes)
        .into_par_iter()
        .map_init(
            || Workspace { cost: SlopeTrick::new(), pull: vec![0; fit.stations] },
            |work, lane| one_lane(question, multipliers, &whole, 1 << parts, lane, work),
        )
        .try_reduce(|| 0, |a, b| Some(a + b));
    // Costs are whole, so none lies strictly between the bound and the next whole number; squares are not.
    let whole =
        |sum: i128| if matches!(question.bend, BendRule::Square(_)) { sum >> parts } else { -((-sum) >> parts) };
    sum.map_or(f64::NEG_INFINITY, |sum| whole(sum) as f64)
}

/// One lane's share: its points and steps along, its bends and the steps to the next lane.
fn one_lane(
    question: &Question<'_>,
    y: Multipliers<'_>,
    whole: &(impl Fn(f32) -> i64 + Sync),
    unit: i64,
    lane: usize,
    work: &mut Workspace,
) -> Option<i128> {
    let (fit, n) = (question.fit, question.fit.stations);
    let first = lane * n;
    let mut sum = 0_i128;
    for (s, pull) in work.pull.iter_mut().enumerate() {
        let p = first + s;
        *pull = 0;
        if !fit.inside[p] {
            continue;
        }
        if lane > 0 && fit.inside[p - n] {
            *pull += whole(y.across[p - n]);
        }
        if lane + 1 < fit.lanes && fit.inside[p + n] {
            let m = whole(y.across[p]);
            *pull -= m;
            let (rise, Step { least, most }) = (fit.ground[p + n] - fit.ground[p], fit.across.at(p));
            sum += i128::from(m) * i128::from(rise - if m > 0 { most } else { least });
        }
    }
    if !y.bends.is_empty() {
        sum += bends(question, y, whole, unit, first, &mut work.pull);
    }
    Some(sum + runs(question, unit, first, work)?)
}

/// What the multipliers of a lane's bends bring; adds their pull.
fn bends(
    question: &Question<'_>,
    y: Multipliers<'_>,
    whole: &impl Fn(f32) -> i64,
    unit: i64,
    first: usize,
    pull: &mut [i64],
) -> i128 {
    let fit = question.fit;
    let mut sum = 0;
    for s in 1..pull.len().saturating_sub(1) {
        let p = first + s;
        if !(fit.inside[p - 1] && fit.inside[p] && fit.inside[p + 1]) {
            continue;
        }
        let m = whole(y.bends[p]);
        let bend = fit.ground[p - 1] - 2 * fit.ground[p] + fit.ground[p + 1];
        let price = match question.bend {
            BendRule::Square(weight) => {
                // In the measure of the multipliers bends weigh `weight / scale * unit`; rounded up by more than its error.
                let exact = 0.5 * (m as f64).powi(2) / (f64::from(weight) / question.scale * unit as f64);
                (exact * (1.0 + 4.0 * f64::EPSILON)).ceil() as i128
            }
            BendRule::Most(_) | BendRule::Free => i128::from(m.abs()) * i128::from(fit.most_bend.unwrap_or(0)),
        };
        sum += i128::from(m) * i128::from(bend) - price;
        pull[s - 1] += m;
        pull[s] -= 2 * m;
        pull[s + 1] += m;
    }
    sum
}

/// Least cost of a lane's heights under their pull, run by run. `None` when its ranges leave no heights.
fn runs(question: &Question<'_>, unit: i64, first: usize, work: &mut Workspace) -> Option<i128> {
    let fit = question.fit;
    let (mut sum, mut inside) = (0, false);
    work.cost.reset();
    for (s, pull) in work.pull.iter().enumerate() {
        let p = first + s;
        if !fit.inside[p] {
            if inside {
                sum += work.cost.least();
                work.cost.reset();
            }
            inside = false;
            continue;
        }
        if inside {
            work.cost.step(fit.along.at(p - 1));
        }
        inside = true;
        if !work.cost.limit(i64::from(question.low[p]), i64::from(question.high[p])) {
            return None;
        }
        let ground = fit.ground[p] - question.datum;
        work.cost.pay_tilted(ground, unit * fit.cut_weight[p], unit * fit.fill_weight[p], *pull);
    }
    Some(sum + work.cost.least())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::tests_fits::{any_fit, brute_force, fit_of};
    use proptest::prelude::*;

    fn wide(fit: &LatticeFit) -> (Vec<i32>, Vec<i32>) {
        // The trial looks no further than 9 ticks from zero.
        (0..fit.len()).map(|p| (fit.range(p).0.max(-9) as i32, fit.range(p).1.min(9) as i32)).unzip()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(1_000))]
        #[test]
        fn no_multipliers_bound_above_the_least_cost(
            (mut fit, _) in any_fit(2, 3),
            y in prop::collection::vec(-6.0_f32..6.0, 12),
            most_bend in prop::option::of(0_i64..3),
        ) {
            fit.most_bend = most_bend;
            let (low, high) = wide(&fit);
            let n = fit.len();
            let bends = if most_bend.is_some() { y[6..6 + n].to_vec() } else { Vec::new() };
            let state = Multipliers { across: &y[..n], bends: &bends, factor: 0.5 };
            let question =
                Question { fit: &fit, datum: 0, scale: 0.25, low: &low, high: &high, bend: BendRule::Free };
            if let Some(best) = brute_force(&fit) {
                prop_assert!(bound(&question, state) <= best as f64);
            }
        }

        #[test]
        fn squares_are_bounded_too(
            (fit, _) in any_fit(1, 5),
            y in prop::collection::vec(-6.0_f32..6.0, 5),
            heights in prop::collection::vec(-9_i64..10, 5),
        ) {
            let (low, high) = wide(&fit);
            let n = fit.len();
            let state = Multipliers { across: &y[..n], bends: &y[..n], factor: 1.0 };
            let question =
                Question { fit: &fit, datum: 0, scale: 1.0, low: &low, high: &high, bend: BendRule::Square(0.5) };
            if fit.keeps(&heights[..n]) {
                let squares: i64 = fit.bends(&heights[..n]).map(|b| b * b).sum();
                prop_assert!(bound(&question, state) <= fit.cost(&heights[..n]) as f64 + 0.25 * squares as f64);
            }
        }
    }

    #[test]
    fn good_multipliers_reach_the_cost() {
        // Ground 0 and 10 in two lanes, a step of 4 at most, weight 1: 6 ticks of depth, multiplier 1.
        let mut fit = fit_of(2, 1, Step { least: 0, most: 0 }, Step { least: -4, most: 4 });
        fit.ground = vec![0, 10];
        let (low, high) = (vec![-10; 2], vec![20; 2]);
        let question = Question { fit: &fit, datum: 0, scale: 1.0, low: &low, high: &high, bend: BendRule::Free };
        let reached = |across: f32| bound(&question, Multipliers { across: &[across, 0.0], bends: &[], factor: 1.0 });
        assert_eq!(reached(1.0), 6.0);
        assert_eq!(reached(0.5), 3.0);
        // Twice too much: nothing can take the excess, and the ranges of 20 below and 10 above pay for it.
        assert_eq!(reached(2.0), 12.0 - 20.0 - 20.0);
    }
}
