//! Where along each lane the direction of the steps had best turn over.
//!
//! Before the crest of a lane its steps keep one set of limits, after it another (falling to either end, say). For every
//! station the least cost of the part before and of the part after are the running costs of two lane programmes, so all
//! crests of a lane are priced at once; a second programme over the lanes then picks crests that shift no further from
//! lane to lane than allowed. The two parts of a lane are priced as if nothing tied them to each other, and lanes likewise:
//! the sum is a bound on what any such choice of crests costs, and the choice itself a proposal to be solved in full.
//!
//! Complexity: `O(n log s)` for the prices, `O(n)` for the choice.
//! Source: prefix costs after Stout, Q. F. (2008), Unimodal regression via prefix isotonic regression, Comput. Stat. Data
//! Anal. 53(2):289; the choice over lanes is a shortest path.
//! How we know: against every list of crests on small lattices, each priced as lanes whose limits are cut at the crest.

use super::problem::{LatticeFit, Step, Steps};
use super::slope_trick::SlopeTrick;
use rayon::prelude::*;

/// Stands for a part that has no heights within its limits.
const NEVER: i64 = i64::MAX / 4;

/// A crest for every lane.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Crests {
    /// For each lane the first station after the crest: 0 when the whole lane keeps the limits after it, the number of
    /// stations when it keeps those before it.
    pub first_after: Vec<usize>,
    /// No surface with crests that shift as little costs less than this.
    pub bound: i64,
}

/// The best crests whose steps keep `before` ahead of them and [`LatticeFit::along`] behind, the crest of a lane at most
/// `most_shift` stations from that of the lane beside it. `None` when no crests leave every lane a surface.
#[must_use]
pub fn crests(fit: &LatticeFit, before: &Steps, most_shift: usize) -> Option<Crests> {
    let wide = fit.stations + 1;
    let mut prices = vec![0_i64; fit.lanes * wide];
    prices.par_chunks_mut(wide).enumerate().for_each_init(
        || (SlopeTrick::new(), vec![0_i64; wide]),
        |(cost, after), (lane, prices)| price_lane(fit, before, lane, cost, after, prices),
    );
    let mut came_from = vec![0_u32; prices.len()];
    for lane in 1..fit.lanes {
        let (done, rest) = prices.split_at_mut(lane * wide);
        let (last, here) = (&done[(lane - 1) * wide..], &mut rest[..wide]);
        let from = &mut came_from[lane * wide..][..wide];
        cheapest_within(last, most_shift, from);
        for (price, from) in here.iter_mut().zip(from.iter()) {
            *price = price.saturating_add(last[*from as usize]).min(NEVER);
        }
    }
    let last = &prices[(fit.lanes.checked_sub(1)?) * wide..];
    let (mut at, bound) = last.iter().copied().enumerate().min_by_key(|(_, price)| *price)?;
    if bound >= NEVER {
        return None;
    }
    let mut first_after = vec![0; fit.lanes];
    for lane in (0..fit.lanes).rev() {
        first_after[lane] = at;
        at = came_from[lane * wide + at] as usize;
    }
    Some(Crests { first_after, bound })
}

/// For each place the cheapest one at most so far away, the first of equals.
fn cheapest_within(prices: &[i64], reach: usize, cheapest: &mut [u32]) {
    let mut queue = std::collections::VecDeque::new();
    let mut next = 0;
    for (here, cheapest) in cheapest.iter_mut().enumerate() {
        while next < prices.len() && next <= here.saturating_add(reach) {
            while queue.back().is_some_and(|b: &usize| prices[*b] > prices[next]) {
                queue.pop_back();
            }
            queue.push_back(next);
            next += 1;
        }
        while queue.front().is_some_and(|f| *f + reach < here) {
            queue.pop_front();
        }
        *cheapest = queue.front().map_or(0, |f| u32::try_from(*f).unwrap_or(u32::MAX));
    }
}

/// The prices of all crests of a lane.
fn price_lane(
    fit: &LatticeFit,
    before: &Steps,
    lane: usize,
    cost: &mut SlopeTrick,
    after: &mut [i64],
    prices: &mut [i64],
) {
    let first = lane * fit.stations;
    let ahead = (0..fit.stations).map(|s| (first + s, (s > 0).then(|| before.at(first + s - 1))));
    running_costs(fit, ahead, cost, &mut prices[1..]);
    prices[0] = 0;
    let turned = |s: usize| {
        let Step { least, most } = fit.along.at(first + s);
        Step { least: -most, most: -least }
    };
    let back = (0..fit.stations).rev().map(|s| (first + s, (s + 1 < fit.stations).then(|| turned(s))));
    running_costs(fit, back, cost, &mut after[1..]);
    after[0] = 0;
    for (crest, price) in prices.iter_mut().enumerate() {
        *price = price.saturating_add(after[fit.stations - crest]).min(NEVER);
    }
}

