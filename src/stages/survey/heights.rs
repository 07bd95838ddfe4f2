//! Brings the heights as read onto the working grid.

use super::{BetweenPoints, NAME, SurveyParams};
use crate::finding::{Finding, Problem, Problems, Severity};
use crate::grid::{Cell, GridSpec, Raster};
use crate::land::survey::{RawElevation, SurveyPoint};
use crate::methods::surface::{HeightPoint, Interpolant, block_cross_validation, interpolate};
use geo::{BoundingRect, Coord, MultiPolygon, Rect};

/// Most cells worked on in one run; more is a mistaken cell size.
const MAX_CELLS: f64 = 60e6;

/// Heights on the working grid.
pub(super) struct Gridded {
    /// Heights, metres.
    pub raster: Raster<f32>,
    /// Standard error of a height by leaving out blocks of points, metres.
    pub validated_sigma_m: Option<f64>,
}

/// Heights on the working grid over the boundary and its margin.
pub(super) fn on_grid(
    elevation: &RawElevation,
    boundary: &MultiPolygon<f64>,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Gridded> {
    let bounds = boundary.bounding_rect()?;
    let wanted = grown(bounds, params.margin_m);
    let native_m = match elevation {
        RawElevation::Raster { heights, .. } => heights.spec.cell_m,
        RawElevation::Points { .. } => params.cell_size_m,
    };
    let cell_m = native_m.max(params.cell_size_m);
    let cells = wanted.width() * wanted.height() / (cell_m * cell_m);
    if cells > MAX_CELLS {
        let fitting_m = (wanted.width() * wanted.height() / MAX_CELLS).sqrt().ceil();
        problems.push(
            Problem::data(
                "grid_too_large",
                format!(
                    "the working grid would hold {:.0} million cells; at most {:.0} million fit",
                    cells / 1e6,
                    MAX_CELLS / 1e6
                ),
            )
            .hint(format!("set `survey.cell_size_m` to {fitting_m:.0} or more")),
        );
        return None;
    }
    match elevation {
        RawElevation::Raster { heights, handling } => {
            from_raster(heights, handling, bounds, wanted, cell_m, findings, problems)
        }
        RawElevation::Points { points, floats, blanks } => {
            say_dropped(points.len(), *floats, *blanks, findings);
            from_points(points, wanted, params, problems)
        }
    }
}

fn grown(rect: Rect<f64>, by_m: f64) -> Rect<f64> {
    let d = Coord { x: by_m, y: by_m };
    Rect::new(rect.min() - d, rect.max() + d)
}

fn from_raster(
    heights: &Raster<f32>,
    handling: &str,
    bounds: Rect<f64>,
    wanted: Rect<f64>,
    cell_m: f64,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Gridded> {
    let extent = heights.spec.extent();
    if !overlap(extent, bounds) {
        problems.push(outside_raster(extent, bounds));
        return None;
    }
    let raster = if heights.spec.cell_m >= cell_m - 1e-9 {
        cut_out(heights, wanted)
    } else {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "elevation_averaged",
            format!(
                "Elevation cells of {:.2} m were averaged to the working grid of {cell_m:.2} m; smaller features are not seen.",
                heights.spec.cell_m
            ),
        ));
        averaged(heights, wanted, cell_m)
    };
    if !handling.is_empty() && handling != "as it is" {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "elevation_converted",
            format!("Elevation raster: {handling}."),
        ));
    }
    Some(Gridded { raster, validated_sigma_m: None })
}

fn overlap(a: Rect<f64>, b: Rect<f64>) -> bool {
    a.min().x < b.max().x && b.min().x < a.max().x && a.min().y < b.max().y && b.min().y < a.max().y
}

fn outside_raster(extent: Rect<f64>, bounds: Rect<f64>) -> Problem {
    let swapped =
        Rect::new(Coord { x: bounds.min().y, y: bounds.min().x }, Coord { x: bounds.max().y, y: bounds.max().x });
    let hint = if overlap(extent, swapped) {
        "east and north of the boundary seem to be swapped; swap them"
    } else {
        "check the coordinate systems of both files"
    };
    Problem::data(
        "boundary_outside_raster",
        format!(
            "the boundary (E {:.0} to {:.0}, N {:.0} to {:.0}) lies outside the heights (E {:.0} to {:.0}, N {:.0} to {:.0})",
            bounds.min().x, bounds.max().x, bounds.min().y, bounds.max().y,
            extent.min().x, extent.max().x, extent.min().y, extent.max().y
        ),
    )
    .hint(hint)
}

/// The cells of a raster that touch a rectangle, on the raster's own cells: no height is changed.
fn cut_out(heights: &Raster<f32>, wanted: Rect<f64>) -> Raster<f32> {
    let s = heights.spec;
    let col = |x: f64| bounded((x - s.north_west.x) / s.cell_m, s.cols);
    let row = |y: f64| bounded((s.north_west.y - y) / s.cell_m, s.rows);
    let (c0, c1) = (col(wanted.min().x).0, col(wanted.max().x).1);
    let (r0, r1) = (row(wanted.max().y).0, row(wanted.min().y).1);
    let north_west =
        Coord { x: s.north_west.x + f64::from(c0) * s.cell_m, y: s.north_west.y - f64::from(r0) * s.cell_m };
    let spec = GridSpec { north_west, cell_m: s.cell_m, rows: r1 - r0, cols: c1 - c0 };
    let mut out = Raster::empty(spec, 0.0);
    for r in 0..spec.rows {
        let from = s.index(Cell::new(r + r0, c0));
        let to = spec.index(Cell::new(r, 0));
        let n = spec.cols as usize;
        out.values[to..to + n].copy_from_slice(&heights.values[from..from + n]);
        out.valid[to..to + n].copy_from_slice(&heights.valid[from..from + n]);
    }
    out
}

