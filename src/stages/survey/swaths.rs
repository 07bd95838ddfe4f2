//! Passes of a survey: told apart by the order the points were taken in, and what their heights say about each other.
//!
//! A pass ends where the next point lies far off or the way turns. Passes of the commonest direction are put in order
//! across it, so that neighbours on the ground are neighbours in the list; the rest are cross ties.

use super::NAME;
use crate::finding::{Finding, Place, Severity};
use crate::land::survey::SurveyPoint;
use crate::methods::surface::KEPT;
use geo::Coord;

/// A step this many times the usual one begins a new pass.
const GAP_STEPS: f64 = 5.0;
/// A way that turns by more than this begins a new pass, degrees.
const TURN_DEG: f64 = 60.0;
/// Passes run the same way when their directions differ by less, degrees.
const SAME_WAY_DEG: f64 = 30.0;
/// Fewest points of a pass, fewest passes, and least share of points on passes for a survey to count as made of them.
const LEAST_POINTS: usize = 5;
const LEAST_PASSES: usize = 4;
const LEAST_SHARE: f64 = 0.8;
/// Passes left out together are this far apart in the order across.
const TURNS: usize = 3;
/// More points than this, and only one turn is left out: a third of all passes.
const MANY: usize = 250_000;
/// A pass standing this far off its neighbours is a step (antenna height, base station), metres; an RTK height is
/// good to 0.02 to 0.03 m on a moving vehicle (common practice, no source).
const STEP_M: f64 = 0.03;
/// Alternation of passes worth telling, metres (root mean square).
const WASHBOARD_M: f64 = 0.01;
/// Noise along the track that a slower vehicle would avoid, metres (common practice, no source).
const TRACK_NOISE_M: f64 = 0.02;
/// Longest step along the track for which noise can be told from the shape of the ground, metres.
const LONGEST_NOISE_STEP_M: f64 = 5.0;

/// A pass.
#[derive(Debug, Clone)]
pub(super) struct Pass {
    /// Positions in the list of points, in the order taken.
    pub points: Vec<usize>,
    middle: Coord<f64>,
    /// Unit vector along it.
    way: Coord<f64>,
}

/// The passes of a survey.
pub(super) struct Passes {
    /// Passes of the commonest direction, in order across it.
    pub main: Vec<Pass>,
    /// The rest.
    pub ties: Vec<Pass>,
    /// Told apart by the track; else the file numbers them, as airborne surveys do.
    pub driven: bool,
}

impl Passes {
    /// Tells the passes apart; `None` when the points are not made of passes. `starts` holds where each file begins.
    pub fn of(points: &[SurveyPoint], starts: &[usize]) -> Option<Self> {
        let numbered = points.iter().all(|p| p.swath.is_some());
        let runs = if numbered { by_number(points) } else { by_track(points, starts) };
        let passes: Vec<Pass> =
            runs.into_iter().filter(|r| r.len() >= LEAST_POINTS).filter_map(|r| Pass::new(points, r)).collect();
        let covered: usize = passes.iter().map(|p| p.points.len()).sum();
        if passes.len() < LEAST_PASSES || (covered as f64) < LEAST_SHARE * points.len() as f64 {
            return None;
        }
        let lead = lead_way(&passes);
        let same_way = |p: &Pass| (p.way.x * lead.x + p.way.y * lead.y).abs() > SAME_WAY_DEG.to_radians().cos();
        let (mut main, ties): (Vec<Pass>, Vec<Pass>) = passes.into_iter().partition(same_way);
        let across = |p: &Pass| p.middle.x * -lead.y + p.middle.y * lead.x;
        main.sort_by(|a, b| across(a).total_cmp(&across(b)));
        Some(Self { main, ties, driven: !numbered })
    }

    /// In which turn each of `count` points is left out.
    pub fn turns(&self, count: usize) -> Vec<u32> {
        let mut turns = vec![KEPT; count];
        for (rank, pass) in self.main.iter().enumerate() {
            let turn = rank % TURNS;
            if turn == 0 || count <= MANY {
                #[expect(clippy::cast_possible_truncation, reason = "one of three")]
                pass.points.iter().for_each(|i| turns[*i] = turn as u32);
            }
        }
        turns
    }

