//! A bound no surface within the limits can beat, from any multipliers whatever.
//!
//! Take a surface `z` that keeps every limit, depths `d = z - g`, and any numbers `y`, one for each difference `(K z)_e` with
//! limits `a_e, b_e`. As `(K z)_e` lies between the limits, `y_e ((K d)_e + (K g)_e) <= max(a_e y_e, b_e y_e)`. Summed, with
//! `r = K' y`:
//!
//! `cost(z) >= sum_i [c_i(z_i) + r_i d_i] + sum_e min(y_e ((K g)_e - a_e), y_e ((K g)_e - b_e))`,
//!
//! and each bracket is at least its least value over the heights point `i` can have. Those lie in `[L_i, U_i]` for one
//! optimal `z` at least, whichever of these the caller takes:
//! - without limits on bends: `L` is the greatest surface within the limits below the ground, `U` the least above (the ground
//!   first moved between the least and greatest surfaces of all). If `z` is optimal so is `max(z, L)`: it keeps the limits
//!   (they form a lattice), and where it differs it rises from `z_i < L_i` to `L_i <= g_i`, nearer to the ground; where
//!   `L_i > g_i`, `L_i` is the least height the point can have and `z_i` is not below it. Likewise `min(z, U)`.
//! - always: an optimal surface costs at most what a known one costs, `C`, so no point of positive weight `w` lies further
//!   than `C / w` from its ground; steps carry that over to points of no weight.
//!
//! A bracket is linear on either side of the ground, so its least value lies at the ground or an end. Where `|r_i|` exceeds
//! the weight it costs the excess times the depth of the range, which is dear when the range is wide: a second choice of
//! multipliers hands the excess on along the lane until points with weight to spare have taken it. Any multipliers are
//! valid, so each lane may take the better choice.
//!
//! Multipliers are single precision and taken as they are; everything is worked out in double precision, lane by lane in a
//! fixed order, and the bound lowered by more than all the roundings together can come to: each of `n` terms is off by a
//! few units in its last place, each sum of `n` terms by at most `n` times that (Higham, N. J. (2002), Accuracy and
//! Stability of Numerical Algorithms, sec. 4.2).
//!
//! Source: weak duality; Higham as above.
//! How we know: never above the least cost over all whole surfaces, for random fits and random multipliers.

use super::level::BendRule;
use super::problem::{LatticeFit, Step};
use rayon::prelude::*;

/// Roundings in one term, of products and of sums within the term, generously.
const ROUNDINGS: f64 = 16.0;

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

/// A sum and the sum of its magnitudes.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    value: f64,
    magnitude: f64,
}

impl Sum {
    fn add(&mut self, term: f64, magnitude: f64) {
        self.value += term;
        self.magnitude += magnitude;
    }
}

/// Multipliers, each to be taken times a factor.
#[derive(Debug, Clone, Copy)]
pub(super) struct Multipliers<'a> {
    pub along: &'a [f32],
    pub across: &'a [f32],
    /// Empty when bends are free.
    pub bends: &'a [f32],
    pub factor: f32,
}

impl Multipliers<'_> {
    /// One multiplier; the product of two single precision numbers is exact in double precision.
    fn take(&self, value: f32) -> f64 {
        f64::from(value) * f64::from(self.factor)
    }
}

/// The bound, in the fit's measure times `scale`.
pub(super) fn bound(question: &Question<'_>, multipliers: Multipliers<'_>) -> f64 {
    let fit = question.fit;
    let lanes: Vec<Sum> = (0..fit.lanes)
        .into_par_iter()
        .map_init(|| vec![0.0; fit.stations], |pull, lane| one_lane(question, multipliers, lane, pull))
        .collect();
    let mut all = Sum::default();
    lanes.iter().for_each(|lane| all.add(lane.value, lane.magnitude));
    let longest = (fit.stations * 4 + fit.lanes) as f64;
    all.value - (longest + ROUNDINGS) * f64::EPSILON * all.magnitude
}

/// One lane's share: its points, its steps along, its bends and the steps to the next lane.
fn one_lane(question: &Question<'_>, y: Multipliers<'_>, lane: usize, pull: &mut [f64]) -> Sum {
    let (fit, n) = (question.fit, question.fit.stations);
    let first = lane * n;
    let mut shared = Sum::default();
    pull.fill(0.0);
    for (s, pull) in pull.iter_mut().enumerate() {
        let p = first + s;
        if !fit.inside[p] {
            continue;
        }
        if lane > 0 && fit.inside[p - n] {
            *pull += y.take(y.across[p - n]);
        }
        if lane + 1 < fit.lanes && fit.inside[p + n] {
            *pull -= y.take(y.across[p]);
            edge(&mut shared, y.take(y.across[p]), fit.ground[p + n] - fit.ground[p], fit.across.at(p));
        }
    }
    if !y.bends.is_empty() {
        bends(question, y, first, pull, &mut shared);
    }
    let plain = points(question, y, first, pull, false);
    let carried = points(question, y, first, pull, true);
    let best = if carried.value > plain.value { carried } else { plain };
    Sum { value: shared.value + best.value, magnitude: shared.magnitude + best.magnitude }
}

/// Adds what a step's multiplier brings.
fn edge(sum: &mut Sum, y: f64, rise: i64, step: Step) {
    let (above_least, above_most) = ((rise - step.least) as f64, (rise - step.most) as f64);
    sum.add((y * above_least).min(y * above_most), y.abs() * (above_least.abs() + above_most.abs()));
}

