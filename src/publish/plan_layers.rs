//! Vector layers of the chosen plan.

use super::layers::Plain;
use super::{OptionResult, Results, earth_layers, set_out, view, water_layers};
use crate::land::blocks::HeadlandKind;
use crate::land::document::{FieldKind, GeometryKind, Layer, Pattern};
use geo::{Geometry, Point};

use FieldKind::{Integer, Real, Text};

/// Layers of the chosen plan that exist, in a fixed order.
pub(super) fn all(results: &Results<'_>) -> Vec<Layer> {
    let Some(plan) = results.plan() else { return Vec::new() };
    let mut out = blocks(results, plan);
    out.extend(drains(results, plan));
    out.extend(water_layers::among_rows(plan));
    out.extend(clearing(plan));
    out.extend(guidance(plan));
    out.extend(earth_layers::haul_layer(results));
    out.extend(earth_layers::contour_layer(results));
    out.extend(earth_layers::risk_layer(results));
    out.extend(earth_layers::place_layer(results));
    out.extend(pegs(results));
    out
}

fn blocks(results: &Results<'_>, plan: &OptionResult<'_>) -> Vec<Layer> {
    let Some(layout) = plan.blocks else { return Vec::new() };
    let area = |name, title, columns, stroke, fill, pattern, label| Plain {
        name,
        title,
        kind: GeometryKind::Area,
        columns,
        stroke,
        fill,
        pattern,
        label,
    };
    let line = |name, title, columns, stroke, pattern| Plain {
        name,
        title,
        kind: GeometryKind::Line,
        columns,
        stroke,
        fill: None,
        pattern,
        label: None,
    };
    let block =
        area("block", "Row blocks", view::BLOCK, [120, 80, 0], Some([230, 159, 0, 50]), Pattern::Solid, Some("name"))
            .with(
                layout
                    .blocks
                    .iter()
                    .map(|b| (Geometry::Polygon(b.outline.clone()), view::block_values(results, plan, b)))
                    .collect(),
            );
    let row = line("row", "Rows, high end to low end", view::ROW, [90, 130, 60], Pattern::Solid).with(
        view::rows(plan)
            .iter()
            .map(|v| (Geometry::LineString(v.row.line.clone()), view::row_values(results, v)))
            .collect(),
    );
    let mut heads = Vec::new();
    for b in &layout.blocks {
        for h in &b.headlands {
            let kind = match h.kind {
                HeadlandKind::Turning => "turning",
                HeadlandKind::Side => "side",
            };
            heads.push((Geometry::Polygon(h.outline.clone()), vec![b.id.0.into(), kind.into(), h.width_m.into()]));
        }
    }
    let columns = &[("block", Integer), ("kind", Text), ("width_m", Real(1))];
    let headland =
        area("headland", "Headlands", columns, [120, 120, 120], Some([200, 200, 200, 90]), Pattern::Dotted, None)
            .with(heads);
    let mut tracks: Vec<_> = layout
        .tracks
        .iter()
        .map(|t| (Geometry::LineString(t.line.clone()), vec!["planned".into(), "".into(), t.width_m.into()]))
        .collect();
    tracks.extend(results.site.layers.tracks.iter().map(|t| {
        (Geometry::LineString(t.line.clone()), vec!["stays".into(), t.name.as_str().into(), t.width_m.into()])
    }));
    let columns = &[("state", Text), ("name", Text), ("width_m", Real(1))];
    let track = line("track", "Tracks", columns, [110, 70, 40], Pattern::Dashed).with(tracks);
    [block, row, headland, track].into_iter().flatten().collect()
}

