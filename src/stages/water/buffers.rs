//! Land kept free along water and round features, and the shape no row may use.

use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Place, Severity};
use crate::land::site::{KeepKind, Waterway};
use crate::land::water::{Buffer, DrainageLine};
use crate::methods::shapes::{buffer_lines, buffer_polygon, intersection, union_all};
use geo::{Area, LineString, MultiLineString, MultiPolygon, Polygon};

/// Pieces and holes of the kept land below this are rounding, square metres.
const CRUMB_M2: f64 = 1.0;

/// All buffers that touch the property, in the order waterways, wetlands, unmapped lines.
pub(super) fn find(
    input: &WaterInput<'_>,
    lines: &[DrainageLine],
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> Vec<Buffer> {
    let mut buffers = Vec::new();
    for waterway in &input.site.layers.waterways {
        buffers.push(along_waterway(waterway, params, findings));
    }
    for area in input.site.layers.keep_areas.iter().filter(|a| a.kind == KeepKind::Wetland) {
        buffers.push(Buffer {
            outline: buffer_polygon(&area.outline, params.wetland_buffer_m),
            protects: format!("wetland ({})", area.reason),
            width_m: params.wetland_buffer_m,
            from_bank: true,
        });
    }
    for line in lines.iter().filter(|l| l.stays_open && l.waterway.is_none()) {
        buffers.push(Buffer {
            outline: around(&line.line, params.drainage_line_buffer_m),
            protects: format!("drainage line {} (on no map)", line.id),
            width_m: params.drainage_line_buffer_m,
            from_bank: false,
        });
    }
    for buffer in &mut buffers {
        buffer.outline = intersection(&buffer.outline, &input.site.boundary, CRUMB_M2);
    }
    buffers.retain(|b| b.outline.unsigned_area() > 0.0);
    buffers
}

/// The waterway with its buffer, measured from its banks when they are mapped.
fn along_waterway(waterway: &Waterway, params: &WaterParams, findings: &mut Vec<Finding>) -> Buffer {
    let mut say = |code: &str, message: String| {
        findings.push(Finding::new(Severity::Warning, NAME, code, message).at(Place::Named(waterway.name.clone())));
    };
    let width_m = match waterway.order {
        Some(0..=2) => params.buffer_order_1_2_m,
        Some(3..=4) => params.buffer_order_3_4_m,
        Some(_) => params.buffer_order_5_m,
        None => {
            say(
                "waterway_order_unknown",
                format!(
                    "{} has no order on the map: the buffer of order 1 and 2, {:.0} m, is used. Look it up on the official map; order \
                     3 asks for {:.0} m.",
                    waterway.name, params.buffer_order_1_2_m, params.buffer_order_3_4_m
                ),
            );
            params.buffer_order_1_2_m
        }
    };
    let outline = if let Some(banks) = &waterway.banks {
        buffer_polygon(banks, width_m)
    } else {
        let full_m = waterway.width_m.unwrap_or(params.waterway_width_m);
        say(
            "buffer_from_centre_line",
            format!(
                "The banks of {} are not mapped: its buffer of {width_m:.0} m is measured from the centre line plus half its width \
                 ({full_m:.1} m{}). Peg it from the top of the bank.",
                waterway.name,
                if waterway.width_m.is_some() { "" } else { ", assumed" }
            ),
        );
        around(&waterway.line, full_m / 2.0 + width_m)
    };
    let protects = match waterway.order {
        Some(order) => format!("{} (order {order})", waterway.name),
        None => format!("{} (order unknown)", waterway.name),
    };
    Buffer { outline, protects, width_m, from_bank: waterway.banks.is_some() }
}

fn around(line: &LineString<f64>, half_width_m: f64) -> MultiPolygon<f64> {
    buffer_lines(&MultiLineString(vec![line.clone()]), half_width_m)
}

/// Everything inside the boundary no row may use, as one shape.
pub(super) fn no_rows(
    input: &WaterInput<'_>,
    buffers: &[Buffer],
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> MultiPolygon<f64> {
    let layers = &input.site.layers;
    let mut parts: Vec<Polygon<f64>> = buffers.iter().flat_map(|b| b.outline.0.iter().cloned()).collect();
    parts.extend(layers.keep_areas.iter().flat_map(|a| a.outline.0.iter().cloned()));
    for waterway in &layers.waterways {
        parts.extend(waterway.banks.iter().flat_map(|b| b.0.iter().cloned()));
    }
    for track in &layers.tracks {
        parts.extend(around(&track.line, track.width_m.unwrap_or(params.track_width_m) / 2.0).0);
    }
    for power_line in &layers.power_lines {
        let easement_m = power_line.easement_m.unwrap_or(params.easement_width_m);
        let easement = intersection(&around(&power_line.line, easement_m / 2.0), &input.site.boundary, CRUMB_M2);
        if easement.0.is_empty() {
            continue;
        }
        power_line_caution(power_line.clearance_m, easement_m, params, findings);
        if !params.rows_under_power_lines {
            parts.extend(easement.0);
        }
    }
    intersection(&union_all(&parts, CRUMB_M2), &input.site.boundary, CRUMB_M2)
}

fn power_line_caution(clearance_m: Option<f64>, easement_m: f64, params: &WaterParams, findings: &mut Vec<Finding>) {
    let wire = clearance_m.map_or("of unknown height".to_owned(), |c| format!("{c:.1} m above ground on the map"));
    let rows = if params.rows_under_power_lines {
        "Rows run through its easement; poles and stays are not mapped, so leave them out on the ground."
    } else {
        "Its easement is kept free of rows."
    };
    findings.push(Finding::new(
        Severity::Severe,
        NAME,
        "power_line",
        format!(
            "An overhead power line ({wire}, easement {easement_m:.0} m) crosses the property. {rows} Ask the line owner for \
             clearances and conditions before trees are felled, heaps burnt, or harvesters, haul-outs or excavators work near it."
        ),
    ));
}
