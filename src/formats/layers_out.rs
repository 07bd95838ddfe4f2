//! Vector layers as GeoPackage, GeoJSON, Shapefile and KML.

use super::gdal_setup::reason;
use super::safe_text::{clean, within_bytes};
use super::scratch::{Scratch, fault};
use super::transform::Mapper;
use super::{crs, field_words, style_out};
use crate::finding::Problem;
use crate::land::document::{FieldKind, GeometryKind, Layer, Value};
use crate::land::geodesy::CrsTag;
use crate::land::store::RenderedFile;
use gdal::errors::Result as GdalResult;
use gdal::raster::RasterCreationOptions;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Feature, FieldDefn, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType, ToGdal};
use gdal::{Dataset, DriverManager};
use geo::orient::{Direction, Orient};
use geo::{Geometry, MapCoords, MultiLineString, MultiPoint, MultiPolygon};

/// Decimals of a degree in files without a precision of their own: 1.1 mm.
const DEGREE_DECIMALS: u8 = 8;
/// Widest text a dBASE table holds, bytes.
const DBF_TEXT_BYTES: usize = 254;
/// Decimals of a metre.
const METRE_DECIMALS: u8 = 3;

/// How one layer is written.
struct Plan<'a> {
    srs: &'a SpatialRef,
    mapper: Option<&'a Mapper>,
    decimals: u8,
    multi: bool,
    /// Whether columns have a fixed width, as in dBASE tables.
    fixed_width: bool,
    options: &'a [&'a str],
}

fn rounded(value: f64, decimals: u8) -> f64 {
    let factor = 10_f64.powi(i32::from(decimals));
    let rounded = (value * factor).round() / factor;
    // A negative zero would differ from a zero in the bytes only.
    if rounded == 0.0 { 0.0 } else { rounded }
}

fn empty(driver: &str, file: &std::path::Path, options: &[&str]) -> GdalResult<Dataset> {
    let options: RasterCreationOptions = options.iter().copied().collect();
    DriverManager::get_driver_by_name(driver)?.create_with_band_type_with_options::<u8, _>(file, 0, 0, 0, &options)
}

/// The way from the working system to the degrees other programs call WGS 84.
///
/// Grids on GDA94 go through GDA2020 first, because "no shift" from GDA94 is wrong by 1.8 m on the ground.
pub(super) fn to_degrees(tag: &CrsTag) -> Result<Mapper, Problem> {
    let working = crs::from_tag(tag)?;
    let datum = working.geog_cs().ok().and_then(|g| g.name()).unwrap_or_default();
    let target = if datum == "GDA94" { crs::from_epsg(7844)? } else { crs::wgs84()? };
    Mapper::new(&working, &target, true, "the plan")
}

/// Points, then lines, then areas, each in the order of the plan: what viewers put on top of each other from the first
/// down, so that no area hides a line.
fn drawing_order(layers: &[Layer]) -> Vec<Layer> {
    let mut ordered = layers.to_vec();
    ordered.sort_by_key(|layer| match layer.kind {
        GeometryKind::Point => 0,
        GeometryKind::Line => 1,
        GeometryKind::Area => 2,
    });
    ordered
}

/// All layers with their styles in one GeoPackage.
///
/// # Errors
/// `not_written`.
pub fn geopackage(path: &str, layers: &[Layer], tag: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
    let srs = crs::from_tag(tag)?;
    let scratch = Scratch::new(path)?;
    let ordered = drawing_order(layers);
    let write = || -> GdalResult<()> {
        let mut dataset = empty("GPKG", &scratch.file(), &["VERSION=1.3"])?;
        let mut transaction = dataset.start_transaction()?;
        for layer in &ordered {
            let description = format!("DESCRIPTION={}", layer.title);
            let identifier = format!("IDENTIFIER={}", layer.name);
            let options = ["GEOMETRY_NAME=geom", "FID=fid", &description, &identifier];
            let plan = Plan {
                srs: &srs,
                mapper: None,
                decimals: METRE_DECIMALS,
                multi: true,
                fixed_width: false,
                options: &options,
            };
            write_layer(&mut transaction, layer, &plan)?;
        }
        transaction.commit()?;
        dataset.flush_cache()?;
        for statement in style_out::statements(&ordered).into_iter().chain(field_words::statements(&ordered)) {
            dataset.execute_sql(statement, None, gdal::vector::sql::Dialect::DEFAULT)?;
        }
        dataset.close()
    };
    write().map_err(|e| fault(path, &reason(&e)))?;
    scratch.collect()
}

/// One RFC 7946 file.
///
/// # Errors
/// `not_written`.
pub fn geojson(path: &str, layer: &Layer, decimals: u8, tag: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
    let precision = format!("COORDINATE_PRECISION={decimals}");
    degrees_file("GeoJSON", path, layer, decimals, &["RFC7946=YES", &precision], tag)
}

/// One Shapefile set in WGS 84.
///
/// # Errors
/// `not_written`.
pub fn shapefile(path: &str, layer: &Layer, tag: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
    let date = format!("DBF_DATE_LAST_UPDATE={}", &super::FIXED_DATE[..10]);
    degrees_file("ESRI Shapefile", path, layer, DEGREE_DECIMALS, &["ENCODING=UTF-8", &date], tag)
}

/// One KML file.
///
/// # Errors
/// `not_written`.
pub fn kml(path: &str, layer: &Layer, tag: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
    // Viewers show the columns of a feature as a page: angle brackets must not become its markup.
    let mut safe = layer.clone();
    for value in safe.features.iter_mut().flat_map(|f| &mut f.values) {
        if let Value::Text(text) = value {
            *text = text.replace('<', "\u{2039}").replace('>', "\u{203a}");
        }
    }
    degrees_file("LIBKML", path, &safe, DEGREE_DECIMALS, &[], tag)
}

