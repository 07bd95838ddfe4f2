//! One bearing on one piece of land, laid out exactly and judged in dollars a year.
//!
//! Turning, land lost to headlands and to rows too short to plant, and the earth of the least-squares plane that keeps
//! the falls and stays above the drain reach, paid off over the stated years.

use super::params::BlocksParams;
use crate::grid::Raster;
use crate::land::rates::Rates;
use crate::methods::earthwork::{FallSense, LimitedPlane, Moments, PlaneLimits, fit_plane_limited};
use crate::methods::shapes::{ClippedLine, inset_by_edge, parallel_lines, row_count};
use crate::methods::surface::sample_line;
use crate::units::{Bearing, M2_PER_HA};
use geo::{Area, BoundingRect, Contains, Coord, MultiPolygon, Point, Polygon};

/// Rows that cross an edge at less than this angle run along it.
const SIDE_ANGLE_DEG: f64 = 30.0;
/// Spacing of the samples the earth is judged on, metres.
const SAMPLE_M: f64 = 10.0;
/// Rows sampled for falls in a trial, and the window the fall is taken over.
const SAMPLED_ROWS: usize = 24;
const FALL_WINDOW_M: f64 = 25.0;

/// What the layout is judged with; widths already on the grid.
pub(super) struct Judge<'a> {
    pub(super) params: &'a BlocksParams,
    pub(super) rates: &'a Rates,
    pub(super) ground: Option<&'a Raster<f32>>,
    pub(super) reach: Option<&'a Raster<f32>>,
    /// Grid distance over ground distance.
    pub(super) scale: f64,
}

/// Rows and headlands of a piece for one bearing.
pub(super) struct Layout {
    pub(super) cropped: MultiPolygon<f64>,
    pub(super) lines: Vec<ClippedLine>,
}

/// Heights on a lattice over a piece, gathered once and used for every bearing.
pub(super) struct Samples {
    points: Vec<(Coord<f64>, f64, Option<f64>)>,
    pub(super) moments: Moments,
}

/// What a trial came to.
#[derive(Debug, Clone)]
pub(super) struct Trial {
    pub(super) bearing: Bearing,
    pub(super) lengths_m: Vec<f64>,
    pub(super) cropped_m2: f64,
    pub(super) within_fall_ratio: f64,
    pub(super) earth_m3: f64,
    pub(super) earth_once: f64,
    pub(super) yearly: f64,
    /// Whether water runs along the bearing (true) or against it on the best plane.
    pub(super) runs_along: bool,
}

