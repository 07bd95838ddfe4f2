//! The earth of the least-earth surface under rows of one bearing, on a coarse lattice in the frame of the rows.
//!
//! Lanes run along the rows. Fitting every lane by itself is exact and quick and a lower bound of the earth (cross fall is
//! left out); the whole lattice with its cross fall is solved to a gap only for bearings that are taken or could still win.

use super::judge::Judge;
use super::outline::Outline;
use crate::methods::optimise::{LatticeFit, Step, Steps, crests, lane_optimum, solve_fast, ticks, ticks_inward};
use crate::methods::shapes::{ArcLine, ClearEdge, Frame, RowFrame, row_spans};
use crate::units::Bearing;
use geo::{Coord, MultiPolygon};
use std::sync::Arc;

/// Gap the least-earth surface of a block is solved to, as a ratio; the levelling stage goes on from there.
const GAP: f64 = 0.02;
/// A gap is told against at least this much earth, cubic metres a hectare: nobody shifts less.
const LEAST_EARTH_M3_HA: f64 = 1.0;
/// Parts the plan area of a lattice point is told in where rows bend: points on the outer side of a bend stand for more.
const BENT_PARTS: f64 = 64.0;
/// Stations the crest may shift from one lane to the next.
const CREST_SHIFT: usize = 2;

/// Where the water of the rows goes, as seen along their axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// To the far end.
    Along,
    /// To the near end.
    Against,
    /// From a crest to both ends.
    Both,
}

/// Earth under one bearing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Earth {
    pub(super) way: Way,
    /// Half of cut and fill together, cubic metres: what is moved when they balance.
    pub(super) m3: f64,
    /// Mean haul when soil is moved along the rows first and then across, metres.
    pub(super) haul_m: f64,
    /// Gap of a solved surface; `None` when `m3` is a lower bound.
    pub(super) gap_ratio: Option<f64>,
    /// Share of the rows whose low end lies below the drain reach or where no outlet is reached.
    pub(super) undrained_ratio: f64,
}

/// Heights on the lattice of one bearing.
pub(super) struct Lattice {
    fit: LatticeFit,
    grid: Points,
    h: f64,
    /// Ground a unit of weight stands for, square metres.
    unit_m2: f64,
    /// Way from each point to the next of its lane where rows bend, metres.
    steps_m: Option<Vec<f64>>,
    /// Least levels at both ends of every run: point, level of the drain reach.
    first: Vec<(usize, Option<i64>)>,
    last: Vec<(usize, Option<i64>)>,
}

impl Lattice {
    /// The lattice of spacing `h` metres over an outline in the frame of straight rows, or of the parallels of a line;
    /// `None` without ground under it.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of a lattice over a property")]
    pub(super) fn of(
        judge: &Judge<'_>,
        outline: &Outline,
        bearing: Bearing,
        bent: Option<&Arc<ArcLine>>,
        h: f64,
    ) -> Option<Self> {
        let ground = judge.ground?;
        let (grid, spans) = match bent {
            None => Points::straight(outline, bearing, h)?,
            Some(line) => Points::bent(outline, line, h)?,
        };
        let (lanes, stations) = (grid.lanes, grid.stations);
        let n = lanes * stations;
        let (mut inside, mut heights) = (vec![false; n], vec![0_i64; n]);
        for (lane, from, to) in spans {
            let begin = (from / h).ceil().max(0.0) as usize;
            for station in begin..stations.min((to / h).floor().max(-1.0) as usize + 1) {
                let at = grid.at(lane * stations + station);
                if let Some(z) = ground.bilinear(at) {
                    inside[lane * stations + station] = true;
                    heights[lane * stations + station] = ticks(z);
                }
            }
        }
        let count = inside.iter().filter(|i| **i).count();
        if count < 3 {
            return None;
        }
        let (first, last) = ends(judge, &inside, stations, |p| grid.at(p));
        let bends = bent.is_some();
        let weight: Vec<i64> = if bends { (0..n).map(|p| grid.weight(p)).collect() } else { vec![1; n] };
        let all: i64 = inside.iter().zip(&weight).filter(|(i, _)| **i).map(|(_, w)| *w).sum();
        let cross =
            ticks_inward(-judge.params.max_cross_fall_pct / 100.0 * h, judge.params.max_cross_fall_pct / 100.0 * h);
        let fit = LatticeFit {
            lanes,
            stations,
            cut_weight: weight.clone(),
            fill_weight: weight,
            lowest: Vec::new(),
            highest: Vec::new(),
            along: Steps::Alike(Step { least: 0, most: 0 }),
            across: Steps::Alike(cross),
            most_bend: None,
            inside,
            ground: heights,
        };
        Some(Self {
            fit,
            h,
            unit_m2: outline.area_m2 / (judge.scale * judge.scale) / all as f64,
            steps_m: bends.then(|| (0..n).map(|p| grid.step_m(p)).collect()),
            grid,
            first,
            last,
        })
    }

