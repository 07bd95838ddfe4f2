//! Brings the heights as read onto the working grid.

use super::points::{self, Points, Tested};
use super::{NAME, SurveyInput, SurveyParams, ties};
use crate::finding::{Finding, Problem, Problems, Severity};
use crate::grid::{Cell, GridSpec, Raster};
use crate::land::survey::{RawElevation, SurveyPoint};
use geo::{BoundingRect, Coord, MultiPolygon, Rect};

/// Heights on the working grid.
pub(super) struct Gridded {
    /// Heights, metres.
    pub raster: Raster<f32>,
    /// What leaving out points showed; `None` for rasters and very few points.
    pub tested: Option<Tested>,
    /// Points a hectare in squares; `None` for rasters.
    pub density: Option<Raster<f32>>,
}

/// Heights on the working grid over the boundary and its margin.
pub(super) fn on_grid(
    input: &SurveyInput<'_>,
    boundary: &MultiPolygon<f64>,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Gridded> {
    let raw = input.raw;
    let bounds = boundary.bounding_rect()?;
    let wanted = grown(bounds, params.margin_m);
    let first = raw.elevation.as_ref()?;
    let native_m = match first {
        RawElevation::Raster { heights, .. } => heights.spec.cell_m,
        RawElevation::Points { .. } => params.cell_size_m,
    };
    let cell_m = native_m.max(params.cell_size_m);
    check_size(wanted, cell_m, input.most_cells, problems)?;
    let sources: Vec<(&str, &RawElevation)> = std::iter::once(("elevation", first))
        .chain(raw.more_elevation.iter().map(|(name, source)| (name.as_str(), source)))
        .collect();
    if !ties::check(&sources, boundary, params, findings, problems) {
        return None;
    }
    // Points of all files make one surface, which stands where the first of them stands.
    let all = together(&sources, wanted, params, findings, problems)?;
    let mut gridded: Option<Gridded> = None;
    let mut points_used = false;
    for (_, source) in &sources {
        let next = match source {
            RawElevation::Raster { heights, handling } => Gridded {
                raster: from_raster(heights, handling, bounds, wanted, cell_m, findings, problems)?,
                tested: None,
                density: None,
            },
            RawElevation::Points { .. } if points_used => continue,
            RawElevation::Points { .. } => {
                points_used = true;
                let spec = GridSpec::covering(wanted, cell_m);
                let raster = points::surface(&all, &raw.breaklines, spec, params, findings, problems)?;
                let density = points::density(&all.all, boundary, findings);
                Gridded { raster, tested: points::test(&all, params, findings), density }
            }
        };
        gridded = Some(match gridded {
            None if sources.len() > 1 => Gridded { raster: ties::widened(&next.raster, wanted), ..next },
            None => next,
            Some(mut before) => {
                ties::fill_in(&mut before.raster, &next.raster);
                Gridded {
                    raster: before.raster,
                    tested: before.tested.or(next.tested),
                    density: before.density.or(next.density),
                }
            }
        });
    }
    if !raw.breaklines.is_empty() && !points_used {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "breaklines_unused",
            "Breaklines were given, but all heights come from rasters, which are taken as they are.",
        ));
    }
    gridded
}

/// Refuses a grid the memory of the machine does not take, or a mistaken cell size.
fn check_size(wanted: Rect<f64>, cell_m: f64, most_cells: f64, problems: &mut Problems) -> Option<()> {
    let cells = wanted.width() * wanted.height() / (cell_m * cell_m);
    if cells <= most_cells {
        return Some(());
    }
    // To a tenth of a metre upwards: the coarser grid surely fits.
    let fitting_m = (10.0 * (wanted.width() * wanted.height() / most_cells).sqrt()).ceil() / 10.0;
    problems.push(
        Problem::data(
            "grid_too_large",
            format!(
                "the working grid would hold {:.0} million cells; the free memory of this machine takes {:.0} million",
                cells / 1e6,
                most_cells / 1e6
            ),
        )
        .hint(format!("set `survey.cell_size_m` to {fitting_m} or more, or run where more memory is free")),
    );
    None
}

/// The points of all files near the property; `None` with a problem when a file has none there.
fn together(
    sources: &[(&str, &RawElevation)],
    wanted: Rect<f64>,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Points> {
    let near = grown(wanted, params.point_reach_m);
    let mut all = Points { all: Vec::new(), starts: Vec::new() };
    for (_, source) in sources {
        let RawElevation::Points { points, floats, blanks } = source else { continue };
        say_dropped(points.len(), *floats, *blanks, findings);
        all.starts.push(all.all.len());
        all.all.extend(points.iter().filter(|p| !p.at.x.is_finite() || overlap(Rect::new(p.at, p.at), near)).cloned());
        if all.starts.last() == Some(&all.all.len())
            && let Some(extent) = extent_of(points)
        {
            problems.push(outside_raster(extent, grown(wanted, -params.margin_m)));
            return None;
        }
    }
    Some(all)
}

fn extent_of(points: &[SurveyPoint]) -> Option<Rect<f64>> {
    let first = points.first()?.at;
    Some(points.iter().fold(Rect::new(first, first), |r, p| {
        Rect::new(
            Coord { x: r.min().x.min(p.at.x), y: r.min().y.min(p.at.y) },
            Coord { x: r.max().x.max(p.at.x), y: r.max().y.max(p.at.y) },
        )
    }))
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
) -> Option<Raster<f32>> {
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
    Some(raster)
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
