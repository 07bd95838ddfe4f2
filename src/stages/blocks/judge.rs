//! One bearing on one outline, laid out exactly and priced in dollars a year, term by term.

use super::earth::{Earth, Lattice, Way};
use super::outline::{Outline, is_side};
use super::params::{BlocksParams, FallWay};
use super::row_line::{RowLine, thinned};
use crate::grid::Raster;
use crate::land::blocks::YearlyCost;
use crate::land::rates::Rates;

use crate::methods::shapes::{ArcLine, Frame, row_spans};
use crate::methods::surface::sample_path;
use crate::units::{Bearing, M2_PER_HA};
use geo::Coord;
use std::sync::Arc;

/// Rows sampled for falls in a trial, and the window the fall is taken over.
const SAMPLED_ROWS: usize = 24;
const FALL_WINDOW_M: f64 = 25.0;
/// Places of the first row tried for a layout that is taken, besides those that put a row against a long side.
pub(super) const PHASES: u32 = 6;
/// Side edges the first row is set against.
const SIDES: usize = 3;

/// How closely a layout is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    /// Every row, the lattice of the parameters.
    Close,
    /// One row in several and a lattice of a bounded number of points: for sorting out.
    Quick,
}
/// Rows and lattice points a quick look is content with.
const QUICK_ROWS: f64 = 60.0;
const QUICK_POINTS: f64 = 900.0;

/// What the layout is judged with; widths already on the grid.
#[derive(Clone, Copy)]
pub(super) struct Judge<'a> {
    pub(super) params: &'a BlocksParams,
    pub(super) rates: &'a Rates,
    pub(super) ground: Option<&'a Raster<f32>>,
    pub(super) reach: Option<&'a Raster<f32>>,
    pub(super) loading: Option<Coord<f64>>,
    /// Grid distance over ground distance.
    pub(super) scale: f64,
}

/// What a trial came to.
#[derive(Debug, Clone)]
pub(super) struct Trial {
    pub(super) bearing: Bearing,
    /// The line the rows are parallels of; `None` for straight rows.
    pub(super) bent: Option<Arc<ArcLine>>,
    pub(super) lines: Vec<RowLine>,
    pub(super) lengths_m: Vec<f64>,
    /// Rows a listed row stands for: 1 after a close look.
    pub(super) stride: f64,
    /// Share of the outline that headlands leave to rows, short ones included.
    pub(super) cropped_ratio: f64,
    pub(super) earth: Option<Earth>,
    /// Whether low ends are lifted to the drain reach.
    pub(super) raised: bool,
    pub(super) cost: YearlyCost,
    /// What rows below the wanted length count for in the choice; nobody pays it.
    pub(super) wish: f64,
    pub(super) crop_haul_m: Option<f64>,
}

impl Trial {
    /// Whether water runs along the axis; two-way rows are drawn along it.
    pub(super) fn runs_along(&self) -> bool {
        self.earth.is_none_or(|e| e.way != Way::Against)
    }
    /// What the choice goes by: the yearly cost, and the wish for longer rows.
    pub(super) fn yearly(&self) -> f64 {
        self.cost.total() + self.wish
    }
    /// Yearly cost no surface under these rows can beat: the earth at its bound and without haul.
    pub(super) fn least(&self, judge: &Judge<'_>) -> f64 {
        let bound = match self.earth {
            Some(e) if e.gap_ratio.is_none() && judge.params.form_land => judge.earth_once(e.m3, 0.0),
            _ => return self.yearly(),
        };
        self.yearly() - self.cost.earth + judge.yearly_of(bound)
    }
}

