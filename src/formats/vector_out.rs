//! Layers to GeoPackage, GeoJSON, KML and Shapefile.

use super::crs;
use super::open::set_up_gdal;
use super::styles;
use crate::finding::{Problem, ProblemKind};
use crate::land::document::{Feature, FieldKind, GeometryKind, Layer, Value};
use crate::land::geodesy::CrsTag;
use gdal::spatial_ref::{CoordTransform, SpatialRef};
use gdal::vector::{FieldDefn, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType, ToGdal};
use gdal::{Dataset, DriverManager};
use geo::{Geometry, MapCoords, MultiLineString, MultiPolygon, Orient};
use std::path::Path;

pub(super) fn failed(path: &str, reason: impl std::fmt::Display) -> Problem {
    Problem::new(ProblemKind::Write, "cannot_render", format!("`{path}` could not be written: {reason}"))
}

fn working(tag: &CrsTag) -> Result<SpatialRef, Problem> {
    match tag.epsg {
        Some(code) => crs::from_epsg(code),
        None => {
            crs::from_wkt(&tag.wkt).ok_or_else(|| Problem::data("unknown_crs", "the working system cannot be written"))
        }
    }
}

/// All layers in one styled GeoPackage; the same bytes for the same layers.
pub(super) fn geopackage(file: &Path, name: &str, layers: &[Layer], tag: &CrsTag) -> Result<(), Problem> {
    set_up_gdal();
    let srs = working(tag)?;
    let driver = DriverManager::get_driver_by_name("GPKG").map_err(|e| failed(name, e))?;
    let mut dataset = driver
        .create_with_band_type_with_options::<u8, _>(
            file,
            0,
            0,
            0,
            &gdal::cpl::CslStringList::from_iter(["VERSION=1.3"]),
        )
        .map_err(|e| failed(name, e))?;
    for layer in layers {
        let options =
            [format!("DESCRIPTION={}", layer.title), "SPATIAL_INDEX=YES".to_owned(), "GEOMETRY_NAME=geom".to_owned()];
        let options: Vec<&str> = options.iter().map(String::as_str).collect();
        write_layer(&mut dataset, layer, &srs, &options, name)?;
    }
    for statement in styles::statements(layers) {
        dataset.execute_sql(&statement, None, gdal::vector::sql::Dialect::DEFAULT).map_err(|e| failed(name, e))?;
    }
    dataset.close().map_err(|e| failed(name, e))
}

/// One RFC 7946 file: longitude and latitude on WGS 84, exterior rings counter-clockwise.
pub(super) fn geojson(file: &Path, name: &str, layer: &Layer, decimals: u8, tag: &CrsTag) -> Result<(), Problem> {
    let precision = format!("COORDINATE_PRECISION={decimals}");
    one_layer("GeoJSON", file, name, layer, tag, &["RFC7946=YES", &precision, "WRITE_BBOX=YES"])
}

/// One KML file on WGS 84.
pub(super) fn kml(file: &Path, name: &str, layer: &Layer, tag: &CrsTag) -> Result<(), Problem> {
    one_layer("KML", file, name, layer, tag, &[])
}

/// One Shapefile set on WGS 84.
pub(super) fn shapefile(file: &Path, name: &str, layer: &Layer, tag: &CrsTag) -> Result<(), Problem> {
    one_layer("ESRI Shapefile", file, name, layer, tag, &["ENCODING=UTF-8", "DBF_DATE_LAST_UPDATE=2026-01-01"])
}

fn one_layer(
    driver: &str,
    file: &Path,
    name: &str,
    layer: &Layer,
    tag: &CrsTag,
    options: &[&str],
) -> Result<(), Problem> {
    set_up_gdal();
    let degrees = crs::from_epsg(4326)?;
    let way = crs::transform(&working(tag)?, &degrees, name)?;
    let mut moved = layer.clone();
    for feature in &mut moved.features {
        feature.geometry = to_degrees(&feature.geometry, &way, name)?;
    }
    let driver = DriverManager::get_driver_by_name(driver).map_err(|e| failed(name, e))?;
    let mut dataset = driver.create_vector_only(file).map_err(|e| failed(name, e))?;
    write_layer(&mut dataset, &moved, &degrees, options, name)?;
    dataset.close().map_err(|e| failed(name, e))
}

