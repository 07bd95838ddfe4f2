//! One step of the first-order method on one level of the pyramid, in single precision.
//!
//! The fit is the saddle point of `sum c_i(z_i) + y (K z) - s(y)`: `c` the cost of depth at a point together with the limits
//! of its height, `K` the differences along and across (and the bends along), `y` their multipliers and `s` the support
//! function of the limits. A step moves the multipliers along `K zbar`, then the heights along `-K' y`, each followed by its
//! proximal map, both closed forms. A lane's multipliers and heights are moved in one go while they are in the cache; what a
//! neighbouring part of the lattice needs of a lane is worked out beforehand, so that the outcome does not depend on how
//! the lanes are shared out.
//!
//! Source: Chambolle, A. & Pock, T. (2011), A first-order primal-dual algorithm, J. Math. Imaging Vis. 40:120, algorithm 1;
//! with `tau sigma |K|^2 <= 1`, `|K|^2 <= 4` for differences in each direction and 16 for second ones.
//! How we know: two points by hand; the same bits in one part or many; the bound and the surfaces are checked in `fast`.

use super::dual_bound::Multipliers;
use rayon::prelude::*;

/// Bits of a point: it has a step along, a step across, a bend.
pub(super) const ALONG: u8 = 1;
pub(super) const ACROSS: u8 = 2;
pub(super) const BEND: u8 = 4;
/// The point takes part.
pub(super) const INSIDE: u8 = 8;

/// Cells a part should hold, so that few lanes are worked out beforehand and all threads have work.
const CELLS_IN_A_PART: usize = 40_000;

/// Values of a lattice, or of one lane when all are alike.
#[derive(Debug, Clone)]
pub(super) struct Lanes {
    values: Vec<f32>,
    stations: usize,
}

impl Lanes {
    /// The same value everywhere.
    pub(super) fn alike(value: f32, stations: usize) -> Self {
        Self { values: vec![value; stations], stations }
    }

    /// A value for each point; one lane is kept when all are the same.
    pub(super) fn each(values: Vec<f32>, stations: usize) -> Self {
        match values.first() {
            Some(first) if values.iter().all(|v| v == first) => Self::alike(*first, stations),
            _ => Self { values, stations },
        }
    }

    /// The values of a lane.
    pub(super) fn lane(&self, lane: usize) -> &[f32] {
        if self.values.len() == self.stations {
            &self.values
        } else {
            &self.values[lane * self.stations..][..self.stations]
        }
    }

    /// The value of a point.
    pub(super) fn at(&self, lane: usize, station: usize) -> f32 {
        self.lane(lane)[station]
    }
}

/// What bends along a lane cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum BendRule {
    /// Nothing.
    Free,
    /// Nothing up to this many ticks, more is forbidden.
    Most(f32),
    /// Half their square times this.
    Square(f32),
}

/// The fit on one level; heights are ticks above a datum.
#[derive(Debug, Clone)]
pub(super) struct Level {
    pub lanes: usize,
    pub stations: usize,
    /// Which of [`INSIDE`], [`ALONG`], [`ACROSS`], [`BEND`] a point has.
    pub has: Vec<u8>,
    pub ground: Vec<f32>,
    /// Weights as multiples of their mean.
    pub cut: Lanes,
    pub fill: Lanes,
    /// Limits of the heights.
    pub low: Vec<i32>,
    pub high: Vec<i32>,
    pub along: [Lanes; 2],
    pub across: [Lanes; 2],
    pub bend: BendRule,
}

/// Heights and multipliers.
#[derive(Debug, Clone, Default)]
pub(super) struct State {
    pub heights: Vec<f32>,
    pub along: Vec<f32>,
    pub across: Vec<f32>,
    /// Empty when bends are free.
    pub bends: Vec<f32>,
}

/// A state on its way.
#[derive(Debug)]
pub(super) struct Run {
    pub state: State,
    /// Heights carried a step further, which the multipliers look at.
    ahead: Vec<f32>,
    /// Sums of the states since the last restart, heights less the ground.
    sums: State,
    summed: f32,
}

/// Lengths of the steps.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pace {
    tau: f32,
    sigma: f32,
}

impl Pace {
    /// The longest safe steps at a ratio of height moved to multiplier moved, ticks.
    pub(super) fn new(ratio: f64, bend: BendRule) -> Self {
        let (norm, ratio) = match bend {
            BendRule::Free => (8.0_f64.sqrt(), ratio),
            // Heights that overstep limits on bends are hard to bring back, so multipliers are moved the more.
            BendRule::Most(_) | BendRule::Square(_) => (24.0_f64.sqrt(), 0.5 * ratio),
        };
        Self { tau: (ratio / norm) as f32, sigma: (1.0 / (ratio * norm)) as f32 }
    }
}

