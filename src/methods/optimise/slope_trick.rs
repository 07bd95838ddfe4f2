//! The least cost of a chain of heights as a function of its last one, held by the kinks of its slope.
//!
//! The function is convex and piecewise linear. Left of its flat part every kink adds its weight to the slope, right of it
//! likewise. A step between limits to the next height slides the left kinks by the least step and the right kinks by the
//! most; paying for the depth at a height adds a kink on either side. Limits of heights cut the domain; a kink that would
//! fall outside is moved to its end and what that saves is kept in the constant, which leaves the function unchanged
//! inside.
//!
//! Source: Ahuja, R. K. & Orlin, J. B. (2001), A fast scaling algorithm for minimizing separable convex functions subject
//! to chain constraints, Oper. Res. 49(5):784, for the problem; two heaps with offsets are common practice for it.
//! How we know: chains of random steps, weights and limits against the trial of every whole height, and rising chains
//! against pooled medians (`lane_bound`).

use super::Step;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Stands for no limit.
const FREE: i64 = i64::MAX / 4;

/// Least cost of the heights so far, over the last of them.
#[derive(Debug, Clone)]
pub(super) struct SlopeTrick {
    /// Kinks below the flat part with their weights, less `slid_left`.
    left: BinaryHeap<(i64, i64)>,
    /// Kinks above it, less `slid_right`.
    right: BinaryHeap<Reverse<(i64, i64)>>,
    slid_left: i64,
    slid_right: i64,
    /// Domain.
    low: i64,
    high: i64,
    /// Least value; wide, as a multiplier far off may be paid for over a wide domain.
    least: i128,
}

impl SlopeTrick {
    /// Nothing paid yet, every height possible.
    pub(super) fn new() -> Self {
        Self {
            left: BinaryHeap::new(),
            right: BinaryHeap::new(),
            slid_left: 0,
            slid_right: 0,
            low: -FREE,
            high: FREE,
            least: 0,
        }
    }

    /// Forgets everything but the memory it holds.
    pub(super) fn reset(&mut self) {
        self.left.clear();
        self.right.clear();
        (self.slid_left, self.slid_right, self.low, self.high, self.least) = (0, 0, -FREE, FREE, 0);
    }

    /// Least cost over all last heights.
    pub(super) fn least(&self) -> i128 {
        self.least
    }

    /// The last heights at which the cost is least.
    pub(super) fn flat(&self) -> (i64, i64) {
        let left = self.left.peek().map_or(self.low, |k| (k.0 + self.slid_left).max(self.low));
        let right = self.right.peek().map_or(self.high, |k| (k.0.0 + self.slid_right).min(self.high));
        (left, right)
    }

    /// On to the next height, a step away.
    pub(super) fn step(&mut self, step: Step) {
        self.slid_left += step.least;
        self.slid_right += step.most;
        self.low = self.low.saturating_add(step.least).max(-FREE);
        self.high = self.high.saturating_add(step.most).min(FREE);
    }

    /// Keeps the height within limits; false when none is left.
    pub(super) fn limit(&mut self, low: i64, high: i64) -> bool {
        self.low = self.low.max(low);
        self.high = self.high.min(high);
        if self.low > self.high {
            return false;
        }
        let mut beyond = 0;
        while let Some(kink) = self.left.peek().filter(|k| k.0 + self.slid_left > self.high) {
            self.least += product(kink.1, kink.0 + self.slid_left - self.high);
            beyond += kink.1;
            self.left.pop();
        }
        if beyond > 0 {
            self.left.push((self.high - self.slid_left, beyond));
        }
        beyond = 0;
        while let Some(Reverse(kink)) = self.right.peek().filter(|k| k.0.0 + self.slid_right < self.low) {
            self.least += product(kink.1, self.low - kink.0 - self.slid_right);
            beyond += kink.1;
            self.right.pop();
        }
        if beyond > 0 {
            self.right.push(Reverse((self.low - self.slid_right, beyond)));
        }
        true
    }

    /// Pays for the depth below and above a given height, and `tilt` for every tick above it, less where below. The domain
    /// must be limited where the tilt outweighs the depth.
    pub(super) fn pay_tilted(&mut self, ground: i64, cut_weight: i64, fill_weight: i64, tilt: i64) {
        // Up to the weight the tilt only shifts weight from one side to the other; the rest slopes the whole domain.
        let over = tilt - tilt.clamp(-fill_weight, cut_weight);
        self.pay(ground, cut_weight - (tilt - over), fill_weight + (tilt - over));
        let end = if over > 0 { self.low } else { self.high };
        if over != 0 {
            self.least += product(over, end - ground);
            self.pay(end, (-over).max(0), over.max(0));
        }
    }

    /// Pays for the depth below and above a given height.
    pub(super) fn pay(&mut self, ground: i64, cut_weight: i64, fill_weight: i64) {
        let at = ground.clamp(self.low, self.high);
        self.least += product(if ground > at { cut_weight } else { -fill_weight }, ground - at);
        if cut_weight > 0 {
            self.right.push(Reverse((at - self.slid_right, cut_weight)));
            let mut left_over = cut_weight;
            while left_over > 0
                && let Some(Reverse((kink, weight))) = self.right.pop()
            {
                let moved = weight.min(left_over);
                let height = kink + self.slid_right;
                self.least += product(moved, at - height);
                self.left.push((height - self.slid_left, moved));
                if weight > moved {
                    self.right.push(Reverse((kink, weight - moved)));
                }
                left_over -= moved;
            }
        }
        if fill_weight > 0 {
            self.left.push((at - self.slid_left, fill_weight));
            let mut left_over = fill_weight;
            while left_over > 0
                && let Some((kink, weight)) = self.left.pop()
            {
                let moved = weight.min(left_over);
                let height = kink + self.slid_left;
                self.least += product(moved, height - at);
                self.right.push(Reverse((height - self.slid_right, moved)));
                if weight > moved {
                    self.left.push((kink, weight - moved));
                }
                left_over -= moved;
            }
        }
    }
}

/// A weight times a distance.
fn product(weight: i64, distance: i64) -> i128 {
    i128::from(weight) * i128::from(distance)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_heights_by_hand() {
        // 0, 10, 3 with steps of 2 at most: 4 and 2 from 10 to the flat of 0..4 costs 10 - z2 with z2 <= z1 + 2.
        let mut cost = SlopeTrick::new();
        cost.pay(0, 1, 1);
        assert_eq!((cost.least(), cost.flat()), (0, (0, 0)));
        cost.step(Step { least: -2, most: 2 });
        cost.pay(10, 1, 1);
        // z1 in 0..8 and z2 = z1 + 2 all cost 8.
        assert_eq!((cost.least(), cost.flat()), (8, (2, 10)));
        assert!(cost.limit(i64::MIN, 5));
        assert_eq!((cost.least(), cost.flat()), (8, (2, 5)));
        assert!(!cost.limit(6, i64::MAX));
    }

    #[test]
    fn a_domain_away_from_the_ground_is_paid_for() {
        let mut cost = SlopeTrick::new();
        assert!(cost.limit(4, 7));
        cost.pay(1, 5, 2);
        assert_eq!((cost.least(), cost.flat()), (6, (4, 4)));
        cost.pay(10, 3, 1);
        // 2 a tick up against 3 a tick down: now highest is best, 2 * 6 + 3 * 3.
        assert_eq!((cost.least(), cost.flat()), (21, (7, 7)));
    }
}