fn to_degrees(geometry: &Geometry<f64>, way: &CoordTransform, name: &str) -> Result<Geometry<f64>, Problem> {
    geometry
        .try_map_coords(|at| crs::move_point(way, at).ok_or_else(|| failed(name, "a point cannot be moved to WGS 84")))
}

fn write_layer(
    dataset: &mut Dataset,
    layer: &Layer,
    srs: &SpatialRef,
    options: &[&str],
    name: &str,
) -> Result<(), Problem> {
    let problem = |e: gdal::errors::GdalError| failed(name, format!("layer `{}`: {e}", layer.name));
    let ty = match layer.kind {
        GeometryKind::Point => OGRwkbGeometryType::wkbPoint,
        GeometryKind::Line => OGRwkbGeometryType::wkbMultiLineString,
        GeometryKind::Area => OGRwkbGeometryType::wkbMultiPolygon,
    };
    let target = dataset
        .create_layer(LayerOptions { name: &layer.name, srs: Some(srs), ty, options: Some(options) })
        .map_err(problem)?;
    for field in &layer.fields {
        let kind = match field.kind {
            FieldKind::Text => OGRFieldType::OFTString,
            FieldKind::Integer => OGRFieldType::OFTInteger64,
            FieldKind::Real(_) => OGRFieldType::OFTReal,
        };
        FieldDefn::new(&field.name, kind).and_then(|f| f.add_to_layer(&target)).map_err(problem)?;
    }
    let defn = target.defn();
    for feature in &layer.features {
        let mut out = gdal::vector::Feature::new(defn).map_err(problem)?;
        let geometry = as_multi(&feature.geometry, srs.is_geographic()).to_gdal().map_err(problem)?;
        out.set_geometry(geometry).map_err(problem)?;
        set_fields(&mut out, layer, feature).map_err(problem)?;
        out.create(&target).map_err(problem)?;
    }
    Ok(())
}

fn set_fields(
    out: &mut gdal::vector::Feature<'_>,
    layer: &Layer,
    feature: &Feature,
) -> Result<(), gdal::errors::GdalError> {
    for (i, (field, value)) in layer.fields.iter().zip(&feature.values).enumerate() {
        match value {
            Value::Text(text) => out.set_field_string(i, text)?,
            Value::Integer(number) => out.set_field_integer64(i, *number)?,
            Value::Real(number) => {
                let decimals = if let FieldKind::Real(d) = field.kind { d } else { 6 };
                let factor = 10_f64.powi(i32::from(decimals));
                out.set_field_double(i, (number * factor).round() / factor)?;
            }
            Value::Nothing => {}
        }
    }
    Ok(())
}

/// Lines and areas as their multi-part kind, rings wound as the standards ask, metres rounded to 1 mm.
fn as_multi(geometry: &Geometry<f64>, degrees: bool) -> Geometry<f64> {
    let geometry = match geometry {
        Geometry::LineString(l) => Geometry::MultiLineString(MultiLineString(vec![l.clone()])),
        Geometry::Polygon(p) => Geometry::MultiPolygon(MultiPolygon(vec![p.orient(geo::orient::Direction::Default)])),
        Geometry::MultiPolygon(m) => Geometry::MultiPolygon(m.orient(geo::orient::Direction::Default)),
        other => other.clone(),
    };
    if degrees {
        geometry
    } else {
        geometry
            .map_coords(|c| geo::Coord { x: (c.x * 1_000.0).round() / 1_000.0, y: (c.y * 1_000.0).round() / 1_000.0 })
    }
}