fn degrees_file(
    driver: &str,
    path: &str,
    layer: &Layer,
    decimals: u8,
    options: &[&str],
    tag: &CrsTag,
) -> Result<Vec<RenderedFile>, Problem> {
    let mapper = to_degrees(tag)?;
    let srs = crs::wgs84()?;
    let scratch = Scratch::new(path)?;
    let fixed_width = driver == "ESRI Shapefile";
    let write = || -> GdalResult<()> {
        let mut dataset = empty(driver, &scratch.file(), &[])?;
        write_layer(
            &mut dataset,
            layer,
            &Plan { srs: &srs, mapper: Some(&mapper), decimals, multi: false, fixed_width, options },
        )?;
        dataset.close()
    };
    write().map_err(|e| fault(path, &reason(&e)))?;
    scratch.collect()
}

fn write_layer(dataset: &mut Dataset, layer: &Layer, plan: &Plan) -> GdalResult<()> {
    let multi = plan.multi && layer.kind != GeometryKind::Point || layer.features.iter().any(|f| is_multi(&f.geometry));
    let ty = match (layer.kind, multi) {
        (GeometryKind::Point, false) => OGRwkbGeometryType::wkbPoint,
        (GeometryKind::Point, true) => OGRwkbGeometryType::wkbMultiPoint,
        (GeometryKind::Line, false) => OGRwkbGeometryType::wkbLineString,
        (GeometryKind::Line, true) => OGRwkbGeometryType::wkbMultiLineString,
        (GeometryKind::Area, false) => OGRwkbGeometryType::wkbPolygon,
        (GeometryKind::Area, true) => OGRwkbGeometryType::wkbMultiPolygon,
    };
    let out = dataset.create_layer(LayerOptions {
        name: &layer.name,
        srs: Some(plan.srs),
        ty,
        options: Some(plan.options),
    })?;
    for field in &layer.fields {
        let kind = match field.kind {
            FieldKind::Text => OGRFieldType::OFTString,
            FieldKind::Integer => OGRFieldType::OFTInteger64,
            FieldKind::Real(_) => OGRFieldType::OFTReal,
        };
        let definition = FieldDefn::new(&field.name, kind)?;
        if plan.fixed_width {
            match field.kind {
                FieldKind::Text => definition.set_width(DBF_TEXT_BYTES as i32),
                FieldKind::Integer => definition.set_width(18),
                FieldKind::Real(decimals) => {
                    definition.set_width(20);
                    definition.set_precision(i32::from(decimals));
                }
            }
        }
        definition.add_to_layer(&out)?;
    }
    for source in &layer.features {
        let geometry = placed(&source.geometry, plan).ok_or(gdal::errors::GdalError::BadArgument(
            "a place of the plan has no longitude and latitude".to_owned(),
        ))?;
        let mut feature = Feature::new(out.defn())?;
        for (i, (value, field)) in source.values.iter().zip(&layer.fields).enumerate() {
            set(&mut feature, i, value, field.kind, plan.fixed_width)?;
        }
        feature.set_geometry(geometry_of(geometry, multi).to_gdal()?)?;
        feature.create(&out)?;
    }
    Ok(())
}

fn set(feature: &mut Feature, i: usize, value: &Value, kind: FieldKind, fixed_width: bool) -> GdalResult<()> {
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "whole numbers far below 2^52")]
    match (value, kind) {
        (Value::Nothing, _) => feature.set_field_null(i),
        (Value::Text(text), _) if fixed_width => feature.set_field_string(i, &within_bytes(text, DBF_TEXT_BYTES)),
        (Value::Text(text), _) => feature.set_field_string(i, &clean(text)),
        (Value::Integer(n), FieldKind::Real(_)) => feature.set_field_double(i, *n as f64),
        (Value::Integer(n), _) => feature.set_field_integer64(i, *n),
        (Value::Real(v), FieldKind::Real(decimals)) => feature.set_field_double(i, rounded(*v, decimals)),
        (Value::Real(v), FieldKind::Integer) => feature.set_field_integer64(i, v.round() as i64),
        (Value::Real(v), FieldKind::Text) => feature.set_field_string(i, &v.to_string()),
    }
}

const fn is_multi(geometry: &Geometry<f64>) -> bool {
    matches!(geometry, Geometry::MultiPoint(_) | Geometry::MultiLineString(_) | Geometry::MultiPolygon(_))
}

/// In the system of the file, rounded, outer rings counter-clockwise (RFC 7946, section 3.1.6).
fn placed(geometry: &Geometry<f64>, plan: &Plan) -> Option<Geometry<f64>> {
    let there = match plan.mapper {
        Some(mapper) => mapper.geometry(geometry)?,
        None => geometry.clone(),
    };
    let there = there.map_coords(|c| geo::Coord { x: rounded(c.x, plan.decimals), y: rounded(c.y, plan.decimals) });
    Some(match there {
        Geometry::Polygon(p) => Geometry::Polygon(p.orient(Direction::Default)),
        Geometry::MultiPolygon(m) => Geometry::MultiPolygon(m.orient(Direction::Default)),
        other => other,
    })
}

/// The same geometry as a collection of one where the layer holds collections.
fn geometry_of(geometry: Geometry<f64>, multi: bool) -> Geometry<f64> {
    match geometry {
        Geometry::Point(p) if multi => Geometry::MultiPoint(MultiPoint(vec![p])),
        Geometry::LineString(l) if multi => Geometry::MultiLineString(MultiLineString(vec![l])),
        Geometry::Polygon(p) if multi => Geometry::MultiPolygon(MultiPolygon(vec![p])),
        other => other,
    }
}
