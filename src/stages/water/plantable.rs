//! Land that may be planted, piece by piece.

use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Problem, ProblemKind, Problems, Severity};
use crate::land::water::PlantablePiece;
use crate::methods::shapes::{buffer_polygon, difference};
use crate::units::M2_PER_HA;
use crate::wording::counted;
use geo::{Area, BoundingRect, MultiPolygon, Polygon};

/// The pieces, numbered north to south, then west to east.
pub(super) fn find(
    input: &WaterInput<'_>,
    no_rows: &MultiPolygon<f64>,
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> Result<Vec<PlantablePiece>, Problems> {
    let site = input.site;
    let parcels: Vec<(u32, &MultiPolygon<f64>)> = if site.parcels_worked_as_one || site.parcels.is_empty() {
        vec![(0, &site.boundary)]
    } else {
        site.parcels.iter().map(|p| (p.id, &p.outline)).collect()
    };
    let mut pieces = Vec::new();
    let (mut left_over_m2, mut left_over) = (0.0, 0_usize);
    for (parcel, outline) in parcels {
        let inner = buffer_polygon(outline, -params.boundary_setback_m);
        for polygon in difference(&inner, no_rows, 1.0).0 {
            if polygon.unsigned_area() < params.min_piece_ha * M2_PER_HA || narrow(&polygon, params.min_piece_width_m) {
                left_over_m2 += polygon.unsigned_area();
                left_over += 1;
            } else {
                pieces.push(PlantablePiece { id: 0, parcel, outline: polygon });
            }
        }
    }
    pieces.sort_by(|a, b| order_key(a).0.total_cmp(&order_key(b).0).then(order_key(a).1.total_cmp(&order_key(b).1)));
    for (id, piece) in (1..).zip(&mut pieces) {
        piece.id = id;
    }
    if left_over > 0 {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "small_pieces_left_over",
            format!(
                "Left out, being smaller than {:.2} ha or narrower than {:.0} m: {}, {:.2} ha in all.",
                params.min_piece_ha,
                params.min_piece_width_m,
                counted(left_over, "piece"),
                left_over_m2 / M2_PER_HA
            ),
        ));
    }
    let gross_ha = site.boundary.unsigned_area() / M2_PER_HA;
    let plantable_ha = pieces.iter().map(|p| p.outline.unsigned_area()).sum::<f64>() / M2_PER_HA;
    if pieces.is_empty() {
        return Err(Problem::new(
            ProblemKind::NoDesign,
            "no_plantable_land",
            format!(
                "of {gross_ha:.1} ha nothing may be planted: {:.1} ha are waterways, buffers, kept land and tracks, the rest is \
                 smaller than {:.2} ha or narrower than {:.0} m",
                no_rows.unsigned_area() / M2_PER_HA,
                params.min_piece_ha,
                params.min_piece_width_m
            ),
        )
        .hint("check the keep areas and buffer widths, or lower `water.min_piece_ha` and `water.min_piece_width_m`")
        .into());
    }
    findings.push(Finding::new(
        Severity::Note,
        NAME,
        "plantable_area",
        format!(
            "{plantable_ha:.1} of {gross_ha:.1} ha may be planted, in {}; {:.1} % goes to water, buffers, kept land and set-backs.",
            counted(pieces.len(), "piece"),
            100.0 * (1.0 - plantable_ha / gross_ha)
        ),
    ));
    Ok(pieces)
}

/// Whether nothing is left of a piece when half the width is taken off all round.
fn narrow(polygon: &Polygon<f64>, width_m: f64) -> bool {
    width_m > 0.0 && buffer_polygon(&MultiPolygon(vec![polygon.clone()]), -width_m / 2.0).0.is_empty()
}

/// Northing of the top, turned over, and easting of the left side.
fn order_key(piece: &PlantablePiece) -> (f64, f64) {
    piece.outline.bounding_rect().map_or((f64::INFINITY, f64::INFINITY), |r| (-r.max().y, r.min().x))
}
