//! Rows that bend: parallels of one smooth line, laid out and priced like straight ones.
//!
//! Headlands take the width of an end or of a side by the direction of the rows at each place of the outline. What is left
//! is unrolled along the line, where parallels are straight, and clipped there. No row may bend tighter than the least
//! radius, nor pass the centre of a bend.

use super::earth::Lattice;
use super::judge::{Judge, Look, PHASES, Trial};
use super::outline::{Outline, is_side};
use super::row_line::RowLine;
use crate::methods::shapes::{ArcLine, RowFrame, Stretch, inset_by_edge};
use crate::units::Bearing;
use geo::{Coord, Line, MultiPolygon};
use std::sync::Arc;

/// Edges are looked at in pieces no longer than this, metres: the rows beside a longer one may turn from side to end.
pub(super) const EDGE_M: f64 = 40.0;
/// Scraps below this are rounding, square metres.
const SCRAP_M2: f64 = 5.0;

/// The land of a broken outline that headlands leave to rows, those along sides wider by `side_more_m` (on the grid);
/// `rows` tells the direction of the rows at a place.
pub(super) fn cropped(
    judge: &Judge<'_>,
    outline: &Outline,
    rows: impl Fn(Coord<f64>) -> Bearing,
    side_more_m: f64,
) -> MultiPolygon<f64> {
    inset_by_edge(
        &outline.polygon,
        |_, start, end| {
            let here = rows((start + end) / 2.0);
            let width_m = outline.width_at(judge.params, start, end, here) * judge.scale;
            if is_side(Line::new(start, end), here) { width_m + side_more_m } else { width_m }
        },
        SCRAP_M2,
    )
}

impl Judge<'_> {
    /// Rows along the parallels of a line, priced with the bound of their earth; `None` when no row fits or one would bend
    /// too tightly.
    pub(super) fn judge_bent(&self, outline: &Outline, line: &Arc<ArcLine>, look: Look) -> Option<Trial> {
        let (trial, across_m) = self.rows_bent(outline, line, look)?;
        let (_, h) = self.grain_over(outline, across_m, look);
        let formed = self.params.form_land;
        let lattice = if formed { Lattice::of(self, outline, trial.bearing, trial.bent.as_ref(), h) } else { None };
        Some(self.with_least_earth(outline, trial, lattice))
    }

    /// The rows with the first one where they cost least, and how far they reach across.
    fn rows_bent(&self, outline: &Outline, line: &Arc<ArcLine>, look: Look) -> Option<(Trial, f64)> {
        let frame = RowFrame::Bent(Arc::clone(line));
        let spacing = self.params.row_spacing_m * self.scale;
        // The strip a row stands in keeps clear of the side, not only its middle.
        let land = cropped(self, &outline.broken(EDGE_M), |at| frame.bearing_at(at), spacing / 2.0);
        let (_, (left, right)) = frame.extent(&land)?;
        let (stride, _) = self.grain_over(outline, right - left, look);
        let phases = if look == Look::Close { PHASES } else { 1 };
        let trial = (0..phases)
            .filter_map(|phase| {
                // A side of the land is a parallel in the best case: the first row lies on it.
                let at = left + 1e-6 + spacing * (f64::from(phase) / f64::from(phases) + (stride - 1.0) / 2.0);
                self.priced(outline, (&frame, line), &frame.clip(&land, spacing * stride, at)?, stride)
            })
            .reduce(|best, next| if next.yearly() < best.yearly() - 1e-9 { next } else { best })?;
        if trial.bearing.degrees() >= 180.0 {
            // Axes are told within half a turn: the same rows from the other end of their line.
            return self.rows_bent(outline, &Arc::new(line.reversed()), look);
        }
        Some((trial, right - left))
    }

    /// Rows with their price; `None` when none is long enough or one bends too tightly.
    fn priced(
        &self,
        outline: &Outline,
        (frame, line): (&RowFrame, &Arc<ArcLine>),
        stretches: &[Stretch],
        stride: f64,
    ) -> Option<Trial> {
        let length = |s: &Stretch| frame.length_m(s.across_m, s.from_m, s.to_m);
        let long = |s: &&Stretch| length(s) >= self.params.min_row_length_m * self.scale;
        let tightest_m = stretches.iter().filter(long).map(|s| frame.tightest_m(s)).fold(f64::INFINITY, f64::min);
        if tightest_m < self.params.least_radius_m * self.scale {
            return None;
        }
        let drawn = |s: &Stretch| RowLine::bent(frame.drawn(s.across_m, s.from_m, s.to_m), length(s));
        let rows: Vec<RowLine> = stretches.iter().filter_map(drawn).collect();
        let ways = rows.iter().fold(Coord { x: 0.0, y: 0.0 }, |sum, row| sum + (row.end - row.start));
        let bearing = Bearing::from_east_north(ways.x, ways.y);
        Some(Trial { bent: Some(Arc::clone(line)), ..self.price_rows(outline, bearing, rows, stride)? })
    }
}
