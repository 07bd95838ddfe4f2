//! The profile nearest to the ground that falls steadily along a line.
//!
//! Given heights along a line, the wanted heights minimise the weighted sum of squared differences while
//! the fall of every piece stays between a least and a greatest value. With a least fall only, adding the least fall times
//! the distance turns it into a monotone regression, solved exactly by pooling adjacent violators. With a
//! greatest fall too, an exact dynamic programme over convex piecewise quadratics is used: passing a cost function
//! down the line replaces it by its least value over the allowed range of the next height, which moves the part of its
//! derivative left of the minimum one way and the part right of it the other; the chosen heights are read off backwards.
//! Shapes and units: metres; falls as ratios, positive where the profile falls towards greater distances.
//! Complexity: `O(n)` for a least fall, `O(n^2)` at worst with both. Ties: none, the optimum is unique.
//! Source: [`Bibliography::Barlow1972`](crate::bibliography::Bibliography::Barlow1972), pool adjacent violators;
//! [`Bibliography::Johnson2013`](crate::bibliography::Bibliography::Johnson2013), dynamic programming on derivatives.
//! How we know: worked profiles (`pools_violators`, `worked_profile`), the two methods agree (`methods_agree`), no feasible
//! profile near it is better (`nothing_nearby_is_better`).

/// Allowed falls of every piece of a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GradeLimits {
    /// Least fall, as a ratio; negative allows a rise.
    pub min_fall: f64,
    /// Greatest fall, as a ratio; `f64::INFINITY` for none.
    pub max_fall: f64,
}

/// A profile point: where the ground was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProfilePoint {
    /// Distance along the line, metres; strictly increasing along a profile.
    pub distance_m: f64,
    /// Height of the ground, metres.
    pub height_m: f64,
    /// Weight, positive.
    pub weight: f64,
}

/// The fitted profile.
#[derive(Debug, Clone, PartialEq)]
pub struct GradedLine {
    /// Wanted height at each point, metres, in the order given.
    pub heights_m: Vec<f64>,
    /// Weighted sum of squared differences from the ground.
    pub squared_misfit: f64,
    /// Whether it falls towards smaller distances.
    pub reversed: bool,
}

/// The best profile falling towards greater distances.
///
/// `None` when there is no point, the limits contradict each other, distances do not increase, or a number is not finite.
#[must_use]
pub fn graded_line(ground: &[ProfilePoint], limits: GradeLimits) -> Option<GradedLine> {
    let fits =
        |p: &ProfilePoint| p.distance_m.is_finite() && p.height_m.is_finite() && p.weight.is_finite() && p.weight > 0.0;
    let ordered = ground.windows(2).all(|w| w[0].distance_m < w[1].distance_m);
    let consistent = limits.min_fall.is_finite() && limits.min_fall <= limits.max_fall;
    if ground.is_empty() || !ordered || !consistent || !ground.iter().all(fits) {
        return None;
    }
    let heights_m = if limits.max_fall.is_infinite() {
        fall_at_least(ground, limits.min_fall)
    } else {
        fall_between(ground, limits)
    };
    let squared_misfit = ground.iter().zip(&heights_m).map(|(p, h)| p.weight * (p.height_m - h).powi(2)).sum();
    Some(GradedLine { heights_m, squared_misfit, reversed: false })
}

/// The better of the two senses of a line; towards greater distances when they are equal.
#[must_use]
pub fn graded_line_best_sense(ground: &[ProfilePoint], limits: GradeLimits) -> Option<GradedLine> {
    let forward = graded_line(ground, limits)?;
    let mirrored: Vec<ProfilePoint> =
        ground.iter().rev().map(|p| ProfilePoint { distance_m: -p.distance_m, ..*p }).collect();
    let mut backward = graded_line(&mirrored, limits)?;
    if backward.squared_misfit < forward.squared_misfit {
        backward.heights_m.reverse();
        backward.reversed = true;
        return Some(backward);
    }
    Some(forward)
}

