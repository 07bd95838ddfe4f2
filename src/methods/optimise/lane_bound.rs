//! Every lane fitted by itself: exact, and a bound on what all lanes together must cost.
//!
//! Leaving out the limits between lanes can only make a fit cheaper, so the sum of the lanes' least costs is a bound for
//! the whole; it comes within 2 % of it on some grounds and only within 30 % on others.
//!
//! Shapes and units: heights and costs in ticks and weight times ticks, as in [`LatticeFit`].
//! Complexity: `O(n log s)` for `s` stations in a lane, lanes in parallel; the same answer whatever the thread count, as
//! the sums are of whole numbers.
//! Source: as [`super::slope_trick`].
//! How we know: random lanes against the trial of every whole height; rising lanes against pooling adjacent violators
//! (Barlow, R. E. et al. (1972), Statistical inference under order restrictions, ch. 2, with medians for means).

use super::problem::{LatticeFit, Step};
use super::slope_trick::SlopeTrick;
use rayon::prelude::*;

/// The lanes fitted each by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LaneOptimum {
    /// Heights, ticks; they keep every limit but those between lanes. Outside the mask the given heights.
    pub heights: Vec<i64>,
    /// Their cost: no surface within the limits costs less.
    pub bound: i64,
}

/// What one lane's programme works with.
struct Workspace {
    cost: SlopeTrick,
    flats: Vec<(i64, i64)>,
}

/// Fits every lane by itself. `None` when the limits of a lane cannot be kept together.
///
/// Limits on bends are left out as well, so that the bound holds with them too.
#[must_use]
pub fn lane_optimum(fit: &LatticeFit) -> Option<LaneOptimum> {
    let mut heights = fit.ground.clone();
    let bound = heights
        .par_chunks_mut(fit.stations.max(1))
        .enumerate()
        .map_init(
            || Workspace { cost: SlopeTrick::new(), flats: vec![(0, 0); fit.stations] },
            |work, (lane, heights)| one_lane(fit, lane, heights, work),
        )
        .try_reduce(|| 0, |a, b| Some(a + b))?;
    Some(LaneOptimum { heights, bound })
}

/// Fits the runs of one lane and hands back their cost.
fn one_lane(fit: &LatticeFit, lane: usize, heights: &mut [i64], work: &mut Workspace) -> Option<i64> {
    let first = lane * fit.stations;
    let (mut total, mut station) = (0, 0);
    while station < fit.stations {
        if !fit.inside[first + station] {
            station += 1;
            continue;
        }
        let begin = station;
        work.cost.reset();
        while station < fit.stations && fit.inside[first + station] {
            let point = first + station;
            if station > begin {
                work.cost.step(fit.along.at(point - 1));
            }
            let (low, high) = fit.range(point);
            if !work.cost.limit(low, high) {
                return None;
            }
            work.cost.pay(fit.ground[point], fit.cut_weight[point], fit.fill_weight[point]);
            work.flats[station] = work.cost.flat();
            station += 1;
        }
        total += i64::try_from(work.cost.least()).ok()?;
        walk_back(fit, first, begin..station, heights, &work.flats);
    }
    Some(total)
}

/// The heights of a run from the flat parts of its cost functions: each the nearest to its flat part the next one allows.
fn walk_back(fit: &LatticeFit, first: usize, run: std::ops::Range<usize>, heights: &mut [i64], flats: &[(i64, i64)]) {
    let end = run.end;
    for station in run.rev() {
        let (low, high) = flats[station];
        let wanted = fit.ground[first + station].clamp(low, high);
        heights[station] = if station + 1 == end {
            wanted
        } else {
            let Step { least, most } = fit.along.at(first + station);
            // The nearest point of the flat part to the window, then of the window to it.
            let (from, to) = (heights[station + 1] - most, heights[station + 1] - least);
            wanted.clamp(from.min(to), to).clamp(low, high).clamp(from, to)
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::Steps;
    use crate::methods::optimise::tests_fits::{any_fit, brute_force, fit_of};
    use proptest::prelude::*;

    /// Least sum of absolute differences to a list that nowhere falls, by pooling adjacent violators at their medians.
    fn pooled(list: &[i64]) -> i64 {
        let median = |pool: &Vec<i64>| pool[(pool.len() - 1) / 2];
        let mut pools: Vec<Vec<i64>> = Vec::new();
        for value in list {
            pools.push(vec![*value]);
            while pools.len() > 1 && median(&pools[pools.len() - 2]) > median(&pools[pools.len() - 1]) {
                let last = pools.pop().unwrap();
                let pool = pools.last_mut().unwrap();
                pool.extend(last);
                pool.sort_unstable();
            }
        }
        pools.iter().map(|pool| pool.iter().map(|v| (v - median(pool)).abs()).sum::<i64>()).sum()
    }

    proptest! {
        #[test]
        fn rising_lanes_cost_what_pooled_medians_cost(list in prop::collection::vec(-50_i64..50, 1..40)) {
            let mut fit = fit_of(1, list.len(), Step { least: 0, most: 1_000 }, Step { least: 0, most: 0 });
            fit.ground.clone_from(&list);
            let found = lane_optimum(&fit).unwrap();
            prop_assert_eq!(found.bound, pooled(&list));
            prop_assert_eq!(fit.cost(&found.heights), found.bound);
            prop_assert!(fit.keeps(&found.heights));
        }

        #[test]
        fn one_lane_costs_what_the_trial_of_all_heights_finds((fit, _) in any_fit(1, 5)) {
            let (found, best) = (lane_optimum(&fit), brute_force(&fit));
            if let Some(found) = found {
                prop_assert!(fit.keeps(&found.heights));
                prop_assert_eq!(fit.cost(&found.heights), found.bound);
                // The trial looks no further than 9 ticks from zero.
                prop_assert!(best.is_none_or(|b| b >= found.bound));
                if found.heights.iter().all(|z| z.abs() <= 9) {
                    prop_assert_eq!(best, Some(found.bound));
                }
            } else {
                prop_assert!(best.is_none());
            }
        }

        #[test]
        fn no_surface_costs_less_than_its_lanes((fit, _) in any_fit(3, 2)) {
            if let (Some(best), Some(found)) = (brute_force(&fit), lane_optimum(&fit)) {
                prop_assert!(found.bound <= best);
            }
        }
    }

    #[test]
    fn lanes_do_not_see_each_other_across_or_over_gaps() {
        let mut fit = fit_of(2, 5, Step { least: 1, most: 1 }, Step { least: 0, most: 0 });
        fit.ground = vec![0, 1, 77, 9, 10, 5, 6, 7, 8, 9];
        fit.inside[2] = false;
        let found = lane_optimum(&fit).unwrap();
        assert_eq!(found.bound, 0);
        assert_eq!(found.heights, fit.ground);
        fit.along = Steps::Alike(Step { least: 0, most: 0 });
        // Two pairs one apart, and five in a row: 1 + 1 + (2 + 1 + 0 + 1 + 2).
        assert_eq!(lane_optimum(&fit).unwrap().bound, 8);
    }
}
