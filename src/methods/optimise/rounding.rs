//! Whole heights that keep every limit, near those of a first-order state.
//!
//! Heights are rounded, moved within the limits on heights and steps ([`super::repair`]) and then each point in turn as near
//! to its ground as its neighbours allow. Where bends are limited, whatever is out of bounds is projected back in turn,
//! limit by limit and half as far again as it must go, so that the projections end after finitely many rounds where there is
//! room to spare.
//!
//! Source: relaxed cyclic projections onto halfspaces, Agmon, S. (1954), The relaxation method for linear inequalities,
//! Canad. J. Math. 6:382.
//! How we know: random fits with masks, limits of heights, steps and bends: what is handed back keeps them all, and heights
//! that keep them stay.

use super::level::{ACROSS, ALONG, BEND, INSIDE, Level};
use super::problem::{LatticeFit, Step};
use super::repair::{Side, settle};

/// Rounds of projections before a surface is given up.
const MOST_ROUNDS: usize = 200;
/// Projections move so many quarters of the way to the limit.
const QUARTERS: i64 = 6;

/// A surface in whole ticks above a datum.
#[derive(Debug)]
pub(super) struct Rounding<'a> {
    pub fit: &'a LatticeFit,
    pub datum: i64,
    /// Times each point is moved towards its ground, which is cheaper but rougher; not where bends are limited.
    pub nearer: usize,
    heights: Vec<i32>,
    above: Vec<i32>,
}

impl<'a> Rounding<'a> {
    pub(super) fn new(fit: &'a LatticeFit, datum: i64, nearer: usize) -> Self {
        Self { fit, datum, nearer, heights: Vec::new(), above: Vec::new() }
    }

    /// Whole heights near given ones within every limit, and their cost. `None` when bends could not be kept.
    pub(super) fn surface(&mut self, level: &Level, height: impl Fn(usize) -> f32) -> Option<(i64, &mut Vec<i32>)> {
        let rounded = |p: usize| (height(p).round() as i32).clamp(level.low[p].min(level.high[p]), level.high[p]);
        self.heights.clear();
        self.heights.extend((0..self.fit.len()).map(rounded));
        if let Some(most) = self.fit.most_bend {
            return if self.straighten(level, most) { Some((self.cost(), &mut self.heights)) } else { None };
        }
        self.above.clone_from(&self.heights);
        let (below, above) = rayon::join(
            || settle(self.fit, &mut self.heights, Side::Below),
            || settle(self.fit, &mut self.above, Side::Above),
        );
        below.and(above).ok()?;
        self.heights.iter_mut().zip(&self.above).for_each(|(b, a)| *b += (a - *b).div_euclid(2));
        (0..self.nearer).for_each(|_| self.nearer_the_ground(level));
        Some((self.cost(), &mut self.heights))
    }

    /// Cost of the surface, weight times ticks.
    fn cost(&self) -> i64 {
        let depth = |p: usize| i64::from(self.heights[p]) + self.datum - self.fit.ground[p];
        let cost = |p: usize| match depth(p) {
            cut if cut < 0 => self.fit.cut_weight[p] * -cut,
            fill => self.fit.fill_weight[p] * fill,
        };
        (0..self.fit.len()).filter(|p| self.fit.inside[*p]).map(cost).sum()
    }

    /// The neighbours of a point and the step to each, as seen from the point.
    fn neighbours(&self, level: &Level, p: usize) -> impl Iterator<Item = (usize, Step)> {
        let (fit, n) = (self.fit, self.fit.stations);
        let back = |step: Step| Step { least: -step.most, most: -step.least };
        let next = (level.has[p] & ALONG != 0).then(|| (p + 1, fit.along.at(p)));
        let after = (level.has[p] & ACROSS != 0).then(|| (p + n, fit.across.at(p)));
        let previous =
            (!p.is_multiple_of(n) && level.has[p - 1] & ALONG != 0).then(|| (p - 1, back(fit.along.at(p - 1))));
        let before = (p >= n && level.has[p - n] & ACROSS != 0).then(|| (p - n, back(fit.across.at(p - n))));
        next.into_iter().chain(after).chain(previous).chain(before)
    }

    /// Every point in turn as near to its ground as its neighbours allow, which never costs more.
    fn nearer_the_ground(&mut self, level: &Level) {
        for p in 0..self.fit.len() {
            if level.has[p] & INSIDE == 0 {
                continue;
            }
            let (mut low, mut high) = (i64::from(level.low[p]), i64::from(level.high[p]));
            for (q, step) in self.neighbours(level, p) {
                low = low.max(i64::from(self.heights[q]) - step.most);
                high = high.min(i64::from(self.heights[q]) - step.least);
            }
            let ground = self.fit.ground[p] - self.datum;
            self.heights[p] = i32::try_from(ground.clamp(low, high)).unwrap_or(self.heights[p]);
        }
    }

