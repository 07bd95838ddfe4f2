//! The first-order method from the coarsest lattice to the finest, in rounds that end with a look at the bound.
//!
//! Restarts go on from the average of the steps since the last, and set the ratio of the two step lengths anew: the
//! geometric mean of the old one and of how far heights and multipliers stand from rest, so that both move at a like pace
//! whatever the ground and the limits.
//!
//! Source: Applegate, D. et al. (2023), Faster first-order primal-dual methods for linear programming using restarts and
//! sharpness, Math. Program. 201:133, for the restarts; Applegate, D. et al. (2021), Practical large-scale linear programming
//! using primal-dual hybrid gradient, NeurIPS 34, for the ratio (there from one restart to the next).
//! How we know: see `fast`.

use super::dual_bound::{Question, bound};
use super::frame::Frame;
use super::level::{BendRule, Level, Pace, Run, State};
use super::problem::LatticeFit;
use super::pyramid::{coarser, finer};
use rayon::prelude::*;

/// Longest side of the coarsest lattice.
const COARSEST_SIDE: usize = 60;
/// Steps on the second finest lattice; twice as many on each coarser one, up to eight times.
const COARSE_STEPS: usize = 400;
/// Steps from one look at the bound to the next.
const STEPS_IN_A_ROUND: usize = 100;
/// Rounds from restart to restart.
const ROUNDS_TO_RESTART: usize = 3;
/// What a height moves for a multiplier moved by one weight, at the start, ticks: 12 mm.
const FIRST_RATIO: f64 = 1_200.0;

/// A run on the finest lattice.
pub(super) struct Descent<'a> {
    fit: &'a LatticeFit,
    datum: i64,
    scale: f64,
    pub level: Level,
    run: Run,
    ratio: f64,
    rounds: usize,
    /// Whether the restart due next has been made.
    restarted: bool,
}

impl<'a> Descent<'a> {
    /// Solves the coarser lattices and begins on the finest.
    pub(super) fn begin(fit: &'a LatticeFit, frame: Frame) -> Self {
        let Frame { datum, scale, level } = frame;
        let mut coarse = Vec::new();
        let mut last = &level;
        while last.lanes.max(last.stations) > COARSEST_SIDE && last.lanes.min(last.stations) > 1 {
            coarse.push(coarser(last));
            last = &coarse[coarse.len() - 1];
        }
        let mut ratio = FIRST_RATIO * 2_f64.powi(i32::try_from(coarse.len()).unwrap_or(0));
        let mut state = State::at_rest(last);
        while let Some(here) = coarse.pop() {
            let mut run = Run::new(state);
            let restarts = (COARSE_STEPS << coarse.len().min(3)) / STEPS_IN_A_ROUND / ROUNDS_TO_RESTART;
            for _ in 0..=restarts {
                run.steps(&here, Pace::new(ratio, here.bend), STEPS_IN_A_ROUND * ROUNDS_TO_RESTART);
                ratio = restart(&mut run, &here, ratio);
            }
            ratio /= 2.0;
            state = finer(&here, &run.state, coarse.last().unwrap_or(&level));
        }
        Self { fit, datum, scale, level, run: Run::new(state), ratio, rounds: 0, restarted: false }
    }

    /// A round of steps, and the bound on cost and bends their averages prove, weight times ticks. A restart that is due
    /// comes first, so that the averages stand until the next round.
    pub(super) fn round(&mut self) -> f64 {
        if self.rounds > 0 && self.restarts_next() && !std::mem::take(&mut self.restarted) {
            self.ratio = restart(&mut self.run, &self.level, self.ratio);
        }
        self.run.steps(&self.level, Pace::new(self.ratio, self.level.bend), STEPS_IN_A_ROUND);
        self.rounds += 1;
        let question = Question {
            fit: self.fit,
            datum: self.datum,
            scale: self.scale,
            low: &self.level.low,
            high: &self.level.high,
            bend: self.level.bend,
        };
        bound(&question, self.run.multipliers())
    }

    /// Whether the next round begins with a restart.
    pub(super) fn restarts_next(&self) -> bool {
        self.rounds.is_multiple_of(ROUNDS_TO_RESTART)
    }

    /// Average height of a point over the round.
    pub(super) fn height(&self, point: usize) -> f32 {
        self.run.height(&self.level, point)
    }

    /// Cost of the average heights as they are, weight times ticks.
    pub(super) fn cost(&self) -> f64 {
        let fit = self.fit;
        let lane = |lane: usize| {
            let points = (lane * fit.stations..(lane + 1) * fit.stations).filter(|p| fit.inside[*p]);
            let cost = |p: usize| match f64::from(self.height(p)) + (self.datum - fit.ground[p]) as f64 {
                cut if cut < 0.0 => -cut * fit.cut_weight[p] as f64,
                fill => fill * fit.fill_weight[p] as f64,
            };
            points.map(cost).sum::<f64>()
        };
        (0..fit.lanes).into_par_iter().map(lane).collect::<Vec<f64>>().iter().sum()
    }

    /// Steps taken on the finest lattice.
    pub(super) fn steps(&self) -> usize {
        self.rounds * STEPS_IN_A_ROUND
    }

    /// What half the square of a bend costs, in the fit's weights.
    pub(super) fn bend_weight(&self) -> Option<f64> {
        match self.level.bend {
            BendRule::Square(weight) => Some(f64::from(weight) / self.scale),
            BendRule::Free | BendRule::Most(_) => None,
        }
    }

    /// Goes on from the averages with another price of bends, their multipliers to match.
    pub(super) fn weigh_bends(&mut self, weight: f64) {
        let Some(old) = self.bend_weight() else { return };
        self.ratio = restart(&mut self.run, &self.level, self.ratio);
        self.level.bend = BendRule::Square((weight * self.scale) as f32);
        self.run.scale_bends((weight / old) as f32);
        self.restarted = true;
    }
}

/// Restarts a run from its averages; the ratio to go on with.
fn restart(run: &mut Run, level: &Level, ratio: f64) -> f64 {
    run.restart_from_average(level);
    run.spread(level).map_or(ratio, |spread| (ratio * spread).sqrt())
}