/// The non-decreasing sequence nearest to `(value, weight)` pairs (pool adjacent violators).
#[must_use]
pub fn isotonic(values: &[(f64, f64)]) -> Vec<f64> {
    // Blocks of pooled values: mean, weight, length.
    let mut blocks: Vec<(f64, f64, usize)> = Vec::with_capacity(values.len());
    for (value, weight) in values {
        let mut block = (*value, *weight, 1);
        while let Some(last) = blocks.last().copied().filter(|last| last.0 > block.0) {
            blocks.pop();
            let total = last.1 + block.1;
            block = (last.0 + (block.0 - last.0) * block.1 / total, total, last.2 + block.2);
        }
        blocks.push(block);
    }
    blocks.into_iter().flat_map(|(mean, _, n)| std::iter::repeat_n(mean, n)).collect()
}

fn fall_at_least(ground: &[ProfilePoint], min_fall: f64) -> Vec<f64> {
    // Height plus least fall times distance must not rise; its negative must not fall.
    let tilted: Vec<(f64, f64)> = ground.iter().map(|p| (-(p.height_m + min_fall * p.distance_m), p.weight)).collect();
    isotonic(&tilted).iter().zip(ground).map(|(t, p)| -t - min_fall * p.distance_m).collect()
}

fn fall_between(ground: &[ProfilePoint], limits: GradeLimits) -> Vec<f64> {
    let drops: Vec<(f64, f64)> = ground
        .windows(2)
        .map(|w| w[1].distance_m - w[0].distance_m)
        .map(|d| (limits.min_fall * d, limits.max_fall * d))
        .collect();
    let mut cost = CostSlope::new(ground[0]);
    let mut minima = vec![cost.zero()];
    for (point, (least, most)) in ground[1..].iter().zip(&drops) {
        cost.pass_down(*least, *most);
        cost.add(*point);
        minima.push(cost.zero());
    }
    let mut below = minima[minima.len() - 1];
    let mut heights = vec![below];
    for (minimum, (least, most)) in minima.iter().zip(&drops).rev() {
        below = minimum.clamp(below + least, below + most);
        heights.push(below);
    }
    heights.reverse();
    heights
}

/// Derivative of a convex piecewise quadratic: increasing, continuous, linear between knots `(height, value)`.
struct CostSlope {
    knots: Vec<(f64, f64)>,
    left_rate: f64,
    right_rate: f64,
}

impl CostSlope {
    fn new(point: ProfilePoint) -> Self {
        Self { knots: vec![(point.height_m, 0.0)], left_rate: point.weight, right_rate: point.weight }
    }

    /// Height at which the cost is least.
    fn zero(&self) -> f64 {
        let at = self.knots.partition_point(|k| k.1 < 0.0);
        if at == 0 {
            let (x, v) = self.knots[0];
            return x - v / self.left_rate;
        }
        let (x0, v0) = self.knots[at - 1];
        match self.knots.get(at) {
            Some((x1, v1)) => x0 - v0 * (x1 - x0) / (v1 - v0),
            None => x0 - v0 / self.right_rate,
        }
    }

    /// Replaces the cost of a height by the least cost of the heights `least..=most` above it.
    fn pass_down(&mut self, least: f64, most: f64) {
        let minimum = self.zero();
        let mut moved: Vec<(f64, f64)> = self.knots.iter().filter(|k| k.1 < 0.0).map(|k| (k.0 - most, k.1)).collect();
        moved.push((minimum - most, 0.0));
        moved.push((minimum - least, 0.0));
        moved.extend(self.knots.iter().filter(|k| k.1 > 0.0).map(|k| (k.0 - least, k.1)));
        self.knots = moved;
    }