    /// Limits of the steps along the lanes where the water runs along them, or against.
    fn falling(&self, judge: &Judge<'_>, along: bool) -> Steps {
        let (low, high) = (judge.params.min_fall_pct / 100.0, judge.params.max_fall_pct / 100.0);
        let step = |way_m: f64| {
            let Step { least, most } = ticks_inward(-high * way_m, -low * way_m);
            if along { Step { least, most } } else { Step { least: -most, most: -least } }
        };
        match &self.steps_m {
            None => Steps::Alike(step(self.h)),
            Some(ways_m) => Steps::Each(ways_m.iter().map(|m| step(*m)).collect()),
        }
    }

    /// Sets the limits of a way; with `raised`, low ends are lifted to the drain reach. Hands back the undrained share.
    fn set(&mut self, judge: &Judge<'_>, way: Way, raised: bool) -> f64 {
        self.fit.along = self.falling(judge, way != Way::Against);
        self.fit.lowest = Vec::new();
        if judge.reach.is_none() {
            return 0.0;
        }
        let mut low = vec![i64::MIN; self.fit.len()];
        let (mut bad, mut all) = (0_usize, 0_usize);
        let (first, last) = (way != Way::Along, way != Way::Against);
        let lists = [first.then_some(&self.first), last.then_some(&self.last)];
        for (point, level) in lists.into_iter().flatten().flatten() {
            all += 1;
            match level {
                Some(level) if raised => low[*point] = *level,
                Some(level) if *level <= self.fit.ground[*point] => {}
                _ => bad += 1,
            }
        }
        if raised {
            self.fit.lowest = low;
        }
        bad as f64 / all.max(1) as f64
    }

    /// Whether some low end lies below the reach, so that lifting it is a question.
    fn lifts(&self, way: Way) -> bool {
        let (first, last) = (way != Way::Along, way != Way::Against);
        let lists = [first.then_some(&self.first), last.then_some(&self.last)];
        lists.into_iter().flatten().flatten().any(|(p, level)| level.is_some_and(|l| l > self.fit.ground[*p]))
    }

    /// Bounds of every way allowed: each with low ends lifted and, where that costs anything, without.
    pub(super) fn bounds(&mut self, judge: &Judge<'_>) -> Vec<(Earth, bool)> {
        let mut found = Vec::new();
        for way in judge.ways() {
            for raised in if self.lifts(way) { vec![true, false] } else { vec![true] } {
                let undrained_ratio = self.set(judge, way, raised);
                let Some(heights) = self.lanes(judge, way) else { continue };
                let m3 = self.earth_m3(heights.1 as f64);
                let haul_m = if m3 > 0.0 { self.haul_m(&heights.0) } else { 0.0 };
                found.push((Earth { way, m3, haul_m, gap_ratio: None, undrained_ratio }, raised));
            }
        }
        found
    }

    /// Heights and cost of the lanes fitted one by one. For two ways the crests are laid first.
    fn lanes(&mut self, judge: &Judge<'_>, way: Way) -> Option<(Vec<i64>, i64)> {
        let bound = if way == Way::Both {
            let before = self.falling(judge, false);
            let crests = crests(&self.fit, &before, CREST_SHIFT)?;
            self.fit.along = crests.steps(&self.fit, &before);
            Some(crests.bound)
        } else {
            None
        };
        let lanes = lane_optimum(&self.fit)?;
        Some((lanes.heights, bound.unwrap_or(lanes.bound)))
    }

