//! Surveyed points: comma-separated text from a GNSS controller, or a vector file with heights.

use super::open::Source;
use super::transform::Mapper;
use super::vector_in::RawLayer;
use super::{crs, height_units};
use crate::finding::Problem;
use crate::land::survey::SurveyPoint;
use gdal::spatial_ref::SpatialRef;
use geo::Coord;

/// Points and how many were left out.
pub struct Points {
    /// System the places are in until [`Points::into_crs`].
    pub crs: SpatialRef,
    /// The points.
    pub points: Vec<SurveyPoint>,
    /// Points left out: no height, no number, or a fix that was not fixed.
    pub dropped: usize,
    /// What to tell the user.
    pub notes: Vec<String>,
}

const EAST: &[&str] = &["easting", "east", "e", "x", "easting_m"];
const NORTH: &[&str] = &["northing", "north", "n", "y", "northing_m"];
const LON: &[&str] = &["longitude", "lon", "long", "lng"];
const LAT: &[&str] = &["latitude", "lat"];
const HEIGHT: &[&str] = &["elevation", "elev", "rl", "z", "height", "h", "ortho_height", "height_m", "elevation_m"];
const FIX: &[&str] = &["fix", "status", "solution", "fix_type", "sol_type"];
const SIGMA: &[&str] = &["vrms", "v_prec", "vertical_precision", "vrms_m", "sd_u"];

struct Columns {
    x: usize,
    y: usize,
    z: usize,
    fix: Option<usize>,
    sigma: Option<usize>,
    degrees: bool,
}

impl Columns {
    fn find(header: &csv::StringRecord, label: &str) -> Result<Self, Problem> {
        let names: Vec<String> =
            header.iter().map(|h| h.trim().trim_start_matches('\u{feff}').to_lowercase()).collect();
        let column = |aliases: &[&str]| aliases.iter().find_map(|a| names.iter().position(|n| n == a));
        let missing = |what: &str, aliases: &[&str]| {
            Problem::data("column_missing", format!("{label} has no {what} column")).hint(format!(
                "name one of its columns {}; it has {}",
                aliases.join(", "),
                names.join(", ")
            ))
        };
        let (x, y, degrees) = match (column(EAST), column(NORTH), column(LON), column(LAT)) {
            (Some(x), Some(y), ..) => (x, y, false),
            (_, _, Some(x), Some(y)) => (x, y, true),
            (None, ..) => return Err(missing("easting", EAST)),
            _ => return Err(missing("northing", NORTH)),
        };
        let z = column(HEIGHT).ok_or_else(|| missing("height", HEIGHT))?;
        Ok(Self { x, y, z, fix: column(FIX), sigma: column(SIGMA), degrees })
    }
}

/// A fix worth a centimetre: said to be fixed (also as number 4 of the NMEA quality list), or nothing said.
fn is_fixed(text: &str) -> bool {
    let text = text.trim().to_lowercase();
    text.is_empty() || text == "4" || text.contains("fix") && !text.contains("no fix") && !text.contains("unfixed")
}

/// Reads comma-, semicolon- or tab-separated points.
///
/// # Errors
/// `file_unreadable`, `column_missing`, `layer_empty`, `no_crs`, `unknown_unit`, `absurd_heights`.
pub fn read_text(source: &Source, fallback: Option<&SpatialRef>, unit: Option<&str>) -> Result<Points, Problem> {
    let label = source.label();
    let text = std::fs::read_to_string(&source.file).map_err(|e| {
        Problem::data("file_unreadable", format!("{label} cannot be read as text: {e}")).hint("save it as CSV in UTF-8")
    })?;
    let first = text.lines().next().unwrap_or_default();
    let delimiter =
        [b',', b';', b'\t'].into_iter().max_by_key(|d| first.bytes().filter(|b| b == d).count()).unwrap_or(b',');
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let broken = |e: csv::Error| Problem::data("file_unreadable", format!("{label} is not well-formed: {e}"));
    let columns = Columns::find(reader.headers().map_err(broken)?, &label)?;
    let crs = if columns.degrees { Some(crs::wgs84()?) } else { fallback.cloned() };
    let crs = crs.ok_or_else(|| {
        Problem::data("no_crs", format!("{label} gives eastings and northings without a coordinate system"))
            .hint("set `crs = \"EPSG:...\"` under `[site]`")
    })?;
    let split = crs::split(&crs);
    let unit = height_units::settle(&label, unit, &split, "")?;
    let (mut points, mut floats, mut blanks) = (Vec::new(), 0, 0);
    for record in reader.records() {
        let record = record.map_err(broken)?;
        let number = |i: usize| record.get(i).and_then(|t| t.parse::<f64>().ok()).filter(|v| v.is_finite());
        if columns.fix.and_then(|i| record.get(i)).is_some_and(|t| !is_fixed(t)) {
            floats += 1;
            continue;
        }
        let (Some(x), Some(y), Some(z)) = (number(columns.x), number(columns.y), number(columns.z)) else {
            blanks += 1;
            continue;
        };
        let vertical_sigma_m = columns.sigma.and_then(number).map(|s| s * unit.metres);
        points.push(SurveyPoint { at: Coord { x, y }, height_m: z * unit.metres, vertical_sigma_m });
    }
    let mut notes: Vec<String> = unit.note.into_iter().collect();
    if floats > 0 {
        notes.push(format!("{floats} points of {label} without a fixed solution were left out"));
    }
    if blanks > 0 {
        notes.push(format!("{blanks} lines of {label} without place and height as numbers were left out"));
    }
    checked(Points { crs: split.plan, points, dropped: floats + blanks, notes }, &label)
}

