//! The cheapest surface whose cut is a wanted multiple of its fill.
//!
//! Cut less `ratio` times fill is a concave function of the surface for ratios of one and more, so surfaces with at least
//! as much cut as wanted form a convex set. With a multiplier `m` the balance moves into the weights, `(1 - m)` for cut and
//! `(1 + m ratio)` for fill, and every such fit is a bound on all balanced surfaces. The multiplier is searched until the
//! fits on its two sides have too little and too much cut; a blend of the two is balanced and keeps all limits, since those
//! are convex. Multipliers are whole ten-thousandths and the ratio whole thousandths, so that weights stay whole.
//!
//! Source: Lagrangian duality (Everett, H. 1963, Generalized Lagrange multiplier method, Oper. Res. 11:399, from memory);
//! regula falsi with the Illinois rule for the search.
//! How we know: hand cases, the ratio is met to 1e-9 on random terrain, the bound holds against every blend tried, and a
//! surface that is held up says what it lacks.

use super::problem::{Engine, Fitted, LatticeFit, Reason, Refusal};

/// Multipliers are whole multiples of one over this.
const PARTS: i64 = 10_000;
/// The ratio is taken to this many parts.
const RATIO_PARTS: i64 = 1_000;
/// The search ends when the blend is proven to be as near as this to the least, as a ratio.
const NEAR: f64 = 1e-4;

/// A surface with cut and fill in the wanted ratio, as near as the limits let it.
#[derive(Debug, Clone, PartialEq)]
pub struct Balanced {
    /// Heights, ticks, one for each point. Not whole: a blend of two whole surfaces.
    pub heights: Vec<f64>,
    /// Cut of the surface at unit multiplier, weight times ticks.
    pub cut: f64,
    /// Fill of the surface, weight times ticks.
    pub fill: f64,
    /// No balanced surface within the limits has less cut and fill together. Where the ratio cannot be met: no surface
    /// within the limits at all.
    pub bound: f64,
    /// Cut less ratio times fill: what is left over (positive) or lacking (negative) because limits hold the surface.
    pub left_over: f64,
    /// What cut and fill were multiplied by at the multiplier found, whole numbers.
    pub weights: (i64, i64),
    /// Bound of the fit at those weights.
    pub weighted_bound: f64,
    /// The same surface in whole ticks, no point a tick or more away; it keeps every limit on heights and steps to the
    /// last tick, limits on bends within two.
    pub whole: Vec<i64>,
    /// Cut less ratio times fill of the whole surface.
    pub whole_left_over: f64,
    /// Fits that were solved.
    pub fits: u32,
    /// How they were solved.
    pub engine: Engine,
}

impl Balanced {
    /// Cut and fill together.
    #[must_use]
    pub fn moved(&self) -> f64 {
        self.cut + self.fill
    }

    /// Share by which what is moved exceeds the bound.
    #[must_use]
    pub fn gap(&self) -> f64 {
        if self.bound > 0.0 { (self.moved() / self.bound - 1.0).max(0.0) } else { 0.0 }
    }
}

/// Cut and fill of a surface, weight times ticks.
#[must_use]
pub fn cut_and_fill(fit: &LatticeFit, heights: &[f64]) -> (f64, f64) {
    let (mut cut, mut fill) = (0.0, 0.0);
    for p in (0..fit.len()).filter(|p| fit.inside[*p]) {
        let depth = fit.ground[p] as f64 - heights[p];
        if depth > 0.0 {
            cut += depth * fit.cut_weight[p] as f64;
        } else {
            fill -= depth * fit.fill_weight[p] as f64;
        }
    }
    (cut, fill)
}

/// One fit of the search.
struct Tried {
    multiplier: i64,
    weights: (i64, i64),
    fitted: Fitted,
    excess: f64,
}

