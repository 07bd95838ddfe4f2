//! The nearest surfaces that keep the limits on heights and steps, by sweeps over the lattice.
//!
//! Heights under difference constraints form a distributive lattice: with two surfaces their pointwise least and greatest
//! keep the limits too. So below every surface there is one greatest that keeps them, above it one least, and the sweeps
//! of Bellman and Ford find both in whole ticks. The mean of the two, rounded down, keeps whole limits as well: from
//! `a_q + b_q <= a_p + b_p + 2 c` follows the same of the halves rounded down.
//!
//! Source: Ford, L. R. & Fulkerson, D. R. (1962), Flows in Networks, ch. III, for the sweeps and for a chain of givers that
//! comes back to itself as the sign of overlapping limits.
//! How we know: envelopes of a spike drawn by hand; random fits with masks, limits and steps of their own: what is handed
//! back keeps every limit and is its own repair, a refusal's limits sum to less than nothing, and where nothing is found
//! the trial of every whole surface finds nothing either.

use super::problem::{Conflict, ConflictLink, LatticeFit, Link, Step};

/// A whole number of ticks in some width.
pub(super) trait Tick: Copy + Ord + Send + Sync {
    /// Stands for no limit from above; half of it and more is still free.
    const FREE: i64;
    /// As near as the width allows.
    fn of(ticks: i64) -> Self;
    /// As 64 bits.
    fn wide(self) -> i64;
}

impl Tick for i64 {
    const FREE: i64 = Self::MAX / 4;
    fn of(ticks: i64) -> Self {
        ticks.clamp(-Self::FREE, Self::FREE)
    }
    fn wide(self) -> i64 {
        self
    }
}

impl Tick for i32 {
    const FREE: i64 = (Self::MAX / 2) as i64;
    #[expect(clippy::cast_possible_truncation, reason = "clamped first")]
    fn of(ticks: i64) -> Self {
        ticks.clamp(-Self::FREE, Self::FREE) as Self
    }
    fn wide(self) -> i64 {
        i64::from(self)
    }
}

/// Which envelope a sweep looks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// The greatest surface below.
    Below,
    /// The least surface above.
    Above,
}

/// Where a point's height was last taken from.
const ITSELF: u8 = 0;
const PREVIOUS: u8 = 1;
const NEXT: u8 = 2;
const LANE_BEFORE: u8 = 3;
const LANE_AFTER: u8 = 4;

/// Rounds between looks for a chain that goes round in a circle.
const ROUNDS_BETWEEN_LOOKS: usize = 16;

/// Moves heights the least that steps allow, to one side only, ignoring the limits of the heights themselves.
///
/// # Errors
/// A chain of steps that no heights keep.
pub(super) fn settle<T: Tick>(fit: &LatticeFit, heights: &mut [T], side: Side) -> Result<(), Conflict> {
    sweeps(fit, heights, side).map(|_| ())
}

/// As [`settle`], with where each height came from.
fn sweeps<T: Tick>(fit: &LatticeFit, heights: &mut [T], side: Side) -> Result<Vec<u8>, Conflict> {
    let mut from = vec![ITSELF; fit.len()];
    for round in 1.. {
        let moved = match side {
            Side::Below => round_trip::<T, false>(fit, heights, &mut from),
            Side::Above => round_trip::<T, true>(fit, heights, &mut from),
        };
        if !moved {
            break;
        }
        if round % ROUNDS_BETWEEN_LOOKS == 0
            && let Some(point) = in_a_circle(fit, &from)
        {
            return Err(circle(fit, &from, side, point));
        }
    }
    Ok(from)
}

/// One sweep through all lanes and one back; whether anything moved.
fn round_trip<T: Tick, const UP: bool>(fit: &LatticeFit, heights: &mut [T], from: &mut [u8]) -> bool {
    let mut moved = false;
    for lane in 0..fit.lanes {
        moved |= one_lane::<T, UP>(fit, heights, from, lane, lane.checked_sub(1));
    }
    for lane in (0..fit.lanes).rev() {
        moved |= one_lane::<T, UP>(fit, heights, from, lane, (lane + 1 < fit.lanes).then_some(lane + 1));
    }
    moved
}