/// Takes the points of a vector file that carry a height.
///
/// # Errors
/// As for reading a layer, `not_points`, `unknown_unit`, `absurd_heights`.
pub fn read_vector(source: Source, fallback: Option<&SpatialRef>, unit: Option<&str>) -> Result<Points, Problem> {
    let label = source.label();
    let layer = RawLayer::read(source, fallback)?;
    let unit = height_units::settle(&label, unit, &crs::split(&layer.crs), "")?;
    let (mut points, mut dropped) = (Vec::new(), 0);
    for feature in &layer.features {
        let height = feature.z.or_else(|| feature.number(HEIGHT));
        let loose = feature.text(FIX).is_some_and(|t| !is_fixed(t));
        match (feature.points().first(), height) {
            (Some(at), Some(z)) if !loose => points.push(SurveyPoint {
                at: *at,
                height_m: z * unit.metres,
                vertical_sigma_m: feature.number(SIGMA).map(|s| s * unit.metres),
            }),
            _ => dropped += 1,
        }
    }
    let mut notes: Vec<String> = unit.note.into_iter().collect();
    if dropped > 0 {
        notes.push(format!("{dropped} features of {label} without a usable height were left out"));
    }
    checked(Points { crs: layer.crs, points, dropped, notes }, &label)
}

fn checked(points: Points, label: &str) -> Result<Points, Problem> {
    if points.points.is_empty() {
        return Err(Problem::data("layer_empty", format!("{label} holds no point with a height"))
            .hint("points need a place, a height and, where a fix column is present, a fixed solution"));
    }
    let absurd: Vec<&SurveyPoint> = points.points.iter().filter(|p| !(-450.0..=9000.0).contains(&p.height_m)).collect();
    if let Some(first) = absurd.first() {
        return Err(Problem::data(
            "absurd_heights",
            format!(
                "{label} holds {} points whose height no ground has (outside -450 m to 9000 m); the first is {:.3} m at {:.3}, {:.3}",
                absurd.len(), first.height_m, first.at.x, first.at.y
            ),
        )
        .hint("take such points out, or state the right unit in `site.elevation_unit`"));
    }
    Ok(points)
}

impl Points {
    /// The points in the working system.
    ///
    /// # Errors
    /// `crs_not_reachable`.
    pub fn into_crs(mut self, to: &SpatialRef, allow_null: bool, label: &str) -> Result<Self, Problem> {
        let mapper = Mapper::new(&self.crs, to, allow_null, label)?;
        for point in &mut self.points {
            point.at = mapper.point(point.at).ok_or_else(|| {
                Problem::data(
                    "crs_not_reachable",
                    format!("{label} has the place {}, {} outside its system", point.at.x, point.at.y),
                )
                .hint("check `site.crs` and the order of the columns")
            })?;
        }
        self.notes.extend(mapper.note);
        self.crs = to.clone();
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Points, Problem> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("p.csv"), text).unwrap();
        let source = Source::find(folder.path(), "elevation", "p.csv").unwrap();
        read_text(&source, Some(&crs::from_epsg(7856).unwrap()), None)
    }

    #[test]
    fn headers_in_any_words_and_float_fixes_dropped() {
        let p = read("Point;N;E;RL;Fix;VRMS\n1;7812000;372000;51.20;FIXED;0.012\n2;7812010;372000;51.3;Float;0.4\n3;7812020;372000;;Fixed;0.01\n").unwrap();
        assert_eq!((p.points.len(), p.dropped), (1, 2));
        assert_eq!(
            p.points[0],
            SurveyPoint { at: Coord { x: 372_000.0, y: 7_812_000.0 }, height_m: 51.2, vertical_sigma_m: Some(0.012) }
        );
    }

    #[test]
    fn faults_have_names() {
        assert_eq!(read("a,b\n1,2\n").err().unwrap().code, "column_missing");
        assert_eq!(read("e,n,z\n1,2,\n").err().unwrap().code, "layer_empty");
        assert_eq!(read("e,n,z\n1,2,99999\n").err().unwrap().code, "absurd_heights");
    }
}