/// The balanced surface; `solve` fits one set of weights. The ratio is one or more, and is taken to the nearest thousandth.
///
/// # Errors
/// [`Reason::Ratio`] for a ratio below one or no number; whatever `solve` refuses.
pub fn balanced(
    fit: &LatticeFit,
    ratio: f64,
    solve: impl Fn(&LatticeFit) -> Result<Fitted, Refusal>,
) -> Result<Balanced, Refusal> {
    if !(ratio >= 1.0 && ratio.is_finite()) {
        return Err(Refusal::Fault(Reason::Ratio));
    }
    #[expect(clippy::cast_possible_truncation, reason = "ratios are small")]
    let ratio_parts = (ratio * RATIO_PARTS as f64).round() as i64;
    let ratio = ratio_parts as f64 / RATIO_PARTS as f64;
    let mut search = Search { fit, ratio_parts, ratio, solve: &solve, fits: 0, bound: 0.0 };
    let plain = search.at(0)?;
    if plain.excess == 0.0 {
        return Ok(search.answer(&plain, None));
    }
    let plain_bound = search.bound;
    let (mut low, mut high) = if plain.excess < 0.0 { (Some(plain), None) } else { (None, Some(plain)) };
    // Beyond these cut (or fill) would cost nothing at all.
    let (last_low, last_high) = (-(PARTS * RATIO_PARTS) / ratio_parts + 1, PARTS - 1);
    loop {
        let next = match (&low, &high) {
            (Some(l), Some(h)) if h.multiplier - l.multiplier <= 1 || search.near(l, h) => break,
            (Some(l), Some(h)) => between(l, h),
            (Some(l), None) if l.multiplier == last_high => break,
            (Some(l), None) => (l.multiplier + (last_high - l.multiplier).min(step(search.fits))).min(last_high),
            (None, Some(h)) if h.multiplier == last_low => break,
            (None, Some(h)) => (h.multiplier - (h.multiplier - last_low).min(step(search.fits))).max(last_low),
            (None, None) => break,
        };
        let tried = search.at(next)?;
        if tried.excess < 0.0 { low = Some(tried) } else { high = Some(tried) }
    }
    match (low, high) {
        (Some(low), Some(high)) => Ok(search.answer(&low, Some(&high))),
        (Some(only), None) | (None, Some(only)) => {
            search.bound = plain_bound;
            Ok(search.answer(&only, None))
        }
        (None, None) => unreachable!("the plain fit stands on one side"),
    }
}

/// First steps are short: the multiplier of common ratios is small.
fn step(fits: u32) -> i64 {
    (PARTS / 16) << fits.min(4)
}

/// A multiplier strictly between two: where a straight line through their excesses meets zero, kept off the ends.
fn between(low: &Tried, high: &Tried) -> i64 {
    let wide = high.multiplier - low.multiplier;
    let share = low.excess / (low.excess - high.excess);
    // Excess jumps; every other time or so the middle is the better guess, so the line is drawn towards it.
    let share = 0.5 * (share.clamp(0.0, 1.0) + 0.5);
    #[expect(clippy::cast_possible_truncation, reason = "a share of a small number")]
    let ahead = (wide as f64 * share).round() as i64;
    low.multiplier + ahead.clamp(1, wide - 1)
}

struct Search<'a, F> {
    fit: &'a LatticeFit,
    ratio_parts: i64,
    ratio: f64,
    solve: &'a F,
    fits: u32,
    bound: f64,
}

