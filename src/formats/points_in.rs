//! Surveyed points: CSV lists and vector points with heights.

use super::crs;
use super::open::local_path;
use super::vector_in::{RawLayer, move_layer, read_layer};
use crate::finding::{Finding, Problem, Problems, Severity};
use crate::land::site_table::SiteTable;
use crate::land::survey::{RawElevation, SurveyPoint};
use gdal::spatial_ref::SpatialRef;
use geo::Coord;
use std::path::Path;

/// Points as they stand in a file: plan position in the file's system, height in the file's unit.
pub(super) struct RawPoints {
    pub(super) points: Vec<SurveyPoint>,
    pub(super) dropped: usize,
    pub(super) srs: SpatialRef,
}

const EAST: [&str; 6] = ["easting", "east", "e", "x", "longitude", "lon"];
const NORTH: [&str; 6] = ["northing", "north", "n", "y", "latitude", "lat"];
const HEIGHT: [&str; 8] = ["elevation", "height", "height_m", "rl", "z", "elev", "h", "ortho_height"];
const FIX: [&str; 4] = ["fix", "status", "solution", "fix_type"];
const PRECISION: [&str; 4] = ["vrms", "v_prec", "vrms_m", "vertical_precision"];

/// Whether a source is a list of points rather than a raster or vector file.
pub(super) fn is_csv(source: &str) -> bool {
    let name = source.to_lowercase();
    name.ends_with(".csv") || name.ends_with(".txt")
}

/// Reads a CSV list with a header line.
pub(super) fn read_csv(base: &Path, key: &str, source: &str, crs_text: Option<&str>) -> Result<RawPoints, Problems> {
    let path = local_path(base, key, source)?;
    let unreadable = |e: csv::Error| {
        Problem::data("file_unreadable", format!("`site.{key}`: `{source}` cannot be read as CSV: {e}"))
    };
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .flexible(true)
        .from_path(&path)
        .map_err(unreadable)?;
    let header: Vec<String> = reader.headers().map_err(unreadable)?.iter().map(str::to_lowercase).collect();
    let column = |names: &[&str]| names.iter().find_map(|n| header.iter().position(|h| h == n));
    let (Some(east), Some(north), Some(height)) = (column(&EAST), column(&NORTH), column(&HEIGHT)) else {
        return Err(Problem::data(
            "columns_missing",
            format!(
                "`site.{key}`: `{source}` needs columns for easting, northing and elevation; it has: {}",
                header.join(", ")
            ),
        )
        .hint("name them `point,easting,northing,elevation` in a header line")
        .into());
    };
    let degrees = header[east].starts_with("lon");
    let srs = match (crs_text, degrees) {
        (_, true) => crs::from_epsg(4326)?,
        (Some(text), false) => crs::horizontal(&crs::from_user(text)?),
        (None, false) => {
            return Err(Problem::data(
                "no_crs",
                format!("`site.{key}`: `{source}` is a plain list and does not say its coordinate system"),
            )
            .hint("set `site.crs`, for instance `crs = \"EPSG:7856\"`")
            .into());
        }
    };
    let (fix, precision) = (column(&FIX), column(&PRECISION));
    let mut problems = Problems::default();
    let mut points = Vec::new();
    let mut dropped = 0;
    for (i, record) in reader.records().enumerate() {
        let record = record.map_err(unreadable)?;
        let number = |c: usize| record.get(c).and_then(|v| v.parse::<f64>().ok()).filter(|v| v.is_finite());
        if fix.and_then(|c| record.get(c)).is_some_and(is_loose_fix) {
            dropped += 1;
            continue;
        }
        match (number(east), number(north), number(height)) {
            (Some(x), Some(y), Some(z)) => points.push(SurveyPoint {
                at: Coord { x, y },
                height_m: z,
                vertical_sigma_m: precision.and_then(number).filter(|p| *p > 0.0),
            }),
            _ if problems.0.len() < 5 => problems.push(Problem::data(
                "bad_number",
                format!("`site.{key}`: `{source}` line {}: easting, northing or elevation is no number", i + 2),
            )),
            _ => {}
        }
    }
    if points.is_empty() && problems.0.is_empty() {
        problems.push(Problem::data("layer_empty", format!("`site.{key}`: `{source}` holds no usable point")));
    }
    problems.into_result(RawPoints { points, dropped, srs })
}

