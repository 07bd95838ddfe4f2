//! All inputs of a run, read into one projected system.

use super::crs;
use super::layers_in::{given_blocks, read_layers};
use super::open::{local_path, split_layer};
use super::points_in::{RawPoints, is_csv, read_csv, read_vector_points, to_working};
use super::raster_in::RasterSource;
use super::vector_in::{RawFeature, RawLayer, move_layer, read_layer};
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::land::site_table::SiteTable;
use crate::land::store::{InputRecord, Wanted};
use crate::land::survey::{ElevationModel, RawElevation, RawSurvey};
use gdal::spatial_ref::SpatialRef;
use geo::{BoundingRect, Centroid, Coord, MultiPolygon, Rect};
use std::path::Path;

enum Elevation {
    Raster(Box<RasterSource>),
    Points(RawPoints),
    NotWanted,
}

/// Reads everything; see [`crate::land::store::Store::read_survey`].
pub(super) fn read_survey(base: &Path, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
    let mut problems = Problems::default();
    let mut findings = Vec::new();
    let boundary = collect(
        read_layer(base, "boundary", &site.boundary, site.crs.as_deref()).map_err(Problems::from),
        &mut problems,
    );
    let elevation = collect(open_elevation(base, site, wanted), &mut problems);
    let (Some(boundary), Some(elevation)) = (boundary, elevation) else {
        read_layers_for_problems(base, site, &mut problems);
        return Err(problems);
    };
    let working = working_system(&boundary, &elevation)?;
    let vertical = match &elevation {
        Elevation::Raster(raster) => raster.vertical.clone(),
        _ => site.vertical_datum.clone().map(|name| (name, None)),
    };
    let boundary_srs = boundary.srs.clone();
    let swapped = boundary.features.iter().map(|f| f.geometry.clone()).collect::<Vec<_>>();
    let features = move_layer(boundary, &working, "boundary").map_err(Problems::from);
    let features = features.map_err(|p| hint_swapped(p, &swapped, &boundary_srs))?;
    let parcels = parcels(site, &features)?;
    let rect = extent(&parcels).ok_or_else(|| Problem::data("layer_empty", "`site.boundary` has no area"))?;
    let (layers, not_given) = read_layers(base, site, &working, &mut problems);
    let margin = wanted.margin_m.max(0.0);
    let with_margin = grow(rect, margin);
    let elevation = match elevation {
        Elevation::Raster(raster) => covered(&raster, &working, rect, &swapped, &boundary_srs)
            .and_then(|()| raster.read(&working, with_margin, &mut findings))
            .map(|(heights, handling)| Some(RawElevation::Raster { heights, handling })),
        Elevation::Points(points) => to_working(points, &working, site, &mut findings).map(Some),
        Elevation::NotWanted => Ok(None),
    };
    let elevation = collect(elevation, &mut problems);
    let mut layers = layers;
    if let Some(source) = &wanted.given_blocks {
        let blocks = read_layer(base, "given.blocks", source, site.crs.as_deref())
            .and_then(|raw| move_layer(raw, &working, "given.blocks"));
        match blocks {
            Ok(features) => layers.given_blocks = given_blocks(&features),
            Err(problem) => problems.push(problem),
        }
    }
    let given_surface = match &wanted.given_surface {
        Some(source) => collect(given_surface(base, site, source, &working, with_margin), &mut problems),
        None => None,
    };
    datum_note(&boundary_srs, &working, &mut findings);
    let centre = rect.center();
    let geodesy = collect(crs::local_geodesy(&working, centre).map_err(Problems::from), &mut problems);
    let (Some(elevation), Some(geodesy)) = (elevation, geodesy) else { return Err(problems) };
    let tag = crs::tag(&working, vertical);
    if tag.vertical_name.is_none() && elevation.is_some() {
        findings.push(Finding::new(
            Severity::Warning,
            "survey",
            "vertical_datum_not_declared",
            "The elevation source does not say its vertical datum. Levels are those of the file; tie them to a mark before set-out, and never mix them with levels from elsewhere.",
        ));
    }
    let raw = RawSurvey { parcels, elevation, layers, not_given, given_surface, crs: tag, geodesy };
    problems.into_result(Outcome { value: raw, findings })
}

