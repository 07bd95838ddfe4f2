//! Several sources of heights: compared where they overlap before one is used beside another.
//!
//! A constant difference means another datum, geoid model or base mark. It is reported, never taken out: which of the
//! two is right cannot be told from the heights. Above a limit the sources are refused together.

use super::points::heights;
use super::swaths::{median, spread};
use super::{NAME, SurveyParams};
use crate::finding::{Finding, Place, Problem, Problems, Severity};
use crate::grid::{GridSpec, Raster};
use crate::land::survey::RawElevation;
use crate::methods::surface::{Interpolant, heights_at};
use geo::{BoundingRect, Contains, Coord, MultiPolygon, Rect};

/// Most places compared for a pair of sources.
const PLACES: usize = 20_000;
/// Fewest places for two sources to count as tied.
const LEAST_PLACES: usize = 10;
/// Points farther from a place than this say nothing about its height here, metres.
const TIE_REACH_M: f64 = 5.0;
/// Sources that differ by more than this many limits are refused.
const REFUSED_LIMITS: f64 = 3.0;

/// Compares every source with those before it; `false` when a problem was added.
pub(super) fn check(
    sources: &[(&str, &RawElevation)],
    boundary: &MultiPolygon<f64>,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> bool {
    let before = problems.0.len();
    for (k, (name, source)) in sources.iter().enumerate().skip(1) {
        let mut tied = false;
        for (other_name, other) in &sources[..k] {
            let found = differences(source, other, boundary);
            if found.len() < LEAST_PLACES {
                continue;
            }
            tied = true;
            judge((name, other_name), &found, params.max_source_step_m, findings, problems);
        }
        if !tied {
            findings.push(Finding::new(
                Severity::Warning,
                NAME,
                "source_untied",
                format!(
                    "`{name}` overlaps no source named before it at {LEAST_PLACES} places or more: whether their heights are in \
                     one system could not be checked. Survey a strip that both cover."
                ),
            ));
        }
    }
    problems.0.len() == before
}

fn judge(
    names: (&str, &str),
    found: &[(Coord<f64>, f64)],
    limit_m: f64,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) {
    let mut values: Vec<f64> = found.iter().map(|f| f.1).collect();
    let sd_m = spread(&values);
    let bias_m = median(&mut values);
    let n = found.len();
    let said = format!(
        "`{}` lies {bias_m:+.3} m from `{}` at {n} places both cover (spread {sd_m:.3} m, 1 sigma); limit {limit_m:.3} m",
        names.0, names.1
    );
    // A few noisy places can be off by chance.
    let sure = bias_m.abs() > 2.0 * sd_m / (n as f64).sqrt();
    let at = found[n / 2].0;
    let place = Place::Point { east_m: at.x, north_m: at.y };
    if sure && bias_m.abs() > REFUSED_LIMITS * limit_m {
        problems.push(Problem::data("sources_disagree", said).hint(
            "find out which is right (datum, geoid model, unit, base mark) and bring the other to it, or raise \
             `survey.max_source_step_m` knowing that the ground gets a step where they meet",
        ));
    } else if sure && bias_m.abs() > limit_m {
        let text =
            format!("{said}. It was not taken out: the ground has a step where they meet. Tie both to one mark.");
        findings.push(Finding::new(Severity::Severe, NAME, "sources_differ", text).at(place));
    } else {
        findings.push(Finding::new(Severity::Note, NAME, "sources_agree", format!("{said}.")).at(place));
    }
}

/// Height of `source` less that of `other` at places both cover inside the boundary.
fn differences(source: &RawElevation, other: &RawElevation, boundary: &MultiPolygon<f64>) -> Vec<(Coord<f64>, f64)> {
    let wanted = |places: Vec<(Coord<f64>, f64)>| {
        let bounds = boundary.bounding_rect();
        let near: Vec<_> = places
            .into_iter()
            .filter(|(at, z)| z.is_finite() && bounds.is_some_and(|b| b.contains(at)) && boundary.contains(at))
            .collect();
        let stride = near.len().div_ceil(PLACES).max(1);
        near.into_iter().step_by(stride).collect::<Vec<_>>()
    };
    let cells = |r: &Raster<f32>| {
        let stride = r.spec.len().div_ceil(4 * PLACES).max(1) | 1;
        let of = |i: usize| (r.spec.centre(r.spec.cell(i)), f64::from(r.values[i]));
        (0..r.spec.len()).step_by(stride).filter(|i| r.valid[*i]).map(of).collect::<Vec<_>>()
    };
    let (places, others, sign) = match (source, other) {
        (RawElevation::Points { points, .. }, other) => {
            let places = wanted(points.iter().map(|p| (p.at, p.height_m)).collect());
            let others = read(other, &places);
            (places, others, 1.0)
        }
        (source, RawElevation::Points { points, .. }) => {
            let places = wanted(points.iter().map(|p| (p.at, p.height_m)).collect());
            let others = read(source, &places);
            (places, others, -1.0)
        }
        (RawElevation::Raster { heights, .. }, other) => {
            let places = wanted(cells(heights));
            let others = read(other, &places);
            (places, others, 1.0)
        }
    };
    places.into_iter().zip(others).filter_map(|((at, z), o)| Some((at, sign * (z - o?)))).collect()
}

fn read(source: &RawElevation, places: &[(Coord<f64>, f64)]) -> Vec<Option<f64>> {
    match source {
        RawElevation::Raster { heights, .. } => places.iter().map(|(at, _)| heights.bilinear(*at)).collect(),
        RawElevation::Points { points, .. } => {
            let at: Vec<Coord<f64>> = places.iter().map(|p| p.0).collect();
            heights_at(&heights(points), &at, Interpolant::NaturalNeighbour, TIE_REACH_M)
                .unwrap_or_else(|_| vec![None; places.len()])
        }
    }
}

/// The same cells on a grid that also covers `wanted`, whole cells added at the sides.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "never negative; the size was checked")]
pub(super) fn widened(raster: &Raster<f32>, wanted: Rect<f64>) -> Raster<f32> {
    let (s, extent) = (raster.spec, raster.spec.extent());
    let more = |m: f64| (m / s.cell_m - 1e-6).ceil().max(0.0) as u32;
    let (west, north) = (more(extent.min().x - wanted.min().x), more(wanted.max().y - extent.max().y));
    let (east, south) = (more(wanted.max().x - extent.max().x), more(extent.min().y - wanted.min().y));
    let spec = GridSpec {
        north_west: Coord {
            x: s.north_west.x - f64::from(west) * s.cell_m,
            y: s.north_west.y + f64::from(north) * s.cell_m,
        },
        cell_m: s.cell_m,
        rows: s.rows + north + south,
        cols: s.cols + west + east,
    };
    let mut out = Raster::empty(spec, 0.0);
    let n = s.cols as usize;
    for row in 0..s.rows as usize {
        let to = (row + north as usize) * spec.cols as usize + west as usize;
        out.values[to..to + n].copy_from_slice(&raster.values[row * n..(row + 1) * n]);
        out.valid[to..to + n].copy_from_slice(&raster.valid[row * n..(row + 1) * n]);
    }
    out
}

/// Gives cells without a height that of another raster.
#[expect(clippy::cast_possible_truncation, reason = "heights are kept as f32 throughout")]
pub(super) fn fill_in(into: &mut Raster<f32>, from: &Raster<f32>) {
    for i in 0..into.spec.len() {
        if into.valid[i] {
            continue;
        }
        if let Some(z) = from.bilinear(into.spec.centre(into.spec.cell(i))) {
            (into.values[i], into.valid[i]) = (z as f32, true);
        }
    }
}