impl State {
    /// Level with the ground and no multipliers.
    pub(super) fn at_rest(level: &Level) -> Self {
        let n = level.ground.len();
        let bends = if level.bend == BendRule::Free { 0 } else { n };
        Self { heights: level.ground.clone(), along: vec![0.0; n], across: vec![0.0; n], bends: vec![0.0; bends] }
    }

    fn zeros(like: &Self) -> Self {
        let zeros = |list: &Vec<f32>| vec![0.0; list.len()];
        Self {
            heights: zeros(&like.heights),
            along: zeros(&like.along),
            across: zeros(&like.across),
            bends: zeros(&like.bends),
        }
    }
}

/// Some lanes of a run, and what they need from before.
struct Part<'a> {
    first: usize,
    heights: &'a mut [f32],
    ahead: &'a mut [f32],
    along: &'a mut [f32],
    across: &'a mut [f32],
    bends: &'a mut [f32],
    sums: [&'a mut [f32]; 4],
    /// Multipliers across of the lane before.
    before: &'a [f32],
    /// Whether the multipliers across of the last lane have been moved already.
    last_done: bool,
}

impl Run {
    pub(super) fn new(state: State) -> Self {
        Self { ahead: state.heights.clone(), sums: State::zeros(&state), summed: 0.0, state }
    }

    /// Steps, each taken into the averages.
    pub(super) fn steps(&mut self, level: &Level, pace: Pace, count: usize) {
        let parts = (level.ground.len() / CELLS_IN_A_PART).clamp(1, level.lanes);
        self.steps_in(level, pace, count, level.lanes.div_ceil(parts));
    }

    /// As [`Run::steps`], in parts of so many lanes.
    fn steps_in(&mut self, level: &Level, pace: Pace, count: usize, lanes: usize) {
        let n = level.stations;
        let mut between = vec![0.0; level.lanes.div_ceil(lanes) * n];
        for _ in 0..count {
            // Entry `k` of `between` is the lane before part `k`.
            for (part, before) in between.chunks_exact_mut(n).enumerate().skip(1) {
                let lane = part * lanes - 1;
                let q = &mut self.state.across[lane * n..][..n];
                let (here, next) = self.ahead[lane * n..][..2 * n].split_at(n);
                move_across(level, lane, pace, q, here, next);
                before.copy_from_slice(q);
            }
            let mut parts = self.parts(&between, n, lanes);
            if parts.len() == 1 {
                parts.iter_mut().for_each(|part| part.step(level, pace));
            } else {
                parts.par_iter_mut().for_each(|part| part.step(level, pace));
            }
            self.summed += 1.0;
        }
    }

    fn parts<'a>(&'a mut self, between: &'a [f32], n: usize, lanes: usize) -> Vec<Part<'a>> {
        let size = lanes * n;
        let count = between.len() / n;
        let mut bends = self.state.bends.chunks_mut(size);
        let mut bend_sums = self.sums.bends.chunks_mut(size);
        let state = self
            .state
            .heights
            .chunks_mut(size)
            .zip(self.ahead.chunks_mut(size))
            .zip(self.state.along.chunks_mut(size).zip(self.state.across.chunks_mut(size)));
        let sums = self.sums.heights.chunks_mut(size).zip(self.sums.along.chunks_mut(size));
        let sums = sums.zip(self.sums.across.chunks_mut(size));
        let mut parts = Vec::with_capacity(count);
        for (part, (((heights, ahead), (along, across)), ((sum_z, sum_p), sum_q))) in state.zip(sums).enumerate() {
            parts.push(Part {
                first: part * lanes,
                heights,
                ahead,
                along,
                across,
                bends: bends.next().unwrap_or_default(),
                sums: [sum_z, sum_p, sum_q, bend_sums.next().unwrap_or_default()],
                before: &between[part * n..][..n],
                last_done: part + 1 < count,
            });
        }
        parts
    }

