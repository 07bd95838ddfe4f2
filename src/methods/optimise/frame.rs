//! A fit above a datum in single precision, with the ranges its heights can have.
//!
//! Source: ranges as proven in [`super::dual_bound`].
//! How we know: `fast` finds the least cost of small fits.

use super::level::{ACROSS, ALONG, BEND, BendRule, INSIDE, Lanes, Level};
use super::problem::{LatticeFit, Reason, Refusal, Step, Steps};
use super::repair::{Side, Tick, reach, settle};

/// Heights may lie this far apart, ticks: 5 km. Beyond, single precision and 32 bits would be at their end.
const FARTHEST: i64 = 1 << 29;

/// Costs are sums of 63 bits; half of that leaves room for a ground outside the ranges.
const LARGEST_COST: f64 = 4e18;
/// No surface that is looked at lies further from its ground, ticks: 700 m.
const DEEPEST: i64 = 70_000_000;

/// A fit ready for the first-order method.
#[derive(Debug)]
pub(super) struct Frame {
    /// Heights are ticks above this.
    pub datum: i64,
    /// Weights are times this, a power of two.
    pub scale: f64,
    pub level: Level,
}

/// Sets a fit up.
///
/// # Errors
/// What is wrong with the fit, or the chain of limits that cannot be kept together.
pub(super) fn frame(fit: &LatticeFit, bend: BendRule) -> Result<Frame, Refusal> {
    let inside = || (0..fit.len()).filter(|p| fit.inside[*p]);
    let lowest = inside().map(|p| fit.ground[p]).min().unwrap_or(0);
    let highest = inside().map(|p| fit.ground[p]).max().unwrap_or(0);
    let beyond =
        |(low, high): (i64, i64)| low > highest.saturating_add(FARTHEST) || high < lowest.saturating_sub(FARTHEST);
    if highest.saturating_sub(lowest) > FARTHEST || inside().any(|p| beyond(fit.range(p))) {
        return Err(Refusal::Fault(Reason::TooLarge));
    }
    let datum = lowest + (highest - lowest) / 2;
    let (low, high) = ranges(fit, datum, bend == BendRule::Free)?;
    let weights: f64 = inside().map(|p| fit.cut_weight[p] as f64 + fit.fill_weight[p] as f64).sum();
    let deepest = |p: usize| (i64::from(high[p]) - i64::from(low[p])).min(DEEPEST) as f64;
    if inside().map(|p| fit.cut_weight[p].max(fit.fill_weight[p]) as f64 * deepest(p)).sum::<f64>() > LARGEST_COST {
        return Err(Refusal::Fault(Reason::TooLarge));
    }
    let mean = weights / (2 * inside().count().max(1)) as f64;
    let scale = if mean > 0.0 { (-mean.log2().round()).exp2() } else { 1.0 };
    Ok(Frame { datum, scale, level: level(fit, datum, scale, low, high, bend) })
}

/// Ranges of the heights of one optimal surface at least: within those nearest to the ground, or of all surfaces when bends
/// matter.
fn ranges(fit: &LatticeFit, datum: i64, nearest: bool) -> Result<(Vec<i32>, Vec<i32>), Refusal> {
    let within = reach(fit).map_err(Refusal::Conflict)?;
    let of = |z: i64| <i32 as Tick>::of(z.saturating_sub(datum));
    let side = |list: &[i64], free: i64| (0..fit.len()).map(|p| of(list.get(p).copied().unwrap_or(free))).collect();
    let (mut low, mut high): (Vec<i32>, Vec<i32>) = (side(&within.lowest, i64::MIN), side(&within.highest, i64::MAX));
    drop(within);
    if nearest {
        for (p, (low, high)) in low.iter_mut().zip(&mut high).enumerate() {
            let ground = if fit.inside[p] { of(fit.ground[p]).clamp((*low).min(*high), *high) } else { 0 };
            (*low, *high) = (ground, ground);
        }
        let (below, above) = rayon::join(|| settle(fit, &mut low, Side::Below), || settle(fit, &mut high, Side::Above));
        below.and(above).map_err(Refusal::Conflict)?;
    }
    Ok((low, high))
}