    /// What the passes say about each other. `errors` are predicted minus surveyed heights, pass by pass left out.
    pub fn judge(&self, points: &[SurveyPoint], errors: &[Option<f64>], findings: &mut Vec<Finding>) {
        if self.driven && self.ties.is_empty() {
            findings.push(Finding::new(
                Severity::Note,
                NAME,
                "no_cross_ties",
                format!(
                    "All {} passes of the survey run one way: a height step between them cannot be told from the shape of the \
                     ground. Drive a cross tie every 100 to 150 m next time.",
                    self.main.len()
                ),
            ));
        }
        let offsets: Vec<Option<f64>> = self
            .main
            .iter()
            .map(|pass| {
                let mut found: Vec<f64> = pass.points.iter().filter_map(|i| errors[*i].map(|e| -e)).collect();
                (found.len() >= LEAST_POINTS).then(|| median(&mut found))
            })
            .collect();
        self.say_steps(&offsets, findings);
        say_washboard(&offsets, findings);
        if self.driven {
            self.say_track_noise(points, findings);
        }
    }

    fn say_steps(&self, offsets: &[Option<f64>], findings: &mut Vec<Finding>) {
        let known: Vec<f64> = offsets.iter().flatten().copied().collect();
        let limit_m = STEP_M.max(3.5 * spread(&known));
        let size = |k: usize| offsets.get(k).copied().flatten().map_or(0.0, f64::abs);
        // A pass that stands off makes both its neighbours look off by half as much the other way.
        let steps: Vec<usize> = (0..offsets.len())
            .filter(|k| size(*k) > limit_m && size(*k) >= size(k + 1) && (*k == 0 || size(*k) >= size(k - 1)))
            .collect();
        let Some(worst) = steps.iter().max_by(|a, b| size(**a).total_cmp(&size(**b))) else { return };
        let at = self.main[*worst].middle;
        findings.push(
            Finding::new(
                Severity::Severe,
                NAME,
                "swath_step",
                format!(
                    "{} of {} passes stand off their neighbours by more than {limit_m:.3} m; the worst by {:+.3} m. Look for {}, \
                     and level such passes to a mark before quantities are taken.",
                    steps.len(),
                    offsets.len(),
                    offsets[*worst].unwrap_or(0.0),
                    if self.driven {
                        "a changed antenna height, another base station or a float fix"
                    } else {
                        "flight lines that were not adjusted to each other"
                    }
                ),
            )
            .at(Place::Point { east_m: at.x, north_m: at.y }),
        );
    }

    fn say_track_noise(&self, points: &[SurveyPoint], findings: &mut Vec<Finding>) {
        let (mut bends, mut steps) = (Vec::new(), Vec::new());
        for pass in self.main.iter().chain(&self.ties) {
            for w in pass.points.windows(3) {
                let z = [w[0], w[1], w[2]].map(|i| points[i].height_m);
                bends.push(z[0] - 2.0 * z[1] + z[2]);
                steps.push(distance(points[w[0]].at, points[w[1]].at));
            }
        }
        if bends.len() < 50 || median(&mut steps) > LONGEST_NOISE_STEP_M {
            return;
        }
        // The second difference of independent errors has six times their variance.
        let noise_m = spread(&bends) / 6.0_f64.sqrt();
        if noise_m > TRACK_NOISE_M {
            findings.push(Finding::new(
                Severity::Warning,
                NAME,
                "track_noise",
                format!(
                    "Heights along the track jump by {noise_m:.3} m (1 sigma) from point to point; limit {TRACK_NOISE_M:.3} m. \
                     A bouncing mast or too fast a vehicle; drive slower than 12 km/h, or expect clods and trash in the heights."
                ),
            ));
        }
    }
}