    /// The surface with its cross fall, solved to a gap; `None` when no surface keeps the limits.
    pub(super) fn solve(&mut self, judge: &Judge<'_>, bound: &Earth, raised: bool) -> Option<Earth> {
        self.set(judge, bound.way, raised);
        if bound.way == Way::Both {
            let before = self.falling(judge, false);
            let crests = crests(&self.fit, &before, CREST_SHIFT)?;
            self.fit.along = crests.steps(&self.fit, &before);
        }
        let fitted = solve_fast(&self.fit, GAP).ok()?;
        let m3 = self.earth_m3(fitted.certificate.cost as f64);
        // A crest is laid by the lanes: only the bound of the lanes holds for every crest.
        let proven =
            if bound.way == Way::Both { bound.m3 } else { self.earth_m3(fitted.certificate.bound).max(bound.m3) };
        let told = proven.max(LEAST_EARTH_M3_HA * self.unit_m2 * self.weight() / 1e4);
        let haul_m = if m3 > 0.0 { self.haul_m(&fitted.heights) } else { 0.0 };
        Some(Earth { m3, haul_m, gap_ratio: Some(((m3 - proven) / told).max(0.0)), ..*bound })
    }

    /// Metres of cut or fill by place when every lane is fitted by itself, for the cheaper way of falling.
    pub(super) fn lane_depths(mut self, judge: &Judge<'_>) -> Option<impl Fn(Coord<f64>) -> f64 + use<>> {
        let mut best: Option<(i64, Vec<i64>)> = None;
        for way in [Way::Along, Way::Against] {
            self.set(judge, way, true);
            if let Some(lanes) = lane_optimum(&self.fit)
                && best.as_ref().is_none_or(|b| lanes.bound < b.0)
            {
                best = Some((lanes.bound, lanes.heights));
            }
        }
        let heights = best?.1;
        let (fit, grid) = (self.fit, self.grid);
        Some(move |at: Coord<f64>| {
            grid.nearest(at)
                .filter(|p| fit.inside[*p])
                .map_or(0.0, |p| (fit.ground[p] - heights[p]).abs() as f64 / crate::methods::optimise::TICKS_PER_M)
        })
    }

    /// Share of the low ends that lie below the drain reach on the ground as it lies.
    pub(super) fn undrained(&mut self, judge: &Judge<'_>, way: Way) -> f64 {
        self.set(judge, way, false)
    }

    fn weight(&self) -> f64 {
        self.fit.inside.iter().zip(&self.fit.cut_weight).filter(|(i, _)| **i).map(|(_, w)| *w as f64).sum()
    }

    fn earth_m3(&self, cost_ticks: f64) -> f64 {
        0.5 * cost_ticks / crate::methods::optimise::TICKS_PER_M * self.unit_m2
    }

    /// Work of moving soil along each lane and then what is over from lane to lane, over the soil moved.
    fn haul_m(&self, heights: &[i64]) -> f64 {
        let (mut work, mut moved, mut over) = (0.0, 0.0, 0.0_f64);
        for lane in 0..self.fit.lanes {
            let mut carried = 0.0_f64;
            let stations = lane * self.fit.stations..(lane + 1) * self.fit.stations;
            for (p, height) in stations.clone().zip(&heights[stations]) {
                if self.fit.inside[p] {
                    let depth = ((self.fit.ground[p] - height) * self.fit.cut_weight[p]) as f64;
                    carried += depth;
                    moved += depth.abs() / 2.0;
                    work += carried.abs();
                }
            }
            over += carried;
            work += over.abs();
        }
        (work * self.h / f64::max(moved, 1.0)).max(0.0)
    }
}

/// Where the points of a lattice lie.
struct Points {
    frame: RowFrame,
    /// Place of the first point in the frame, metres.
    across_from_m: f64,
    along_from_m: f64,
    h: f64,
    lanes: usize,
    stations: usize,
}

/// A stretch of a lane inside the outline: lane, where it begins and ends beyond the lane's first point, metres.
type LaneSpan = (usize, f64, f64);

impl Points {
    /// Points along straight rows, with the stretches of their lanes.
    fn straight(outline: &Outline, bearing: Bearing, h: f64) -> Option<(Self, Vec<LaneSpan>)> {
        let frame = Frame::about(bearing, &outline.polygon)?;
        let (along, across) = (frame.along_extent(&outline.polygon)?, frame.across_extent(&outline.polygon)?);
        let origin = frame.leave(across.0 + h / 2.0, along.0 + h / 2.0);
        let lattice = Frame::new(bearing, origin);
        let points = Self::over(RowFrame::Straight(lattice), (0.0, 0.0), (along, across), h);
        let edges: Vec<ClearEdge> =
            outline.edges.iter().map(|(line, _)| ClearEdge { line: *line, clear_m: 0.0 }).collect();
        let spans = row_spans(&edges, bearing, h, origin);
        let along = |at: Coord<f64>| lattice.enter(at).along_m;
        let spans = spans.iter().map(|s| (s.index, along(s.start), along(s.end)));
        let spans = points.lanes_of(spans);
        Some((points, spans))
    }

