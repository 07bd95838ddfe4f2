//! Where water stands on the ground as it lies.

use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Severity};
use crate::grid::{GridSpec, Raster};
use crate::land::water::Pond;
use crate::methods::flow::ponds;
use crate::methods::shapes::union_all;
use crate::units::M2_PER_HA;
use crate::wording::{counted, grouped};
use geo::{Coord, MultiPolygon, Polygon, Rect};

/// The ponds the survey can tell, and the depth of water in them.
pub(super) fn find(
    input: &WaterInput<'_>,
    inside: &[bool],
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> (Vec<Pond>, Raster<f32>) {
    let concept = &input.ground.concept.0;
    let filled = &input.terrain.filled.0;
    let spec = concept.spec;
    let told_m = input.ground.accuracy.band_95_m();
    let least_m = params.pond_min_depth_m.max(told_m);
    let mut kept = Vec::new();
    let mut depth = Raster::empty(spec, 0.0_f32);
    for pool in ponds(concept, filled, least_m, params.pond_min_area_m2) {
        let cells: Vec<usize> = pool.cells.iter().map(|i| *i as usize).filter(|i| inside[*i]).collect();
        let area_m2 = cells.len() as f64 * spec.cell_area_m2();
        let depth_of = |i: usize| filled.values[i] - concept.values[i];
        let max_depth_m = cells.iter().map(|i| f64::from(depth_of(*i))).fold(0.0, f64::max);
        if area_m2 < params.pond_min_area_m2 || max_depth_m < least_m {
            continue;
        }
        for &i in &cells {
            depth.values[i] = depth_of(i);
            depth.valid[i] = true;
        }
        let volume_m3 = cells.iter().map(|i| f64::from(depth_of(*i))).sum::<f64>() * spec.cell_area_m2();
        kept.push(Pond {
            id: 0,
            outline: outline(spec, &cells),
            area_m2,
            max_depth_m,
            volume_m3,
            spill_level_m: pool.level_m,
        });
    }
    kept.sort_by(|a, b| (b.max_depth_m * b.area_m2).total_cmp(&(a.max_depth_m * a.area_m2)));
    for (id, pond) in (1..).zip(&mut kept) {
        pond.id = id;
    }
    report(&kept, least_m, told_m > params.pond_min_depth_m, findings);
    (kept, depth)
}

/// The cells as one shape: runs along rows first, because a few long boxes join faster than many squares.
fn outline(spec: GridSpec, cells: &[usize]) -> MultiPolygon<f64> {
    let cols = spec.cols as usize;
    let half_m = 0.5 * spec.cell_m;
    let boxes: Vec<Polygon<f64>> = cells
        .chunk_by(|a, b| *b == *a + 1 && *b % cols != 0)
        .map(|run| {
            let (first, last) = (spec.centre(spec.cell(run[0])), spec.centre(spec.cell(run[run.len() - 1])));
            Rect::new(
                Coord { x: first.x - half_m, y: first.y - half_m },
                Coord { x: last.x + half_m, y: last.y + half_m },
            )
            .to_polygon()
        })
        .collect();
    union_all(&boxes, 0.0)
}

fn report(kept: &[Pond], least_m: f64, limited_by_survey: bool, findings: &mut Vec<Finding>) {
    let area_ha: f64 = kept.iter().map(|p| p.area_m2).sum::<f64>() / M2_PER_HA;
    let volume_m3: f64 = kept.iter().map(|p| p.volume_m3).sum();
    if !kept.is_empty() {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "ponds",
            format!(
                "Water stands in {}, {area_ha:.2} ha and {} m3 in all, before it spills.",
                counted(kept.len(), "place"),
                grouped(volume_m3)
            ),
        ));
    }
    if limited_by_survey {
        findings.push(Finding::new(
            Severity::Warning,
            NAME,
            "shallow_ponds_not_told",
            format!("Ponds shallower than {least_m:.2} m cannot be told from survey error here and are not listed."),
        ));
    }
}