/// Whole cells below and above a position, within a grid.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid")]
fn bounded(position: f64, count: u32) -> (u32, u32) {
    let n = f64::from(count);
    (position.floor().clamp(0.0, n) as u32, position.ceil().clamp(0.0, n) as u32)
}

/// Area-weighted means of finer cells; a coarse cell needs half its area covered.
#[expect(clippy::cast_possible_truncation, reason = "heights are kept as f32 throughout")]
fn averaged(heights: &Raster<f32>, wanted: Rect<f64>, cell_m: f64) -> Raster<f32> {
    let fine = heights.spec;
    let extent = fine.extent();
    let common = Rect::new(
        Coord { x: wanted.min().x.max(extent.min().x), y: wanted.min().y.max(extent.min().y) },
        Coord { x: wanted.max().x.min(extent.max().x), y: wanted.max().y.min(extent.max().y) },
    );
    let spec = GridSpec::covering(common, cell_m);
    let mut out = Raster::empty(spec, 0.0);
    let shares = |from: f64, first: f64, count: u32| -> Vec<(u32, f64)> {
        let (lo, hi) = ((from - first) / fine.cell_m, (from + cell_m - first) / fine.cell_m);
        let (a, _) = bounded(lo, count);
        let (_, b) = bounded(hi, count);
        (a..b).map(|k| (k, (hi.min(f64::from(k) + 1.0) - lo.max(f64::from(k))).max(0.0))).collect()
    };
    let cols: Vec<_> = (0..spec.cols)
        .map(|c| shares(spec.north_west.x + f64::from(c) * cell_m, fine.north_west.x, fine.cols))
        .collect();
    let full = (cell_m / fine.cell_m).powi(2);
    for r in 0..spec.rows {
        let rows = shares(-spec.north_west.y + f64::from(r) * cell_m, -fine.north_west.y, fine.rows);
        for (c, cols) in (0..).zip(&cols) {
            let (mut sum, mut weight) = (0.0, 0.0);
            for (fr, wr) in &rows {
                for (fc, wc) in cols {
                    if let Some(z) = heights.get(Cell::new(*fr, *fc)) {
                        sum += wr * wc * f64::from(z);
                        weight += wr * wc;
                    }
                }
            }
            if weight >= 0.5 * full {
                out.set(Cell::new(r, c), (sum / weight) as f32);
            }
        }
    }
    out
}

/// Says how many points the reader left out, and why.
fn say_dropped(kept: usize, floats: usize, blanks: usize, findings: &mut Vec<Finding>) {
    let all = kept + floats + blanks;
    if floats > 0 {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "float_fixes_dropped",
            format!(
                "{floats} of {all} survey points were left out because their fix was not fixed or not precise: trees, banks \
                 or a lost radio link. Where they lay, the ground is taken from the points around."
            ),
        ));
    }
    if blanks > 0 {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "points_dropped",
            format!("{blanks} of {all} survey points were left out because they have no place or no height."),
        ));
    }
}

fn from_points(
    points: &[SurveyPoint],
    wanted: Rect<f64>,
    params: &SurveyParams,
    problems: &mut Problems,
) -> Option<Gridded> {
    let near = grown(wanted, params.point_reach_m);
    let used: Vec<HeightPoint> = points
        .iter()
        .filter(|p| !p.at.x.is_finite() || overlap(Rect::new(p.at, p.at), near))
        .map(|p| HeightPoint { at: p.at, height_m: p.height_m })
        .collect();
    if used.is_empty() && !points.is_empty() {
        let (first, rest) = (points[0].at, &points[1..]);
        let extent = rest.iter().fold(Rect::new(first, first), |r, p| {
            Rect::new(
                Coord { x: r.min().x.min(p.at.x), y: r.min().y.min(p.at.y) },
                Coord { x: r.max().x.max(p.at.x), y: r.max().y.max(p.at.y) },
            )
        });
        problems.push(outside_raster(extent, grown(wanted, -params.margin_m)));
        return None;
    }
    let method = match params.interpolant {
        BetweenPoints::NaturalNeighbour => Interpolant::NaturalNeighbour,
        BetweenPoints::Triangles => Interpolant::Linear,
    };
    let spec = GridSpec::covering(wanted, params.cell_size_m);
    let raster = match interpolate(&used, spec, method, params.point_reach_m) {
        Ok(raster) => raster,
        Err(error) => {
            problems.push(
                Problem::data("points_make_no_surface", format!("survey points: {error}"))
                    .hint("survey the whole property, with points on both sides of every line"),
            );
            return None;
        }
    };
    // Too few points to leave blocks out is no fault: the accuracy is then assumed and said to be.
    let validated_sigma_m =
        block_cross_validation(&used, params.validation_block_m).ok().filter(|v| v.n >= 20).map(|v| v.rmse_m);
    Some(Gridded { raster, validated_sigma_m })
}
