//! Vector layers of the land as it is, and the list of all layers.

use super::{Results, plan_layers, sheet, terrain_layers};
use crate::land::document::{Feature, FieldKind, GeometryKind, Layer, LayerStyle, Pattern, Value};
use geo::Geometry;

use FieldKind::{Integer, Real, Text};

/// A layer under construction: name, title, kind, columns and look.
pub(super) struct Plain<'a> {
    pub name: &'a str,
    pub title: &'a str,
    pub kind: GeometryKind,
    pub columns: &'a [(&'a str, FieldKind)],
    pub stroke: [u8; 3],
    pub fill: Option<[u8; 4]>,
    pub pattern: Pattern,
    pub label: Option<&'a str>,
}

impl Plain<'_> {
    /// The finished layer, or nothing when there is no feature.
    pub(super) fn with(self, features: Vec<(Geometry<f64>, Vec<Value>)>) -> Option<Layer> {
        if features.is_empty() {
            return None;
        }
        let fields = sheet::fields(self.columns);
        let features = features
            .into_iter()
            .map(|(geometry, values)| Feature { geometry, values: sheet::rounded(&fields, values) })
            .collect();
        Some(Layer {
            name: self.name.to_owned(),
            title: self.title.to_owned(),
            kind: self.kind,
            fields,
            features,
            style: LayerStyle {
                stroke: self.stroke,
                stroke_mm: 0.35,
                fill: self.fill,
                pattern: self.pattern,
                label: self.label.map(str::to_owned),
            },
        })
    }
}

/// Every layer that exists, in a fixed order.
pub(super) fn all(results: &Results<'_>) -> Vec<Layer> {
    let mut out: Vec<Layer> = [boundary(results), keep_out(results)].into_iter().flatten().collect();
    out.extend(water(results));
    out.extend(terrain_layers::all(results));
    out.extend(plan_layers::all(results));
    out.extend(contour(results));
    out
}

fn boundary(results: &Results<'_>) -> Option<Layer> {
    Plain {
        name: "boundary",
        title: "Boundary",
        kind: GeometryKind::Area,
        columns: &[("number", Integer), ("name", Text)],
        stroke: [0, 0, 0],
        fill: None,
        pattern: Pattern::Dashed,
        label: Some("name"),
    }
    .with(
        results
            .site
            .parcels
            .iter()
            .map(|p| (Geometry::MultiPolygon(p.outline.clone()), vec![p.id.into(), p.name.as_str().into()]))
            .collect(),
    )
}

fn keep_out(results: &Results<'_>) -> Option<Layer> {
    Plain {
        name: "keep_out",
        title: "Areas kept",
        kind: GeometryKind::Area,
        columns: &[("reason", Text)],
        stroke: [0, 110, 80],
        fill: Some([0, 158, 115, 40]),
        pattern: Pattern::Hatched(45),
        label: Some("reason"),
    }
    .with(
        results
            .site
            .layers
            .keep_areas
            .iter()
            .map(|k| (Geometry::MultiPolygon(k.outline.clone()), vec![k.reason.as_str().into()]))
            .collect(),
    )
}

fn water(results: &Results<'_>) -> Vec<Layer> {
    let mut out = Vec::new();
    let ways = &results.site.layers.waterways;
    let buffers = results.water.map_or(&[][..], |w| &w.buffers);
    out.extend(
        Plain {
            name: "buffer",
            title: "Strips kept free along water",
            kind: GeometryKind::Area,
            columns: &[("protects", Text), ("width_m", Real(1)), ("from_bank", Text)],
            stroke: [86, 180, 233],
            fill: Some([86, 180, 233, 50]),
            pattern: Pattern::Dotted,
            label: None,
        }
        .with(
            buffers
                .iter()
                .map(|b| {
                    let from = if b.from_bank { "mapped bank" } else { "centre line" };
                    let values = vec![b.protects.as_str().into(), b.width_m.into(), from.into()];
                    (Geometry::MultiPolygon(b.outline.clone()), values)
                })
                .collect(),
        ),
    );
    out.extend(
        Plain {
            name: "waterway",
            title: "Mapped waterways",
            kind: GeometryKind::Line,
            columns: &[("number", Integer), ("name", Text), ("order", Integer), ("width_m", Real(1))],
            stroke: [0, 114, 178],
            fill: None,
            pattern: Pattern::Solid,
            label: Some("name"),
        }
        .with(
            ways.iter()
                .map(|w| {
                    let order = w.order.map(u32::from).into();
                    let values = vec![w.id.into(), w.name.as_str().into(), order, w.width_m.into()];
                    (Geometry::LineString(w.line.clone()), values)
                })
                .collect(),
        ),
    );
    out.extend(natural(results));
    out
}

fn natural(results: &Results<'_>) -> Vec<Layer> {
    let Some(water) = results.water else { return Vec::new() };
    let lines = Plain {
        name: "drainage_line",
        title: "Lines along which water gathers",
        kind: GeometryKind::Line,
        columns: &[("number", Integer), ("order", Integer), ("catchment_ha", Real(2)), ("stays_open", Text)],
        stroke: [86, 180, 233],
        fill: None,
        pattern: Pattern::Dashed,
        label: None,
    }
    .with(
        water
            .drainage_lines
            .iter()
            .map(|d| {
                let open = if d.stays_open { "yes" } else { "no" };
                let values = vec![d.id.into(), u32::from(d.order).into(), d.catchment_ha.into(), open.into()];
                (Geometry::LineString(d.line.clone()), values)
            })
            .collect(),
    );
    let ponds = Plain {
        name: "pond",
        title: "Places where water stands",
        kind: GeometryKind::Area,
        columns: &[
            ("number", Integer),
            ("area_m2", Real(0)),
            ("max_depth_m", Real(2)),
            ("volume_m3", Real(0)),
            ("spill_level_m", Real(2)),
        ],
        stroke: [0, 114, 178],
        fill: Some([0, 114, 178, 90]),
        pattern: Pattern::Dotted,
        label: Some("number"),
    }
    .with(
        water
            .ponds
            .iter()
            .map(|p| {
                let sizes = [p.area_m2, p.max_depth_m, p.volume_m3, p.spill_level_m];
                let mut values: Vec<Value> = vec![p.id.into()];
                values.extend(sizes.map(Value::from));
                (Geometry::MultiPolygon(p.outline.clone()), values)
            })
            .collect(),
    );
    let plantable = Plain {
        name: "plantable",
        title: "Land that may be planted",
        kind: GeometryKind::Area,
        columns: &[("number", Integer), ("parcel", Integer)],
        stroke: [90, 90, 90],
        fill: None,
        pattern: Pattern::Solid,
        label: None,
    }
    .with(
        water
            .plantable
            .iter()
            .map(|p| (Geometry::Polygon(p.outline.clone()), vec![p.id.into(), p.parcel.into()]))
            .collect(),
    );
    [lines, ponds, plantable].into_iter().flatten().collect()
}

fn contour(results: &Results<'_>) -> Option<Layer> {
    Plain {
        name: "contour",
        title: "Contours of the ground",
        kind: GeometryKind::Line,
        columns: &[("level_m", Real(2)), ("heavy", Text)],
        stroke: [170, 150, 120],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("level_m"),
    }
    .with(
        results
            .terrain
            .map_or(&[][..], |t| &t.contours)
            .iter()
            .map(|c| {
                let heavy = if c.major { "yes" } else { "no" };
                (Geometry::MultiLineString(c.lines.clone()), vec![c.level_m.into(), heavy.into()])
            })
            .collect(),
    )
}