    /// Points along the parallels of a line, with the stretches of their lanes.
    fn bent(outline: &Outline, line: &Arc<ArcLine>, h: f64) -> Option<(Self, Vec<LaneSpan>)> {
        let frame = RowFrame::Bent(Arc::clone(line));
        let shape = MultiPolygon(vec![outline.polygon.clone()]);
        let extent = frame.extent(&shape)?;
        let from = (extent.1.0 + h / 2.0, extent.0.0 + h / 2.0);
        let stretches = frame.clip(&shape, h, from.0)?;
        let points = Self::over(frame, from, extent, h);
        let spans = points.lanes_of(stretches.iter().map(|s| (s.index, s.from_m - from.1, s.to_m - from.1)));
        Some((points, spans))
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of a lattice over a property")]
    fn over(
        frame: RowFrame,
        (across_from_m, along_from_m): (f64, f64),
        ((near, far), (left, right)): ((f64, f64), (f64, f64)),
        h: f64,
    ) -> Self {
        let (lanes, stations) = (((right - left) / h).ceil() as usize, ((far - near) / h).ceil() as usize);
        Self { frame, across_from_m, along_from_m, h, lanes, stations }
    }

    fn lanes_of(&self, spans: impl Iterator<Item = (i64, f64, f64)>) -> Vec<LaneSpan> {
        spans
            .filter_map(|(index, from, to)| {
                Some((usize::try_from(index).ok().filter(|lane| *lane < self.lanes)?, from, to))
            })
            .collect()
    }

    /// Distances across and along in the frame.
    fn place(&self, point: usize) -> (f64, f64) {
        let (lane, station) = (point / self.stations, point % self.stations);
        (self.across_from_m + lane as f64 * self.h, self.along_from_m + station as f64 * self.h)
    }

    fn at(&self, point: usize) -> Coord<f64> {
        let (across, along) = self.place(point);
        self.frame.leave(across, along)
    }

    /// The way to the next point of the lane, metres.
    fn step_m(&self, point: usize) -> f64 {
        let (across, along) = self.place(point);
        self.frame.length_m(across, along, along + self.h)
    }

    /// Parts of plan area a point stands for.
    #[expect(clippy::cast_possible_truncation, reason = "a small number")]
    fn weight(&self, point: usize) -> i64 {
        let (across, along) = self.place(point);
        let way_m = self.frame.length_m(across, along - self.h / 2.0, along + self.h / 2.0);
        (BENT_PARTS * way_m / self.h).round().max(1.0) as i64
    }

    /// The point nearest to a place; `None` off the lattice.
    #[expect(clippy::cast_possible_truncation, reason = "a lattice over a property")]
    fn nearest(&self, at: Coord<f64>) -> Option<usize> {
        let place = self.frame.enter(at);
        let number = |m: f64, n: usize| usize::try_from((m / self.h).round() as i64).ok().filter(|k| *k < n);
        let lane = number(place.across_m - self.across_from_m, self.lanes)?;
        Some(lane * self.stations + number(place.along_m - self.along_from_m, self.stations)?)
    }
}

type Ends = Vec<(usize, Option<i64>)>;

/// Both ends of every run of a lane with the drain reach there.
fn ends(judge: &Judge<'_>, inside: &[bool], stations: usize, at: impl Fn(usize) -> Coord<f64>) -> (Ends, Ends) {
    let Some(reach) = judge.reach else { return (Vec::new(), Vec::new()) };
    let level = |p: usize| reach.at(at(p)).map(|z| ticks(f64::from(z)));
    let (mut first, mut last) = (Vec::new(), Vec::new());
    for p in (0..inside.len()).filter(|p| inside[*p]) {
        if p % stations == 0 || !inside[p - 1] {
            first.push((p, level(p)));
        }
        if (p + 1) % stations == 0 || !inside[p + 1] {
            last.push((p, level(p)));
        }
    }
    (first, last)
}
