//! Lines along which water gathers, told from the terrain and matched with the map.

use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Place, Severity};
use crate::land::site::Waterway;
use crate::land::water::DrainageLine;
use crate::methods::flow::{StreamSegment, accumulate, stream_segments};
use crate::units::M2_PER_HA;
use crate::wording::counted;
use geo::{Coord, Distance, Euclidean, Intersects, LineString, Point, Simplify};

/// Share of a line that must lie near a waterway to be taken for it.
const MATCHED_SHARE: f64 = 0.6;
/// Every this many cells of a line its distance to the map is measured.
const EVERY_CELLS: usize = 4;
/// Names listed in a finding before the rest are only counted.
const NAMED: usize = 5;
/// Shorter pieces are corners cut by the boundary, cells.
const FEWEST_CELLS: usize = 3;

/// Upstream area of each cell, hectares: all of it, and the part inside the boundary.
pub(super) struct Upstream {
    /// Whole catchment.
    pub all_ha: Vec<f64>,
    /// Part inside the boundary.
    pub inside_ha: Vec<f64>,
}

impl Upstream {
    /// Adds up both along the flow field.
    pub(super) fn new(input: &WaterInput<'_>, inside: &[bool]) -> Self {
        let flow = &input.terrain.flow;
        let cell_ha = flow.spec.cell_area_m2() / M2_PER_HA;
        let weights: Vec<f64> = inside.iter().map(|i| if *i { cell_ha } else { 0.0 }).collect();
        Self { all_ha: accumulate(flow, &vec![cell_ha; inside.len()]), inside_ha: accumulate(flow, &weights) }
    }
}

/// The lines inside the boundary, largest catchment first.
pub(super) fn find(
    input: &WaterInput<'_>,
    inside: &[bool],
    upstream: &Upstream,
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> Vec<DrainageLine> {
    let segments = stream_segments(&input.terrain.flow, &upstream.all_ha, params.line_catchment_ha);
    let mut lines = Vec::new();
    for segment in &segments {
        for run in runs_inside(segment, inside) {
            lines.push(drainage_line(input, segment.order, run, upstream, params));
        }
    }
    lines.sort_by(|a, b| b.catchment_ha.total_cmp(&a.catchment_ha).then_with(|| first_of(a).total_cmp(&first_of(b))));
    for (id, line) in (1..).zip(&mut lines) {
        line.id = id;
    }
    report(&lines, params, findings);
    report_unmatched(input, &lines, params, findings);
    lines
}

/// Mapped waterways that no line told from the terrain follows: the map and the ground do not agree.
fn report_unmatched(input: &WaterInput<'_>, lines: &[DrainageLine], params: &WaterParams, findings: &mut Vec<Finding>) {
    let boundary = &input.site.boundary;
    let unmatched: Vec<&Waterway> = input
        .site
        .layers
        .waterways
        .iter()
        .filter(|w| w.line.intersects(boundary) && !lines.iter().any(|l| l.waterway == Some(w.id)))
        .collect();
    if unmatched.is_empty() {
        return;
    }
    let names: Vec<&str> = unmatched.iter().take(NAMED).map(|w| w.name.as_str()).collect();
    let rest = unmatched.len().saturating_sub(NAMED);
    let more = if rest > 0 { format!(" and {rest} more") } else { String::new() };
    findings.push(Finding::new(
        Severity::Note,
        NAME,
        "mapped_line_not_in_terrain",
        format!(
            "Mapped waterways that no gathering line of at least {:.0} ha follows within {:.0} m: {}{more}. Either their water comes from \
             outside the heights given, or the map is out of place; they are kept as mapped.",
            params.line_catchment_ha,
            params.match_distance_m,
            names.join(", ")
        ),
    ));
}

fn first_of(line: &DrainageLine) -> f64 {
    line.line.0.first().map_or(0.0, |c| c.x)
}

/// The unbroken runs of a segment's cells inside the boundary.
fn runs_inside<'a>(segment: &'a StreamSegment, inside: &'a [bool]) -> impl Iterator<Item = &'a [u32]> {
    segment
        .cells
        .chunk_by(|a, b| inside[*a as usize] == inside[*b as usize])
        .filter(|run| inside[run[0] as usize] && run.len() >= FEWEST_CELLS)
}

fn drainage_line(
    input: &WaterInput<'_>,
    order: u8,
    run: &[u32],
    upstream: &Upstream,
    params: &WaterParams,
) -> DrainageLine {
    let spec = input.terrain.flow.spec;
    let centres: Vec<Coord<f64>> = run.iter().map(|i| spec.centre(spec.cell(*i as usize))).collect();
    let lower = run[run.len() - 1] as usize;
    let outside_ha = upstream.all_ha[lower] - upstream.inside_ha[lower];
    let waterway = matching(&centres, &input.site.layers.waterways, params.match_distance_m);
    DrainageLine {
        id: 0,
        // Steps from cell to cell are no bends of the water.
        line: LineString(centres).simplify(0.75 * spec.cell_m),
        order,
        catchment_ha: upstream.all_ha[lower],
        waterway,
        stays_open: waterway.is_some() || outside_ha >= params.open_catchment_ha,
    }
}

/// The waterway most of a line lies along; the nearer one when there are several.
fn matching(centres: &[Coord<f64>], waterways: &[Waterway], within_m: f64) -> Option<u32> {
    let mut best: Option<(f64, u32)> = None;
    for waterway in waterways {
        let distances: Vec<f64> = centres
            .iter()
            .step_by(EVERY_CELLS)
            .map(|c| Euclidean.distance(&Point(*c), &waterway.line) - waterway.width_m.unwrap_or(0.0) / 2.0)
            .collect();
        let near = distances.iter().filter(|d| **d <= within_m).count() as f64;
        let mean_m = distances.iter().sum::<f64>() / distances.len().max(1) as f64;
        if near >= MATCHED_SHARE * distances.len() as f64 && best.is_none_or(|(m, _)| mean_m < m) {
            best = Some((mean_m, waterway.id));
        }
    }
    best.map(|b| b.1)
}

fn report(lines: &[DrainageLine], params: &WaterParams, findings: &mut Vec<Finding>) {
    for line in lines.iter().filter(|l| l.stays_open && l.waterway.is_none()) {
        let Some(end) = line.line.0.last() else { continue };
        findings.push(
            Finding::new(
                Severity::Warning,
                NAME,
                "unmapped_line_kept_open",
                format!(
                    "Drainage line {} is on no map but carries {:.1} ha, at least {:.0} ha of it from outside: it is kept open, \
                     {:.0} m of grass each side. Have it looked at on the ground.",
                    line.id, line.catchment_ha, params.open_catchment_ha, params.drainage_line_buffer_m
                ),
            )
            .at(Place::Point { east_m: end.x, north_m: end.y }),
        );
    }
    let closed: Vec<&DrainageLine> = lines.iter().filter(|l| !l.stays_open).collect();
    if let Some(largest) = closed.first() {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "lines_planted_over",
            format!(
                "{} (unmapped; largest {:.1} ha) with less than {:.0} ha from outside may be levelled or planted \
                 over; rows and drains must carry their water.",
                counted(closed.len(), "gathering line"),
                largest.catchment_ha,
                params.open_catchment_ha
            ),
        ));
    }
}
