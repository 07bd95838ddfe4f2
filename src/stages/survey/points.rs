//! The surveyed points of all files: one surface, its test, and the faults they show.

use super::swaths::{Passes, median, spread};
use super::{BetweenPoints, NAME, SurveyParams};
use crate::finding::{Finding, Place, Problem, Problems, Severity};
use crate::grid::{GridSpec, Raster};
use crate::land::survey::{Breakline, SurveyPoint};
use crate::methods::shapes::cells_inside;
use crate::methods::surface::{HeightPoint, Interpolant, Validation, block_turns, interpolate_with_breaks, leave_out};
use crate::units::M2_PER_HA;
use geo::{BoundingRect, Coord, MultiPolygon};

/// A single height this far off what the points around say is told, metres; or six times the usual, whichever is more.
const LONE_POINT_M: f64 = 0.15;
/// Side of the squares in which points are counted, metres.
const DENSITY_SQUARE_M: f64 = 25.0;
/// Share of the squares without any point from which the survey counts as patchy.
const EMPTY_SHARE: f64 = 0.1;
/// Points of other lines farther away say nothing about a flown line, metres.
const OVERLAP_REACH_M: f64 = 3.0;
/// Fewest predictions for an accuracy to be called measured.
const LEAST_PREDICTIONS: usize = 20;

/// Points of all files, in the order taken, and where each file begins.
pub(super) struct Points {
    /// The points.
    pub all: Vec<SurveyPoint>,
    /// Position of the first point of each file.
    pub starts: Vec<usize>,
}

/// How well heights between points are predicted, and how that was found.
pub(super) struct Tested {
    /// The figures.
    pub figures: Validation,
    /// "whole passes" or "blocks of points 20 m wide".
    pub what: String,
    /// Where the greatest difference is.
    pub worst: Coord<f64>,
}

pub(super) fn heights(points: &[SurveyPoint]) -> Vec<HeightPoint> {
    points.iter().map(|p| HeightPoint { at: p.at, height_m: p.height_m }).collect()
}

/// The surface through points and breaklines; `None` with a problem.
pub(super) fn surface(
    points: &Points,
    breaklines: &[Breakline],
    spec: GridSpec,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Raster<f32>> {
    let method = match params.interpolant {
        BetweenPoints::NaturalNeighbour => Interpolant::NaturalNeighbour,
        BetweenPoints::Triangles => Interpolant::Linear,
    };
    let line =
        |b: &Breakline| b.vertices.iter().map(|(at, height_m)| HeightPoint { at: *at, height_m: *height_m }).collect();
    let lines: Vec<Vec<HeightPoint>> = breaklines.iter().map(line).collect();
    match interpolate_with_breaks(&heights(&points.all), &lines, spec, method, params.point_reach_m) {
        Ok(gridded) => {
            if let Some(first) = gridded.crossing.first() {
                findings.push(
                    Finding::new(
                        Severity::Warning,
                        NAME,
                        "breaklines_cross",
                        format!(
                            "{} pieces of breaklines cross another one and were not used as edges; their vertices still count as \
                             points. Give both lines a vertex where they cross.",
                            gridded.crossing.len()
                        ),
                    )
                    .at(Place::Point { east_m: first.x, north_m: first.y }),
                );
            }
            Some(gridded.raster)
        }
        Err(error) => {
            problems.push(
                Problem::data("points_make_no_surface", format!("survey points: {error}"))
                    .hint("survey the whole property, with points on both sides of every line"),
            );
            None
        }
    }
}

/// Leaves out whole passes, or blocks where there are none, and says what that shows.
///
/// Flown lines are hundreds of metres wide: left out whole they say nothing about the ground between the points, but
/// where they overlap they say whether they fit each other.
pub(super) fn test(points: &Points, params: &SurveyParams, findings: &mut Vec<Finding>) -> Option<Tested> {
    let passes = Passes::of(&points.all, &points.starts);
    let heights = heights(&points.all);
    let by_pass = passes.as_ref().and_then(|passes| {
        let reach_m = if passes.driven { f64::INFINITY } else { OVERLAP_REACH_M };
        leave_out(&heights, &passes.turns(heights.len()), reach_m).ok()
    });
    if let (Some(passes), Some(errors)) = (&passes, &by_pass) {
        passes.judge(&points.all, errors, findings);
    }
    let driven = passes.is_some_and(|passes| passes.driven);
    let (errors, what) = match by_pass {
        Some(errors) if driven => (errors, "whole passes".to_owned()),
        // Too few points to leave any out is no fault: the accuracy is then assumed and said to be.
        _ => (
            leave_out(&heights, &block_turns(&heights, params.validation_block_m), f64::INFINITY).ok()?,
            format!("blocks of points {:.0} m wide", params.validation_block_m),
        ),
    };
    let known: Vec<f64> = errors.iter().flatten().copied().collect();
    if known.len() < LEAST_PREDICTIONS {
        return None;
    }
    say_lone_points(&points.all, &errors, &known, findings);
    let off = |i: &usize| errors[*i].map_or(0.0, f64::abs);
    let worst = (0..errors.len()).max_by(|a, b| off(a).total_cmp(&off(b)))?;
    Some(Tested { figures: Validation::of(&known), what, worst: points.all[worst].at })
}

/// Single heights that stand off everything around: float fixes, canopy, or a drain nobody drew.
fn say_lone_points(points: &[SurveyPoint], errors: &[Option<f64>], known: &[f64], findings: &mut Vec<Finding>) {
    let middle = median(&mut known.to_vec());
    let limit_m = LONE_POINT_M.max(6.0 * spread(known));
    let lone: Vec<(usize, f64)> = errors
        .iter()
        .enumerate()
        .filter_map(|(i, e)| e.map(|e| (i, middle - e)))
        .filter(|(_, off)| off.abs() > limit_m)
        .collect();
    let Some((worst, off_m)) = lone.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) else { return };
    let at = points[*worst].at;
    let high = lone.iter().filter(|(_, off)| *off > 0.0).count();
    findings.push(
        Finding::new(
            Severity::Warning,
            NAME,
            "points_off_surroundings",
            format!(
                "{} survey points stand more than {limit_m:.2} m off what the points around them say ({high} high, {} low), the \
                 worst by {off_m:+.2} m. They were used. High ones by trees are float fixes or trash: take them out. Low ones \
                 along a line are a drain: give it breaklines.",
                lone.len(),
                lone.len() - high
            ),
        )
        .at(Place::Point { east_m: at.x, north_m: at.y }),
    );
}