impl Judge<'_> {
    /// The ways rows may fall.
    pub(super) fn ways(&self) -> Vec<Way> {
        match self.params.fall_way {
            FallWay::Either => vec![Way::Along, Way::Against, Way::Both],
            FallWay::OneWay => vec![Way::Along, Way::Against],
            FallWay::TwoWay => vec![Way::Both],
        }
    }

    /// Rows of a bearing with the first one at a place across; short ones included.
    fn rows_at(&self, outline: &Outline, bearing: Bearing, across_m: f64, stride: f64) -> Vec<RowLine> {
        let Some(frame) = Frame::about(bearing, &outline.polygon) else { return Vec::new() };
        let spacing = self.params.row_spacing_m * self.scale;
        let mut edges = outline.clear(self.params, self.scale, bearing);
        for edge in edges.iter_mut().filter(|e| is_side(e.line, bearing)) {
            // The strip a row stands in keeps clear of the side, not only its middle.
            edge.clear_m += spacing / 2.0;
        }
        let spans = row_spans(&edges, bearing, spacing * stride, frame.leave(across_m, 0.0));
        spans.iter().map(RowLine::straight).collect()
    }

    /// Places across for the first row: against the longest sides first, then spread over a spacing.
    fn phases(&self, outline: &Outline, bearing: Bearing, all: bool) -> Vec<f64> {
        let Some(frame) = Frame::about(bearing, &outline.polygon) else { return Vec::new() };
        let spacing = self.params.row_spacing_m * self.scale;
        let mut sides: Vec<(f64, f64)> = outline
            .clear(self.params, self.scale, bearing)
            .iter()
            .filter(|e| Bearing::from_east_north(e.line.dx(), e.line.dy()).axis_angle_to(bearing) < 0.02)
            .map(|e| {
                let (a, b) = (frame.enter(e.line.start), frame.enter(e.line.end));
                // The inside is on the left of an edge: rows lie left of one that runs along, right of one that runs back.
                let inward = if b.along_m > a.along_m { -1.0 } else { 1.0 };
                let middle = f64::midpoint(a.across_m, b.across_m);
                ((b.along_m - a.along_m).abs(), middle + inward * (e.clear_m + spacing / 2.0 + 1e-6))
            })
            .collect();
        sides.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut list: Vec<f64> = sides.into_iter().take(if all { SIDES } else { 1 }).map(|s| s.1).collect();
        let left = frame.across_extent(&outline.polygon).map_or(0.0, |e| e.0);
        if all {
            list.extend((0..PHASES).map(|i| left + spacing * (f64::from(i) + 0.5) / f64::from(PHASES)));
        } else if list.is_empty() {
            list.push(left + spacing / 2.0);
        }
        list
    }

    /// Lays a bearing out and prices it with the bound of its earth; `None` when not one row fits.
    pub(super) fn judge(&self, outline: &Outline, bearing: Bearing, look: Look) -> Option<Trial> {
        let at = *self.phases(outline, bearing, false).first()?;
        let (stride, h) = self.grain(outline, bearing, look);
        let rows = self.rows_at(outline, bearing, at + (stride - 1.0) / 2.0 * self.params.row_spacing_m, stride);
        let trial = self.price_rows(outline, bearing, rows, stride)?;
        let lattice = if self.params.form_land { Lattice::of(self, outline, bearing, None, h) } else { None };
        Some(self.with_least_earth(outline, trial, lattice))
    }

    /// The trial with the cheapest bound of its earth, or priced as the ground lies when no surface keeps the limits.
    pub(super) fn with_least_earth(&self, outline: &Outline, mut trial: Trial, mut lattice: Option<Lattice>) -> Trial {
        let bounds = lattice.as_mut().map(|l| l.bounds(self)).unwrap_or_default();
        let best = bounds
            .into_iter()
            .map(|(earth, raised)| (self.with_earth(&trial, earth), earth, raised))
            .min_by(|a, b| a.0.total().total_cmp(&b.0.total()));
        if let Some((cost, earth, raised)) = best {
            trial = Trial { cost, earth: Some(earth), raised, ..trial };
        } else {
            self.as_it_lies(&mut trial, outline);
        }
        trial
    }

    /// Rows a row stands for, and the spacing of the lattice.
    fn grain(&self, outline: &Outline, bearing: Bearing, look: Look) -> (f64, f64) {
        let wide = Frame::about(bearing, &outline.polygon)
            .and_then(|f| f.across_extent(&outline.polygon))
            .map_or(0.0, |(left, right)| right - left);
        self.grain_over(outline, wide, look)
    }

    /// As [`grain`](Self::grain), for rows over so many metres across.
    pub(super) fn grain_over(&self, outline: &Outline, wide: f64, look: Look) -> (f64, f64) {
        let h = self.params.lattice_m;
        if look == Look::Close {
            return (1.0, h);
        }
        let rows = wide / (self.params.row_spacing_m * self.scale);
        ((rows / QUICK_ROWS).floor().max(1.0), h.max((outline.area_m2 / QUICK_POINTS).sqrt()))
    }

    /// The trial with its earth solved to a gap, or as it was when there is nothing to solve.
    pub(super) fn settle(&self, outline: &Outline, mut trial: Trial) -> Trial {
        let Some(bound) = trial.earth.filter(|e| e.gap_ratio.is_none()) else { return trial };
        let solved = Lattice::of(self, outline, trial.bearing, trial.bent.as_ref(), self.params.lattice_m)
            .and_then(|mut l| l.solve(self, &bound, trial.raised));
        if let (true, Some(earth)) = (self.params.form_land, solved) {
            trial.cost = self.with_earth(&trial, earth);
            trial.earth = Some(earth);
        }
        trial
    }

    /// The trial with the first row where it costs least.
    pub(super) fn best_phase(&self, outline: &Outline, trial: Trial) -> Trial {
        let mut best = trial;
        for at in self.phases(outline, best.bearing, true) {
            let Some(other) = self.price_rows(outline, best.bearing, self.rows_at(outline, best.bearing, at, 1.0), 1.0)
            else {
                continue;
            };
            let cost = match best.earth {
                Some(earth) if self.params.form_land => self.with_earth(&other, earth),
                _ => YearlyCost { fall: best.cost.fall, undrained: best.cost.undrained, ..other.cost },
            };
            if cost.total() + other.wish < best.yearly() - 1e-9 {
                best = Trial { cost, earth: best.earth, raised: best.raised, ..other };
            }
        }
        best
    }

    /// Rows priced without earth and falls; each row stands for `stride` rows.
    pub(super) fn price_rows(
        &self,
        outline: &Outline,
        bearing: Bearing,
        mut lines: Vec<RowLine>,
        stride: f64,
    ) -> Option<Trial> {
        let p = self.params;
        let all_m: f64 = stride * lines.iter().map(RowLine::length_m).sum::<f64>() / self.scale;
        lines.retain(|line| line.length_m() >= p.min_row_length_m * self.scale);
        if lines.is_empty() {
            return None;
        }
        let lengths_m: Vec<f64> = lines.iter().map(|l| l.length_m() / self.scale).collect();
        let area_m2 = outline.area_m2 / (self.scale * self.scale);
        let row_m = stride * lengths_m.iter().sum::<f64>();
        let short = stride * lengths_m.iter().filter(|l| **l < p.short_row_m).count() as f64;
        let haul = self.loading.map(|place| self.crop_haul_m(place, &lines));
        let crop_t = p.yield_t_ha * row_m * p.row_spacing_m / M2_PER_HA;
        let cost = YearlyCost {
            turning: self.turn_cost() * stride * lines.len() as f64,
            headland: (area_m2 - row_m * p.row_spacing_m).max(0.0) * self.grass_per_m2(),
            drain_land: 0.0,
            drain_digging: 0.0,
            short_rows: short * p.passes_per_year * p.short_row_s / 3_600.0 * self.rates.harvester_per_h.likely,
            long_rows: stride * self.spoon_drains(&lines) * self.spoon_drain_cost(),
            fall: 0.0,
            earth: 0.0,
            crop_haul: haul.map_or(0.0, |m| crop_t * m / 1_000.0 * p.haul_per_t_km),
            undrained: 0.0,
        };
        Some(Trial {
            bearing,
            bent: None,
            cropped_ratio: (all_m * p.row_spacing_m / area_m2).min(1.0),
            earth: None,
            raised: false,
            cost,
            wish: self.wish_price(&lengths_m, stride),
            crop_haul_m: haul,
            stride,
            lengths_m,
            lines,
        })
    }

    /// What rows below the wanted length are charged in the choice: up to ten turns each. No money anybody pays, and
    /// left out where a layout made under a wish is compared with the best.
    fn wish_price(&self, lengths_m: &[f64], stride: f64) -> f64 {
        const TURNS: f64 = 10.0;
        let wanted = self.params.wanted_row_length_m;
        if wanted <= 0.0 {
            return 0.0;
        }
        let missing: f64 = lengths_m.iter().map(|l| (1.0 - l / wanted).max(0.0)).sum();
        TURNS * self.turn_cost() * stride * missing
    }

    pub(super) fn turn_cost(&self) -> f64 {
        self.params.passes_per_year * self.params.turn_time_s / 3_600.0 * self.rates.harvester_per_h.likely
    }

    pub(super) fn margin_per_m2(&self) -> f64 {
        self.rates.gross_margin_per_ha.likely / M2_PER_HA
    }

    /// Land in grass, under a headland or left without a block: the crop it does not bear, and the grass.
    pub(super) fn grass_per_m2(&self) -> f64 {
        self.margin_per_m2() + self.yearly_of(self.rates.grass_per_m2.likely)
    }

    /// What dollars paid once, with the contingency on them, come to in a year.
    pub(super) fn yearly_of(&self, once: f64) -> f64 {
        let contingency = 1.0 + self.rates.contingency_pct.likely / 100.0;
        contingency * once * self.params.pay_off_per_year()
    }

    /// Earth with its haul, dollars once.
    pub(super) fn earth_once(&self, m3: f64, haul_m: f64) -> f64 {
        let further = (haul_m / 100.0 - 1.0).max(0.0);
        m3 * (self.rates.levelling_per_m3.likely + further * self.rates.haul_per_m3_per_100_m.likely)
    }

    fn with_earth(&self, trial: &Trial, earth: Earth) -> YearlyCost {
        let ends = if earth.way == Way::Both { 2.0 } else { 1.0 };
        let low_ends_m = trial.stride * trial.lines.len() as f64 * self.params.row_spacing_m * ends;
        let planted_m2 = trial.stride * trial.lengths_m.iter().sum::<f64>() * self.params.row_spacing_m;
        YearlyCost {
            drain_land: low_ends_m * self.params.drain_strip_m * self.margin_per_m2(),
            drain_digging: self.yearly_of(low_ends_m * self.params.drain_m3_per_m * self.rates.drain_per_m3.likely),
            earth: self.yearly_of(self.earth_once(earth.m3, earth.haul_m)),
            fall: 0.0,
            undrained: earth.undrained_ratio * planted_m2 * self.margin_per_m2() * self.params.undrained_loss_ratio,
            ..trial.cost
        }
    }

    /// Prices the falls of the ground as it lies: for land that is not formed, or has no surface within the limits.
    fn as_it_lies(&self, trial: &mut Trial, outline: &Outline) {
        if self.ground.is_none() {
            return;
        }
        let planted_m2 = trial.stride * trial.lengths_m.iter().sum::<f64>() * self.params.row_spacing_m;
        let along = self.within_fall(&trial.lines, true);
        let against = self.within_fall(&trial.lines, false);
        let way = if along >= against { Way::Along } else { Way::Against };
        let lattice = Lattice::of(self, outline, trial.bearing, trial.bent.as_ref(), self.params.lattice_m);
        let undrained_ratio = lattice.map_or(0.0, |mut l| l.undrained(self, way));
        let earth = Earth { way, m3: 0.0, haul_m: 0.0, gap_ratio: Some(0.0), undrained_ratio };
        trial.cost = YearlyCost {
            fall: (1.0 - along.max(against)) * planted_m2 * self.margin_per_m2() * self.params.outside_fall_loss_ratio,
            ..self.with_earth(trial, earth)
        };
        trial.earth = Some(earth);
    }

    /// Mean way of the crop: half the row to its end nearer to the loading place, then straight there.
    fn crop_haul_m(&self, place: Coord<f64>, lines: &[RowLine]) -> f64 {
        let away = |c: Coord<f64>| (c.x - place.x).hypot(c.y - place.y);
        let (mut sum, mut row_m) = (0.0, 0.0);
        for line in lines {
            let length = line.length_m();
            sum += length * (length / 2.0 + away(line.start).min(away(line.end)));
            row_m += length;
        }
        sum / row_m / self.scale
    }

    /// Shallow drains across rows that are longer than the furrow can carry, counted over all rows.
    fn spoon_drains(&self, lines: &[RowLine]) -> f64 {
        let Some(ground) = self.ground else { return 0.0 };
        let p = self.params;
        let fall_of = |l: &RowLine| Some((ground.bilinear(l.start)? - ground.bilinear(l.end)?).abs() / l.length_m());
        lines
            .iter()
            .map(|line| {
                let fall = fall_of(line).unwrap_or(0.0).clamp(p.min_fall_pct / 100.0, p.max_fall_pct / 100.0);
                ((line.length_m() / self.scale / p.furrow_reach_m(fall)).ceil() - 1.0).max(0.0)
            })
            .sum()
    }

    /// One shallow drain across one row: its land every year and its digging paid off.
    fn spoon_drain_cost(&self) -> f64 {
        let p = self.params;
        let dug_m3 = 0.5 * p.spoon_drain_m * p.furrow_depth_m * p.row_spacing_m;
        p.spoon_drain_m * p.row_spacing_m * self.margin_per_m2()
            + self.yearly_of(dug_m3 * self.rates.drain_per_m3.likely)
    }

    /// Share of the row metres whose fall is within limits on the ground as it lies.
    pub(super) fn within_fall(&self, lines: &[RowLine], runs_along: bool) -> f64 {
        let Some(ground) = self.ground else { return 1.0 };
        let stride = lines.len().div_ceil(SAMPLED_ROWS).max(1);
        let (low, high) = (self.params.min_fall_pct / 100.0, self.params.max_fall_pct / 100.0);
        let (mut good, mut all) = (0_u32, 0_u32);
        for line in lines.iter().step_by(stride) {
            let profile = sample_path(ground, &thinned(&line.points(runs_along), FALL_WINDOW_M), FALL_WINDOW_M);
            for pair in profile.windows(2) {
                let fall = (pair[0].1 - pair[1].1) / (pair[1].0 - pair[0].0).max(1e-9);
                all += 1;
                good += u32::from((low..=high).contains(&fall));
            }
        }
        if all == 0 { 0.0 } else { f64::from(good) / f64::from(all) }
    }
}
