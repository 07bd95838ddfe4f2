//! The fit on ever coarser lattices, and the way back.
//!
//! Two by two points become one at their mean height and mean weight, with a step twice as long between them; what a coarse
//! lattice finds is only a beginning for the finer one, so means need not be exact anywhere. On the way back heights are
//! interpolated between lanes and stations. A multiplier is the weight carried past a step: at mean weights it doubles
//! where the lattice doubles, and that of a bend, a second difference, grows fourfold.
//!
//! Source: coarse-to-fine starts are common practice for first-order methods on grids.
//! How we know: limits, masks and planes on the next level by hand; means of random surfaces keep the coarse limits; and
//! whatever the beginning, `fast` checks the end.

use super::level::{ACROSS, ALONG, BEND, BendRule, INSIDE, Lanes, Level, State};

/// The points under a coarse one, where the lattice has them.
fn under(fine: &Level, lane: usize, station: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
    let lanes = (2 * lane)..(2 * lane + 2).min(fine.lanes);
    lanes.flat_map(move |l| ((2 * station)..(2 * station + 2).min(fine.stations)).map(move |s| (l, s)))
}

/// Mean of some values; zero of none.
fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (sum, count) = values.fold((0.0_f64, 0_u32), |(sum, count), v| (sum + f64::from(v), count + 1));
    (sum / f64::from(count.max(1))) as f32
}

/// The level with half as many lanes and stations.
pub(super) fn coarser(fine: &Level) -> Level {
    let (lanes, stations) = (fine.lanes.div_ceil(2), fine.stations.div_ceil(2));
    let of = |value: &dyn Fn(usize, usize) -> f32| -> Vec<f32> {
        let at = |c: usize| {
            let inside = |(l, s): &(usize, usize)| fine.has[l * fine.stations + s] & INSIDE != 0;
            let (lane, station) = (c / stations, c % stations);
            match under(fine, lane, station).find(inside) {
                Some(_) => mean(under(fine, lane, station).filter(inside).map(|(l, s)| value(l, s))),
                None => mean(under(fine, lane, station).map(|(l, s)| value(l, s))),
            }
        };
        (0..lanes * stations).map(at).collect()
    };
    let point = |l: usize, s: usize| l * fine.stations + s;
    let whole = |list: &[i32]| of(&|l, s| list[point(l, s)] as f32).iter().map(|v| *v as i32).collect();
    let each = |values| Lanes::each(values, stations);
    let (along, live_along) = limits(fine, [lanes, stations], ALONG);
    let (across, live_across) = limits(fine, [lanes, stations], ACROSS);
    let mut has: Vec<u8> = of(&|l, s| f32::from(fine.has[point(l, s)] & INSIDE)).iter().map(|v| *v as u8).collect();
    for c in 0..has.len() {
        has[c] |= if live_along[c] { ALONG } else { 0 } | if live_across[c] { ACROSS } else { 0 };
        let four = |c: usize| {
            let inside = |(l, s): &(usize, usize)| fine.has[l * fine.stations + s] & INSIDE != 0;
            under(fine, c / stations, c % stations).filter(inside).count() == 4
        };
        let three = c % stations > 0 && c % stations + 1 < stations && four(c - 1) && four(c) && four(c + 1);
        has[c] |= if three { BEND } else { 0 };
    }
    Level {
        lanes,
        stations,
        has,
        ground: of(&|l, s| fine.ground[point(l, s)]),
        cut: each(of(&|l, s| fine.cut.at(l, s))),
        fill: each(of(&|l, s| fine.fill.at(l, s))),
        low: whole(&fine.low),
        high: whole(&fine.high),
        along,
        across,
        bend: match fine.bend {
            BendRule::Free => BendRule::Free,
            BendRule::Most(most) => BendRule::Most(4.0 * most),
            BendRule::Square(weight) => BendRule::Square(weight / 16.0),
        },
    }
}