fn drains(results: &Results<'_>, plan: &OptionResult<'_>) -> Vec<Layer> {
    let Some(plan) = plan.drains else { return Vec::new() };
    let drain = Plain {
        name: "drain",
        title: "Drains, head to mouth",
        kind: GeometryKind::Line,
        columns: super::tables::DRAIN,
        stroke: [213, 94, 0],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("drain"),
    }
    .with(
        plan.drains
            .iter()
            .map(|d| (Geometry::LineString(d.line.clone()), super::tables::drain_values(results, d)))
            .collect(),
    );
    let crossing = Plain {
        name: "crossing",
        title: "Places a drain crosses something",
        kind: GeometryKind::Point,
        columns: &[("number", Integer), ("drain", Text), ("crosses", Text), ("needs", Text), ("culvert_mm", Real(0))],
        stroke: [204, 121, 167],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("crosses"),
    }
    .with(
        plan.crossings
            .iter()
            .map(|c| {
                let name = view::drain_name(c.drain);
                let values = vec![
                    c.id.into(),
                    name.into(),
                    c.crosses.as_str().into(),
                    c.needs.as_str().into(),
                    c.culvert_mm.into(),
                ];
                (Geometry::Point(Point(c.at)), values)
            })
            .collect(),
    );
    [drain, crossing].into_iter().flatten().collect()
}

fn clearing(plan: &OptionResult<'_>) -> Vec<Layer> {
    let Some(plan) = plan.clearing else { return Vec::new() };
    let windrow = Plain {
        name: "windrow",
        title: "Windrows of debris",
        kind: GeometryKind::Line,
        columns: &[("number", Integer), ("width_m", Real(1)), ("load_t", Real(1)), ("stays", Text)],
        stroke: [110, 70, 40],
        fill: None,
        pattern: Pattern::Dotted,
        label: None,
    }
    .with(
        plan.windrows
            .iter()
            .map(|w| {
                let stays = if w.stays { "yes" } else { "no" };
                (
                    Geometry::LineString(w.line.clone()),
                    vec![w.id.into(), w.width_m.into(), w.load_t.into(), stays.into()],
                )
            })
            .collect(),
    );
    let heap = Plain {
        name: "heap",
        title: "Heaps",
        kind: GeometryKind::Point,
        columns: &[("number", Integer), ("load_t", Real(1)), ("nearest_m", Real(0)), ("nearest", Text)],
        stroke: [0, 0, 0],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("number"),
    }
    .with(
        plan.heaps
            .iter()
            .map(|h| {
                let values = vec![h.id.into(), h.load_t.into(), h.nearest.0.into(), h.nearest.1.as_str().into()];
                (Geometry::Point(Point(h.at)), values)
            })
            .collect(),
    );
    [windrow, heap].into_iter().flatten().collect()
}

fn guidance(plan: &OptionResult<'_>) -> Option<Layer> {
    Plain {
        name: "guidance_line",
        title: "Guidance lines, A to B",
        kind: GeometryKind::Line,
        columns: &[
            ("name", Text),
            ("block", Integer),
            ("row", Integer),
            ("kind", Text),
            ("a_east_m", Real(3)),
            ("a_north_m", Real(3)),
            ("b_east_m", Real(3)),
            ("b_north_m", Real(3)),
            ("bearing_grid_deg", Real(4)),
            ("bearing_true_deg", Real(4)),
            ("width_m", Real(3)),
            ("passes_left", Integer),
            ("passes_right", Integer),
        ],
        stroke: [204, 121, 167],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("name"),
    }
    .with(
        plan.guidance
            .map_or(&[][..], |g| &g.lines)
            .iter()
            .map(|g| {
                let values = vec![
                    g.name.as_str().into(),
                    g.block.0.into(),
                    g.row.into(),
                    if g.is_curve() { "curve" } else { "straight" }.into(),
                    g.a().x.into(),
                    g.a().y.into(),
                    g.b().x.into(),
                    g.b().y.into(),
                    g.grid_bearing.degrees().into(),
                    g.true_bearing.degrees().into(),
                    g.width_m.into(),
                    g.passes.0.into(),
                    g.passes.1.into(),
                ];
                (Geometry::LineString(g.line.clone()), values)
            })
            .collect(),
    )
}

fn pegs(results: &Results<'_>) -> Option<Layer> {
    let concept = set_out::Heading::of(results)?.concept;
    Plain {
        name: if concept { "set_out_point_concept" } else { "set_out_point" },
        title: if concept { "CONCEPT pegs, not to be built from" } else { "Pegs" },
        kind: GeometryKind::Point,
        columns: set_out::PEG,
        stroke: [0, 0, 0],
        fill: None,
        pattern: Pattern::Solid,
        label: None,
    }
    .with(set_out::pegs(results).into_iter().map(|(at, v)| (Geometry::Point(Point(at)), v)).collect())
}
