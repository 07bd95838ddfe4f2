//! All inputs of a run read together: the working system chosen, everything brought into it, every fault collected.

use super::layers_in::{self, Context};
use super::open::Source;
use super::points_in::{self, Points};
use super::raster_in::HeightRaster;
use super::vector_in::RawLayer;
use super::{crs, local_geodesy, transform::Mapper};
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::land::site_table::SiteTable;
use crate::land::store::Wanted;
use crate::land::survey::{ElevationModel, RawElevation, RawSurvey};
use gdal::spatial_ref::SpatialRef;
use geo::{BoundingRect, Coord, Geometry, MapCoords, MultiPolygon, Rect};
use std::path::Path;

/// Heights before they are brought into the working system.
enum Opened {
    Raster(HeightRaster),
    Points(Points, String),
}

/// Extensions of files whose heights are points.
const VECTOR: [&str; 7] = ["geojson", "json", "gpkg", "shp", "kml", "kmz", "fgb"];

/// Reads everything a run wants.
///
/// # Errors
/// Every fault found in any of the inputs.
pub fn read(base: &Path, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
    let mut problems = Problems::default();
    let fallback = keep(site.crs.as_deref().map(crs::from_user).transpose(), &mut problems).flatten();
    let boundary = keep(boundary(base, site, fallback.as_ref()), &mut problems);
    let elevation = keep(open_elevation(base, site, wanted, fallback.as_ref()), &mut problems);
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

fn open_elevation(
    base: &Path,
    site: &SiteTable,
    wanted: &Wanted,
    fallback: Option<&SpatialRef>,
) -> Result<Option<Opened>, Problem> {
    let Some(path) = site.elevation.as_deref().filter(|_| wanted.ground) else {
        if wanted.ground {
            return Err(Problem::request(
                "elevation_missing",
                "the stages asked for read the ground, but `site.elevation` is not set",
            )
            .hint("name a height raster or surveyed points under `[site]`"));
        }
        return Ok(None);
    };
    let source = Source::find(base, "elevation", path)?;
    let unit = site.elevation_unit.as_deref();
    let label = source.label();
    let opened = if source.is_point_text() {
        Opened::Points(points_in::read_text(&source, fallback, unit)?, label)
    } else if source.layer.is_some() || VECTOR.contains(&source.extension().as_str()) {
        Opened::Points(points_in::read_vector(source, fallback, unit)?, label)
    } else {
        Opened::Raster(HeightRaster::open(source, fallback, unit)?)
    };
    Ok(Some(opened))
}

/// Extent of a layer in its own coordinates.
fn extent(layer: &RawLayer) -> Rect<f64> {
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
    elevation: Option<Opened>,
) -> Result<Outcome<RawSurvey>, Problems> {
    if let Some(problem) = off_the_earth(raw) {
        return Err(problem.into());
    }
    let (working, note) = working_system(raw, elevation.as_ref())?;
    let mut notes: Vec<String> = note.into_iter().collect();
    let mut problems = Problems::default();
    let context = Context { base, site, fallback, working: &working };
    let parcels = context
        .read("boundary", &site.boundary, &mut notes)
        .and_then(|layer| layers_in::parcels(&layer, site.parcel_name.as_deref()))?;
    let whole = MultiPolygon(parcels.iter().flat_map(|(_, m)| m.0.iter().cloned()).collect());
    let other = swapped(raw, &working, site.allow_null_datum_shift);
    let vertical = vertical_of(site, elevation.as_ref());
    let heights = elevation
        .and_then(|e| keep(bring(e, site, wanted, &working, &whole, other.as_ref(), &mut notes), &mut problems));
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
    let value = RawSurvey { parcels, elevation: heights, layers, not_given, given_surface, crs, geodesy };
    notes.sort();
    notes.dedup();
    let findings = notes.into_iter().map(|n| Finding::new(Severity::Note, "survey", "input_handling", n)).collect();
    problems.into_result(Outcome { value, findings })
}

/// The vertical datum as the user or the file says; never guessed.
fn vertical_of(site: &SiteTable, elevation: Option<&Opened>) -> (Option<String>, Option<u32>) {
    let own = match elevation {
        Some(Opened::Raster(raster)) => (raster.crs.vertical_name.clone(), raster.crs.vertical_epsg),
        _ => (None, None),
    };
    match &site.vertical_datum {
        Some(name) if own.0.as_ref() != Some(name) => (Some(name.clone()), None),
        _ => own,
    }
}

fn bring(
    elevation: Opened,
    site: &SiteTable,
    wanted: &Wanted,
    working: &SpatialRef,
    boundary: &MultiPolygon<f64>,
    swapped: Option<&MultiPolygon<f64>>,
    notes: &mut Vec<String>,
) -> Result<RawElevation, Problem> {
    match elevation {
        Opened::Raster(raster) => {
            let heights = raster.read(working, boundary, swapped, wanted.margin_m, site.allow_null_datum_shift)?;
            notes.extend(heights.notes);
            Ok(RawElevation::Raster { heights: heights.raster, handling: heights.handling })
        }
        Opened::Points(points, label) => {
            let points = points.into_crs(working, site.allow_null_datum_shift, &label)?;
            notes.extend(points.notes);
            Ok(RawElevation::Points { points: points.points, dropped: points.dropped })
        }
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