    /// Adds the cost of missing the ground at a point.
    fn add(&mut self, point: ProfilePoint) {
        for knot in &mut self.knots {
            knot.1 += point.weight * (knot.0 - point.height_m);
        }
        self.left_rate += point.weight;
        self.right_rate += point.weight;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn profile(heights: &[f64], step_m: f64) -> Vec<ProfilePoint> {
        heights
            .iter()
            .scan(0.0, |x, h| {
                let p = ProfilePoint { distance_m: *x, height_m: *h, weight: 1.0 };
                *x += step_m;
                Some(p)
            })
            .collect()
    }

    #[test]
    fn pools_violators() {
        // Barlow et al. 1972: worked by hand.
        let values: Vec<(f64, f64)> = [1.0, 3.0, 2.0, 4.0, 3.0, 5.0].iter().map(|v| (*v, 1.0)).collect();
        assert_eq!(isotonic(&values), vec![1.0, 2.5, 2.5, 3.5, 3.5, 5.0]);
        assert_eq!(isotonic(&[(2.0, 3.0), (0.0, 1.0)]), vec![1.5, 1.5]);
    }

    #[test]
    fn worked_profile() {
        // Own profile, least fall 0.1 %; the optimum was confirmed by a quadratic programme (SLSQP).
        let ground = profile(&[10.00, 9.99, 10.03, 9.95, 9.97, 9.90, 9.92, 9.85], 20.0);
        let expected = [10.028, 10.008, 9.988, 9.968, 9.948, 9.920, 9.900, 9.850];
        for max_fall in [f64::INFINITY, 0.01] {
            let line = graded_line(&ground, GradeLimits { min_fall: 0.001, max_fall }).expect("a sound profile");
            for (h, e) in line.heights_m.iter().zip(expected) {
                assert!((h - e).abs() < 1e-6, "{:?}", line.heights_m);
            }
            assert!((line.squared_misfit - 0.004_48).abs() < 1e-6);
            let cut: f64 = ground.iter().zip(&line.heights_m).map(|(p, h)| (p.height_m - h).max(0.0)).sum();
            let fill: f64 = ground.iter().zip(&line.heights_m).map(|(p, h)| (h - p.height_m).max(0.0)).sum();
            assert!((cut - 0.084).abs() < 1e-6 && (fill - 0.084).abs() < 1e-6);
        }
    }

    #[test]
    fn senses_and_refusals() {
        let rising = profile(&[1.0, 1.1, 1.2, 1.3], 10.0);
        let limits = GradeLimits { min_fall: 0.002, max_fall: 0.02 };
        let best = graded_line_best_sense(&rising, limits).expect("a sound profile");
        assert!(best.reversed && best.squared_misfit < 1e-12);
        assert!(graded_line(&[], limits).is_none());
        assert!(graded_line(&rising, GradeLimits { min_fall: 0.02, max_fall: 0.01 }).is_none());
        let mut crossed = rising;
        crossed.swap(0, 1);
        assert!(graded_line(&crossed, limits).is_none());
    }

    fn any_profile() -> impl Strategy<Value = Vec<ProfilePoint>> {
        prop::collection::vec((0.5..30.0f64, -1.0..1.0f64, 0.2..4.0f64), 1..40).prop_map(|steps| {
            steps
                .into_iter()
                .scan(0.0, |x, (step, height_m, weight)| {
                    *x += step;
                    Some(ProfilePoint { distance_m: *x, height_m, weight })
                })
                .collect()
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]

        #[test]
        fn methods_agree(ground in any_profile(), min_fall in -0.005..0.02f64) {
            let pooled = fall_at_least(&ground, min_fall);
            // A limit of 1e3 cannot bind on heights within a metre of zero at steps above half a metre.
            let programmed = fall_between(&ground, GradeLimits { min_fall, max_fall: 1e3 });
            for (a, b) in pooled.iter().zip(&programmed) {
                prop_assert!((a - b).abs() < 1e-9, "{pooled:?} {programmed:?}");
            }
        }

        #[test]
        fn nothing_nearby_is_better(ground in any_profile(), min_fall in -0.002..0.01f64, wide in 0.0..0.02f64, nudges in prop::collection::vec(-0.05..0.05f64, 40)) {
            let limits = GradeLimits { min_fall, max_fall: min_fall + wide };
            let line = graded_line(&ground, limits).expect("a sound profile");
            let falls_within = |h: &[f64]| ground.windows(2).zip(h.windows(2)).all(|(p, h)| {
                let (drop, run) = (h[0] - h[1], p[1].distance_m - p[0].distance_m);
                drop >= min_fall * run - 1e-9 && drop <= (min_fall + wide) * run + 1e-9
            });
            prop_assert!(falls_within(&line.heights_m));
            // A convex programme: the optimum is not beaten on the way to any feasible profile, here that of nudged ground.
            let nudged: Vec<ProfilePoint> = ground.iter().zip(&nudges).map(|(p, n)| ProfilePoint { height_m: p.height_m + n, ..*p }).collect();
            let other = graded_line(&nudged, limits).expect("a sound profile");
            for share in [1.0, 0.1, 0.01] {
                let misfit: f64 = ground.iter().zip(line.heights_m.iter().zip(&other.heights_m))
                    .map(|(p, (a, b))| p.weight * (p.height_m - (a + share * (b - a))).powi(2)).sum();
                prop_assert!(misfit >= line.squared_misfit - 1e-9);
            }
        }
    }
}