/// Takes over from one neighbouring lane, then along the lane there and back.
fn one_lane<T: Tick, const UP: bool>(
    fit: &LatticeFit,
    heights: &mut [T],
    from: &mut [u8],
    lane: usize,
    beside: Option<usize>,
) -> bool {
    let first = lane * fit.stations;
    let mut moved = false;
    let mut take = |heights: &mut [T], p: usize, q: usize, step: Step, ahead: bool, whence: u8| {
        let limit = if UP == ahead { step.least } else { step.most };
        let offer = T::of(heights[p].wide().saturating_add(if ahead { limit } else { limit.saturating_neg() }));
        if if UP { offer > heights[q] } else { offer < heights[q] } {
            heights[q] = offer;
            from[q] = whence;
            moved = true;
        }
    };
    if let Some(beside) = beside {
        let ahead = beside < lane;
        for q in (first..first + fit.stations).filter(|q| fit.inside[*q]) {
            let p = q - first + beside * fit.stations;
            if fit.inside[p] {
                let whence = if ahead { LANE_BEFORE } else { LANE_AFTER };
                take(heights, p, q, fit.across.at(p.min(q)), ahead, whence);
            }
        }
    }
    for q in first + 1..first + fit.stations {
        if fit.inside[q] && fit.inside[q - 1] {
            take(heights, q - 1, q, fit.along.at(q - 1), true, PREVIOUS);
        }
    }
    for q in (first..(first + fit.stations).saturating_sub(1)).rev() {
        if fit.inside[q] && fit.inside[q + 1] {
            take(heights, q + 1, q, fit.along.at(q), false, NEXT);
        }
    }
    moved
}

/// The point a height was taken from and the step limit between the two.
fn giver(fit: &LatticeFit, from: &[u8], side: Side, point: usize) -> Option<(usize, Link)> {
    let (other, step, ahead) = match from[point] {
        PREVIOUS => (point - 1, fit.along.at(point - 1), true),
        NEXT => (point + 1, fit.along.at(point), false),
        LANE_BEFORE => (point - fit.stations, fit.across.at(point - fit.stations), true),
        LANE_AFTER => (point + fit.stations, fit.across.at(point), false),
        _ => return None,
    };
    // Falling, the point is held down by the giver; rising, the giver is held down by the point.
    let (low, high) = if ahead { (step.least, step.most) } else { (-step.most, -step.least) };
    let id = |p: usize| u32::try_from(p).unwrap_or(u32::MAX);
    let link = match side {
        Side::Below => Link { from: id(other), to: id(point), most: high },
        Side::Above => Link { from: id(point), to: id(other), most: -low },
    };
    Some((other, link))
}

/// A point of a chain of givers that comes back to itself, if there is one: then its limits overlap.
fn in_a_circle(fit: &LatticeFit, from: &[u8]) -> Option<usize> {
    let mut seen = vec![0_u32; fit.len()];
    for start in (0..fit.len()).filter(|p| fit.inside[*p]) {
        let mark = u32::try_from(start).unwrap_or(u32::MAX - 1) + 1;
        let mut point = start;
        while seen[point] == 0 {
            seen[point] = mark;
            match giver(fit, from, Side::Below, point) {
                Some((other, _)) => point = other,
                None => break,
            }
        }
        if seen[point] == mark && from[point] != ITSELF {
            return Some(point);
        }
    }
    None
}

/// The conflict of a chain that comes back to a point.
fn circle(fit: &LatticeFit, from: &[u8], side: Side, point: usize) -> Conflict {
    let mut links = Vec::new();
    let mut at = point;
    while let Some((other, link)) = giver(fit, from, side, at) {
        links.push(link);
        at = other;
        if at == point {
            break;
        }
    }
    if side == Side::Below {
        links.reverse();
    }
    let excess = -links.iter().map(|l| l.most).sum::<i64>();
    Conflict { chain: links.into_iter().map(ConflictLink::Between).collect(), excess }
}

/// Least and greatest surfaces within the limits; lists are empty when no height is limited.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    /// Least heights, ticks; hugely negative where free.
    pub lowest: Vec<i64>,
    /// Greatest heights, ticks; huge where free.
    pub highest: Vec<i64>,
}

