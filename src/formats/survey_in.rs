//! All inputs of a run read together: the working system chosen, everything brought into it, every fault collected.

use super::heights_in::{self, Opened};
use super::layers_in::{self, Context};
use super::open::Source;
use super::raster_in::HeightRaster;
use super::vector_in::RawLayer;
use super::{breaklines_in, crs, local_geodesy, transform::Mapper};
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::land::site_table::SiteTable;
use crate::land::store::Wanted;
use crate::land::survey::{ElevationModel, RawSurvey};
use gdal::spatial_ref::SpatialRef;
use geo::{BoundingRect, Coord, Geometry, MapCoords, MultiPolygon, Rect};
use std::path::Path;

/// Reads everything a run wants.
///
/// # Errors
/// Every fault found in any of the inputs.
pub fn read(base: &Path, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
    let mut problems = Problems::default();
    let fallback = keep(site.crs.as_deref().map(crs::from_user).transpose(), &mut problems).flatten();
    let boundary = keep(boundary(base, site, fallback.as_ref()), &mut problems);
    let elevation = heights_in::open_all(base, site, wanted, fallback.as_ref(), boundary.as_ref());
    let elevation = elevation.map_err(|more| problems.0.extend(more.0)).ok();
    let (Some(boundary), Some(elevation)) = (boundary, elevation) else {
        // Without these two there is no working system; the other files are still looked at, so all faults show at once.
        for (key, path) in site.optional_layers() {
            let Some(path) = path else { continue };
            let read = Source::find(base, key, path).and_then(|s| RawLayer::read(s, fallback.as_ref()));
            keep(read, &mut problems);
        }
        return Err(problems);
    };
    if !problems.0.is_empty() {
        return Err(problems);
    }
    in_working(base, site, wanted, fallback.as_ref(), &boundary, elevation)
}

fn keep<T>(result: Result<T, Problem>, problems: &mut Problems) -> Option<T> {
    result.map_err(|problem| problems.push(problem)).ok()
}

fn boundary(base: &Path, site: &SiteTable, fallback: Option<&SpatialRef>) -> Result<RawLayer, Problem> {
    let layer = RawLayer::read(Source::find(base, "boundary", &site.boundary)?, fallback)?;
    layers_in::parcels(&layer, site.parcel_name.as_deref())?;
    Ok(layer)
}

/// Extent of a layer in its own coordinates.
pub(super) fn extent(layer: &RawLayer) -> Rect<f64> {
    let all = layer.features.iter().filter_map(|f| f.geometry.bounding_rect());
    all.reduce(|a, b| {
        Rect::new(
            Coord { x: a.min().x.min(b.min().x), y: a.min().y.min(b.min().y) },
            Coord { x: a.max().x.max(b.max().x), y: a.max().y.max(b.max().y) },
        )
    })
    .unwrap_or_else(|| Rect::new(Coord::zero(), Coord::zero()))
}

/// The raster's own system, else the points', else the boundary's, else the grid zone of the boundary.
fn working_system(boundary: &RawLayer, elevation: Option<&Opened>) -> Result<(SpatialRef, Option<String>), Problem> {
    let middle = extent(boundary).center();
    let own = match elevation {
        Some(Opened::Raster(raster)) => Some((&raster.crs.plan, raster.centre())),
        Some(Opened::Points(points, _)) => points.points.first().map(|p| (&points.crs, p.at)),
        None => None,
    };
    if let Some((srs, _)) = own.filter(|(srs, near)| crs::is_workable(srs, *near)) {
        return Ok((srs.clone(), None));
    }
    let (srs, why) = if crs::is_workable(&boundary.crs, middle) {
        (boundary.crs.clone(), "the system of the boundary")
    } else {
        let to_degrees = Mapper::new(&boundary.crs, &crs::wgs84()?, true, "the boundary")?;
        let at = to_degrees.point(middle).unwrap_or(middle);
        let data = own.map_or(&boundary.crs, |(srs, _)| srs);
        (crs::zone_on_datum_of(data, at.x, at.y)?, "the grid zone of the boundary")
    };
    let name = srs.name().unwrap_or_default();
    Ok((srs, Some(format!("everything is worked out in `{name}`, {why}, because no height source is in a metre grid"))))
}

/// The boundary with its two axes exchanged, when that can be expressed; to tell a swapped file.
fn swapped(boundary: &RawLayer, working: &SpatialRef, allow_null: bool) -> Option<MultiPolygon<f64>> {
    let mapper = Mapper::new(&boundary.crs, working, allow_null, "the boundary").ok()?;
    let polygons = boundary.features.iter().filter_map(super::vector_in::RawFeature::areas).flat_map(|a| a.0).collect();
    mapper.areas(&MultiPolygon(polygons).map_coords(|c| Coord { x: c.y, y: c.x }))
}