fn collect<T>(result: Result<T, Problems>, problems: &mut Problems) -> Option<T> {
    result.map_err(|p| problems.0.extend(p.0)).ok()
}

/// When the boundary or the elevation cannot be read, the other files are still opened, so that one run names all faults.
fn read_layers_for_problems(base: &Path, site: &SiteTable, problems: &mut Problems) {
    for (key, source) in site.optional_layers() {
        if let Some(source) = source {
            if let Err(problem) = read_layer(base, key, source, site.crs.as_deref()) {
                problems.push(problem);
            }
        }
    }
}

fn open_elevation(base: &Path, site: &SiteTable, wanted: &Wanted) -> Result<Elevation, Problems> {
    let Some(source) = site.elevation.as_deref() else {
        return if wanted.ground {
            Err(Problem::request(
                "elevation_missing",
                "`site.elevation` is not set, and a wanted stage reads the ground",
            )
            .hint("name a raster or a list of points, or take out the stages that need ground")
            .into())
        } else {
            Ok(Elevation::NotWanted)
        };
    };
    if !wanted.ground {
        return Ok(Elevation::NotWanted);
    }
    if is_csv(source) {
        return Ok(Elevation::Points(read_csv(base, "elevation", source, site.crs.as_deref())?));
    }
    match RasterSource::open(base, site, source) {
        Ok(raster) => Ok(Elevation::Raster(Box::new(raster))),
        // What is no raster may still be points with heights; when it is not, the raster's message is the better one.
        Err(problems) if problems.0.iter().all(|p| p.code == "not_a_raster") => {
            read_vector_points(base, "elevation", source, site.crs.as_deref())
                .map(Elevation::Points)
                .map_err(|_| problems)
        }
        Err(problems) => Err(problems),
    }
}

/// The raster's own system when it is projected metres, else the points' or boundary's, else the zone of the boundary.
fn working_system(boundary: &RawLayer, elevation: &Elevation) -> Result<SpatialRef, Problems> {
    let own = match elevation {
        Elevation::Raster(raster) => Some(&raster.plan),
        Elevation::Points(points) => Some(&points.srs),
        Elevation::NotWanted => Some(&boundary.srs),
    };
    if let Some(srs) = own.filter(|s| crs::is_projected_metres(s)) {
        return Ok(srs.clone());
    }
    if crs::is_projected_metres(&boundary.srs) {
        return Ok(boundary.srs.clone());
    }
    let degrees = crs::from_epsg(4326)?;
    let way = crs::transform(&boundary.srs, &degrees, "site.boundary")?;
    let centre = boundary.features.iter().find_map(|f| f.geometry.centroid()).map_or(Coord { x: 0.0, y: 0.0 }, |p| p.0);
    let at = crs::move_point(&way, centre).filter(|at| at.y.abs() <= 84.0).ok_or_else(|| {
        Problem::data(
            "coordinates_out_of_range",
            format!("`site.boundary`: {:.6}, {:.6} is no place with a projected zone", centre.x, centre.y),
        )
        .hint("longitude must come before latitude; the axes may be swapped in the file")
    })?;
    Ok(crs::from_epsg(crs::zone_for(at.x, at.y))?)
}

fn parcels(site: &SiteTable, features: &[RawFeature]) -> Result<Vec<(String, MultiPolygon<f64>)>, Problem> {
    let key = site.parcel_name.as_deref().map(str::to_lowercase);
    let list: Vec<_> = features
        .iter()
        .enumerate()
        .filter_map(|(i, f)| {
            let name = key
                .as_deref()
                .and_then(|k| f.text(&[k]))
                .or_else(|| f.text(&["name"]))
                .unwrap_or_else(|| format!("Parcel {}", i + 1));
            Some((name, f.areas()?))
        })
        .collect();
    if list.is_empty() {
        return Err(Problem::data("not_polygons", format!("`site.boundary`: `{}` holds no polygon", site.boundary))
            .hint("the boundary must be an area; close the line into a polygon"));
    }
    Ok(list)
}

