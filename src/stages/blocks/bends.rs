//! Lines that rows which bend could be parallels of: the edges of the land that bend without a corner, and lines that fall
//! evenly over the ground.
//!
//! Ground is read as planes fitted over [`PLANE_M`], so that beds and scrapes of it do not turn a line. Lines are evened over
//! a window that grows until the tightest row of the outline keeps the least radius: the first that does is taken.

use super::judge::{Judge, Look, Trial};
use super::outline::Outline;
use crate::methods::earthwork::{Moments, fit_plane_of};
use crate::methods::in_order::map_in_order;
use crate::methods::shapes::{ArcLine, label_point};
use geo::{Contains, Coord, LineString, Point, Simplify};
use std::f64::consts::PI;
use std::sync::Arc;

/// Edges turning more than this at a place have a corner there, degrees.
const CORNER_DEG: f64 = 35.0;
/// An edge that turns less than this is straight, degrees.
const LEAST_TURN_DEG: f64 = 6.0;
/// No line turns further than this, degrees: its rows would come back upon themselves.
const MOST_TURN_DEG: f64 = 150.0;
/// Corners are looked for on outlines simplified by this, metres; lines follow a finer one.
const COARSE_M: f64 = 3.0;
const FINE_M: f64 = 0.5;
/// Shortest line worth following, metres.
const SHORTEST_M: f64 = 100.0;
/// Distance between the places of a line, metres.
const STEP_M: f64 = 10.0;
/// Windows headings are evened over, metres, tried in this order.
const WINDOWS_M: [f64; 5] = [30.0, 60.0, 120.0, 240.0, 480.0];
/// Half the side of the square a plane is fitted to, metres, and places read along it.
const PLANE_M: f64 = 30.0;
const PLANE_READS: i32 = 3;
/// Steps of a falling line to either side of where it starts.
const MOST_STEPS: u32 = 400;
/// How near the middle of the land has to be found, metres.
const LABEL_M: f64 = 1.0;
/// Lines looked at closely, their surface solved.
const CLOSE: usize = 3;

/// The cheapest rows that bend, their surface solved; `None` when no line serves.
pub(super) fn best(judge: &Judge<'_>, outline: &Outline) -> Option<Trial> {
    let mut lines = edges(outline);
    lines.extend(falling(judge, outline));
    let quick = |drawn: &Vec<Coord<f64>>| evened(judge, outline, drawn);
    let mut found: Vec<Trial> = map_in_order(&lines, quick).into_iter().flatten().collect();
    // Rows too long are dropped before they crowd shorter ones out.
    let longest_m = judge.params.longest_row_m();
    found.retain(|trial| trial.lengths_m.iter().all(|l| *l <= longest_m));
    found.sort_by(|a, b| a.yearly().total_cmp(&b.yearly()));
    let closely = |trial: &Trial| {
        let close = judge.judge_bent(outline, trial.bent.as_ref()?, Look::Close)?;
        close.lengths_m.iter().all(|l| *l <= longest_m).then(|| judge.settle(outline, close))
    };
    found.truncate(CLOSE);
    map_in_order(&found, closely).into_iter().flatten().reduce(|a, b| if b.yearly() < a.yearly() { b } else { a })
}

/// A quick look at the parallels of a drawn line, evened no more than the least radius asks for.
fn evened(judge: &Judge<'_>, outline: &Outline, drawn: &[Coord<f64>]) -> Option<Trial> {
    WINDOWS_M.iter().find_map(|window_m| {
        let line = Arc::new(ArcLine::evened(drawn, STEP_M, *window_m)?);
        judge.judge_bent(outline, &line, Look::Quick)
    })
}

/// The stretches of the outline that bend and have no corner.
fn edges(outline: &Outline) -> Vec<Vec<Coord<f64>>> {
    let rings = std::iter::once(outline.polygon.exterior()).chain(outline.polygon.interiors());
    rings.flat_map(runs).collect()
}

fn runs(ring: &LineString<f64>) -> Vec<Vec<Coord<f64>>> {
    let fine = ring.simplify(FINE_M);
    let coarse = fine.simplify(COARSE_M);
    let open = |l: &LineString<f64>| l.0[..l.0.len().saturating_sub(1)].to_vec();
    let (fine, coarse) = (open(&fine), open(&coarse));
    let n = coarse.len();
    if n < 3 {
        return Vec::new();
    }
    let turn = |i: usize| {
        let (a, b, c) = (coarse[(i + n - 1) % n], coarse[i % n], coarse[(i + 1) % n]);
        turned(b - a, c - b)
    };
    // The ring opened at its sharpest place and cut at every corner, and where it has turned too far.
    let Some(first) = (0..n).max_by(|i, j| turn(*i).abs().total_cmp(&turn(*j).abs())) else { return Vec::new() };
    let mut cuts = vec![first];
    let mut sum = 0.0;
    for i in first + 1..first + n {
        sum += turn(i);
        if turn(i).abs() > CORNER_DEG.to_radians() || sum.abs() > MOST_TURN_DEG.to_radians() {
            cuts.push(i);
            sum = 0.0;
        }
    }
    cuts.push(first + n);
    cuts.windows(2)
        .filter(|cut| {
            let turns: f64 = (cut[0] + 1..cut[1]).map(|i| turn(i).abs()).sum();
            turns >= LEAST_TURN_DEG.to_radians()
        })
        .filter_map(|cut| stretch(&fine, coarse[cut[0] % n], coarse[cut[1] % n]))
        .filter(|line| length_m(line) >= SHORTEST_M)
        .collect()
}