/// Words survey controllers write for a solution that is not fixed.
fn is_loose_fix(word: &str) -> bool {
    let word = word.to_lowercase();
    ["float", "autonomous", "single", "dgps", "dgnss", "none", "5", "0"].iter().any(|w| word == *w)
        || word.contains("float")
}

/// Reads vector points with heights (Z, or an attribute).
pub(super) fn read_vector_points(
    base: &Path,
    key: &str,
    source: &str,
    crs_text: Option<&str>,
) -> Result<RawPoints, Problems> {
    let RawLayer { features, srs } = read_layer(base, key, source, crs_text)?;
    let mut points = Vec::new();
    let mut dropped = 0;
    for feature in &features {
        if feature.text(&FIX).is_some_and(|f| is_loose_fix(&f)) {
            dropped += 1;
            continue;
        }
        let height = feature.z.or_else(|| feature.number(&HEIGHT));
        for at in feature.points() {
            match height {
                Some(height_m) => {
                    points.push(SurveyPoint { at, height_m, vertical_sigma_m: feature.number(&PRECISION) })
                }
                None => dropped += 1,
            }
        }
    }
    if points.is_empty() {
        return Err(Problem::data(
            "not_a_raster",
            format!("`site.{key}`: `{source}` is neither a raster nor points with heights"),
        )
        .hint("points need Z values or an attribute `elevation`")
        .into());
    }
    Ok(RawPoints { points, dropped, srs })
}

/// Moves points into the working system, in metres.
pub(super) fn to_working(
    raw: RawPoints,
    working: &SpatialRef,
    site: &SiteTable,
    findings: &mut Vec<Finding>,
) -> Result<RawElevation, Problems> {
    let unit_m = match site.elevation_unit.as_deref() {
        None | Some("m") => 1.0,
        Some("ft") => 0.3048,
        Some("us-ft") => 1_200.0 / 3_937.0,
        Some(other) => {
            return Err(Problem::request(
                "unknown_unit",
                format!("`site.elevation_unit` = `{other}` is not one of `m`, `ft`, `us-ft`"),
            )
            .into());
        }
    };
    if raw.dropped > 0 {
        findings.push(Finding::new(
            Severity::Note,
            "survey",
            "points_dropped",
            format!("{} survey point(s) were left out: float fix, or no height.", raw.dropped),
        ));
    }
    let same = raw.srs.to_wkt().ok() == working.to_wkt().ok();
    let way = if same { None } else { Some(crs::transform(&raw.srs, working, "site.elevation")?) };
    let mut points = Vec::with_capacity(raw.points.len());
    for point in raw.points {
        let at = match &way {
            None => point.at,
            Some(way) => crs::move_point(way, point.at).ok_or_else(|| {
                Problem::data(
                    "coordinates_out_of_range",
                    format!(
                        "`site.elevation`: the point {:.6}, {:.6} cannot be moved into the working system",
                        point.at.x, point.at.y
                    ),
                )
                .hint("easting (or longitude) must come before northing (or latitude)")
            })?,
        };
        let height_m = point.height_m * unit_m;
        if !(-450.0..=9_000.0).contains(&height_m) {
            return Err(Problem::data(
                "absurd_heights",
                format!(
                    "`site.elevation`: a point at E {:.1} N {:.1} has height {height_m} m, outside -450 to 9000 m",
                    at.x, at.y
                ),
            )
            .into());
        }
        points.push(SurveyPoint { at, height_m, vertical_sigma_m: point.vertical_sigma_m });
    }
    Ok(RawElevation::Points { points, dropped: raw.dropped })
}

/// Vector features that were read as a layer become points only through [`read_vector_points`]; control points come here.
pub(super) fn control_points(
    layer: RawLayer,
    working: &SpatialRef,
) -> Result<Vec<crate::land::site::ControlPoint>, Problem> {
    let features = move_layer(layer, working, "control_point")?;
    Ok(features
        .iter()
        .enumerate()
        .filter_map(|(i, f)| {
            let at = *f.points().first()?;
            let height_m = f.number(&HEIGHT).or(f.z)?;
            let name = f.text(&["name", "id", "point"]).unwrap_or_else(|| format!("control {}", i + 1));
            Some(crate::land::site::ControlPoint { name, at, height_m })
        })
        .collect())
}
