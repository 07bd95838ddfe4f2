//! A surface within the limits and a bound on the least cost, brought together until the gap is as small as wanted.
//!
//! For fits too large for the exact engine, and for those with limits on bends, which are no differences of two heights. The
//! method is coarse to fine and first order ([`super::descent`], [`super::level`]), its surface is made whole and brought
//! within every limit ([`super::rounding`]), and its multipliers prove a bound in whole numbers ([`super::dual_bound`]): the
//! gap is exact whatever the single precision steps in between have done. A single lane is solved outright.
//!
//! Units: heights in ticks, costs in weight times ticks. Complexity: `O(n)` a step, some hundred to a few thousand steps.
//! The same answer whatever the thread count: steps are elementwise, sums run in a fixed order.
//! Source: as the parts name them.
//! How we know: bound and cost enclose the least cost of every whole surface on small random fits, bends included, and the
//! exact cost of lanes that nothing ties together; the same bytes with one thread and with several.

use super::descent::Descent;
use super::frame::{draw_in, frame, narrow};
use super::lane_bound::{LaneOptimum, lane_optimum};
use super::level::BendRule;
use super::problem::{Certificate, Engine, Fitted, LatticeFit, Reason, Refusal};
use super::rounding::Rounding;

/// Steps on the finest lattice after which the best so far is handed back whatever its gap.
const MOST_STEPS: usize = 6_000;
/// Times each point of a surface is moved towards its ground.
const NEARER: usize = 2;
/// With limits on bends: steps to the first trial and from a trial that failed to the next, steps after which one that
/// failed has limits drawn in, and the share of the wanted gap a state must be within, since straightening costs.
const STEPS_TO_TRIAL: usize = 300;
const PATIENCE: usize = 900;
const SURE_OF_GAP: f64 = 0.9;

/// Fits a surface to within a gap of the least cost, as a ratio of the bound.
///
/// When the gap is not reached within a few thousand steps the best surface is handed back with the gap it has.
///
/// # Errors
/// The chain of limits that cannot be kept together, what is wrong with the fit, or [`Reason::NoneFound`] when limits on
/// bends kept every trial from a surface.
pub fn solve_fast(fit: &LatticeFit, gap: f64) -> Result<Fitted, Refusal> {
    if let Some(reason) = fit.fault() {
        return Err(Refusal::Fault(reason));
    }
    if fit.is_empty() {
        return certified(fit, fit.ground.clone(), 0.0);
    }
    if fit.lanes == 1
        && fit.most_bend.is_none()
        && let Some(LaneOptimum { heights, bound }) = lane_optimum(fit)
    {
        return certified(fit, heights, bound as f64);
    }
    let rule = fit.most_bend.map_or(BendRule::Free, |most| BendRule::Most(most as f32));
    let mut frame = frame(fit, rule)?;
    let datum = frame.datum;
    let mut trials = Trials::new();
    draw_in(fit, &mut frame.level, trials.margin);
    let mut rounding = Rounding::new(fit, datum, NEARER);
    let mut descent = Descent::begin(fit, frame);
    let mut best = Best { cost: i64::MAX, heights: Vec::new(), bound: 0.0 };
    while descent.steps() < MOST_STEPS {
        let bound = descent.round();
        best.bound = best.bound.max(bound);
        if fit.most_bend.is_none() || trials.due(&descent, best.bound, gap) {
            let surface = rounding.surface(&descent.level, |p| descent.height(p));
            if fit.most_bend.is_some() && trials.after(surface.is_some(), descent.steps()) {
                draw_in(fit, &mut descent.level, trials.margin);
            }
            if let Some((cost, heights)) = surface
                && cost < best.cost
            {
                best.cost = cost;
                std::mem::swap(&mut best.heights, heights);
                if fit.most_bend.is_some() {
                    narrow(fit, datum, &mut descent.level, best.cost);
                }
            }
        }
        if best.gap() <= gap {
            break;
        }
    }
    // The working arrays go before the surface is written out.
    drop((descent, rounding));
    if best.heights.is_empty() {
        return Err(Refusal::Fault(Reason::NoneFound));
    }
    let whole = |p: usize| if fit.inside[p] { i64::from(best.heights[p]) + datum } else { fit.ground[p] };
    certified(fit, (0..fit.len()).map(whole).collect(), best.bound)
}

/// The best surface and bound so far.
struct Best {
    cost: i64,
    heights: Vec<i32>,
    bound: f64,
}

impl Best {
    fn gap(&self) -> f64 {
        Certificate { cost: self.cost, bound: whole_bound(self.bound, self.cost), engine: Engine::Fast }.gap()
    }
}

/// When a state with limits on bends is made a surface, which takes as long as some rounds, and how far limits are drawn
/// in meanwhile: first-order states overstep theirs a little.
struct Trials {
    /// Ticks.
    margin: i64,
    /// Steps at which one is due whatever the state.
    next: usize,
    /// Steps before which none is due.
    not_before: usize,
}

impl Trials {
    fn new() -> Self {
        Self { margin: 1, next: STEPS_TO_TRIAL, not_before: STEPS_TO_TRIAL }
    }

    /// Whether a state is worth a trial: near enough to the bound to be the last, or after so many steps that a surface
    /// will help to narrow the ranges.
    fn due(&self, descent: &Descent<'_>, bound: f64, gap: f64) -> bool {
        let steps = descent.steps();
        if steps >= self.next || steps >= MOST_STEPS {
            return true;
        }
        steps >= self.not_before && descent.cost() <= bound * (1.0 + SURE_OF_GAP * gap)
    }