/// Narrows the ranges to those of surfaces that cost no more than a known one.
pub(super) fn narrow(fit: &LatticeFit, datum: i64, level: &mut Level, cost: i64) {
    let of = |z: i64| <i32 as Tick>::of(z.saturating_sub(datum));
    for p in (0..fit.len()).filter(|p| fit.inside[*p]) {
        if fit.cut_weight[p] > 0 {
            level.low[p] = level.low[p].max(of(fit.ground[p].saturating_sub(cost / fit.cut_weight[p])));
        }
        if fit.fill_weight[p] > 0 {
            level.high[p] = level.high[p].min(of(fit.ground[p].saturating_add(cost / fit.fill_weight[p])));
        }
    }
    // The known surface keeps the steps, so they are not in conflict.
    let (low, high) = (&mut level.low, &mut level.high);
    let _: (Result<_, _>, Result<_, _>) =
        rayon::join(|| settle(fit, low, Side::Above), || settle(fit, high, Side::Below));
}

/// Draws the limits of steps in by so many ticks and those of bends by twice as many, no more than a quarter of their room;
/// nothing where bends are free. Rounding to whole ticks makes up to one of a step and two of a bend.
///
/// First-order states overstep their limits a little; inside limits drawn in they keep those of the fit.
pub(super) fn draw_in(fit: &LatticeFit, level: &mut Level, ticks: i64) {
    if let (BendRule::Most(_), Some(most)) = (level.bend, fit.most_bend) {
        level.along = steps(&fit.along, level.stations, ticks);
        level.across = steps(&fit.across, level.stations, ticks);
        level.bend = BendRule::Most((most - (2 * ticks).min(most / 4)) as f32);
    }
}

/// Limits of steps, drawn in by so many ticks.
fn steps(steps: &Steps, stations: usize, ticks: i64) -> [Lanes; 2] {
    let room = |step: &Step| ticks.min((step.most - step.least) / 4);
    let least = |step: &Step| (step.least + room(step)) as f32;
    let most = |step: &Step| (step.most - room(step)) as f32;
    match steps {
        Steps::Alike(step) => [least(step), most(step)].map(|limit| Lanes::alike(limit, stations)),
        Steps::Each(steps) => [
            Lanes::each(steps.iter().map(least).collect(), stations),
            Lanes::each(steps.iter().map(most).collect(), stations),
        ],
    }
}

/// The finest level.
fn level(fit: &LatticeFit, datum: i64, scale: f64, low: Vec<i32>, high: Vec<i32>, bend: BendRule) -> Level {
    let n = fit.stations;
    let has = |p: usize| {
        let along = p % n + 1 < n && fit.inside[p + 1];
        let across = p + n < fit.len() && fit.inside[p + n];
        let bend = along && !p.is_multiple_of(n) && fit.inside[p - 1];
        let bits = [(true, INSIDE), (along, ALONG), (across, ACROSS), (bend, BEND)];
        if fit.inside[p] { bits.iter().filter(|(has, _)| *has).map(|(_, bit)| bit).sum() } else { 0 }
    };
    let weights = |list: &[i64]| {
        let first = (0..fit.len()).find(|p| fit.inside[*p]).map_or(0, |p| list[p]);
        let at = |p: usize| (scale * if fit.inside[p] { list[p] } else { first } as f64) as f32;
        if (0..fit.len()).all(|p| !fit.inside[p] || list[p] == first) {
            return Lanes::alike((scale * first as f64) as f32, n);
        }
        Lanes::each((0..fit.len()).map(at).collect(), n)
    };
    let ground = |p: usize| if fit.inside[p] { (fit.ground[p] - datum) as f32 } else { 0.0 };
    Level {
        lanes: fit.lanes,
        stations: n,
        has: (0..fit.len()).map(has).collect(),
        ground: (0..fit.len()).map(ground).collect(),
        cut: weights(&fit.cut_weight),
        fill: weights(&fit.fill_weight),
        low,
        high,
        along: steps(&fit.along, n, 0),
        across: steps(&fit.across, n, 0),
        bend,
    }
}
