//! Writes rasters, layers and text so that the same content is always the same bytes.

use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use gdal::DriverManager;
use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use gdal::vector::{Feature, FieldDefn, Geometry, Layer, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Easting and northing, or longitude and latitude.
pub type Place = (f64, f64);

/// A grid of heights with its north-west corner.
pub struct Heights {
    /// Easting of the west edge.
    pub west: f64,
    /// Northing of the north edge.
    pub north: f64,
    /// Side of a cell.
    pub cell_m: f64,
    /// Number of columns.
    pub columns: usize,
    /// Number of rows.
    pub rows: usize,
    /// Heights, row by row from the north.
    pub values: Vec<f32>,
}

impl Heights {
    /// Height of the cell under a place.
    pub fn at(&self, (easting, northing): Place) -> f64 {
        let column = ((easting - self.west) / self.cell_m) as usize;
        let row = ((self.north - northing) / self.cell_m) as usize;
        f64::from(self.values[row * self.columns + column])
    }
}

/// Writes a Float32 GeoTIFF.
pub fn geotiff(path: &Path, crs: &SpatialRef, heights: &Heights) -> Result<()> {
    let options = RasterCreationOptions::from_iter(["TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=3", "ZLEVEL=9"]);
    let driver = DriverManager::get_driver_by_name("GTiff")?;
    let mut dataset =
        driver.create_with_band_type_with_options::<f32, _>(path, heights.columns, heights.rows, 1, &options)?;
    dataset.set_spatial_ref(crs)?;
    dataset.set_geo_transform(&[heights.west, heights.cell_m, 0.0, heights.north, 0.0, -heights.cell_m])?;
    let size = (heights.columns, heights.rows);
    dataset.rasterband(1)?.write((0, 0), size, &mut Buffer::new(size, heights.values.clone()))?;
    dataset.close()?;
    Ok(())
}

/// One attribute value; `None` inside means that it is not known.
#[derive(Clone)]
pub enum Value {
    /// Words.
    Text(String),
    /// A whole number.
    Whole(Option<i32>),
    /// A measure.
    Real(Option<f64>),
}

/// Words as an attribute.
pub fn text(words: &str) -> Value {
    Value::Text(words.to_owned())
}

/// A measure as an attribute.
pub fn real(measure: f64) -> Value {
    Value::Real(Some(measure))
}

/// A layer to be written: its columns and, for each feature, a geometry and the values.
pub struct Table {
    /// Layer name.
    pub name: &'static str,
    /// Kind of geometry.
    pub kind: OGRwkbGeometryType::Type,
    /// Column names.
    pub columns: &'static [&'static str],
    /// Features.
    pub rows: Vec<(Geometry, Vec<Value>)>,
}

/// Writes all tables into a new GeoPackage. The date that the format demands is the one the caller has pinned.
pub fn geopackage(path: &Path, crs: &SpatialRef, tables: Vec<Table>) -> Result<()> {
    if path.exists() {
        fs::remove_file(path)?;
    }
    let mut dataset = DriverManager::get_driver_by_name("GPKG")?.create_vector_only(path)?;
    for table in tables {
        let options = Some(&["GEOMETRY_NAME=geom", "FID=fid"][..]);
        let layer = dataset.create_layer(LayerOptions { name: table.name, srs: Some(crs), ty: table.kind, options })?;
        add_columns(&layer, &table)?;
        for (geometry, values) in table.rows {
            let mut feature = Feature::new(layer.defn())?;
            feature.set_geometry(geometry)?;
            for (index, value) in values.iter().enumerate() {
                match value {
                    Value::Text(words) => feature.set_field_string(index, words)?,
                    Value::Whole(Some(number)) => feature.set_field_integer(index, *number)?,
                    Value::Real(Some(measure)) => feature.set_field_double(index, *measure)?,
                    Value::Whole(None) | Value::Real(None) => feature.set_field_null(index)?,
                }
            }
            feature.create(&layer)?;
        }
    }
    dataset.close()?;
    Ok(())
}

