//! The bearings worth trying on an outline, and the best of them.

use super::judge::{Judge, Look, Trial};
use super::outline::Outline;
use crate::methods::earthwork::{Moments, fit_plane_of};
use crate::methods::in_order::map_in_order;
use crate::methods::shapes::{admissible_bearings, edge_bearings_by_length, minimum_width};
use crate::units::Bearing;
use geo::{BoundingRect, Contains, Coord, Point, Simplify};

/// Edges tried, longest first.
const EDGES: usize = 12;
/// Bearings closely looked at when a part is settled, and surfaces solved among them.
const LOOKS: usize = 10;
const SOLVED: usize = 4;
/// Surfaces solved at a time for a bearing study, those whose bounds promise most first.
const STUDY_SOLVED: usize = 4;
/// Points a plane is fitted to, a side, for the ends of the admissible falls.
const PLANE_POINTS: u32 = 24;
/// Outlines are simplified by this before their edges are read, metres.
const JAG_M: f64 = 3.0;

/// A bearing with the reason it is tried.
pub(super) type Candidate = (Bearing, &'static str);

/// What the user fixed about the rows of an outline.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Fixed {
    pub(super) bearing: Option<Bearing>,
}

/// Edges, the narrow way, ends of the admissible falls, the user's wish: where a row count can be least.
pub(super) fn corners(judge: &Judge<'_>, outline: &Outline, fixed: Fixed) -> Vec<Candidate> {
    let mut list: Vec<Candidate> = Vec::new();
    list.extend(fixed.bearing.map(|b| (b.axis(), "wish")));
    let simple = outline.polygon.simplify(JAG_M);
    list.extend(edge_bearings_by_length(&simple).into_iter().take(EDGES).map(|(b, _)| (b, "edge")));
    list.extend(minimum_width(&outline.polygon).map(|w| (w.bearing.axis(), "narrow way")));
    list.extend(fall_ends(judge, outline).into_iter().map(|b| (b.axis(), "end of the falls")));
    apart(list)
}

/// Every degree, and what [`corners`] names.
pub(super) fn sweep(judge: &Judge<'_>, outline: &Outline, fixed: Fixed) -> Vec<Candidate> {
    let mut list = corners(judge, outline, fixed);
    list.extend((0..180).map(|i| (Bearing::from_degrees(f64::from(i)), "sweep")));
    apart(list)
}

/// A coarse sweep with what [`corners`] names.
fn coarse(judge: &Judge<'_>, outline: &Outline) -> Vec<Candidate> {
    let mut list = corners(judge, outline, Fixed::default());
    list.extend((0..12).map(|i| (Bearing::from_degrees(f64::from(i) * 15.0), "sweep")));
    apart(list)
}

/// Drops bearings already listed.
fn apart(list: Vec<Candidate>) -> Vec<Candidate> {
    let mut kept: Vec<Candidate> = Vec::new();
    for (bearing, why) in list {
        if kept.iter().all(|(b, _)| b.axis_angle_to(bearing) > 0.05) {
            kept.push((bearing, why));
        }
    }
    kept
}

fn fall_ends(judge: &Judge<'_>, outline: &Outline) -> Vec<Bearing> {
    let (Some(ground), Some(rect)) = (judge.ground, outline.polygon.bounding_rect()) else { return Vec::new() };
    let n = PLANE_POINTS;
    let at = |i: u32| {
        let share = |k: u32| (f64::from(k) + 0.5) / f64::from(n);
        Coord { x: rect.min().x + rect.width() * share(i % n), y: rect.min().y + rect.height() * share(i / n) }
    };
    let points = (0..n * n).map(at).filter(|c| outline.polygon.contains(&Point(*c)));
    let moments = Moments::of(points.filter_map(|c| Some((c.x, c.y, ground.bilinear(c)?, 1.0))));
    let Some(plane) = fit_plane_of(&moments) else { return Vec::new() };
    let (low, high) = (judge.params.min_fall_pct / 100.0, judge.params.max_fall_pct / 100.0);
    admissible_bearings(plane.slope_x, plane.slope_y, low, high).into_iter().flat_map(|i| [i.from, i.to]).collect()
}

