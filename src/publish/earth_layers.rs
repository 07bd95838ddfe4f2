//! Layers of the earthworks: hauls, contours of the design, areas of yield risk, places for soil.

use super::Results;
use super::earth_tables::{HAUL, haul_rows, levelling, pairs};
use super::layers::Plain;
use crate::land::blocks::BlockId;
use crate::land::document::{FieldKind, GeometryKind, Layer, Pattern};
use crate::land::levelling::RiskArea;
use crate::land::site::EarthPlace;
use crate::land::terrain::Contour;
use geo::{Geometry, Point};

use FieldKind::{Integer, Real, Text};

/// The main hauls as a layer.
pub(super) fn haul_layer(results: &Results<'_>) -> Option<Layer> {
    Plain {
        name: "haul",
        title: "Main hauls, cut to fill",
        kind: GeometryKind::Line,
        columns: HAUL,
        stroke: [90, 60, 30],
        fill: None,
        pattern: Pattern::Solid,
        label: None,
    }
    .with(haul_rows(results))
}

/// Contours of the surface to be built.
pub(super) fn contour_layer(results: &Results<'_>) -> Option<Layer> {
    let contours = levelling(results).map_or(&[][..], |l| &l.contours);
    let value = |c: &Contour| vec![c.level_m.into(), (if c.major { "yes" } else { "no" }).into()];
    Plain {
        name: "design_contour",
        title: "Contours of the surface to be built",
        kind: GeometryKind::Line,
        columns: &[("level_m", Real(2)), ("heavy", Text)],
        stroke: [0, 90, 120],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("level_m"),
    }
    .with(contours.iter().map(|c| (Geometry::MultiLineString(c.lines.clone()), value(c))).collect())
}

/// Where yield is at risk because topsoil is cut away.
pub(super) fn risk_layer(results: &Results<'_>) -> Option<Layer> {
    let areas = levelling(results).map_or(&[][..], |l| &l.risk_areas);
    let name = |id: BlockId| pairs(results).into_iter().find(|(b, _)| b.id == id).map(|(b, _)| b.name.clone());
    let row = |a: &RiskArea| {
        vec![
            a.block.0.into(),
            name(a.block).into(),
            a.risk.words().into(),
            a.area_m2.into(),
            (1_000.0 * a.least_left_m).into(),
        ]
    };
    Plain {
        name: "yield_risk",
        title: "Yield at risk: topsoil cut thin or away",
        kind: GeometryKind::Area,
        columns: &[
            ("block", Integer),
            ("name", Text),
            ("risk", Text),
            ("area_m2", Real(0)),
            ("least_topsoil_mm", Real(0)),
        ],
        stroke: [170, 60, 20],
        fill: Some([170, 60, 20, 60]),
        pattern: Pattern::Hatched(45),
        label: None,
    }
    .with(areas.iter().map(|a| (Geometry::MultiPolygon(a.outline.clone()), row(a))).collect())
}

/// Places given that give or take soil, with what is carried.
pub(super) fn place_layer(results: &Results<'_>) -> Option<Layer> {
    let moved = |place: &EarthPlace| {
        let all = pairs(results).into_iter().flat_map(|(_, earth)| &earth.places);
        all.filter(|h| h.kind == place.kind && h.place == place.name).map(|h| h.volume_m3).sum::<f64>()
    };
    let row = |p: &EarthPlace| {
        vec![p.name.as_str().into(), p.kind.word().into(), p.capacity_m3.into(), p.price_per_m3.into(), moved(p).into()]
    };
    Plain {
        name: "earth_place",
        title: "Places that give or take soil",
        kind: GeometryKind::Point,
        columns: &[
            ("name", Text),
            ("kind", Text),
            ("capacity_m3", Real(0)),
            ("price_per_m3", Real(2)),
            ("volume_bank_m3", Real(0)),
        ],
        stroke: [90, 60, 30],
        fill: None,
        pattern: Pattern::Solid,
        label: Some("name"),
    }
    .with(results.site.layers.earth_places.iter().map(|p| (Geometry::Point(Point(p.at)), row(p))).collect())
}