fn extent(parcels: &[(String, MultiPolygon<f64>)]) -> Option<Rect<f64>> {
    parcels.iter().filter_map(|(_, outline)| outline.bounding_rect()).reduce(|a, b| {
        Rect::new(
            Coord { x: a.min().x.min(b.min().x), y: a.min().y.min(b.min().y) },
            Coord { x: a.max().x.max(b.max().x), y: a.max().y.max(b.max().y) },
        )
    })
}

fn grow(rect: Rect<f64>, by: f64) -> Rect<f64> {
    let by = Coord { x: by, y: by };
    Rect::new(rect.min() - by, rect.max() + by)
}

/// Compares the extents of boundary and raster before anything is read.
fn covered(
    raster: &RasterSource,
    working: &SpatialRef,
    rect: Rect<f64>,
    original: &[geo::Geometry<f64>],
    boundary_srs: &SpatialRef,
) -> Result<(), Problems> {
    let way = crs::transform(working, &raster.plan, "site.elevation")?;
    let extent = raster.extent();
    let inside = |at: Coord<f64>| {
        crs::move_point(&way, at).is_some_and(|p| {
            p.x >= extent.min().x && p.x <= extent.max().x && p.y >= extent.min().y && p.y <= extent.max().y
        })
    };
    // A lattice over the boundary's rectangle: exact coverage is judged later, on the cells inside the boundary.
    const N: i32 = 20;
    let hits = (0..=N)
        .flat_map(|i| (0..=N).map(move |j| (i, j)))
        .filter(|(i, j)| {
            inside(Coord {
                x: rect.min().x + rect.width() * f64::from(*i) / f64::from(N),
                y: rect.min().y + rect.height() * f64::from(*j) / f64::from(N),
            })
        })
        .count();
    if hits > 0 {
        return Ok(());
    }
    let say = |r: Rect<f64>| format!("E {:.0} to {:.0}, N {:.0} to {:.0}", r.min().x, r.max().x, r.min().y, r.max().y);
    let problem = Problem::data(
        "boundary_outside_raster",
        format!(
            "`site.boundary` ({}) lies outside the elevation raster ({}, in `{}`)",
            say(rect),
            say(extent),
            raster.plan.name().unwrap_or_default()
        ),
    )
    .hint("check that both files are of the same property and that their coordinate systems are right");
    let back = crs::transform(boundary_srs, &raster.plan, "site.boundary").ok();
    let swapped_fits = back.is_some_and(|way| {
        original.iter().filter_map(Centroid::centroid).any(|c| {
            crs::move_point(&way, Coord { x: c.y(), y: c.x() }).is_some_and(|p| {
                p.x >= extent.min().x && p.x <= extent.max().x && p.y >= extent.min().y && p.y <= extent.max().y
            })
        })
    });
    Err(if swapped_fits {
        Problem { code: "axes_swapped".to_owned(), ..problem }
            .hint("with its axes swapped the boundary lies on the raster: write longitude (or easting) before latitude (or northing)")
            .into()
    } else {
        problem.into()
    })
}

/// A boundary in degrees whose first numbers are beyond what a latitude can be has its axes swapped.
fn hint_swapped(mut problems: Problems, geometries: &[geo::Geometry<f64>], srs: &SpatialRef) -> Problems {
    let beyond = srs.is_geographic()
        && geometries
            .iter()
            .filter_map(BoundingRect::bounding_rect)
            .any(|r| r.max().y.abs() > 90.0 || r.min().y.abs() > 90.0);
    if beyond {
        for problem in &mut problems.0 {
            "axes_swapped".clone_into(&mut problem.code);
            problem.hint = Some("latitudes beyond 90 degrees: write longitude before latitude".to_owned());
        }
    }
    problems
}

