//! Documents in memory: what `publish` makes and a store writes.

use super::guidance::GuidancePlan;
use super::paper::{Paper, Picture};
use crate::grid::Raster;
use geo::Geometry;
use serde::{Deserialize, Serialize};

/// Kind of geometry a layer holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum GeometryKind {
    /// Points.
    Point,
    /// Lines, also in several parts.
    Line,
    /// Areas, also in several parts.
    Area,
}

/// Type of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum FieldKind {
    /// Text.
    Text,
    /// Whole number.
    Integer,
    /// Number, written with the given number of decimals.
    Real(u8),
}

/// One column.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Field {
    /// Lowercase name, unit suffix included.
    pub name: String,
    /// Type.
    pub kind: FieldKind,
}

/// One value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Value {
    /// Text.
    Text(String),
    /// Whole number.
    Integer(i64),
    /// Number.
    Real(f64),
    /// Not known or not applicable.
    Nothing,
}

impl From<&str> for Value {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}
impl From<String> for Value {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}
impl From<f64> for Value {
    fn from(number: f64) -> Self {
        if number.is_finite() { Self::Real(number) } else { Self::Nothing }
    }
}
impl From<u32> for Value {
    fn from(number: u32) -> Self {
        Self::Integer(i64::from(number))
    }
}
impl<T: Into<Value>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Nothing, Into::into)
    }
}

/// A feature of a layer: geometry in working metres and one value a field.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Feature {
    /// Geometry.
    pub geometry: Geometry<f64>,
    /// Values, in the order of the fields.
    pub values: Vec<Value>,
}

/// Never colour alone: how an area or line is told apart besides its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Pattern {
    /// Plain.
    Solid,
    /// Interrupted line, or area filled with dashes.
    Dashed,
    /// Dotted line, or area filled with dots.
    Dotted,
    /// Area hatched; degrees from horizontal.
    Hatched(i16),
}

/// How a layer is drawn, in a viewer and on our own maps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LayerStyle {
    /// Colour of lines and outlines, RGB.
    pub stroke: [u8; 3],
    /// Width of lines and outlines, millimetres on paper.
    pub stroke_mm: f64,
    /// Fill colour and opacity, RGBA; `None` for none.
    pub fill: Option<[u8; 4]>,
    /// Pattern.
    pub pattern: Pattern,
    /// Field printed beside each feature.
    pub label: Option<String>,
}

/// A vector layer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Layer {
    /// Stable lowercase name: tests, users and other programs rely on it.
    pub name: String,
    /// Title in words.
    pub title: String,
    /// Kind of geometry.
    pub kind: GeometryKind,
    /// Columns.
    pub fields: Vec<Field>,
    /// Features in a stated order.
    pub features: Vec<Feature>,
    /// How it is drawn.
    pub style: LayerStyle,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Table {
    /// Stable lowercase name.
    pub name: String,
    /// Title in words.
    pub title: String,
    /// Columns.
    pub fields: Vec<Field>,
    /// Rows, one value a column.
    pub rows: Vec<Vec<Value>>,
}

/// A raster to be written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RasterSheet {
    /// Values; invalid cells are written as "no data".
    pub raster: Raster<f32>,
    /// What it shows.
    pub description: String,
    /// Unit, as in "m" or "m/m".
    pub unit: String,
    /// Whether values are heights in the vertical datum of the run.
    pub heights: bool,
}

/// What a document holds, independent of any file format.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Content {
    /// Text, as it is.
    Text(String),
    /// Bytes, as they are.
    Bytes(Vec<u8>),
    /// All layers in one GeoPackage, styled.
    GeoPackage(Vec<Layer>),
    /// One RFC 7946 file; decimals of a degree.
    GeoJson(Layer, u8),
    /// One ESRI Shapefile set in WGS 84 (path names the `.shp`).
    Shapefile(Layer),
    /// One KML file.
    Kml(Layer),
    /// A folder of guidance files (path names the folder) and the id of the run.
    Guidance(Box<GuidancePlan>, String),
    /// One GeoTIFF.
    GeoTiff(RasterSheet),
    /// One PNG.
    Png(Picture),
    /// One PDF.
    Pdf(Paper),
}

/// One document of the run folder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Document {
    /// Path inside the run folder, `/` between parts.
    pub path: String,
    /// What it holds.
    pub content: Content,
}
