//! Lines with heights the ground breaks along.

use super::gdal_setup::reason;
use super::layers_in::Context;
use super::open::{Source, open_vector};
use super::transform::Mapper;
use super::{crs, height_units};
use crate::finding::Problem;
use crate::land::survey::Breakline;
use gdal::vector::{Geometry, LayerAccess, geometry_type_flatten, geometry_type_has_z};
use gdal_sys::OGRwkbGeometryType as Kind;
use geo::Coord;

/// Vertices in file coordinates: east, north, height.
type Vertices = Vec<(f64, f64, f64)>;

/// Reads the breaklines of the site table into the working system; none when none are named.
///
/// # Errors
/// Whatever is wrong with the file, `not_lines`, `breakline_without_heights`.
pub fn read(context: &Context, notes: &mut Vec<String>) -> Result<Vec<Breakline>, Problem> {
    let Some(path) = context.site.breakline.as_deref() else { return Ok(Vec::new()) };
    let source = Source::find(context.base, "breakline", path)?;
    let label = source.label();
    let dataset = open_vector(&source)?;
    let layer = match &source.layer {
        Some(name) => dataset.layer_by_name(name),
        None => dataset.layer(0),
    };
    let mut layer = layer.map_err(|e| {
        Problem::data("layer_missing", format!("{label} has no such layer: {}", reason(&e)))
            .hint("name the layer with `file#layer`")
    })?;
    let own = layer.spatial_ref().or_else(|| context.fallback.cloned()).ok_or_else(|| {
        Problem::data("no_crs", format!("{label} does not say which coordinate system it is in"))
            .hint("set `crs = \"EPSG:...\"` under `[site]`")
    })?;
    let split = crs::split(&own);
    let unit = height_units::settle(&label, context.site.elevation_unit.as_deref(), &split, "")?;
    let mapper = Mapper::new(&split.plan, context.working, context.site.allow_null_datum_shift, &label)?;
    let mut found = Vec::new();
    for (i, feature) in layer.features().enumerate() {
        let Some(geometry) = feature.geometry().filter(|g| !g.is_empty()) else { continue };
        let before = found.len();
        collect(geometry, &mut found);
        if found.len() == before {
            return Err(Problem::data("not_lines", format!("feature {} of {label} is not a line", i + 1))
                .hint("breaklines are lines of two or more vertices"));
        }
        if !geometry_type_has_z(geometry.geometry_type()) || found[before..].iter().flatten().any(|v| !v.2.is_finite())
        {
            return Err(Problem::data(
                "breakline_without_heights",
                format!("feature {} of {label} has no height at its vertices", i + 1),
            )
            .hint("survey the line and save it as a 3-D line (Z at every vertex)"));
        }
    }
    let lines = found.into_iter().map(|vertices| {
        let bring = |(x, y, z): (f64, f64, f64)| Some((mapper.point(Coord { x, y })?, z * unit.metres));
        vertices.into_iter().map(bring).collect::<Option<Vec<_>>>().map(|vertices| Breakline { vertices })
    });
    let lines = lines.collect::<Option<Vec<_>>>().ok_or_else(|| {
        Problem::data("crs_not_reachable", format!("{label} has coordinates outside its own system"))
            .hint("check the coordinate system of the file")
    })?;
    notes.extend(unit.note);
    notes.extend(mapper.note);
    Ok(lines)
}

/// The lines of a geometry; rings of areas count as lines.
fn collect(geometry: &Geometry, into: &mut Vec<Vertices>) {
    if geometry_type_flatten(geometry.geometry_type()) == Kind::wkbLineString {
        let mut vertices = Vec::new();
        geometry.get_points(&mut vertices);
        if vertices.len() > 1 {
            into.push(vertices);
        }
        return;
    }
    for k in 0..geometry.geometry_count() {
        collect(&geometry.get_geometry(k), into);
    }
}
