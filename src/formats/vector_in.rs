//! Features of a vector file, moved into the working system.

use super::crs;
use super::open::{open_vector, split_layer};
use crate::finding::Problem;
use gdal::spatial_ref::{CoordTransform, SpatialRef};
use gdal::vector::{FieldValue, Layer, LayerAccess};
use geo::{Coord, Geometry, LineString, MapCoords, MultiPolygon, Point};
use std::collections::BTreeMap;
use std::path::Path;

/// A feature: its parts without Z, its Z values, and its attributes by lowercase name.
#[derive(Debug, Clone)]
pub(super) struct RawFeature {
    pub(super) geometry: Geometry<f64>,
    /// Height of the first vertex, when the geometry carries heights.
    pub(super) z: Option<f64>,
    attributes: BTreeMap<String, String>,
}

impl RawFeature {
    /// The first of several attribute names that is there and not empty.
    pub(super) fn text(&self, names: &[&str]) -> Option<String> {
        names.iter().find_map(|name| self.attributes.get(*name)).filter(|v| !v.trim().is_empty()).cloned()
    }
    /// The same as a number; decimal commas are understood.
    pub(super) fn number(&self, names: &[&str]) -> Option<f64> {
        names
            .iter()
            .filter_map(|name| self.attributes.get(*name))
            .find_map(|v| v.trim().replace(',', ".").parse::<f64>().ok().filter(|n| n.is_finite()))
    }
    /// Its areas.
    pub(super) fn areas(&self) -> Option<MultiPolygon<f64>> {
        fn collect(geometry: &Geometry<f64>, into: &mut Vec<geo::Polygon<f64>>) {
            match geometry {
                Geometry::Polygon(p) => into.push(p.clone()),
                Geometry::MultiPolygon(m) => into.extend(m.0.iter().cloned()),
                Geometry::GeometryCollection(c) => c.0.iter().for_each(|g| collect(g, into)),
                _ => {}
            }
        }
        let mut parts = Vec::new();
        collect(&self.geometry, &mut parts);
        (!parts.is_empty()).then_some(MultiPolygon(parts))
    }
    /// Its lines.
    pub(super) fn lines(&self) -> Vec<LineString<f64>> {
        match &self.geometry {
            Geometry::LineString(l) => vec![l.clone()],
            Geometry::MultiLineString(m) => m.0.clone(),
            _ => Vec::new(),
        }
    }
    /// Its points.
    pub(super) fn points(&self) -> Vec<Coord<f64>> {
        match &self.geometry {
            Geometry::Point(Point(c)) => vec![*c],
            Geometry::MultiPoint(m) => m.0.iter().map(|p| p.0).collect(),
            _ => Vec::new(),
        }
    }
}

/// All features of one input, and the system they were in.
pub(super) struct RawLayer {
    pub(super) features: Vec<RawFeature>,
    pub(super) srs: SpatialRef,
}

/// Reads a layer without moving it; `fallback` is the system of files that do not say theirs.
pub(super) fn read_layer(base: &Path, key: &str, source: &str, fallback: Option<&str>) -> Result<RawLayer, Problem> {
    let dataset = open_vector(base, key, source)?;
    let (path, wanted) = split_layer(source);
    let layer = match wanted {
        Some(name) => dataset.layer_by_name(name).map_err(|_| {
            let names: Vec<String> = dataset.layers().map(|l| l.name()).collect();
            Problem::data("layer_missing", format!("`site.{key}`: `{path}` has no layer `{name}`"))
                .hint(format!("it has: {}", names.join(", ")))
        })?,
        None => {
            let names: Vec<String> = dataset.layers().map(|l| l.name()).filter(|n| n != "layer_styles").collect();
            let stem = Path::new(path).file_stem().map(|s| s.to_string_lossy().to_string()).unwrap_or_default();
            let pick = match names.as_slice() {
                [] => return Err(Problem::data("layer_empty", format!("`site.{key}`: `{path}` has no layer"))),
                [only] => only.clone(),
                many => many.iter().find(|n| **n == key || **n == stem).cloned().ok_or_else(|| {
                    Problem::data("layer_unclear", format!("`site.{key}`: `{path}` has {} layers", many.len()))
                        .hint(format!("name one as `{path}#layer`: {}", many.join(", ")))
                })?,
            };
            dataset.layer_by_name(&pick).map_err(|e| Problem::data("file_unreadable", e.to_string()))?
        }
    };
    let srs = match (layer.spatial_ref(), fallback) {
        (Some(srs), _) => crs::from_wkt(&srs.to_wkt().unwrap_or_default()),
        (None, Some(text)) => Some(crs::from_user(text)?),
        (None, None) => None,
    }
    .ok_or_else(|| {
        Problem::data("no_crs", format!("`site.{key}`: `{source}` does not say its coordinate system")).hint(
            "a Shapefile needs its .prj beside it; else set `site.crs` after checking it with whoever made the file",
        )
    })?;
    let features = read_features(layer);
    if features.is_empty() {
        return Err(Problem::data("layer_empty", format!("`site.{key}`: `{source}` holds no feature")));
    }
    Ok(RawLayer { features, srs: crs::horizontal(&srs) })
}

fn read_features(mut layer: Layer<'_>) -> Vec<RawFeature> {
    let mut features = Vec::new();
    for feature in layer.features() {
        let Some(geometry) = feature.geometry() else { continue };
        if geometry.is_empty() {
            continue;
        }
        let z = first_height(geometry);
        let mut flat = geometry.clone();
        flat.flatten_to_2d();
        let Ok(geometry) = Geometry::<f64>::try_from(&flat) else { continue };
        let attributes =
            feature.fields().filter_map(|(name, value)| Some((name.to_lowercase(), as_text(value?)?))).collect();
        features.push(RawFeature { geometry, z, attributes });
    }
    features
}

fn first_height(geometry: &gdal::vector::Geometry) -> Option<f64> {
    if !gdal::vector::geometry_type_has_z(geometry.geometry_type()) {
        return None;
    }
    let mut points = Vec::new();
    if geometry.geometry_count() > 0 {
        let part = geometry.get_geometry(0);
        part.get_points(&mut points);
    } else {
        geometry.get_points(&mut points);
    }
    points.first().map(|p| p.2)
}

fn as_text(value: FieldValue) -> Option<String> {
    match value {
        FieldValue::StringValue(s) => Some(s),
        FieldValue::IntegerValue(i) => Some(i.to_string()),
        FieldValue::Integer64Value(i) => Some(i.to_string()),
        FieldValue::RealValue(r) => Some(r.to_string()),
        _ => None,
    }
}

/// Moves a layer into the working system.
pub(super) fn move_layer(layer: RawLayer, working: &SpatialRef, key: &str) -> Result<Vec<RawFeature>, Problem> {
    if layer.srs.to_wkt().ok() == working.to_wkt().ok() {
        return Ok(layer.features);
    }
    let way = crs::transform(&layer.srs, working, &format!("site.{key}"))?;
    layer
        .features
        .into_iter()
        .map(|feature| Ok(RawFeature { geometry: move_geometry(&feature.geometry, &way, key)?, ..feature }))
        .collect()
}

fn move_geometry(geometry: &Geometry<f64>, way: &CoordTransform, key: &str) -> Result<Geometry<f64>, Problem> {
    geometry.try_map_coords(|at| {
        crs::move_point(way, at).ok_or_else(|| {
            Problem::data(
                "coordinates_out_of_range",
                format!("`site.{key}`: the point {:.6}, {:.6} cannot be moved into the working system", at.x, at.y),
            )
            .hint("longitude must come before latitude; the axes may be swapped in the file")
        })
    })
}
