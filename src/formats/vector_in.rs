//! Features of a vector file, brought into the working system.

use super::gdal_setup::reason;
use super::open::{Source, open_vector};
use super::{crs, transform::Mapper};
use crate::finding::Problem;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{FieldValue, Layer, LayerAccess};
use geo::{Coord, Geometry, LineString, MultiPolygon};
use std::collections::BTreeMap;

/// One feature as it stands in the file.
#[derive(Debug, Clone)]
pub struct RawFeature {
    /// Plan geometry.
    pub geometry: Geometry<f64>,
    /// Height of a point geometry that carries one.
    pub z: Option<f64>,
    /// Attributes by lower-case name, as text.
    pub fields: BTreeMap<String, String>,
}

/// A layer as it stands in the file.
pub struct RawLayer {
    /// Where it came from.
    pub source: Source,
    /// Its horizontal system, east first.
    pub crs: SpatialRef,
    /// Features in file order, those without a geometry left out.
    pub features: Vec<RawFeature>,
}

impl RawFeature {
    /// The first attribute present under one of the names, not blank.
    #[must_use]
    pub fn text(&self, names: &[&str]) -> Option<&str> {
        names.iter().find_map(|n| self.fields.get(*n)).map(|t| t.trim()).filter(|t| !t.is_empty())
    }
    /// The first attribute that reads as a number; a unit behind it ("5 m") is left out.
    #[must_use]
    pub fn number(&self, names: &[&str]) -> Option<f64> {
        names.iter().find_map(|n| self.fields.get(*n).and_then(|t| number(t)))
    }
    /// The areas of the feature; `None` when it has none.
    #[must_use]
    pub fn areas(&self) -> Option<MultiPolygon<f64>> {
        let mut polygons = Vec::new();
        collect_areas(&self.geometry, &mut polygons);
        (!polygons.is_empty()).then_some(MultiPolygon(polygons))
    }
    /// The lines of the feature.
    #[must_use]
    pub fn lines(&self) -> Vec<LineString<f64>> {
        let mut lines = Vec::new();
        collect_lines(&self.geometry, &mut lines);
        lines.retain(|line| line.0.len() > 1);
        lines
    }
    /// The points of the feature.
    #[must_use]
    pub fn points(&self) -> Vec<Coord<f64>> {
        match &self.geometry {
            Geometry::Point(p) => vec![p.0],
            Geometry::MultiPoint(m) => m.0.iter().map(|p| p.0).collect(),
            _ => Vec::new(),
        }
    }
}

/// A number as people write it in attribute tables.
fn number(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = text.parse().ok().or_else(|| text.split_whitespace().next()?.parse().ok());
    plain.filter(|n: &f64| n.is_finite())
}

fn collect_areas(geometry: &Geometry<f64>, out: &mut Vec<geo::Polygon<f64>>) {
    match geometry {
        Geometry::Polygon(p) => out.push(p.clone()),
        Geometry::MultiPolygon(m) => out.extend(m.0.iter().cloned()),
        Geometry::GeometryCollection(g) => g.0.iter().for_each(|g| collect_areas(g, out)),
        _ => {}
    }
}

fn collect_lines(geometry: &Geometry<f64>, out: &mut Vec<LineString<f64>>) {
    match geometry {
        Geometry::LineString(l) if l.0.len() > 1 => out.push(l.clone()),
        Geometry::MultiLineString(m) => out.extend(m.0.iter().filter(|l| l.0.len() > 1).cloned()),
        Geometry::GeometryCollection(g) => g.0.iter().for_each(|g| collect_lines(g, out)),
        _ => {}
    }
}