/// Limits of the steps of the coarse level in one direction, and which steps there are.
///
/// Between two coarse points that stand for four points each, the step of the means is the mean over both rows of half the
/// step before the border, the step over it and half the one after, so a surface within the fine limits has means within
/// these. Means over fewer points lie off their middle; there the limits are widened by what a point's offset can make.
fn limits(fine: &Level, [lanes, stations]: [usize; 2], bit: u8) -> ([Lanes; 2], Vec<bool>) {
    let (mut least, mut most) = (Vec::with_capacity(lanes * stations), Vec::with_capacity(lanes * stations));
    let mut live = Vec::with_capacity(lanes * stations);
    let (of, other) = if bit == ALONG { (&fine.along, &fine.across) } else { (&fine.across, &fine.along) };
    for c in 0..lanes * stations {
        let (lane, station) = (c / stations, c % stations);
        // Point number `k` along the way from one coarse point to the next, in either row.
        let point = |k: usize, row: usize| {
            let (l, s) = (2 * lane, 2 * station);
            if bit == ALONG { (l + row, s + k) } else { (l + k, s + row) }
        };
        let there = |(l, s): (usize, usize)| l < fine.lanes && s < fine.stations;
        let has = |at: (usize, usize), bit: u8| there(at) && fine.has[at.0 * fine.stations + at.1] & bit != 0;
        let kept = |row: &usize| has(point(1, *row), bit);
        let whole = (0..4).all(|k| (0..2).all(|row| has(point(k, row), INSIDE)));
        let value = |limits: &Lanes, row: usize, k: usize| limits.at(point(k, row).0, point(k, row).1);
        let limit = |which: usize| {
            if whole {
                let row = |row| [0, 1, 1, 2].iter().map(move |k| value(&of[which], row, *k));
                return 2.0 * mean((0..2).flat_map(row));
            }
            let Some(row) = (0..2).find(kept) else { return 2.0 * of[which].at(2 * lane, 2 * station) };
            let step = mean((0..2).filter(kept).map(|row| value(&of[which], row, 1)));
            let aside = other.iter().map(|limits| value(limits, row, 1).abs()).fold(0.0, f32::max);
            2.0 * step + (step.abs() + aside) * if which == 0 { -1.0 } else { 1.0 }
        };
        least.push(limit(0));
        most.push(limit(1));
        live.push((0..2).any(|row| kept(&row)));
    }
    ([Lanes::each(least, stations), Lanes::each(most, stations)], live)
}

/// The state of a coarse level as a beginning for the finer one.
pub(super) fn finer(coarse: &Level, state: &State, fine: &Level) -> State {
    let mut found = State::at_rest(fine);
    let at = |list: &[f32], l: usize, s: usize| list[l * coarse.stations + s];
    for p in 0..found.heights.len() {
        let (lane, station) = (p / fine.stations, p % fine.stations);
        let (l, s) = (lane / 2, station / 2);
        if fine.has[p] & INSIDE != 0 {
            found.heights[p] = height_between(coarse, &state.heights, [lane, station]).unwrap_or(found.heights[p]);
        }
        if fine.has[p] & ALONG != 0 {
            let before = if station % 2 == 1 || s == 0 { at(&state.along, l, s) } else { at(&state.along, l, s - 1) };
            found.along[p] = before + at(&state.along, l, s);
        }
        if fine.has[p] & ACROSS != 0 {
            let before = if lane % 2 == 1 || l == 0 { at(&state.across, l, s) } else { at(&state.across, l - 1, s) };
            found.across[p] = before + at(&state.across, l, s);
        }
        if fine.has[p] & BEND != 0 && !found.bends.is_empty() {
            found.bends[p] = 4.0 * at(&state.bends, l, s);
        }
    }
    found
}