impl<F: Fn(&LatticeFit) -> Result<Fitted, Refusal>> Search<'_, F> {
    /// The fit at a multiplier.
    fn at(&mut self, multiplier: i64) -> Result<Tried, Refusal> {
        let scale = PARTS * RATIO_PARTS;
        let (cut, fill) = (scale - multiplier * RATIO_PARTS, scale + multiplier * self.ratio_parts);
        let common = gcd(gcd(cut, fill), scale);
        let (cut, fill, scale) = (cut / common, fill / common, scale / common);
        let weights = (cut, fill);
        let weighted = LatticeFit {
            cut_weight: self.fit.cut_weight.iter().map(|w| w * cut).collect(),
            fill_weight: self.fit.fill_weight.iter().map(|w| w * fill).collect(),
            ..self.fit.clone()
        };
        let fitted = (self.solve)(&weighted)?;
        self.fits += 1;
        self.bound = self.bound.max(fitted.certificate.bound / scale as f64);
        let excess = self.excess(&real(&fitted.heights));
        Ok(Tried { multiplier, weights, fitted, excess })
    }

    /// The surface itself, or the balanced blend of two.
    fn answer(&self, low: &Tried, high: Option<&Tried>) -> Balanced {
        let engine = low.fitted.certificate.engine;
        let from = &low.fitted.heights;
        let to = high.map_or(from, |high| &high.fitted.heights);
        let share = high.map_or(0.0, |_| self.share(from, to));
        let heights = blend(from, to, share);
        let whole = self.whole(from, to, share);
        let (cut, fill) = cut_and_fill(self.fit, &heights);
        Balanced {
            left_over: cut - self.ratio * fill,
            whole_left_over: self.excess(&real(&whole)),
            heights,
            whole,
            cut,
            fill,
            bound: self.bound,
            weights: low.weights,
            weighted_bound: low.fitted.certificate.bound,
            fits: self.fits,
            engine,
        }
    }

    /// Whether the blend of two is proven good enough.
    fn near(&self, low: &Tried, high: &Tried) -> bool {
        let (from, to) = (&low.fitted.heights, &high.fitted.heights);
        let (cut, fill) = cut_and_fill(self.fit, &blend(from, to, self.share(from, to)));
        cut + fill <= self.bound * (1.0 + NEAR)
    }

    /// Cut less ratio times fill.
    fn excess(&self, heights: &[f64]) -> f64 {
        let (cut, fill) = cut_and_fill(self.fit, heights);
        cut - self.ratio * fill
    }

    /// How far from a surface with too little cut to one with enough they balance, to the last bit of the sums.
    fn share(&self, low: &[i64], high: &[i64]) -> f64 {
        let (mut from, mut to) = (0.0, 1.0);
        for _ in 0..60 {
            let middle = 0.5 * (from + to);
            if self.excess(&blend(low, high, middle)) < 0.0 { from = middle } else { to = middle }
        }
        to
    }

    /// The blend in whole ticks, as near to balance as one threshold for all points makes it. Real heights that keep
    /// whole limits keep them when all are rounded by the same threshold; whole fractions spare the last bit.
    fn whole(&self, low: &[i64], high: &[i64], share: f64) -> Vec<i64> {
        const PARTS: i128 = 1 << 40;
        #[expect(clippy::cast_possible_truncation, reason = "a share of 2^40, and heights between two of 64 bits")]
        let at = |raise: i128| -> Vec<i64> {
            let part = (share * PARTS as f64) as i128;
            let between =
                |(l, h): (&i64, &i64)| l + (part * (i128::from(*h) - i128::from(*l)) + raise).div_euclid(PARTS) as i64;
            low.iter().zip(high).map(between).collect()
        };
        let (mut from, mut to) = (0, PARTS - 1);
        while to - from > 1 {
            let middle = (from + to) / 2;
            if self.excess(&real(&at(middle))) < 0.0 { to = middle } else { from = middle }
        }
        let (more, less) = (at(from), at(to));
        if self.excess(&real(&more)).abs() <= self.excess(&real(&less)).abs() { more } else { less }
    }
}

fn real(heights: &[i64]) -> Vec<f64> {
    heights.iter().map(|z| *z as f64).collect()
}

