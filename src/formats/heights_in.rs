//! Sources of heights of any kind: opened, then brought into the working system.

use super::las_in;
use super::open::Source;
use super::points_in::{self, Points};
use super::raster_in::HeightRaster;
use super::survey_in::extent;
use super::transform::Mapper;
use super::vector_in::RawLayer;
use crate::finding::{Problem, Problems};
use crate::land::site_table::SiteTable;
use crate::land::store::Wanted;
use crate::land::survey::RawElevation;
use gdal::spatial_ref::SpatialRef;
use geo::{BoundingRect, Coord, MultiPolygon, Rect};
use std::path::Path;

/// Extensions of files whose heights are points of a vector layer.
const VECTOR: [&str; 7] = ["geojson", "json", "gpkg", "shp", "kml", "kmz", "fgb"];
/// Points farther from the property than this and the margin are of no use to it, metres.
const BEYOND_MARGIN_M: f64 = 250.0;
/// Metres in a degree of the equator, WGS 84.
const M_PER_DEGREE: f64 = 111_320.0;

/// Heights before they are brought into the working system.
pub enum Opened {
    /// A raster.
    Raster(HeightRaster),
    /// Points, and how to name them.
    Points(Points, String),
}

/// Where heights are brought.
pub struct Target<'a> {
    /// The site table.
    pub site: &'a SiteTable,
    /// What the run wants.
    pub wanted: &'a Wanted,
    /// Working system.
    pub working: &'a SpatialRef,
    /// Boundary in the working system.
    pub boundary: &'a MultiPolygon<f64>,
    /// Boundary with its axes exchanged, to tell a swapped file.
    pub swapped: Option<&'a MultiPolygon<f64>>,
}

/// Opens every source of heights a run wants: the name as written and the source.
///
/// # Errors
/// `elevation_missing` when none is named though the ground is wanted; everything wrong with any of them.
pub fn open_all(
    base: &Path,
    site: &SiteTable,
    wanted: &Wanted,
    fallback: Option<&SpatialRef>,
    boundary: Option<&RawLayer>,
) -> Result<Vec<(String, Opened)>, Problems> {
    if !wanted.ground {
        return Ok(Vec::new());
    }
    if site.elevation.is_none() {
        return Err(Problem::request(
            "elevation_missing",
            "the stages asked for read the ground, but `site.elevation` is not set",
        )
        .hint("name a height raster or surveyed points under `[site]`")
        .into());
    }
    let mut problems = Problems::default();
    let mut opened = Vec::new();
    for (key, path) in site.height_sources().into_iter().filter(|(key, _)| *key != "breakline") {
        let near = |system: &SpatialRef| boundary.and_then(|b| near(b, system, wanted.margin_m));
        let source = Source::find(base, key, path);
        match source.and_then(|s| open(s, fallback, site.elevation_unit.as_deref(), near)) {
            Ok(one) => opened.push((path.to_owned(), one)),
            Err(problem) => problems.push(problem),
        }
    }
    problems.into_result(opened)
}

fn open(
    source: Source,
    fallback: Option<&SpatialRef>,
    unit: Option<&str>,
    near: impl Fn(&SpatialRef) -> Option<Rect<f64>>,
) -> Result<Opened, Problem> {
    let label = source.label();
    let extension = source.extension();
    Ok(if source.is_point_text() {
        Opened::Points(points_in::read_text(&source, fallback, unit, fallback.and_then(near))?, label)
    } else if las_in::EXTENSIONS.contains(&extension.as_str()) {
        Opened::Points(las_in::read(&source, fallback, unit, near)?, label)
    } else if source.layer.is_some() || VECTOR.contains(&extension.as_str()) {
        Opened::Points(points_in::read_vector(source, fallback, unit)?, label)
    } else {
        Opened::Raster(HeightRaster::open(source, fallback, unit)?)
    })
}

/// Where the property lies in another system, with the margin; `None` when that cannot be told.
fn near(boundary: &RawLayer, system: &SpatialRef, margin_m: f64) -> Option<Rect<f64>> {
    // Only where to look is asked, so a datum metres away is good enough.
    let mapper = Mapper::new(&boundary.crs, system, true, "the boundary").ok()?;
    let rect = mapper.outline(extent(boundary))?.bounding_rect()?;
    let unit_m = if system.is_geographic() { M_PER_DEGREE } else { system.linear_units() };
    let by = (margin_m + BEYOND_MARGIN_M) / unit_m;
    let by = Coord { x: by, y: by };
    Some(Rect::new(rect.min() - by, rect.max() + by))
}

impl Opened {
    /// The heights in the working system, in metres.
    ///
    /// # Errors
    /// Whatever keeps them from being read or brought there.
    pub fn into_working(self, to: &Target, notes: &mut Vec<String>) -> Result<RawElevation, Problem> {
        let allow_null = to.site.allow_null_datum_shift;
        match self {
            Self::Raster(raster) => {
                let heights = raster.read(to.working, to.boundary, to.swapped, to.wanted.margin_m, allow_null)?;
                notes.extend(heights.notes);
                Ok(RawElevation::Raster { heights: heights.raster, handling: heights.handling })
            }
            Self::Points(points, label) => {
                let points = points.into_crs(to.working, allow_null, &label)?;
                notes.extend(points.notes);
                let (floats, blanks) = (points.floats, points.blanks);
                Ok(RawElevation::Points { points: points.points, floats, blanks })
            }
        }
    }
}