/// Neighbours standing high and low by turns.
fn say_washboard(offsets: &[Option<f64>], findings: &mut Vec<Finding>) {
    let pairs: Vec<(f64, f64)> = offsets.windows(2).filter_map(|w| Some((w[0]?, w[1]?))).collect();
    if pairs.len() < 5 {
        return;
    }
    let power = pairs.iter().map(|(a, b)| 0.5 * (a * a + b * b)).sum::<f64>() / pairs.len() as f64;
    let lagged = pairs.iter().map(|(a, b)| a * b).sum::<f64>() / pairs.len() as f64;
    if power.sqrt() > WASHBOARD_M && lagged < -0.5 * power {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "washboard",
            format!(
                "Neighbouring passes stand high and low by turns, about {:.3} m from one to the next: the ground model has a \
                 washboard at the spacing of the passes that is not in the land. Tie the passes together with cross passes.",
                power.sqrt()
            ),
        ));
    }
}

/// The direction most points run in, to 10 degrees, both ends of a pass counted alike; the first of equals.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "one of eighteen")]
fn lead_way(passes: &[Pass]) -> Coord<f64> {
    let mut weights = [0_usize; 18];
    for pass in passes {
        let degrees = pass.way.y.atan2(pass.way.x).to_degrees().rem_euclid(180.0);
        weights[((degrees / 10.0).round() as usize) % 18] += pass.points.len();
    }
    let around = |k: usize| weights[(k + 17) % 18] + 2 * weights[k] + weights[(k + 1) % 18];
    let best = (0..18).max_by(|a, b| around(*a).cmp(&around(*b)).then(b.cmp(a))).unwrap_or(0);
    let (y, x) = (10.0 * best as f64).to_radians().sin_cos();
    Coord { x, y }
}

impl Pass {
    fn new(points: &[SurveyPoint], members: Vec<usize>) -> Option<Self> {
        let (first, last) = (points[*members.first()?].at, points[*members.last()?].at);
        let length_m = distance(first, last);
        (length_m > 0.0).then(|| Self { points: members, middle: (first + last) / 2.0, way: (last - first) / length_m })
    }
}

fn by_number(points: &[SurveyPoint]) -> Vec<Vec<usize>> {
    let mut order: Vec<(u32, usize)> = points.iter().enumerate().map(|(i, p)| (p.swath.unwrap_or(0), i)).collect();
    order.sort_unstable();
    order.chunk_by(|a, b| a.0 == b.0).map(|run| run.iter().map(|r| r.1).collect()).collect()
}

fn by_track(points: &[SurveyPoint], starts: &[usize]) -> Vec<Vec<usize>> {
    let mut steps: Vec<f64> = points.windows(2).map(|w| distance(w[0].at, w[1].at)).filter(|d| *d > 0.0).collect();
    if steps.is_empty() {
        return Vec::new();
    }
    let gap_m = GAP_STEPS * median(&mut steps);
    let mut runs: Vec<Vec<usize>> = Vec::new();
    for i in 0..points.len() {
        let begins = match runs.last() {
            Some(run) if !starts.contains(&i) => {
                let before = points[*run.last().unwrap_or(&i)].at;
                let step = points[i].at - before;
                // The way so far, over a few steps, so that a wobbling track does not end the pass.
                let back = points[run[run.len().saturating_sub(4)]].at;
                let way = before - back;
                let (a, b) = (way.x.hypot(way.y), step.x.hypot(step.y));
                let turned =
                    a > 0.0 && b > 0.0 && (way.x * step.x + way.y * step.y) < TURN_DEG.to_radians().cos() * a * b;
                b > gap_m || turned
            }
            _ => true,
        };
        match runs.last_mut() {
            Some(run) if !begins => run.push(i),
            _ => runs.push(vec![i]),
        }
    }
    runs
}

fn distance(a: Coord<f64>, b: Coord<f64>) -> f64 {
    (a - b).x.hypot((a - b).y)
}

/// The middle value; zero of none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Standard deviation by the median of absolute deviations (1.4826 of it for a normal distribution).
pub(super) fn spread(values: &[f64]) -> f64 {
    let mut values = values.to_vec();
    let middle = median(&mut values);
    values.iter_mut().for_each(|v| *v = (*v - middle).abs());
    1.4826 * median(&mut values)
}