fn off_the_earth(boundary: &RawLayer) -> Option<Problem> {
    let r = extent(boundary);
    let off = boundary.crs.is_geographic() && (r.min().y < -90.0 || r.max().y > 90.0);
    off.then(|| {
        Problem::data(
            "boundary_outside_raster",
            format!(
                "{} has latitudes from {:.4} to {:.4}, beyond the poles",
                boundary.source.label(),
                r.min().y,
                r.max().y
            ),
        )
        .hint("the axes look swapped: write longitude before latitude")
    })
}

fn in_working(
    base: &Path,
    site: &SiteTable,
    wanted: &Wanted,
    fallback: Option<&SpatialRef>,
    raw: &RawLayer,
    elevation: Vec<(String, Opened)>,
) -> Result<Outcome<RawSurvey>, Problems> {
    if let Some(problem) = off_the_earth(raw) {
        return Err(problem.into());
    }
    let (working, note) = working_system(raw, elevation.first().map(|(_, e)| e))?;
    let mut notes: Vec<String> = note.into_iter().collect();
    let mut problems = Problems::default();
    let context = Context { base, site, fallback, working: &working };
    let parcels = context
        .read("boundary", &site.boundary, &mut notes)
        .and_then(|layer| layers_in::parcels(&layer, site.parcel_name.as_deref()))?;
    let whole = MultiPolygon(parcels.iter().flat_map(|(_, m)| m.0.iter().cloned()).collect());
    let other = swapped(raw, &working, site.allow_null_datum_shift);
    let vertical = vertical_of(site, elevation.first().map(|(_, e)| e));
    let target = heights_in::Target { site, wanted, working: &working, boundary: &whole, swapped: other.as_ref() };
    let mut heights = Vec::new();
    for (name, opened) in elevation {
        if let Some(brought) = keep(opened.into_working(&target, &mut notes), &mut problems) {
            heights.push((name, brought));
        }
    }
    let breaklines = if wanted.ground {
        keep(breaklines_in::read(&context, &mut notes), &mut problems).unwrap_or_default()
    } else {
        Vec::new()
    };
    let given_surface = wanted
        .given_surface
        .as_deref()
        .and_then(|path| keep(given_surface(&context, path, &whole, wanted, &mut notes), &mut problems));
    let layers = match layers_in::optional(&context, wanted, &mut notes) {
        Ok(layers) => Some(layers),
        Err(more) => {
            problems.0.extend(more.0);
            None
        }
    };
    let centre = Geometry::MultiPolygon(whole).bounding_rect().map(|r| r.center()).unwrap_or_default();
    let geodesy = keep(local_geodesy::around(&working, centre), &mut problems);
    let tag = keep(crs::tag(&working, vertical.0, vertical.1), &mut problems);
    let (Some((layers, not_given)), Some(geodesy), Some(crs)) = (layers, geodesy, tag) else { return Err(problems) };
    let mut heights = heights.into_iter();
    let value = RawSurvey {
        parcels,
        elevation: heights.next().map(|(_, first)| first),
        more_elevation: heights.collect(),
        breaklines,
        layers,
        not_given,
        given_surface,
        crs,
        geodesy,
    };
    notes.sort();
    notes.dedup();
    let findings = notes.into_iter().map(|n| Finding::new(Severity::Note, "survey", "input_handling", n)).collect();
    problems.into_result(Outcome { value, findings })
}

/// The vertical datum as the user or the file says; never guessed.
fn vertical_of(site: &SiteTable, elevation: Option<&Opened>) -> (Option<String>, Option<u32>) {
    let own = match elevation {
        Some(Opened::Raster(raster)) => (raster.crs.vertical_name.clone(), raster.crs.vertical_epsg),
        Some(Opened::Points(points, _)) => (points.heights.name.clone(), points.heights.epsg),
        None => (None, None),
    };
    match &site.vertical_datum {
        Some(name) if own.0.as_ref() != Some(name) => (Some(name.clone()), None),
        _ => own,
    }
}

fn given_surface(
    context: &Context,
    path: &str,
    boundary: &MultiPolygon<f64>,
    wanted: &Wanted,
    notes: &mut Vec<String>,
) -> Result<ElevationModel, Problem> {
    let site = context.site;
    let source = Source::find(context.base, "given_surface", path)?;
    let raster = HeightRaster::open(source, context.fallback, site.elevation_unit.as_deref())?;
    let heights = raster.read(context.working, boundary, None, wanted.margin_m, site.allow_null_datum_shift)?;
    notes.extend(heights.notes);
    Ok(ElevationModel(heights.raster))
}