fn add_columns(layer: &Layer<'_>, table: &Table) -> Result<()> {
    let Some((_, first)) = table.rows.first() else {
        return Err(format!("layer {} has no features", table.name).into());
    };
    for (column, value) in table.columns.iter().zip(first) {
        let kind = match value {
            Value::Text(_) => OGRFieldType::OFTString,
            Value::Whole(_) => OGRFieldType::OFTInteger,
            Value::Real(_) => OGRFieldType::OFTReal,
        };
        FieldDefn::new(column, kind)?.add_to_layer(layer)?;
    }
    Ok(())
}

/// A point, rounded to the millimetre.
pub fn point(p: Place) -> Result<Geometry> {
    let mut geometry = Geometry::empty(OGRwkbGeometryType::wkbPoint)?;
    geometry.add_point_2d((millimetre(p.0), millimetre(p.1)));
    Ok(geometry)
}

/// A line, rounded to the millimetre.
pub fn line(places: &[Place]) -> Result<Geometry> {
    let mut geometry = Geometry::empty(OGRwkbGeometryType::wkbLineString)?;
    for p in places {
        geometry.add_point_2d((millimetre(p.0), millimetre(p.1)));
    }
    Ok(geometry)
}

/// A polygon without holes from an open ring, rounded to the millimetre.
pub fn polygon(ring: &[Place]) -> Result<Geometry> {
    let mut shell = Geometry::empty(OGRwkbGeometryType::wkbLinearRing)?;
    for p in ring.iter().chain(ring.first()) {
        shell.add_point_2d((millimetre(p.0), millimetre(p.1)));
    }
    let mut geometry = Geometry::empty(OGRwkbGeometryType::wkbPolygon)?;
    geometry.add_geometry(shell)?;
    Ok(geometry)
}

/// The outer rings of a polygon or multipolygon larger than `least_m2`, open again.
pub fn outer_rings(geometry: &Geometry, least_m2: f64) -> Vec<Vec<Place>> {
    let ring_of = |polygon: &Geometry| {
        let shell = polygon.get_geometry(0);
        (0..shell.point_count() as i32 - 1).map(|i| shell.get_point(i)).map(|(e, n, _)| (e, n)).collect()
    };
    if OGRwkbGeometryType::wkbPolygon == geometry.geometry_type() {
        return vec![ring_of(geometry)];
    }
    (0..geometry.geometry_count())
        .map(|i| geometry.get_geometry(i))
        .filter(|part| part.area() > least_m2)
        .map(|part| ring_of(&part))
        .collect()
}

fn millimetre(measure: f64) -> f64 {
    (measure * 1000.0).round() / 1000.0
}

/// Writes one named parcel as RFC 7946 GeoJSON: longitude and latitude, outer ring anticlockwise.
pub fn geojson_parcel(path: &Path, crs: &SpatialRef, name: &str, ring: &[Place]) -> Result<()> {
    let degrees = to_degrees(crs, ring)?;
    let mut corners = String::new();
    for (index, (longitude, latitude)) in degrees.iter().chain(degrees.first()).enumerate() {
        let separator = if index == 0 { "" } else { ",\n          " };
        write!(corners, "{separator}[{longitude:.9}, {latitude:.9}]")?;
    }
    fs::write(
        path,
        format!(
            r#"{{
  "type": "FeatureCollection",
  "features": [
    {{
      "type": "Feature",
      "properties": {{"name": "{name}"}},
      "geometry": {{
        "type": "Polygon",
        "coordinates": [[
          {corners}
        ]]
      }}
    }}
  ]
}}
"#
        ),
    )?;
    Ok(())
}

/// Longitude and latitude of grid places.
pub fn to_degrees(crs: &SpatialRef, places: &[Place]) -> Result<Vec<Place>> {
    let mut degrees = SpatialRef::from_epsg(4326)?;
    degrees.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    let transform = CoordTransform::new(crs, &degrees)?;
    let (mut x, mut y): (Vec<f64>, Vec<f64>) = places.iter().copied().unzip();
    transform.transform_coords(&mut x, &mut y, &mut [])?;
    Ok(x.into_iter().zip(y).collect())
}