fn given_surface(
    base: &Path,
    site: &SiteTable,
    source: &str,
    working: &SpatialRef,
    rect: Rect<f64>,
) -> Result<ElevationModel, Problems> {
    let raster = RasterSource::open(base, site, source)?;
    Ok(ElevationModel(raster.read(working, rect, &mut Vec::new())?.0))
}

/// Files in plain longitude and latitude say "WGS 84" and mean whatever their maker's receiver was set to.
fn datum_note(boundary: &SpatialRef, working: &SpatialRef, findings: &mut Vec<Finding>) {
    let datum = |s: &SpatialRef| s.geog_cs().ok().and_then(|g| g.name()).unwrap_or_default();
    let (from, to) = (datum(boundary), datum(working));
    if from != to && !from.is_empty() {
        findings.push(Finding::new(
            Severity::Note,
            "survey",
            "datum_change",
            format!(
                "The boundary is in `{from}` and the works are in `{to}`. Between dynamic and plate-fixed datums PROJ knows only \"no shift\", good to a few metres at worst: check two corners on the ground before pegging.",
            ),
        ));
    }
}

/// Digest of every input file and its sidecars.
pub(super) fn records(base: &Path, site: &SiteTable, wanted: &Wanted) -> Result<Vec<InputRecord>, Problems> {
    let mut problems = Problems::default();
    let mut list = Vec::new();
    let mut sources: Vec<(String, String)> = vec![("boundary".to_owned(), site.boundary.clone())];
    if wanted.ground {
        sources.extend(site.elevation.iter().map(|s| ("elevation".to_owned(), s.clone())));
    }
    sources.extend(site.optional_layers().iter().filter_map(|(k, s)| s.map(|s| ((*k).to_owned(), s.to_owned()))));
    sources.extend(wanted.given_blocks.iter().map(|s| ("given.blocks".to_owned(), s.clone())));
    sources.extend(wanted.given_surface.iter().map(|s| ("given.surface".to_owned(), s.clone())));
    let mut seen = std::collections::BTreeMap::new();
    for (key, source) in sources {
        let (name, _) = split_layer(&source);
        let digest = match seen.get(name) {
            Some(digest) => Ok(String::clone(digest)),
            None => local_path(base, &key, &source).and_then(|path| digest(&path, &key, name)),
        };
        match digest {
            Ok(digest) => {
                seen.insert(name.to_owned(), digest.clone());
                list.push(InputRecord { key, path: source, digest });
            }
            Err(problem) => problems.push(problem),
        }
    }
    problems.into_result(list)
}

fn digest(path: &Path, key: &str, name: &str) -> Result<String, Problem> {
    let mut hasher = blake3::Hasher::new();
    let unreadable =
        |e: std::io::Error| Problem::data("file_unreadable", format!("`site.{key}`: `{name}` cannot be read: {e}"));
    hasher.update_reader(std::fs::File::open(path).map_err(unreadable)?).map_err(unreadable)?;
    for extension in ["prj", "shx", "dbf", "cpg", "tfw", "aux.xml"] {
        let mut sidecar = path.with_extension(extension);
        if extension == "aux.xml" {
            sidecar = std::path::PathBuf::from(format!("{}.aux.xml", path.display()));
        }
        if sidecar != path {
            if let Ok(bytes) = std::fs::read(&sidecar) {
                hasher.update(extension.as_bytes()).update(&bytes);
            }
        }
    }
    if path.extension().is_some_and(|e| e == "vrt") {
        // A virtual raster is only as fixed as the files in its folder.
        if let Some(folder) = path.parent() {
            let mut files: Vec<_> = std::fs::read_dir(folder)
                .map_err(unreadable)?
                .flatten()
                .map(|e| e.path())
                .filter(|p| p.is_file())
                .collect();
            files.sort();
            for file in files {
                hasher.update(&std::fs::read(&file).unwrap_or_default());
            }
        }
    }
    Ok(hasher.finalize().to_hex().to_string())
}