    /// Projects steps and bends into their limits; whether that came to an end.
    fn straighten(&mut self, level: &Level, most: i64) -> bool {
        (0..MOST_ROUNDS).any(|_| {
            for p in 0..self.fit.len() {
                if level.has[p] & BEND != 0 {
                    self.unbend(level, p, most);
                }
                if level.has[p] & ALONG != 0 {
                    self.level_step(level, p, p + 1, self.fit.along.at(p));
                }
                if level.has[p] & ACROSS != 0 {
                    self.level_step(level, p, p + self.fit.stations, self.fit.across.at(p));
                }
            }
            self.worst_excess(level, most) <= 0
        })
    }

    /// By how much the worst step or bend is out of its limits, ticks; nothing or less when all are kept.
    fn worst_excess(&self, level: &Level, most: i64) -> i64 {
        let z = |p: usize| i64::from(self.heights[p]);
        let step = |p: usize, q: usize, step: Step| (z(q) - z(p) - step.most).max(step.least - z(q) + z(p));
        let excess = |p: usize| {
            let has = |bit: u8| level.has[p] & bit != 0;
            let bend = if has(BEND) { (z(p - 1) - 2 * z(p) + z(p + 1)).abs() - most } else { i64::MIN };
            let along = if has(ALONG) { step(p, p + 1, self.fit.along.at(p)) } else { i64::MIN };
            let across = if has(ACROSS) { step(p, p + self.fit.stations, self.fit.across.at(p)) } else { i64::MIN };
            bend.max(along).max(across)
        };
        (0..self.fit.len()).map(excess).max().unwrap_or(0)
    }

    /// Moves a point and its neighbours along the lane until its bend is within a limit.
    fn unbend(&mut self, level: &Level, p: usize, most: i64) {
        let z = |p: usize| i64::from(self.heights[p]);
        let bend = z(p - 1) - 2 * z(p) + z(p + 1);
        if bend.abs() > most {
            let by = beyond(bend.abs() - most, 6) * bend.signum();
            self.shift(level, p - 1, -by);
            self.shift(level, p, 2 * by);
            self.shift(level, p + 1, -by);
        }
    }

    /// Moves two points until the step between them is within limits.
    fn level_step(&mut self, level: &Level, p: usize, q: usize, step: Step) {
        let rise = i64::from(self.heights[q]) - i64::from(self.heights[p]);
        let by = match rise {
            high if high > step.most => beyond(high - step.most, 2),
            low if low < step.least => -beyond(step.least - low, 2),
            _ => return,
        };
        self.shift(level, p, by);
        self.shift(level, q, -by);
    }

    /// Moves a point within its range.
    fn shift(&mut self, level: &Level, p: usize, by: i64) {
        let moved = (i64::from(self.heights[p]) + by).clamp(i64::from(level.low[p]), i64::from(level.high[p]));
        self.heights[p] = i32::try_from(moved).unwrap_or(self.heights[p]);
    }
}

/// How far to move, a share of an excess, rounded up.
fn beyond(excess: i64, share: i64) -> i64 {
    (excess * QUARTERS + 4 * share - 1) / (4 * share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::frame::frame;
    use crate::methods::optimise::level::BendRule;
    use crate::methods::optimise::tests_fits::any_fit;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn surfaces_keep_every_limit((mut fit, heights) in any_fit(4, 6), bend in prop::option::of(0_i64..4)) {
            fit.most_bend = bend;
            let rule = bend.map_or(BendRule::Free, |most| BendRule::Most(most as f32));
            if let Ok(frame) = frame(&fit, rule) {
                let mut rounding = Rounding::new(&fit, frame.datum, 1);
                let begin = |p: usize| (heights[p] - frame.datum) as f32 + 0.25;
                if let Some((cost, found)) = rounding.surface(&frame.level, begin) {
                    let whole = |p: usize| if fit.inside[p] { i64::from(found[p]) + frame.datum } else { 0 };
                    let found: Vec<i64> = (0..fit.len()).map(whole).collect();
                    prop_assert!(fit.keeps(&found));
                    prop_assert_eq!(cost, fit.cost(&found));
                    rounding.nearer = 0;
                    let again = rounding.surface(&frame.level, |p| (found[p] - frame.datum) as f32);
                    prop_assert_eq!(again.map(|again| again.0), Some(cost));
                } else {
                    prop_assert!(bend.is_some(), "limits that are not in conflict leave a surface");
                }
            }
        }
    }
}