/// Between which surfaces every one that keeps the limits on heights and steps must lie; limits on bends are not looked
/// at.
///
/// # Errors
/// The chain of limits that cannot be kept together.
pub fn reach(fit: &LatticeFit) -> Result<Reach, Conflict> {
    if fit.lowest.is_empty() && fit.highest.is_empty() {
        // Steps alone can be in conflict only where they differ from point to point.
        if matches!((&fit.along, &fit.across), (super::Steps::Alike(_), super::Steps::Alike(_))) {
            return Ok(Reach { lowest: Vec::new(), highest: Vec::new() });
        }
        settle(fit, &mut vec![0_i64; fit.len()], Side::Below)?;
        return Ok(Reach { lowest: Vec::new(), highest: Vec::new() });
    }
    let limits = |side| -> Vec<i64> {
        let pick = |p| if side == Side::Below { fit.range(p).1 } else { fit.range(p).0 };
        (0..fit.len()).map(|p| <i64 as Tick>::of(pick(p))).collect()
    };
    let (lows, mut highest) = (limits(Side::Above), limits(Side::Below));
    let from = sweeps(fit, &mut highest, Side::Below)?;
    let held = (0..fit.len()).filter(|p| fit.inside[*p]).find(|p| highest[*p] < lows[*p]);
    if let Some(point) = held {
        return Err(held_down(fit, &from, point));
    }
    let mut lowest = lows;
    settle(fit, &mut lowest, Side::Above)?;
    Ok(Reach { lowest, highest })
}

/// The conflict of a point whose least height lies above what a greatest height elsewhere leaves it.
fn held_down(fit: &LatticeFit, from: &[u8], point: usize) -> Conflict {
    let id = |p: usize| u32::try_from(p).unwrap_or(u32::MAX);
    let (mut at, mut chain) = (point, vec![ConflictLink::Lowest { point: id(point), height: fit.range(point).0 }]);
    let mut most = 0;
    while let Some((other, link)) = giver(fit, from, Side::Below, at) {
        chain.push(ConflictLink::Between(link));
        most += link.most;
        at = other;
    }
    let height = fit.range(at).1;
    chain.push(ConflictLink::Highest { point: id(at), height });
    chain.reverse();
    Conflict { chain, excess: fit.range(point).0 - height - most }
}

impl Reach {
    /// A surface moved between the two.
    pub fn clamp(&self, heights: &mut [i64]) {
        for (p, z) in heights.iter_mut().enumerate() {
            let low = self.lowest.get(p).copied().unwrap_or(i64::MIN);
            let high = self.highest.get(p).copied().unwrap_or(i64::MAX);
            *z = (*z).clamp(low.min(high), high);
        }
    }
}

/// The greatest surface below and the least above a given one, both within the limits on heights and steps.
///
/// Where limits on heights forbid a surface wholly below (or above), the given surface is first moved between the least
/// and the greatest possible. Outside the mask heights are handed back as they came.
///
/// # Errors
/// The chain of limits that cannot be kept together.
pub fn envelopes(fit: &LatticeFit, heights: &[i64]) -> Result<(Vec<i64>, Vec<i64>), Conflict> {
    let within = reach(fit)?;
    let mut below = heights.to_vec();
    within.clamp(&mut below);
    for p in (0..fit.len()).filter(|p| !fit.inside[*p]) {
        below[p] = heights[p];
    }
    let mut above = below.clone();
    let (down, up) = rayon::join(|| settle(fit, &mut below, Side::Below), || settle(fit, &mut above, Side::Above));
    down.and(up)?;
    Ok((below, above))
}

