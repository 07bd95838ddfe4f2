//! Depressions and the banks the flow is let through, as layers and as a table.

use super::Results;
use super::layers::Plain;
use super::sheet;
use crate::land::document::{FieldKind, GeometryKind, Layer, Pattern, Table, Value};
use crate::land::drains::CulvertCheck;
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
    let checks = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.culverts);
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
            ("peak_m3_s", Real(3)),
            ("passes_m3_s", Real(3)),
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
                let check = checks.iter().find(|c| Some(&c.name) == b.culvert.as_ref());
                let values = vec![
                    culvert.into(),
                    diameter_mm.into(),
                    b.length_m.into(),
                    b.depth_m.into(),
                    b.catchment_ha.into(),
                    check.map(CulvertCheck::peak).into(),
                    check.and_then(|c| c.passes_m3_s).into(),
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

/// Mapped culverts beside what they have to pass.
pub(super) fn culverts(results: &Results<'_>) -> Table {
    let columns = &[
        ("culvert", Text),
        ("easting", Real(1)),
        ("northing", Real(1)),
        ("length_m", Real(1)),
        ("diameter_mm", Integer),
        ("catchment_ha_before", Real(2)),
        ("catchment_ha_after", Real(2)),
        ("peak_m3_s_before", Real(3)),
        ("peak_m3_s_after", Real(3)),
        ("passes_m3_s", Real(3)),
        ("carries", Text),
        ("needs_mm", Integer),
        ("needs_pipes", Integer),
    ];
    let row = |c: &CulvertCheck| {
        let carries = c.carries().map_or("not known", |yes| if yes { "yes" } else { "no" });
        vec![
            c.name.as_str().into(),
            c.at.x.into(),
            c.at.y.into(),
            c.length_m.into(),
            c.diameter_m.map(|d| (d * 1000.0).round()).into(),
            c.catchment_ha.0.into(),
            c.catchment_ha.1.into(),
            c.peak_m3_s.0.into(),
            c.peak_m3_s.1.into(),
            c.passes_m3_s.into(),
            carries.into(),
            c.needs.0.into(),
            c.needs.1.into(),
        ]
    };
    let checks = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.culverts);
    sheet::table(
        "culverts",
        "Mapped culverts beside the peak they have to pass",
        columns,
        checks.iter().map(row).collect(),
    )
}
