//! Depressions and the banks the flow is let through, as layers and as a table.

use super::Results;
use super::layers::Plain;
use super::sheet;
use crate::land::document::{FieldKind, GeometryKind, Layer, Pattern, Table, Value};
use crate::land::terrain::DepressionRecord;
use geo::{Geometry, Point};

use FieldKind::{Integer, Real, Text};

const DEPRESSION: &[(&str, FieldKind)] = &[
    ("number", Integer),
    ("within", Integer),
    ("max_depth_m", Real(2)),
    ("area_m2", Real(0)),
    ("volume_m3", Real(0)),
    ("spill_level_m", Real(2)),
    ("pour_east_m", Real(1)),
    ("pour_north_m", Real(1)),
];

fn values(d: &DepressionRecord) -> Vec<Value> {
    vec![
        d.id.into(),
        d.within.into(),
        d.max_depth_m.into(),
        d.area_m2.into(),
        d.volume_m3.into(),
        d.spill_level_m.into(),
        d.pour_point.x.into(),
        d.pour_point.y.into(),
    ]
}

/// Depressions at their lowest places, and banks the flow is let through.
pub(super) fn all(results: &Results<'_>) -> Vec<Layer> {
    let Some(terrain) = results.terrain else { return Vec::new() };
    let hollows = Plain {
        name: "depression",
        title: "Lowest places of low ground without a way out",
        kind: GeometryKind::Point,
        columns: DEPRESSION,
        stroke: [0, 70, 120],
        fill: None,
        pattern: Pattern::Solid,
        label: None,
    }
    .with(terrain.depressions.iter().map(|d| (Geometry::Point(Point(d.floor)), values(d))).collect());
    let banks = Plain {
        name: "opened_bank",
        title: "Banks the flow is let through",
        kind: GeometryKind::Line,
        columns: &[
            ("culvert", Text),
            ("diameter_mm", Integer),
            ("length_m", Real(1)),
            ("cut_depth_m", Real(2)),
            ("catchment_ha", Real(2)),
        ],
        stroke: [0, 0, 0],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("culvert"),
    }
    .with(
        terrain
            .opened_banks
            .iter()
            .map(|b| {
                let culvert = b.culvert.as_deref().unwrap_or("supposed, look for it");
                let diameter_mm = b.diameter_m.map(|d| (d * 1000.0).round());
                let values = vec![
                    culvert.into(),
                    diameter_mm.into(),
                    b.length_m.into(),
                    b.depth_m.into(),
                    b.catchment_ha.into(),
                ];
                (Geometry::LineString(b.line.clone()), values)
            })
            .collect(),
    );
    [hollows, banks].into_iter().flatten().collect()
}

/// Depressions, largest depth times area first.
pub(super) fn depressions(results: &Results<'_>) -> Table {
    let found = results.terrain.map_or(&[][..], |t| &t.depressions);
    let columns: Vec<(&str, FieldKind)> =
        DEPRESSION.iter().copied().chain([("floor_east_m", Real(1)), ("floor_north_m", Real(1))]).collect();
    let row = |d: &DepressionRecord| {
        let mut row = values(d);
        row.extend([d.floor.x.into(), d.floor.y.into()]);
        row
    };
    sheet::table("depressions", "Low ground without a way out", &columns, found.iter().map(row).collect())
}