/// The places of a ring from one of them to another; the whole ring when both are the same.
fn stretch(ring: &[Coord<f64>], from: Coord<f64>, to: Coord<f64>) -> Option<Vec<Coord<f64>>> {
    let at = ring.iter().position(|c| *c == from)?;
    let mut line = vec![from];
    for k in 1..=ring.len() {
        let here = ring[(at + k) % ring.len()];
        line.push(here);
        if here == to {
            return Some(line);
        }
    }
    None
}

fn length_m(line: &[Coord<f64>]) -> f64 {
    line.windows(2).map(|w| (w[1].x - w[0].x).hypot(w[1].y - w[0].y)).sum()
}

/// The angle from one way to the next, radians.
fn turned(a: Coord<f64>, b: Coord<f64>) -> f64 {
    (a.x * b.y - a.y * b.x).atan2(a.x * b.x + a.y * b.y)
}

/// Lines through the middle of the land that fall by a steady share, to either side of the steepest way down: by a quarter
/// more than the least fall, and by the middle of the limits.
fn falling(judge: &Judge<'_>, outline: &Outline) -> Vec<Vec<Coord<f64>>> {
    let Some(middle) = label_point(&outline.polygon, LABEL_M) else { return Vec::new() };
    let (low, high) = (judge.params.min_fall_pct / 100.0, judge.params.max_fall_pct / 100.0);
    let ways = [(1.25 * low).min(high), f64::midpoint(low, high)].into_iter().flat_map(|f| [(f, 1.0), (f, -1.0)]);
    ways.filter_map(|(fall, side)| {
        let mut back = traced(judge, outline, middle.at, (-fall, -side));
        back.reverse();
        back.extend(traced(judge, outline, middle.at, (fall, side)).into_iter().skip(1));
        (length_m(&back) >= SHORTEST_M).then_some(back)
    })
    .collect()
}

/// Steps from a place as long as they stay inside, each falling by a share (rising, where it is negative), to the right of
/// the steepest way down or, told by a negative sign, to its left; where the ground falls less than that, straight down
/// (or up).
fn traced(judge: &Judge<'_>, outline: &Outline, from: Coord<f64>, (fall, side): (f64, f64)) -> Vec<Coord<f64>> {
    let mut line = vec![from];
    let (mut at, mut turned_rad, mut last) = (from, 0.0, None);
    for _ in 0..MOST_STEPS {
        let Some((down, slope)) = downhill(judge, at) else { break };
        let off = (fall / slope).clamp(-1.0, 1.0).acos() * side.signum();
        let heading = down + off;
        if let Some(last) = last {
            let change: f64 = heading - last;
            turned_rad += (change + PI).rem_euclid(2.0 * PI) - PI;
            if turned_rad.abs() > MOST_TURN_DEG.to_radians() / 2.0 {
                break;
            }
        }
        last = Some(heading);
        at = at + Coord { x: heading.sin(), y: heading.cos() } * STEP_M;
        if !outline.polygon.contains(&Point(at)) {
            break;
        }
        line.push(at);
    }
    line
}

/// Heading of the steepest way down (radians clockwise from north) and the slope, of a plane about a place.
fn downhill(judge: &Judge<'_>, at: Coord<f64>) -> Option<(f64, f64)> {
    let ground = judge.ground?;
    let reads = (-PLANE_READS..=PLANE_READS)
        .flat_map(|i| (-PLANE_READS..=PLANE_READS).map(move |j| (f64::from(i), f64::from(j))))
        .filter_map(|(i, j)| {
            let part = PLANE_M / f64::from(PLANE_READS);
            let place = Coord { x: at.x + i * part, y: at.y + j * part };
            Some((place.x - at.x, place.y - at.y, ground.bilinear(place)?, 1.0))
        });
    let plane = fit_plane_of(&Moments::of(reads))?;
    let slope = plane.slope_x.hypot(plane.slope_y);
    (slope > 1e-6).then(|| ((-plane.slope_x).atan2(-plane.slope_y), slope))
}