/// Height at a fine point between the coarse points about it that take part.
fn height_between(coarse: &Level, heights: &[f32], [lane, station]: [usize; 2]) -> Option<f32> {
    // A fine point lies a quarter of a coarse step from its own coarse point, towards the next or the one before.
    let beside = |k: usize, n: usize| if k % 2 == 1 { (k / 2 + 1).min(n - 1) } else { (k / 2).saturating_sub(1) };
    let lanes = [(lane / 2, 0.75), (beside(lane, coarse.lanes), 0.25)];
    let stations = [(station / 2, 0.75), (beside(station, coarse.stations), 0.25)];
    let (mut sum, mut weight) = (0.0_f32, 0.0_f32);
    for (l, by_lane) in lanes {
        for (s, by_station) in stations {
            let c = l * coarse.stations + s;
            if coarse.has[c] & INSIDE != 0 {
                sum += by_lane * by_station * heights[c];
                weight += by_lane * by_station;
            }
        }
    }
    (weight > 0.0).then(|| sum / weight)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::frame::frame;
    use crate::methods::optimise::tests_fits::{any_fit, fit_of};
    use crate::methods::optimise::{Step, lane_optimum};
    use proptest::prelude::*;

    fn level(fit: &crate::methods::optimise::LatticeFit) -> Level {
        frame(fit, BendRule::Most(10.0)).unwrap().level
    }

    #[test]
    fn steps_double_and_a_hole_leaves_none() {
        let mut fit = fit_of(4, 6, Step { least: 1, most: 5 }, Step { least: -2, most: 2 });
        // Points 2 and 3 of lanes 0 and 1 stand under the middle coarse point of lane 0.
        for p in [2, 3, 8, 9] {
            fit.inside[p] = false;
        }
        let coarse = coarser(&level(&fit));
        assert_eq!((coarse.lanes, coarse.stations), (2, 3));
        assert_eq!(
            coarse.has.iter().map(|h| h & INSIDE != 0).collect::<Vec<_>>(),
            [true, false, true, true, true, true]
        );
        assert_eq!(
            coarse.has.iter().map(|h| h & ALONG != 0).collect::<Vec<_>>(),
            [false, false, false, true, true, false]
        );
        assert_eq!((coarse.along[0].at(1, 0), coarse.along[1].at(1, 0)), (2.0, 10.0));
        assert_eq!((coarse.across[0].at(0, 0), coarse.across[1].at(0, 0)), (-4.0, 4.0));
        assert_eq!(coarse.has[4] & BEND, BEND);
        assert_eq!(coarse.bend, BendRule::Most(40.0));
    }

    #[test]
    fn a_plane_comes_back_as_it_was() {
        let mut fit = fit_of(8, 8, Step { least: 0, most: 9 }, Step { least: 0, most: 9 });
        fit.ground = (0..64).map(|p| 4 * (p % 8) + 8 * (p / 8)).collect();
        let fine = level(&fit);
        let coarse = coarser(&fine);
        let back = finer(&coarse, &State::at_rest(&coarse), &fine);
        for p in (0..64).filter(|p| (1..7).contains(&(p % 8)) && (1..7).contains(&(p / 8))) {
            assert_eq!(back.heights[p], fine.ground[p], "{p}");
        }
    }

    proptest! {
        #[test]
        fn means_of_a_surface_within_the_limits_are_within_the_coarse_ones((mut fit, _) in any_fit(6, 8)) {
            fit.inside.fill(true);
            fit.across = crate::methods::optimise::Steps::Alike(Step { least: -1_000, most: 1_000 });
            if let Some(found) = lane_optimum(&fit) {
                let fine = level(&fit);
                let coarse = coarser(&fine);
                let mut surface = fine.clone();
                surface.ground = found.heights.iter().map(|z| *z as f32).collect();
                let means = coarser(&surface).ground;
                for c in (0..means.len()).filter(|c| coarse.has[*c] & ALONG != 0) {
                    let (lane, station) = (c / coarse.stations, c % coarse.stations);
                    let step = means[c + 1] - means[c];
                    prop_assert!(step >= coarse.along[0].at(lane, station) - 1e-3);
                    prop_assert!(step <= coarse.along[1].at(lane, station) + 1e-3);
                }
            }
        }
    }
}