    /// Sets the next trial; whether limits are drawn in further from now on.
    fn after(&mut self, found: bool, steps: usize) -> bool {
        (self.next, self.not_before) =
            if found { (2 * steps, 0) } else { (steps + STEPS_TO_TRIAL, steps + STEPS_TO_TRIAL) };
        let drawn = !found && steps >= PATIENCE;
        if drawn {
            self.margin = (2 * self.margin).min(i64::MAX / 2);
        }
        drawn
    }
}

/// A bound on whole costs: none lies strictly below the next whole number, nor above the cost of a surface at hand.
fn whole_bound(bound: f64, cost: i64) -> f64 {
    // Beyond 2^53 the next whole number is the number itself.
    bound.max(0.0).ceil().min(cost as f64)
}

/// A surface with its certificate, after a last look whether it keeps every limit.
fn certified(fit: &LatticeFit, heights: Vec<i64>, bound: f64) -> Result<Fitted, Refusal> {
    // Only limits beyond 32 bits of ticks can have been lost on the way.
    if !fit.keeps(&heights) {
        return Err(Refusal::Fault(Reason::TooLarge));
    }
    let cost = fit.cost(&heights);
    debug_assert!(bound <= cost as f64, "a bound above the cost of a surface: {bound}, {cost}");
    Ok(Fitted { certificate: Certificate { cost, bound: whole_bound(bound, cost), engine: Engine::Fast }, heights })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::tests_fits::{any_fit, brute_force, fit_of, rough_ground};
    use crate::methods::optimise::{Step, Steps, reach};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(96))]
        #[test]
        fn bound_and_cost_enclose_the_least_cost((mut fit, _) in any_fit(2, 3), bend in prop::option::of(1_i64..4)) {
            fit.most_bend = bend;
            let best = brute_force(&fit);
            match solve_fast(&fit, 0.0) {
                Ok(found) => {
                    prop_assert!(fit.keeps(&found.heights));
                    prop_assert_eq!(fit.cost(&found.heights), found.certificate.cost);
                    prop_assert!(found.certificate.bound <= found.certificate.cost as f64);
                    if let Some(best) = best {
                        // Nothing beyond 9 ticks was tried, but the bound is of all heights.
                        prop_assert!(found.certificate.bound <= best as f64);
                    }
                }
                Err(Refusal::Conflict(_)) => prop_assert!(best.is_none() && reach(&fit).is_err()),
                Err(Refusal::Fault(reason)) => prop_assert!(reason == Reason::NoneFound && bend.is_some()),
            }
        }

        #[test]
        fn larger_fits_close_in_on_the_optimum((fit, _) in any_fit(9, 12)) {
            if let Ok(found) = solve_fast(&fit, 0.0) {
                prop_assert!(fit.keeps(&found.heights));
                let lanes = lane_optimum(&fit).unwrap();
                prop_assert!(lanes.bound <= found.certificate.cost);
                prop_assert!(
                    found.certificate.gap() < 0.02 || found.certificate.bound + 1.0 >= found.certificate.cost as f64,
                    "{:?}", found.certificate);
            }
        }
    }

    #[test]
    fn uncoupled_lanes_meet_their_own_programme() {
        let mut fit = rough_ground(12, 70, 5);
        fit.across = Steps::Alike(Step { least: -10_000_000, most: 10_000_000 });
        let found = solve_fast(&fit, 0.0005).unwrap().certificate;
        let lanes = lane_optimum(&fit).unwrap().bound as f64;
        assert!(found.bound <= lanes && lanes <= found.cost as f64, "{lanes} {found:?}");
        assert!(found.gap() <= 0.0005);
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let mut fit = rough_ground(130, 700, 3);
        for p in 0..fit.len() {
            fit.inside[p] =
                (p / 700).abs_diff(60) + (p % 700) / 6 < 140 && !(p % 700 > 90 && p % 700 < 110 && p / 700 > 70);
        }
        let run = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| solve_fast(&fit, 0.02)).unwrap()
        };
        assert_eq!(run(1), run(3));
    }

    #[test]
    fn bends_are_kept_and_cost_more() {
        let mut fit = rough_ground(40, 60, 4);
        let free = solve_fast(&fit, 0.001).unwrap();
        let sharpest = fit.bends(&free.heights).map(i64::abs).max().unwrap();
        fit.most_bend = Some(sharpest / 8);
        let held = solve_fast(&fit, 0.005).unwrap();
        assert!(fit.keeps(&held.heights));
        assert!(held.certificate.gap() <= 0.005, "{:?}", held.certificate);
        assert!(held.certificate.cost as f64 >= free.certificate.bound);
        assert!(held.certificate.bound > 1.01 * free.certificate.cost as f64, "the limit bites");
    }

    #[test]
    fn nothing_to_fit_and_nothing_to_do() {
        let mut fit = fit_of(2, 2, Step { least: 0, most: 0 }, Step { least: 0, most: 0 });
        assert_eq!(solve_fast(&fit, 0.0).unwrap().certificate.gap(), 0.0);
        fit.inside = vec![false; 4];
        assert_eq!(solve_fast(&fit, 0.0).unwrap().heights, fit.ground);
        fit.inside = vec![true; 4];
        fit.ground[3] = 1 << 40;
        assert_eq!(solve_fast(&fit, 0.0), Err(Refusal::Fault(Reason::TooLarge)));
    }
}