/// Least cost of the points so far, after each; points come with the step that leads to them.
fn running_costs(
    fit: &LatticeFit,
    points: impl Iterator<Item = (usize, Option<Step>)>,
    cost: &mut SlopeTrick,
    costs: &mut [i64],
) {
    let (mut done, mut inside) = (0_i64, false);
    cost.reset();
    for ((point, step), out) in points.zip(costs) {
        if !fit.inside[point] {
            if inside {
                done = done.saturating_add(least(cost)).min(NEVER);
                cost.reset();
            }
            inside = false;
        } else if done < NEVER {
            if inside && let Some(step) = step {
                cost.step(step);
            }
            inside = true;
            let (low, high) = fit.range(point);
            if cost.limit(low, high) {
                cost.pay(fit.ground[point], fit.cut_weight[point], fit.fill_weight[point]);
            } else {
                done = NEVER;
            }
        }
        *out = done.saturating_add(if inside { least(cost) } else { 0 }).min(NEVER);
    }
}

/// Least cost so far, in 64 bits.
fn least(cost: &SlopeTrick) -> i64 {
    i64::try_from(cost.least()).unwrap_or(NEVER)
}

impl Crests {
    /// The steps along the lanes these crests ask for: before the crest, after it, and over it whatever either allows.
    #[must_use]
    pub fn steps(&self, fit: &LatticeFit, before: &Steps) -> Steps {
        let step_at = |p: usize| {
            let (before, after) = (before.at(p), fit.along.at(p));
            match (p % fit.stations + 1).cmp(&self.first_after[p / fit.stations]) {
                std::cmp::Ordering::Less => before,
                std::cmp::Ordering::Greater => after,
                std::cmp::Ordering::Equal => {
                    Step { least: before.least.min(after.least), most: before.most.max(after.most) }
                }
            }
        };
        Steps::Each((0..fit.len()).map(step_at).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::lane_optimum;
    use crate::methods::optimise::tests_fits::{any_fit, fit_of};
    use proptest::prelude::*;

    #[test]
    fn a_ridge_is_found_where_it_stands_and_follows_its_shift() {
        let mut fit = fit_of(3, 7, Step { least: -2, most: -1 }, Step { least: -9, most: 9 });
        for (p, z) in fit.ground.iter_mut().enumerate() {
            let ridge = 3.0 + 0.5 * (p / 7) as f64 - (p % 7) as f64;
            *z = -(ridge.abs() * 2.0) as i64;
        }
        let before = Steps::Alike(Step { least: 1, most: 2 });
        let found = crests(&fit, &before, 1).unwrap();
        assert_eq!(found.bound, 0);
        let steps = found.steps(&fit, &before);
        fit.along = steps;
        assert_eq!(lane_optimum(&fit).unwrap().bound, 0);
        assert!(fit.keeps(&fit.ground));
    }

    /// Cost of lanes cut apart at their crests.
    fn price(fit: &LatticeFit, before: &Steps, crests: &[usize]) -> Option<i64> {
        let apart = |part: &dyn Fn(usize, usize) -> bool, along: Steps| {
            let mut part_fit = fit.clone();
            part_fit.along = along;
            for p in 0..fit.len() {
                part_fit.inside[p] &= part(p / fit.stations, p % fit.stations);
            }
            lane_optimum(&part_fit).map(|found| found.bound)
        };
        let ahead = apart(&|lane, s| s < crests[lane], before.clone())?;
        Some(ahead + apart(&|lane, s| s >= crests[lane], fit.along.clone())?)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn no_list_of_crests_is_better((fit, _) in any_fit(3, 4), turn in 0_i64..4, shift in 0_usize..4) {
            let before = Steps::Alike(Step { least: -1, most: turn });
            let wide = fit.stations + 1;
            let best = (0..wide.pow(fit.lanes as u32)).filter_map(|code| {
                let list: Vec<usize> = (0..fit.lanes).map(|l| code / wide.pow(l as u32) % wide).collect();
                let near = list.windows(2).all(|w| w[0].abs_diff(w[1]) <= shift);
                if near { price(&fit, &before, &list) } else { None }
            }).min();
            let found = crests(&fit, &before, shift);
            prop_assert_eq!(found.as_ref().map(|f| f.bound), best);
            if let Some(found) = found {
                prop_assert_eq!(price(&fit, &before, &found.first_after), best);
                prop_assert!(found.first_after.windows(2).all(|w| w[0].abs_diff(w[1]) <= shift));
                // Solved in full with the steps these crests ask for it costs no less.
                let mut whole = fit.clone();
                whole.along = found.steps(&fit, &before);
                prop_assert!(lane_optimum(&whole).is_none_or(|all| all.bound >= found.bound));
            }
        }
    }
}