impl RawLayer {
    /// Reads a layer; `fallback` is `site.crs`.
    ///
    /// # Errors
    /// Anything that keeps the file from being read, `layer_missing`, `layer_empty`, `no_crs`.
    pub fn read(source: Source, fallback: Option<&SpatialRef>) -> Result<Self, Problem> {
        let dataset = open_vector(&source)?;
        let mut layer = pick(&dataset, &source)?;
        let found = layer.spatial_ref();
        let features = read_features(&mut layer, &source)?;
        if features.is_empty() {
            return Err(Problem::data("layer_empty", format!("{} holds no feature with a geometry", source.label()))
                .hint("check that the right layer was saved"));
        }
        let crs = found.as_ref().map(|s| crs::split(s).plan).or_else(|| fallback.cloned()).ok_or_else(|| {
            Problem::data("no_crs", format!("{} does not say which coordinate system it is in", source.label()))
                .hint("set `crs = \"EPSG:...\"` under `[site]`, or add the missing `.prj` file")
        })?;
        Ok(Self { source, crs, features })
    }
    /// The layer in another system; what is to be told is put into `notes`.
    ///
    /// # Errors
    /// `crs_not_reachable`.
    pub fn into_crs(mut self, to: &SpatialRef, allow_null: bool, notes: &mut Vec<String>) -> Result<Self, Problem> {
        let label = self.source.label();
        let mapper = Mapper::new(&self.crs, to, allow_null, &label)?;
        for (i, feature) in self.features.iter_mut().enumerate() {
            feature.geometry = mapper.geometry(&feature.geometry).ok_or_else(|| {
                Problem::data(
                    "crs_not_reachable",
                    format!("feature {} of {label} has coordinates outside its own system", i + 1),
                )
                .hint("longitude comes before latitude in a GeoJSON file; the axes may be swapped")
            })?;
        }
        notes.extend(mapper.note);
        self.crs = to.clone();
        Ok(self)
    }
}

fn pick<'a>(dataset: &'a gdal::Dataset, source: &Source) -> Result<Layer<'a>, Problem> {
    // Tables without a geometry (styles, lookups) are no candidates.
    let spatial = dataset.layers().filter(|l| l.defn().geometry_type() != gdal_sys::OGRwkbGeometryType::wkbNone);
    let names: Vec<String> = spatial.map(|l| l.name()).collect();
    let listed = || names.iter().map(|n| format!("`{n}`")).collect::<Vec<_>>().join(", ");
    let result = match &source.layer {
        Some(name) => dataset.layer_by_name(name),
        None if names.len() > 1 => {
            return Err(Problem::data("layer_missing", format!("{} holds several layers", source.label()))
                .hint(format!("say which with `{}#layer`: {}", source.written, listed())));
        }
        None => dataset.layer_by_name(names.first().map_or("", String::as_str)),
    };
    result.map_err(|_| {
        let hint =
            if names.is_empty() { "it holds no layer at all".to_owned() } else { format!("it holds {}", listed()) };
        Problem::data("layer_missing", format!("{} has no such layer", source.label())).hint(hint)
    })
}

fn read_features(layer: &mut Layer, source: &Source) -> Result<Vec<RawFeature>, Problem> {
    let names: Vec<String> = layer.defn().fields().map(|f| f.name().to_lowercase()).collect();
    let mut features = Vec::new();
    for (number, feature) in layer.features().enumerate() {
        let Some(geometry) = feature.geometry().filter(|g| !g.is_empty()) else { continue };
        let z = has_z(geometry.geometry_type()).then(|| geometry.get_point(0).2).filter(|z| z.is_finite());
        let mut flat = geometry.clone();
        flat.flatten_to_2d();
        let plan = flat.to_geo().map_err(|e| {
            Problem::data(
                "file_unreadable",
                format!("feature {} of {} is not understood: {}", number + 1, source.label(), reason(&e)),
            )
            .hint("save curves as straight pieces")
        })?;
        let fields =
            names.iter().enumerate().filter_map(|(i, n)| Some((n.clone(), text_of(feature.field(i).ok()??)))).collect();
        features.push(RawFeature { geometry: plan, z, fields });
    }
    Ok(features)
}

/// Whether a point type carries a height.
fn has_z(kind: gdal_sys::OGRwkbGeometryType::Type) -> bool {
    gdal::vector::geometry_type_has_z(kind)
        && gdal::vector::geometry_type_flatten(kind) == gdal_sys::OGRwkbGeometryType::wkbPoint
}

fn text_of(value: FieldValue) -> String {
    match value {
        FieldValue::IntegerValue(v) => v.to_string(),
        FieldValue::Integer64Value(v) => v.to_string(),
        FieldValue::RealValue(v) => v.to_string(),
        FieldValue::StringValue(v) => v,
        FieldValue::DateValue(v) => v.to_string(),
        FieldValue::DateTimeValue(v) => v.to_string(),
        _ => String::new(),
    }
}