/// The bearings that have room for a row, cheapest first; ties go to the smaller bearing.
fn looks(judge: &Judge<'_>, outline: &Outline, list: &[Bearing], look: Look) -> Vec<Trial> {
    let mut trials: Vec<Trial> = map_in_order(list, |b| judge.judge(outline, *b, look)).into_iter().flatten().collect();
    trials.sort_by(|a, b| a.yearly().total_cmp(&b.yearly()).then(a.bearing.degrees().total_cmp(&b.bearing.degrees())));
    trials
}

/// The best bearing at a quick look, for weighing cuts; `also` are bearings of neighbours.
pub(super) fn quick(judge: &Judge<'_>, outline: &Outline, fixed: Fixed, also: &[Bearing]) -> Option<Trial> {
    let list: Vec<Bearing> = match fixed.bearing {
        Some(b) => vec![b.axis()],
        None => coarse(judge, outline).into_iter().map(|(b, _)| b).chain(also.iter().copied()).collect(),
    };
    looks(judge, outline, &list, Look::Quick).into_iter().next()
}

/// The best bearing at a close look, its surface solved: every degree at a quick look, the leaders closely, those that
/// could still win solved in the order of their bounds.
pub(super) fn best(judge: &Judge<'_>, outline: &Outline, fixed: Fixed, also: &[Bearing]) -> Option<Trial> {
    if let Some(b) = fixed.bearing {
        let trial = judge.judge(outline, b.axis(), Look::Close)?;
        return Some(judge.settle(outline, judge.best_phase(outline, trial)));
    }
    let list: Vec<Bearing> =
        sweep(judge, outline, fixed).into_iter().map(|(b, _)| b).chain(also.iter().copied()).collect();
    let trials = looks(judge, outline, &list, Look::Quick);
    let leaders: Vec<Bearing> = trials.iter().take(LOOKS).map(|t| t.bearing).chain(also.iter().copied()).collect();
    let closely = |b: &Bearing| judge.judge(outline, *b, Look::Close).map(|t| judge.best_phase(outline, t));
    let mut close: Vec<Trial> = map_in_order(&leaders, closely).into_iter().flatten().collect();
    close.sort_by(|a, b| {
        a.least(judge).total_cmp(&b.least(judge)).then(a.bearing.degrees().total_cmp(&b.bearing.degrees()))
    });
    let mut won: Option<Trial> = None;
    for trial in close.into_iter().take(SOLVED) {
        if won.as_ref().is_some_and(|w| trial.least(judge) >= w.yearly()) {
            break;
        }
        let solved = judge.settle(outline, trial);
        if won.as_ref().is_none_or(|w| solved.yearly() < w.yearly()) {
            won = Some(solved);
        }
    }
    won
}

/// The bearing study of an outline: every candidate at a close look with the bound of its earth; those in `solved`, and
/// all others that could still win by their bound, with a solved surface; cheapest first.
pub(super) fn study(
    judge: &Judge<'_>,
    outline: &Outline,
    fixed: Fixed,
    solved: &[Trial],
) -> Vec<(Trial, &'static str)> {
    let mut list = sweep(judge, outline, fixed);
    list.retain(|(b, _)| solved.iter().all(|s| s.bearing.axis_angle_to(*b) > 1e-6));
    let closely = |(b, why): &Candidate| Some((judge.judge(outline, *b, Look::Close)?, *why));
    let mut rows: Vec<(Trial, &'static str)> = map_in_order(&list, closely).into_iter().flatten().collect();
    rows.sort_by(|a, b| a.0.least(judge).total_cmp(&b.0.least(judge)));
    let mut best = solved.iter().map(Trial::yearly).fold(f64::INFINITY, f64::min);
    for some in rows.chunks_mut(STUDY_SOLVED) {
        let hopeful = some.iter().take_while(|(trial, _)| trial.least(judge) < best).count();
        let settled = map_in_order(&some[..hopeful], |(trial, _)| judge.settle(outline, trial.clone()));
        for (row, trial) in some.iter_mut().zip(settled) {
            best = best.min(trial.yearly());
            row.0 = trial;
        }
        if hopeful < STUDY_SOLVED {
            break;
        }
    }
    let why = |t: &Trial| if t.bent.is_some() { "taken, rows that bend" } else { "taken" };
    rows.extend(solved.iter().map(|t| (t.clone(), why(t))));
    rows.sort_by(|a, b| {
        let key = |t: &Trial| (t.yearly(), t.bearing.degrees());
        key(&a.0).0.total_cmp(&key(&b.0).0).then(key(&a.0).1.total_cmp(&key(&b.0).1))
    });
    rows
}