fn blend(low: &[i64], high: &[i64], share: f64) -> Vec<f64> {
    low.iter().zip(high).map(|(l, h)| *l as f64 + share * (*h as f64 - *l as f64)).collect()
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.abs() } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::network_simplex::solve_exact;
    use crate::methods::optimise::tests_fits::fit_of;
    use crate::methods::optimise::{Step, Steps};
    use proptest::prelude::*;

    fn level(ground: Vec<i64>) -> LatticeFit {
        let mut fit = fit_of(1, ground.len(), Step { least: 0, most: 0 }, Step { least: 0, most: 0 });
        fit.ground = ground;
        fit
    }

    #[test]
    fn level_ground_of_two_heights() {
        // Two points at 0 and one at 90, made level at z: cut 90 - z is 1.25 times fill 2 z where z = 90 / 3.5.
        let found = balanced(&level(vec![0, 0, 90]), 1.25, solve_exact).unwrap();
        assert!((found.heights[0] - 90.0 / 3.5).abs() < 1e-9, "{:?}", found.heights);
        assert!((found.cut / found.fill - 1.25).abs() < 1e-12);
        assert!(found.gap() < NEAR, "{} over {}", found.moved(), found.bound);
    }

    #[test]
    fn ratios_below_one_are_refused() {
        for ratio in [0.999, 0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(balanced(&level(vec![0, 9]), ratio, solve_exact), Err(Refusal::Fault(Reason::Ratio)), "{ratio}");
        }
    }

    #[test]
    fn a_surface_that_is_held_up_says_what_it_lacks() {
        let mut fit = level(vec![0, 0, 0]);
        fit.lowest = vec![10, i64::MIN, i64::MIN];
        let found = balanced(&fit, 1.2, solve_exact).unwrap();
        assert_eq!((found.cut, found.fill), (0.0, 30.0));
        assert!((found.left_over + 36.0).abs() < 1e-9);
        assert!((found.bound - 30.0).abs() < 1e-9);
    }

    #[test]
    fn ground_within_the_limits_is_left_alone() {
        let mut fit = fit_of(2, 4, Step { least: -9, most: -1 }, Step { least: -3, most: 3 });
        fit.ground = vec![9, 6, 3, 0, 8, 5, 2, -1];
        let found = balanced(&fit, 1.4, solve_exact).unwrap();
        assert_eq!((found.moved(), found.bound, found.fits), (0.0, 0.0, 1));
    }

    /// Random ground with weights alike, and a step range it breaks.
    fn rough() -> impl Strategy<Value = LatticeFit> {
        (2_usize..7, 3_usize..9).prop_flat_map(|(lanes, stations)| {
            let n = lanes * stations;
            (prop::collection::vec(-400_i64..400, n), prop::collection::vec(1_i64..5, n)).prop_map(
                move |(ground, weight)| {
                    let mut fit =
                        fit_of(lanes, stations, Step { least: -60, most: -10 }, Step { least: -20, most: 20 });
                    fit.ground = ground;
                    fit.fill_weight = weight.clone();
                    fit.cut_weight = weight;
                    fit
                },
            )
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]

        #[test]
        fn the_ratio_is_met_and_nothing_balanced_is_cheaper_than_the_bound(fit in rough(), ratio in 1.0_f64..1.6) {
            let found = balanced(&fit, ratio, solve_exact).unwrap();
            let wanted = (ratio * 1e3).round() / 1e3;
            prop_assert!(found.fill == 0.0 || (found.cut / found.fill / wanted - 1.0).abs() < 1e-9);
            prop_assert!(found.moved() >= found.bound - 1e-6);
            // Whole ticks keep every limit, and lie within a tick of the blend.
            prop_assert!(fit.keeps(&found.whole));
            prop_assert!(found.whole.iter().zip(&found.heights).all(|(w, z)| (*w as f64 - z).abs() < 1.0 + 1e-6));
            let weights: i64 = fit.cut_weight.iter().sum();
            prop_assert!(found.whole_left_over.abs() <= (1.0 + wanted) * weights as f64);
            // Limits are kept by the blend.
            for (p, q, step) in fit.steps() {
                let rise = found.heights[q] - found.heights[p];
                prop_assert!(rise > step.least as f64 - 1e-6 && rise < step.most as f64 + 1e-6);
            }
            // The plain optimum moved up or down as a whole until it balances is balanced too, and no cheaper.
            let plain: Vec<f64> = solve_exact(&fit).unwrap().heights.iter().map(|z| *z as f64).collect();
            let moved_by = |up: f64| -> Vec<f64> { plain.iter().map(|z| z + up).collect() };
            let (mut low, mut high) = (-2_000.0, 2_000.0);
            for _ in 0..80 {
                let up = 0.5 * (low + high);
                let (cut, fill) = cut_and_fill(&fit, &moved_by(up));
                if cut < wanted * fill { high = up } else { low = up }
            }
            let (cut, fill) = cut_and_fill(&fit, &moved_by(low));
            prop_assert!(cut + fill >= found.bound - 1e-3, "{} under the bound {}", cut + fill, found.bound);
            prop_assert!(cut + fill >= found.moved() * (1.0 - NEAR), "{} under {}", cut + fill, found.moved());
        }
    }

    #[test]
    fn steps_of_each_point_survive() {
        let mut fit = level(vec![5, -5, 5]);
        fit.along =
            Steps::Each(vec![Step { least: 0, most: 4 }, Step { least: -4, most: 0 }, Step { least: 0, most: 0 }]);
        let found = balanced(&fit, 1.0, solve_exact).unwrap();
        assert!((found.cut - found.fill).abs() < 1e-9 && found.gap() < NEAR, "{found:?}");
    }
}
