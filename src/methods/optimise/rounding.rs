//! Whole heights that keep every limit, near those of a first-order state.
//!
//! Heights are rounded, moved within the limits on heights and steps ([`super::repair`]) and then each point in turn as near
//! to its ground as its neighbours allow. Where bends are limited, whatever is out of bounds is projected back in turn
//! ([`super::straighten`]).
//!
//! Source: as the parts name them.
//! How we know: random fits with masks, limits of heights, steps and bends: what is handed back keeps them all, and heights
//! that keep them stay.

use super::level::{ACROSS, ALONG, INSIDE, Level};
use super::problem::{LatticeFit, Step};
use super::repair::{Side, settle};
use super::straighten::straighten;

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
            let kept = straighten(self.fit, level, most, &mut self.heights, &height);
            return if kept { Some((self.cost(), &mut self.heights)) } else { None };
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