    /// Averages of the multipliers since the last restart.
    pub(super) fn multipliers(&self) -> Multipliers<'_> {
        Multipliers { across: &self.sums.across, bends: &self.sums.bends, factor: self.share() }
    }

    /// Average height of a point since the last restart.
    pub(super) fn height(&self, level: &Level, point: usize) -> f32 {
        level.ground[point] + self.sums.heights[point] * self.share()
    }

    /// How far heights stand from the ground for how far multipliers stand from nothing, ticks; `None` while either is at
    /// rest.
    pub(super) fn spread(&self, level: &Level) -> Option<f64> {
        let square = |values: &[f32]| values.iter().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>();
        let depth = |(z, g): (&f32, &f32)| f64::from(z - g) * f64::from(z - g);
        let heights: f64 = self.state.heights.iter().zip(&level.ground).map(depth).sum();
        let multipliers = square(&self.state.along) + square(&self.state.across) + square(&self.state.bends);
        (heights > 0.0 && multipliers > 0.0).then(|| (heights / multipliers).sqrt())
    }

    /// Scales the multipliers of bends and forgets the averages.
    pub(super) fn scale_bends(&mut self, by: f32) {
        self.state.bends.iter_mut().for_each(|s| *s *= by);
        self.restart();
    }

    fn share(&self) -> f32 {
        1.0 / self.summed.max(1.0)
    }

    /// Goes on from the average.
    pub(super) fn restart_from_average(&mut self, level: &Level) {
        let share = self.share();
        let mean = |sums: &[f32], into: &mut [f32]| into.iter_mut().zip(sums).for_each(|(v, s)| *v = s * share);
        mean(&self.sums.heights, &mut self.state.heights);
        self.state.heights.iter_mut().zip(&level.ground).for_each(|(z, g)| *z += g);
        mean(&self.sums.along, &mut self.state.along);
        mean(&self.sums.across, &mut self.state.across);
        mean(&self.sums.bends, &mut self.state.bends);
        self.restart();
    }

    /// Forgets the averages.
    pub(super) fn restart(&mut self) {
        self.ahead.copy_from_slice(&self.state.heights);
        for sums in [&mut self.sums.heights, &mut self.sums.along, &mut self.sums.across, &mut self.sums.bends] {
            sums.fill(0.0);
        }
        self.summed = 0.0;
    }
}

impl Part<'_> {
    /// One step of these lanes.
    fn step(&mut self, level: &Level, pace: Pace) {
        let n = level.stations;
        let count = self.heights.len() / n;
        for k in 0..count {
            let lane = self.first + k;
            let here = k * n..(k + 1) * n;
            let has = &level.has[lane * n..][..n];
            let ahead = &self.ahead[here.clone()];
            let p = &mut self.along[here.clone()];
            move_differences(p, ahead, &ahead[1..], [level.along[0].lane(lane), level.along[1].lane(lane)], has, pace);
            add(&mut self.sums[1][here.clone()], p);
            if k + 1 < count {
                let (here_ahead, next) = self.ahead[k * n..][..2 * n].split_at(n);
                move_across(level, lane, pace, &mut self.across[here.clone()], here_ahead, next);
            } else if !self.last_done {
                self.across[here.clone()].fill(0.0);
            }
            add(&mut self.sums[2][here.clone()], &self.across[here.clone()]);
            if level.bend != BendRule::Free {
                let s = &mut self.bends[here.clone()];
                move_bends(s, &self.ahead[here.clone()], level.bend, has, pace);
                add(&mut self.sums[3][here.clone()], s);
            }
            self.move_heights(level, pace, k);
        }
    }

    /// Moves the heights of a lane against the pull of its multipliers.
    fn move_heights(&mut self, level: &Level, pace: Pace, k: usize) {
        let n = level.stations;
        let (lane, here) = (self.first + k, k * n..(k + 1) * n);
        // The pull is gathered where the heights carried ahead stood; nobody needs those any more.
        let pull = &mut self.ahead[here.clone()];
        let before = if k == 0 { self.before } else { &self.across[(k - 1) * n..][..n] };
        gather(pull, &self.along[here.clone()], before, &self.across[here.clone()]);
        if level.bend != BendRule::Free {
            gather_bends(pull, &self.bends[here.clone()]);
        }
        let at = lane * n..(lane + 1) * n;
        let (z, ground) = (&mut self.heights[here.clone()], &level.ground[at.clone()]);
        let (low, high) = (&level.low[at.clone()], &level.high[at]);
        let (cut, fill, sum) = (level.cut.lane(lane), level.fill.lane(lane), &mut self.sums[0][here]);
        let terms = z.iter_mut().zip(pull).zip(ground).zip(low.iter().zip(high)).zip(cut.iter().zip(fill)).zip(sum);
        for (((((z, pull), g), (low, high)), (cut, fill)), sum) in terms {
            let depth = *z - pace.tau * *pull - g;
            let left = greater(depth - pace.tau * fill, 0.0) + lesser(depth + pace.tau * cut, 0.0);
            let moved = lesser(greater(left + g, *low as f32), *high as f32);
            *pull = 2.0 * moved - *z;
            *z = moved;
            *sum += moved - g;
        }
    }
}

/// The greater of two numbers, in one instruction.
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The lesser of two numbers, in one instruction.
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

fn add(sums: &mut [f32], values: &[f32]) {
    sums.iter_mut().zip(values).for_each(|(s, v)| *s += v);
}

/// Moves the multipliers of the differences `to - from` and maps them by the limits.
fn move_differences(y: &mut [f32], from: &[f32], to: &[f32], limits: [&[f32]; 2], has: &[u8], pace: Pace) {
    move_limited::<ALONG>(y, from, to, limits, has, pace.sigma);
}

