//! The fit on ever coarser lattices, and the way back.
//!
//! Two by two points become one at their mean height and mean weight, with a step twice as long between them; what a coarse
//! lattice finds is only a beginning for the finer one, so means need not be exact anywhere. On the way back heights are
//! interpolated between lanes and stations. A multiplier is the weight carried past a step: at mean weights it doubles
//! where the lattice doubles, and that of a bend, a second difference, grows fourfold.
//!
//! Source: coarse-to-fine starts are common practice for first-order methods on grids.
//! How we know: limits, masks and planes on the next level by hand; whatever the beginning, `fast` checks the end.

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
    let (along, live_along) = limits(fine, [lanes, stations], &fine.along, ALONG);
    let (across, live_across) = limits(fine, [lanes, stations], &fine.across, ACROSS);
    let mut has: Vec<u8> = of(&|l, s| f32::from(fine.has[point(l, s)] & INSIDE)).iter().map(|v| *v as u8).collect();
    for c in 0..has.len() {
        has[c] |= if live_along[c] { ALONG } else { 0 } | if live_across[c] { ACROSS } else { 0 };
        let three = c % stations > 0 && has[c - 1] & ALONG != 0 && has[c] & ALONG != 0;
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
fn limits(fine: &Level, [lanes, stations]: [usize; 2], of: &[Lanes; 2], bit: u8) -> ([Lanes; 2], Vec<bool>) {
    let (mut least, mut most) = (Vec::with_capacity(lanes * stations), Vec::with_capacity(lanes * stations));
    let mut live = Vec::with_capacity(lanes * stations);
    for c in 0..lanes * stations {
        let (lane, station) = (2 * (c / stations), 2 * (c % stations));
        // The steps that lead from one coarse point to the next are those over the border between the two.
        let over = if bit == ALONG {
            [(lane, station + 1), (lane + 1, station + 1)]
        } else {
            [(lane + 1, station), (lane + 1, station + 1)]
        };
        let there = |(l, s): &(usize, usize)| *l < fine.lanes && *s < fine.stations;
        let kept = |(l, s): &(usize, usize)| there(&(*l, *s)) && fine.has[l * fine.stations + s] & bit != 0;
        let any = over.iter().any(kept);
        let value = |of: &Lanes| {
            if any {
                2.0 * mean(over.iter().filter(|e| kept(e)).map(|(l, s)| of.at(*l, *s)))
            } else {
                2.0 * of.at(lane, station)
            }
        };
        least.push(value(&of[0]));
        most.push(value(&of[1]));
        live.push(any);
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
