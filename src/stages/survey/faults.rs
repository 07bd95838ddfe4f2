//! Holes, spikes and absurd heights.

use super::{NAME, SurveyParams};
use crate::finding::{Finding, Place, Problem, Problems, Severity};
use crate::grid::Raster;
use crate::methods::surface::fill_voids;
use crate::units::M2_PER_HA;
use geo::MultiPolygon;
use geo::{BoundingRect, Coord};

/// Heights outside these are no land that can be cropped, metres: the lowest shore and the highest mountain.
const POSSIBLE_M: (f32, f32) = (-450.0, 9_000.0);

/// The heights with spikes taken out and small holes filled; `None` with a problem when they cannot be used.
pub(super) fn mend(
    mut raster: Raster<f32>,
    inside: &[bool],
    boundary: &MultiPolygon<f64>,
    params: &SurveyParams,
    findings: &mut Vec<Finding>,
    problems: &mut Problems,
) -> Option<Raster<f32>> {
    let before = problems.0.len();
    drop_impossible(&mut raster, findings);
    drop_spikes(&mut raster, inside, params.spike_m, findings);
    check_relief(&raster, inside, params.max_relief_m, problems);
    check_cover(&raster, boundary, problems);
    if problems.0.len() > before {
        return None;
    }
    let filling = fill_voids(&raster, inside, params.max_void_m2);
    let (mut count, mut area_m2) = (0, 0.0);
    for void in &filling.voids {
        if void.filled {
            count += 1;
            area_m2 += void.area_m2;
            continue;
        }
        problems.push(
            Problem::data(
                "void_too_large",
                format!(
                    "no heights on {:.0} m2 inside the boundary near E {:.0} N {:.0}; at most {:.0} m2 can be filled",
                    void.area_m2, void.centre.x, void.centre.y, params.max_void_m2
                ),
            )
            .hint("survey that ground, cut it out of the boundary, or raise `survey.max_void_m2` knowing that the heights there are invented"),
        );
    }
    if count > 0 {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "voids_filled",
            format!("{count} holes in the heights, {area_m2:.0} m2 in all, were filled from their rims. Heights there are not surveyed."),
        ));
    }
    (problems.0.len() == before).then_some(filling.raster)
}

/// Takes out numbers that are no height.
fn drop_impossible(raster: &mut Raster<f32>, findings: &mut Vec<Finding>) {
    let mut count = 0_usize;
    for (z, valid) in raster.values.iter().zip(&mut raster.valid) {
        if *valid && !(z.is_finite() && *z >= POSSIBLE_M.0 && *z <= POSSIBLE_M.1) {
            *valid = false;
            count += 1;
        }
    }
    if count > 0 {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "impossible_heights",
            format!(
                "{count} cells held no possible height (not a number, or outside {} to {} m) and were taken as holes. \
                 The file may not declare its no-data value.",
                POSSIBLE_M.0, POSSIBLE_M.1
            ),
        ));
    }
}

/// Takes out cells that stand far from the middle of their neighbours; a cliff or bank has neighbours on both sides.
fn drop_spikes(raster: &mut Raster<f32>, inside: &[bool], spike_m: f64, findings: &mut Vec<Finding>) {
    let mut spikes = Vec::new();
    let cols = raster.spec.cols as usize;
    for i in 0..raster.spec.len() {
        if !raster.valid[i] || !stands_out(raster, i, cols, spike_m) {
            continue;
        }
        let mut around: Vec<f32> =
            raster.spec.neighbours(raster.spec.cell(i)).filter_map(|(cell, _)| raster.get(cell)).collect();
        around.sort_by(f32::total_cmp);
        if around.len() >= 5 && f64::from((raster.values[i] - around[around.len() / 2]).abs()) > spike_m {
            spikes.push(i);
        }
    }
    let Some(first) = spikes.first() else { return };
    let at = raster.spec.centre(raster.spec.cell(*first));
    let within = spikes.iter().filter(|i| inside[**i]).count();
    for i in &spikes {
        raster.valid[*i] = false;
    }
    findings.push(
        Finding::new(
            Severity::Warning,
            NAME,
            "spikes_removed",
            format!(
                "{} cells ({within} inside the boundary) stood more than {spike_m:.1} m off all ground around them and were taken \
                 as holes: birds, masts, trees or bad fixes.",
                spikes.len()
            ),
        )
        .at(Place::Point { east_m: at.x, north_m: at.y }),
    );
}

/// A cheap first look: both neighbours in the row are far away, or one is missing.
fn stands_out(raster: &Raster<f32>, i: usize, cols: usize, spike_m: f64) -> bool {
    let z = raster.values[i];
    let far = |j: usize| !raster.valid[j] || f64::from((z - raster.values[j]).abs()) > spike_m * 0.5;
    let (west, east) = (i % cols == 0 || far(i - 1), (i + 1) % cols == 0 || far(i + 1));
    west && east
}

fn check_relief(raster: &Raster<f32>, inside: &[bool], max_relief_m: f64, problems: &mut Problems) {
    let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
    for ((z, valid), inside) in raster.values.iter().zip(&raster.valid).zip(inside) {
        if *valid && *inside {
            low = low.min(*z);
            high = high.max(*z);
        }
    }
    if f64::from(high - low) > max_relief_m {
        problems.push(
            Problem::data(
                "absurd_heights",
                format!("heights inside the boundary run from {low:.1} to {high:.1} m; at most {max_relief_m:.0} m of relief is believed"),
            )
            .hint("check unit and no-data value of the elevation source, or raise `survey.max_relief_m`"),
        );
    }
}

/// Refuses a boundary that reaches beyond the heights.
fn check_cover(raster: &Raster<f32>, boundary: &MultiPolygon<f64>, problems: &mut Problems) {
    let (extent, Some(bounds)) = (raster.spec.extent(), boundary.bounding_rect()) else { return };
    let gaps = [
        ("west", extent.min().x - bounds.min().x),
        ("east", bounds.max().x - extent.max().x),
        ("south", extent.min().y - bounds.min().y),
        ("north", bounds.max().y - extent.max().y),
    ];
    // Half a cell more than the rim is within the drawing of both.
    let beyond: Vec<String> = gaps
        .iter()
        .filter(|(_, gap)| *gap > 0.5 * raster.spec.cell_m)
        .map(|(side, gap)| format!("{gap:.0} m in the {side}"))
        .collect();
    if !beyond.is_empty() {
        let Coord { x, y } = bounds.center();
        problems.push(
            Problem::data(
                "boundary_partly_on_raster",
                format!(
                    "the boundary ({:.1} ha box about E {x:.0} N {y:.0}) reaches beyond the heights: {}",
                    bounds.width() * bounds.height() / M2_PER_HA,
                    beyond.join(", ")
                ),
            )
            .hint("get heights for the whole property, or cut the boundary back"),
        );
    }
}