fn move_limited<const BIT: u8>(y: &mut [f32], from: &[f32], to: &[f32], limits: [&[f32]; 2], has: &[u8], sigma: f32) {
    let terms = y.iter_mut().zip(from.iter().zip(to)).zip(limits[0].iter().zip(limits[1])).zip(has);
    for (((y, (from, to)), (least, most)), has) in terms {
        let v = *y + sigma * (to - from);
        let moved = greater(v - sigma * most, 0.0) + lesser(v - sigma * least, 0.0);
        *y = if has & BIT != 0 { moved } else { 0.0 };
    }
}

fn move_across(level: &Level, lane: usize, pace: Pace, q: &mut [f32], here: &[f32], next: &[f32]) {
    let has = &level.has[lane * level.stations..][..level.stations];
    let limits = [level.across[0].lane(lane), level.across[1].lane(lane)];
    move_limited::<ACROSS>(q, here, next, limits, has, pace.sigma);
}

/// Moves the multipliers of the bends of a lane.
fn move_bends(s: &mut [f32], z: &[f32], rule: BendRule, has: &[u8], pace: Pace) {
    let sigma = pace.sigma;
    for i in 1..s.len().saturating_sub(1) {
        let v = s[i] + sigma * ((z[i - 1] - z[i]) + (z[i + 1] - z[i]));
        let moved = match rule {
            BendRule::Free => 0.0,
            BendRule::Most(most) => greater(v - sigma * most, 0.0) + lesser(v + sigma * most, 0.0),
            BendRule::Square(weight) => v * (weight / (weight + sigma)),
        };
        s[i] = if has[i] & BEND != 0 { moved } else { 0.0 };
    }
}

/// `K' y` of the differences at each point of a lane.
fn gather(pull: &mut [f32], along: &[f32], before: &[f32], across: &[f32]) {
    let n = pull.len();
    pull[0] = before[0] - across[0] - along[0];
    let terms = pull[1..].iter_mut().zip(along[..n - 1].iter().zip(&along[1..]));
    for ((pull, (p_before, p)), (q_before, q)) in terms.zip(before[1..].iter().zip(&across[1..])) {
        *pull = (p_before - p) + (q_before - q);
    }
}

/// `K' y` of the bends, added.
fn gather_bends(pull: &mut [f32], s: &[f32]) {
    for (i, pull) in pull.iter_mut().enumerate() {
        let before = if i > 0 { s[i - 1] } else { 0.0 };
        let after = s.get(i + 1).copied().unwrap_or(0.0);
        *pull += before - 2.0 * s[i] + after;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::frame::frame;
    use crate::methods::optimise::tests_fits::rough_ground;

    #[test]
    fn parts_make_no_difference() {
        let mut fit = rough_ground(23, 31, 3);
        fit.inside.iter_mut().enumerate().for_each(|(p, inside)| *inside = p % 13 != 5);
        let rule = BendRule::Most(900.0);
        let level = frame(&fit, rule).unwrap().level;
        let run = |lanes| {
            let mut run = Run::new(State::at_rest(&level));
            run.steps_in(&level, Pace::new(1_000.0, rule), 40, lanes);
            run.restart_from_average(&level);
            run.steps_in(&level, Pace::new(1_000.0, rule), 9, lanes);
            (run.state.heights, run.state.along, run.state.across, run.state.bends, run.sums.across)
        };
        let whole = run(23);
        assert!(whole.4.iter().any(|q| *q != 0.0) && whole.3.iter().any(|s| *s != 0.0));
        for lanes in [1, 4, 7] {
            assert_eq!(run(lanes), whole);
        }
    }

    #[test]
    fn two_points_settle_where_the_weights_say() {
        // Ground 0 and 10 ticks, at most 4 apart; the second is three times as dear, so the first moves by 6.
        let mut fit = crate::methods::optimise::tests_fits::fit_of(
            1,
            2,
            crate::methods::optimise::Step { least: -4, most: 4 },
            crate::methods::optimise::Step { least: 0, most: 0 },
        );
        fit.ground = vec![0, 10];
        fit.cut_weight = vec![1, 3];
        fit.fill_weight = vec![1, 3];
        let frame = frame(&fit, BendRule::Free).unwrap();
        let mut run = Run::new(State::at_rest(&frame.level));
        run.steps(&frame.level, Pace::new(5.0, BendRule::Free), 2_000);
        let height = |p: usize| f64::from(run.state.heights[p]) + frame.datum as f64;
        assert!((height(0) - 6.0).abs() < 0.01 && (height(1) - 10.0).abs() < 0.01, "{:?}", run.state);
        // The step's multiplier outweighs the first point and not the second, in the frame's measure.
        let multiplier = f64::from(run.state.along[0]) / frame.scale;
        assert!((0.99..3.01).contains(&multiplier), "{multiplier}");
    }
}