impl Judge<'_> {
    /// Whether an edge runs along the rows.
    pub(super) fn is_side(edge: Bearing, rows: Bearing) -> bool {
        edge.axis_angle_to(rows) < SIDE_ANGLE_DEG
    }

    /// Headlands taken off and rows clipped.
    pub(super) fn lay_out(&self, piece: &Polygon<f64>, bearing: Bearing) -> Layout {
        let (turning, side) = (self.params.turning_headland_m * self.scale, self.params.side_headland_m * self.scale);
        let cropped =
            inset_by_edge(piece, |edge, _, _| if Self::is_side(edge, bearing) { side } else { turning }, 100.0);
        let spacing = self.params.row_spacing_m * self.scale;
        let mut lines = parallel_lines(&cropped, bearing, spacing, spacing / 2.0);
        lines.retain(|line| line.length_m() >= self.params.min_row_length_m * self.scale);
        Layout { cropped, lines }
    }

    /// Heights of the ground and of the drain reach on a lattice over a piece.
    pub(super) fn samples(&self, piece: &Polygon<f64>) -> Option<Samples> {
        let ground = self.ground?;
        let rect = piece.bounding_rect()?;
        let mut points = Vec::new();
        let mut y = (rect.min().y / SAMPLE_M).floor() * SAMPLE_M + SAMPLE_M / 2.0;
        while y < rect.max().y {
            let mut x = (rect.min().x / SAMPLE_M).floor() * SAMPLE_M + SAMPLE_M / 2.0;
            while x < rect.max().x {
                let at = Coord { x, y };
                if let (true, Some(z)) = (piece.contains(&Point(at)), ground.bilinear(at)) {
                    points.push((at, z, self.reach.and_then(|r| r.at(at)).map(f64::from)));
                }
                x += SAMPLE_M;
            }
            y += SAMPLE_M;
        }
        let moments = Moments::of(points.iter().map(|(at, z, _)| (at.x, at.y, *z, 1.0)));
        (points.len() >= 3).then_some(Samples { points, moments })
    }

    fn plane(&self, samples: &Samples, bearing: Bearing) -> Option<LimitedPlane> {
        fit_plane_limited(
            &samples.moments,
            &PlaneLimits {
                bearing,
                min_fall: self.params.min_fall_pct / 100.0,
                max_fall: self.params.max_fall_pct / 100.0,
                max_cross_fall: self.params.max_cross_fall_pct / 100.0,
                sense: FallSense::Either,
            },
        )
    }

    /// Lays a bearing out and prices it; `None` when not one row fits.
    pub(super) fn judge(&self, piece: &Polygon<f64>, samples: Option<&Samples>, bearing: Bearing) -> Option<Trial> {
        let layout = self.lay_out(piece, bearing);
        if layout.lines.is_empty() {
            return None;
        }
        let lengths_m: Vec<f64> = layout.lines.iter().map(|l| l.length_m() / self.scale).collect();
        let area_m2 = piece.unsigned_area();
        let row_m: f64 = lengths_m.iter().sum();
        let planted_m2 = row_m * self.params.row_spacing_m;
        let plane = samples.and_then(|s| self.plane(s, bearing));
        let runs_along = plane.is_none_or(|p| p.fall_along >= 0.0);
        let earth_m3 = match (samples, &plane) {
            (Some(samples), Some(plane)) => earth_m3(samples, plane, &layout.lines, self.reach, area_m2),
            _ => 0.0,
        };
        let turning = self.turning(layout.lines.len() as f64);
        let land = (area_m2 / (self.scale * self.scale) - planted_m2).max(0.0) / M2_PER_HA
            * self.rates.gross_margin_per_ha.likely;
        let earth_once = earth_m3 * self.rates.levelling_per_m3.likely;
        Some(Trial {
            bearing,
            cropped_m2: layout.cropped.unsigned_area(),
            within_fall_ratio: self.within_fall(&layout.lines, runs_along),
            earth_m3,
            earth_once,
            yearly: turning + land + earth_once / self.params.earth_years,
            runs_along,
            lengths_m,
        })
    }

    /// A price near that of [`Judge::judge`] without laying rows out: rows by the exact count formula, headlands by the
    /// length of the edges. Only for sorting out cuts that are not worth a closer look.
    pub(super) fn sketch(&self, piece: &Polygon<f64>, samples: Option<&Samples>, bearing: Bearing) -> f64 {
        let p = self.params;
        let turns = row_count(piece, bearing, p.row_spacing_m * self.scale);
        let headland_m2: f64 = piece
            .exterior()
            .lines()
            .chain(piece.interiors().iter().flat_map(geo::LineString::lines))
            .map(|edge| {
                let along = Bearing::from_east_north(edge.dx(), edge.dy());
                let width_m = if Self::is_side(along, bearing) { p.side_headland_m } else { p.turning_headland_m };
                edge.dx().hypot(edge.dy()) * width_m
            })
            .sum();
        let earth = samples
            .and_then(|s| Some(earth_m3(s, &self.plane(s, bearing)?, &[], None, piece.unsigned_area())))
            .unwrap_or(0.0);
        self.turning(turns)
            + headland_m2 / M2_PER_HA * self.rates.gross_margin_per_ha.likely
            + earth * self.rates.levelling_per_m3.likely / p.earth_years
    }

    /// Price of a number of turns in a year.
    fn turning(&self, turns: f64) -> f64 {
        turns * self.params.passes_per_year * self.params.turn_time_s / 3_600.0 * self.rates.harvester_per_h.likely
    }

    /// Share of the row metres whose fall is within limits on the ground as it lies.
    fn within_fall(&self, lines: &[ClippedLine], runs_along: bool) -> f64 {
        let Some(ground) = self.ground else { return 1.0 };
        let stride = lines.len().div_ceil(SAMPLED_ROWS).max(1);
        let (low, high) = (self.params.min_fall_pct / 100.0, self.params.max_fall_pct / 100.0);
        let (mut good, mut all) = (0_u32, 0_u32);
        for line in lines.iter().step_by(stride) {
            let (from, to) = if runs_along { (line.start, line.end) } else { (line.end, line.start) };
            let profile = sample_line(ground, from, to, FALL_WINDOW_M);
            for pair in profile.windows(2) {
                let fall = (pair[0].1 - pair[1].1) / (pair[1].0 - pair[0].0).max(1e-9);
                all += 1;
                good += u32::from((low..=high).contains(&fall));
            }
        }
        if all == 0 { 0.0 } else { f64::from(good) / f64::from(all) }
    }
}

/// Earth of the plane: half the mean height difference is cut, and a plane whose low row ends would lie below the drain
/// reach has to be raised with soil from elsewhere.
fn earth_m3(
    samples: &Samples,
    plane: &LimitedPlane,
    lines: &[ClippedLine],
    reach: Option<&Raster<f32>>,
    area_m2: f64,
) -> f64 {
    let height = |at: Coord<f64>| plane.plane.height_m(at.x, at.y);
    let mean =
        samples.points.iter().map(|(at, z, _)| (z - height(*at)).abs()).sum::<f64>() / samples.points.len() as f64;
    let raised = reach.map_or(0.0, |reach| {
        let short: Vec<f64> = lines
            .iter()
            .filter_map(|l| {
                let low = if plane.fall_along >= 0.0 { l.end } else { l.start };
                reach.at(low).map(|level| (f64::from(level) - height(low)).max(0.0))
            })
            .collect();
        if short.is_empty() { 0.0 } else { short.iter().sum::<f64>() / short.len() as f64 }
    });
    (0.5 * mean + raised) * area_m2
}