/// Adds what the multipliers of a lane's bends bring, and their pull.
fn bends(question: &Question<'_>, y: Multipliers<'_>, first: usize, pull: &mut [f64], sum: &mut Sum) {
    let fit = question.fit;
    for s in 1..pull.len().saturating_sub(1) {
        let p = first + s;
        let m = y.take(y.bends[p]);
        if m == 0.0 || !(fit.inside[p - 1] && fit.inside[p] && fit.inside[p + 1]) {
            continue;
        }
        let bend = (fit.ground[p - 1] - 2 * fit.ground[p] + fit.ground[p + 1]) as f64;
        let price = match question.bend {
            BendRule::Square(weight) => 0.5 * m * m / f64::from(weight),
            BendRule::Most(_) | BendRule::Free => m.abs() * fit.most_bend.map_or(0.0, |most| most as f64),
        };
        sum.add(m * bend - price, (m * bend).abs() + price);
        pull[s - 1] += m;
        pull[s] -= 2.0 * m;
        pull[s + 1] += m;
    }
}

/// What a lane's points and steps along bring, with the multipliers as they are or with excess handed on.
fn points(question: &Question<'_>, y: Multipliers<'_>, first: usize, pull: &[f64], hand_on: bool) -> Sum {
    let fit = question.fit;
    let (mut sum, mut arriving) = (Sum::default(), 0.0);
    for (s, pull) in pull.iter().enumerate() {
        let p = first + s;
        if !fit.inside[p] {
            continue;
        }
        let (cut, fill) = (question.scale * fit.cut_weight[p] as f64, question.scale * fit.fill_weight[p] as f64);
        let ground = fit.ground[p] - question.datum;
        let (deepest, highest) =
            ((i64::from(question.low[p]) - ground) as f64, (i64::from(question.high[p]) - ground) as f64);
        let mut leaving = 0.0;
        if s + 1 < fit.stations && fit.inside[p + 1] {
            leaving = y.take(y.along[p]);
            let step = fit.along.at(p);
            if hand_on {
                // A range no wider than some steps is cheaper than a long way.
                let short = 8.0 * (step.most - step.least).max(1) as f64;
                let least = if -deepest < short { f64::NEG_INFINITY } else { pull + arriving - cut };
                let most = if highest < short { f64::INFINITY } else { pull + arriving + fill };
                leaving = leaving.clamp(least.min(most), most);
            }
            edge(&mut sum, leaving, fit.ground[p + 1] - fit.ground[p], step);
        }
        let r = pull + arriving - leaving;
        let size = pull.abs() + arriving.abs() + leaving.abs();
        let worth = |depth: f64| r * depth + if depth < 0.0 { -cut * depth } else { fill * depth };
        let middle = 0.0_f64.clamp(deepest.min(highest), highest);
        let least = worth(middle).min(worth(deepest)).min(worth(highest));
        // A pull within the weights by a hair may in truth lie beyond them: its roundings count to the ends of the range.
        sum.add(least, (size + cut + fill) * deepest.abs().max(highest.abs()));
        arriving = leaving;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::tests_fits::{any_fit, brute_force};
    use proptest::prelude::*;

    fn wide(fit: &LatticeFit) -> (Vec<i32>, Vec<i32>) {
        // The trial looks no further than 9 ticks from zero.
        (0..fit.len()).map(|p| (fit.range(p).0.max(-9) as i32, fit.range(p).1.min(9) as i32)).unzip()
    }

    proptest! {
        #[test]
        fn no_multipliers_bound_above_the_least_cost(
            (mut fit, _) in any_fit(2, 3),
            y in prop::collection::vec(-6.0_f32..6.0, 18),
            most_bend in prop::option::of(0_i64..3),
        ) {
            fit.most_bend = most_bend;
            let (low, high) = wide(&fit);
            let n = fit.len();
            let bends = if most_bend.is_some() { y[12..12 + n].to_vec() } else { Vec::new() };
            let state = Multipliers { along: &y[..n], across: &y[6..6 + n], bends: &bends, factor: 0.5 };
            let question = Question { fit: &fit, datum: 0, scale: 1.0, low: &low, high: &high, bend: BendRule::Free };
            if let Some(best) = brute_force(&fit) {
                prop_assert!(bound(&question, state) <= best as f64);
            }
        }
    }

    #[test]
    fn good_multipliers_reach_the_cost() {
        // Ground 0 and 10, a step of 4 at most, weight 1: 6 ticks of depth, multiplier 1.
        let mut fit =
            crate::methods::optimise::tests_fits::fit_of(1, 2, Step { least: -4, most: 4 }, Step { least: 0, most: 0 });
        fit.ground = vec![0, 10];
        let (low, high) = (vec![-10; 2], vec![20; 2]);
        let question = Question { fit: &fit, datum: 0, scale: 1.0, low: &low, high: &high, bend: BendRule::Free };
        let state = |along: [f32; 2]| {
            bound(&question, Multipliers { along: &along, across: &[0.0; 2], bends: &[], factor: 1.0 })
        };
        assert!((state([1.0, 0.0]) - 6.0).abs() < 1e-9);
        assert!((state([0.5, 0.0]) - 3.0).abs() < 1e-9);
        // Twice too much: nothing can take the excess, and the range of 10 below the second point pays for it.
        assert!(state([2.0, 0.0]) < 0.0);
    }
}
