//! Whole heights brought within limits on steps and bends by projecting onto one limit after the other.
//!
//! First in sixteenths of a tick, towards limits drawn in by what rounding to whole ticks can make, then in whole ticks. Near the
//! end little is out of its limits, so lanes where nothing moved and nothing beside moved are passed over. Moves go half
//! as far again as they must, so that they end after finitely many rounds where there is room to spare; a move in whole ticks
//! is the smallest of its kind, for what it makes too much is out of limits elsewhere.
//!
//! Source: relaxed cyclic projections onto halfspaces, Agmon, S. (1954), The relaxation method for linear inequalities,
//! Canad. J. Math. 6:382.
//! How we know: see [`super::rounding`]; heights within the limits stay as they are.

use super::level::{ACROSS, ALONG, BEND, Level};
use super::problem::{LatticeFit, Step};
use std::ops::Range;

/// Parts of a tick at first.
const PARTS: i64 = 16;
/// Rounds in parts of a tick, and in whole ticks before a surface is given up.
const ROUNDS_IN_PARTS: usize = 60;
const MOST_ROUNDS: usize = 150;
/// What limits of bends and of steps are drawn in by while heights are parts of a tick, parts: what rounding mostly makes
/// of them.
const ROUNDED_BEND: i64 = 24;
const ROUNDED_STEP: i64 = 12;

/// Brings heights within limits of steps and bends, from heights that are not rounded; whether that came to an end.
pub(super) fn straighten(
    fit: &LatticeFit,
    level: &Level,
    most_bend: i64,
    heights: &mut [i32],
    height: impl Fn(usize) -> f32,
) -> bool {
    let whole = Limits { fit, level, unit: 1, most_bend, room: 0 };
    if whole.kept(heights) {
        return true;
    }
    let parts = PARTS as f32;
    let most_parts = most_bend * PARTS;
    let fine = Limits {
        fit,
        level,
        unit: PARTS,
        most_bend: most_parts - ROUNDED_BEND.min(most_parts / 4),
        room: ROUNDED_STEP,
    };
    for (p, z) in heights.iter_mut().enumerate() {
        *z = fine.within(p, (height(p) * parts).round() as i64);
    }
    fine.project(heights, ROUNDS_IN_PARTS);
    heights.iter_mut().for_each(|z| *z = (*z as f32 / parts).round() as i32);
    whole.project(heights, MOST_ROUNDS)
}

/// Limits in a unit.
struct Limits<'a> {
    fit: &'a LatticeFit,
    level: &'a Level,
    /// Units in a tick.
    unit: i64,
    /// In units.
    most_bend: i64,
    /// What the limits of steps are drawn in by, units.
    room: i64,
}

impl Limits<'_> {
    /// Limits of a step, units.
    fn of(&self, step: Step) -> (i64, i64) {
        let (least, most) = (step.least * self.unit, step.most * self.unit);
        let room = self.room.min((most - least) / 4);
        (least + room, most - room)
    }

    fn has(&self, p: usize, bit: u8) -> bool {
        self.level.has[p] & bit != 0
    }

    /// Whether heights keep the limits of steps and bends, and of heights.
    fn kept(&self, heights: &[i32]) -> bool {
        let z = |p: usize| i64::from(heights[p]);
        let step = |p: usize, q: usize, step: Step| {
            let (least, most) = self.of(step);
            (least..=most).contains(&(z(q) - z(p)))
        };
        (0..heights.len()).all(|p| {
            (!self.has(p, ALONG) || step(p, p + 1, self.fit.along.at(p)))
                && (!self.has(p, ACROSS) || step(p, p + self.fit.stations, self.fit.across.at(p)))
                && (!self.has(p, BEND) || (z(p - 1) - 2 * z(p) + z(p + 1)).abs() <= self.most_bend)
        })
    }

    /// Projects what is out of its limits; whether nothing is any more.
    fn project(&self, heights: &mut [i32], rounds: usize) -> bool {
        let (n, lanes) = (self.fit.stations, self.fit.lanes);
        let mut due = vec![true; lanes];
        let mut left = rounds * lanes;
        while left > 0 {
            let mut moved = vec![false; lanes];
            for lane in 0..lanes {
                let points = lane * n..(lane + 1) * n;
                if due[lane] || moved[lane] {
                    moved[lane] |= self.project_along(heights, points.clone());
                }
                let beside = lane + 1 < lanes && (due[lane] || due[lane + 1] || moved[lane]);
                if beside && self.project_across(heights, points) {
                    (moved[lane], moved[lane + 1]) = (true, true);
                }
            }
            due = moved;
            let count = due.iter().filter(|due| **due).count();
            if count == 0 {
                return true;
            }
            // A round over few lanes is a part of one only.
            left = left.saturating_sub(count);
        }
        false
    }

    /// Bends and steps along of a lane; whether anything moved.
    fn project_along(&self, heights: &mut [i32], lane: Range<usize>) -> bool {
        let mut moved = false;
        for p in lane {
            moved |= self.has(p, BEND) && self.unbend(heights, p);
            moved |= self.has(p, ALONG) && self.level_step(heights, p, p + 1, self.fit.along.at(p));
        }
        moved
    }

    /// Steps from a lane to the next; whether anything moved.
    fn project_across(&self, heights: &mut [i32], lane: Range<usize>) -> bool {
        let mut moved = false;
        for p in lane {
            moved |= self.has(p, ACROSS) && self.level_step(heights, p, p + self.fit.stations, self.fit.across.at(p));
        }
        moved
    }

    /// Moves a point and its neighbours along the lane until its bend is within its limit; whether it was not.
    fn unbend(&self, heights: &mut [i32], p: usize) -> bool {
        let z = |p: usize| i64::from(heights[p]);
        let bend = z(p - 1) - 2 * z(p) + z(p + 1);
        let excess = bend.abs() - self.most_bend;
        if excess <= 0 {
            return false;
        }
        // Shortest when the point makes two thirds of the change and each neighbour a sixth.
        let change = half_again(excess);
        let side = (change + 1) / 6;
        let middle = (change - 2 * side + 1) / 2;
        self.shift(heights, p - 1, -side * bend.signum());
        self.shift(heights, p, middle * bend.signum());
        self.shift(heights, p + 1, -side * bend.signum());
        true
    }

    /// Moves two points until the step between them is within limits; whether it was not.
    fn level_step(&self, heights: &mut [i32], p: usize, q: usize, step: Step) -> bool {
        let rise = i64::from(heights[q]) - i64::from(heights[p]);
        let (least, most) = self.of(step);
        let beyond = if rise > most { rise - most } else { (rise - least).min(0) };
        if beyond == 0 {
            return false;
        }
        let change = half_again(beyond.abs()) * beyond.signum();
        self.shift(heights, p, change - change / 2);
        self.shift(heights, q, -(change / 2));
        true
    }

    /// Moves a point within its range.
    fn shift(&self, heights: &mut [i32], p: usize, by: i64) {
        heights[p] = self.within(p, i64::from(heights[p]) + by);
    }

    /// A height within the range of its point.
    fn within(&self, p: usize, height: i64) -> i32 {
        let (low, high) = (i64::from(self.level.low[p]) * self.unit, i64::from(self.level.high[p]) * self.unit);
        let height = height.clamp(low.min(high), high);
        i32::try_from(height).unwrap_or(if height < 0 { i32::MIN } else { i32::MAX })
    }
}

/// Half as much again, rounded down: one stays one.
fn half_again(excess: i64) -> i64 {
    excess * 3 / 2
}