/// Counts points in squares over the property and says where they are thin; gives points a hectare inside the boundary.
pub(super) fn density(
    points: &[SurveyPoint],
    boundary: &MultiPolygon<f64>,
    findings: &mut Vec<Finding>,
) -> Option<Raster<f32>> {
    let bounds = boundary.bounding_rect()?;
    let spec = GridSpec::covering(bounds, DENSITY_SQUARE_M);
    let inside = cells_inside(spec, boundary);
    let mut counts = vec![0_u32; spec.len()];
    for cell in points.iter().filter_map(|p| spec.cell_at(p.at)) {
        counts[spec.index(cell)] += 1;
    }
    let mut found: Vec<f64> = counts.iter().zip(&inside).filter(|(_, i)| **i).map(|(n, _)| f64::from(*n)).collect();
    if found.is_empty() {
        return None;
    }
    let empty = found.iter().filter(|n| **n == 0.0).count();
    let (least, most) = found.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), n| (l.min(*n), m.max(*n)));
    let middle = median(&mut found);
    let share = empty as f64 / found.len() as f64;
    let (severity, code) =
        if share > EMPTY_SHARE { (Severity::Warning, "points_patchy") } else { (Severity::Note, "point_density") };
    let finding = Finding::new(
        severity,
        NAME,
        code,
        format!(
            "Survey points in squares of {DENSITY_SQUARE_M:.0} m inside the boundary: {middle:.0} in the middle one of {}, {least:.0} \
             to {most:.0} in all; {empty} squares have none.",
            found.len()
        ),
    );
    let bare = (0..spec.len()).find(|i| inside[*i] && counts[*i] == 0);
    findings.push(match bare.map(|i| spec.centre(spec.cell(i))) {
        Some(at) => finding.at(Place::Point { east_m: at.x, north_m: at.y }),
        None => finding,
    });
    let square_ha = spec.cell_area_m2() / M2_PER_HA;
    let a_hectare = counts.iter().map(|n| (f64::from(*n) / square_ha) as f32).collect();
    Some(Raster { spec, values: a_hectare, valid: inside })
}