/// A surface within the limits on heights and steps near a given one: the given one when it keeps them, else the mean of
/// the nearest below and above. `None` when the limits cannot be kept together.
///
/// Limits on bends are not differences of two heights and are not looked at; [`super::solve_fast`] keeps them.
#[must_use]
pub fn nearest_feasible(fit: &LatticeFit, heights: &[i64]) -> Option<Vec<i64>> {
    let (below, above) = envelopes(fit, heights).ok()?;
    Some(below.iter().zip(&above).map(|(b, a)| b + (a - b).div_euclid(2)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::Steps;
    use crate::methods::optimise::tests_fits::{any_fit, brute_force, fit_of};
    use proptest::prelude::*;

    #[test]
    fn a_spike_is_cut_from_above_and_filled_from_below() {
        // One lane, steps of at most 1 either way: the envelopes of a spike of 6 can be drawn by hand.
        let fit = fit_of(1, 5, Step { least: -1, most: 1 }, Step { least: 0, most: 0 });
        let (below, above) = envelopes(&fit, &[0, 0, 6, 0, 0]).unwrap();
        assert_eq!(below, [0, 0, 1, 0, 0]);
        assert_eq!(above, [4, 5, 6, 5, 4]);
        assert_eq!(nearest_feasible(&fit, &[0, 0, 6, 0, 0]).unwrap(), [2, 2, 3, 2, 2]);
    }

    #[test]
    fn an_outlet_too_high_is_named_with_the_chain_that_holds_it() {
        // From at most 10 at the top, three steps down of at least 2 leave 4; 7 is asked for.
        let mut fit = fit_of(1, 4, Step { least: -5, most: -2 }, Step { least: 0, most: 0 });
        fit.highest = vec![10, i64::MAX, i64::MAX, i64::MAX];
        fit.lowest = vec![i64::MIN, i64::MIN, i64::MIN, 7];
        let conflict = reach(&fit).unwrap_err();
        assert_eq!(conflict.excess, 3);
        assert_eq!(conflict.chain.len(), 5);
        assert_eq!(conflict.chain[0], ConflictLink::Highest { point: 0, height: 10 });
        assert_eq!(conflict.chain[2], ConflictLink::Between(Link { from: 1, to: 2, most: -2 }));
        assert_eq!(conflict.chain[4], ConflictLink::Lowest { point: 3, height: 7 });
        assert!(nearest_feasible(&fit, &[0; 4]).is_none());
    }

    #[test]
    fn steps_that_contradict_each_other_round_a_square_are_found() {
        // Lane 0 must fall 9, lane 1 may fall 2 at most, and the lanes may differ by 1.
        let mut fit = fit_of(2, 2, Step { least: 0, most: 0 }, Step { least: -1, most: 1 });
        let step = |least, most| Step { least, most };
        fit.along = Steps::Each(vec![step(-9, -9), step(0, 0), step(-2, 0), step(0, 0)]);
        let conflict = reach(&fit).unwrap_err();
        assert_eq!(conflict.excess, 9 - 2 - 2);
        let mut at = None;
        for link in &conflict.chain {
            let ConflictLink::Between(link) = link else { panic!("{link:?}") };
            assert!(at.is_none_or(|p| p == link.from), "links join: {:?}", conflict.chain);
            at = Some(link.to);
        }
        assert!(envelopes(&fit, &[0; 4]).is_err());
    }

    proptest! {
        #[test]
        fn what_is_handed_back_keeps_the_limits_and_stays_put((fit, heights) in any_fit(5, 6)) {
            if let Some(repaired) = nearest_feasible(&fit, &heights) {
                prop_assert!(fit.keeps(&repaired));
                prop_assert_eq!(nearest_feasible(&fit, &repaired).unwrap(), repaired);
            } else {
                prop_assert!(reach(&fit).is_err());
            }
        }

        #[test]
        fn a_refusal_is_a_chain_whose_limits_overlap((fit, _) in any_fit(4, 4)) {
            if let Err(conflict) = reach(&fit) {
                let sum: i64 = conflict.chain.iter().map(|link| match link {
                    ConflictLink::Lowest { height, .. } => -height,
                    ConflictLink::Highest { height, .. } => *height,
                    ConflictLink::Between(link) => link.most,
                }).sum();
                prop_assert!(conflict.excess > 0);
                prop_assert_eq!(sum, -conflict.excess);
            }
        }

        #[test]
        fn limits_refused_have_no_surface_at_all((fit, heights) in any_fit(2, 3)) {
            // Every surface of small whole heights is tried.
            let best = brute_force(&fit);
            match nearest_feasible(&fit, &heights) {
                None => prop_assert!(best.is_none()),
                Some(repaired) => prop_assert!(best.is_none_or(|b| b <= fit.cost(&repaired))),
            }
        }
    }
}
