//! Surveyed points: comma-separated text from a GNSS controller, or a vector file with heights.

use super::open::Source;
use super::points_text::{self, Columns, FIX, HEIGHT, SIGMA};
use super::transform::Mapper;
use super::vector_in::RawLayer;
use super::{crs, height_units};
use crate::finding::Problem;
use crate::land::survey::SurveyPoint;
use gdal::spatial_ref::SpatialRef;
use geo::{Coord, Rect};

/// Points and how many were left out.
pub struct Points {
    /// System the places are in until [`Points::into_crs`].
    pub crs: SpatialRef,
    /// What is known of the system of the heights.
    pub heights: VerticalSystem,
    /// The points.
    pub points: Vec<SurveyPoint>,
    /// Points left out because their fix was not fixed or not precise.
    pub floats: usize,
    /// Points left out because they have no height or no number.
    pub blanks: usize,
    /// What to tell the user.
    pub notes: Vec<String>,
}

/// The vertical system a file names.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VerticalSystem {
    /// Name.
    pub name: Option<String>,
    /// EPSG code.
    pub epsg: Option<u32>,
}

/// A height stated to be no better than this is no centimetre fix, whatever the receiver called it, metres (RTK floats
/// are decimetres off; common practice, no source).
const FLOAT_SIGMA_M: f64 = 0.1;

/// A fix worth a centimetre: said to be fixed (also as number 4 of the NMEA 0183 GGA quality list), or nothing said.
fn is_fixed(text: &str) -> bool {
    let text = text.trim().to_lowercase();
    text.is_empty() || text == "4" || text.contains("fix") && !text.contains("no fix") && !text.contains("unfixed")
}

/// The text as records, by the separator its first line has most of; blanks when it has none.
fn records(text: &str, label: &str) -> Result<Vec<csv::StringRecord>, Problem> {
    let first = text.lines().find(|l| !l.trim().is_empty()).unwrap_or_default();
    let count = |d: &u8| first.bytes().filter(|b| b == d).count();
    let delimiter = [b',', b';', b'\t'].into_iter().rev().max_by_key(count).filter(|d| count(d) > 0);
    let broken = |e: csv::Error| Problem::data("file_unreadable", format!("{label} is not well-formed: {e}"));
    let Some(delimiter) = delimiter else {
        return Ok(text.lines().filter(|l| !l.trim().is_empty()).map(|l| l.split_whitespace().collect()).collect());
    };
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes())
        .records()
        .collect::<Result<_, _>>()
        .map_err(broken)
}

/// What a line of text gave.
enum Line {
    Point(SurveyPoint),
    NotFixed,
    NoNumbers,
}

fn line(record: &csv::StringRecord, columns: &Columns, metres: f64) -> Line {
    let number = |i: usize| record.get(i).and_then(|t| t.parse::<f64>().ok()).filter(|v| v.is_finite());
    let sigma_m = columns.sigma.and_then(number).map(|s| s * metres);
    if columns.fix.and_then(|i| record.get(i)).is_some_and(|t| !is_fixed(t))
        || sigma_m.is_some_and(|s| s > FLOAT_SIGMA_M)
    {
        return Line::NotFixed;
    }
    match (number(columns.x), number(columns.y), number(columns.z)) {
        (Some(x), Some(y), Some(z)) => Line::Point(SurveyPoint {
            at: Coord { x, y },
            height_m: z * metres,
            vertical_sigma_m: sigma_m,
            swath: None,
        }),
        _ => Line::NoNumbers,
    }
}

/// Reads comma-, semicolon-, tab- or blank-separated points. `near` is where the boundary lies in the system
/// `fallback`; a list without a header is read by it.
///
/// # Errors
/// `file_unreadable`, `column_missing`, `column_order_unknown`, `column_order_ambiguous`, `layer_empty`, `no_crs`,
/// `unknown_unit`, `absurd_heights`.
pub fn read_text(
    source: &Source,
    fallback: Option<&SpatialRef>,
    unit: Option<&str>,
    near: Option<Rect<f64>>,
) -> Result<Points, Problem> {
    let label = source.label();
    let text = std::fs::read_to_string(&source.file).map_err(|e| {
        Problem::data("file_unreadable", format!("{label} cannot be read as text: {e}")).hint("save it as CSV in UTF-8")
    })?;
    let records = records(&text, &label)?;
    let Some(first) = records.first() else { return Err(empty(&label)) };
    let headless = points_text::is_headless(first);
    let columns =
        if headless { Columns::by_size_and_place(&records, near, &label)? } else { Columns::named(first, &label)? };
    let crs = if columns.degrees { Some(crs::wgs84()?) } else { fallback.cloned() };
    let crs = crs.ok_or_else(|| {
        Problem::data("no_crs", format!("{label} gives eastings and northings without a coordinate system"))
            .hint("set `crs = \"EPSG:...\"` under `[site]`")
    })?;
    let split = crs::split(&crs);
    let unit = height_units::settle(&label, unit, &split, "")?;
    let (mut points, mut floats, mut blanks) = (Vec::new(), 0, 0);
    for record in records.iter().skip(usize::from(!headless)) {
        match line(record, &columns, unit.metres) {
            Line::Point(point) => points.push(point),
            Line::NotFixed => floats += 1,
            Line::NoNumbers => blanks += 1,
        }
    }
    let mut notes: Vec<String> = unit.note.into_iter().chain(columns.note).collect();
    if blanks > 0 {
        notes.push(format!("{blanks} lines of {label} without place and height as numbers were left out"));
    }
    let heights = VerticalSystem { name: split.vertical_name, epsg: split.vertical_epsg };
    checked(Points { crs: split.plan, heights, points, floats, blanks, notes }, &label)
}

/// Takes the points of a vector file that carry a height.
///
/// # Errors
/// As for reading a layer, `not_points`, `unknown_unit`, `absurd_heights`.
pub fn read_vector(source: Source, fallback: Option<&SpatialRef>, unit: Option<&str>) -> Result<Points, Problem> {
    let label = source.label();
    let layer = RawLayer::read(source, fallback)?;
    let split = crs::split(&layer.crs);
    let unit = height_units::settle(&label, unit, &split, "")?;
    let (mut points, mut floats, mut blanks) = (Vec::new(), 0, 0);
    for feature in &layer.features {
        let height = feature.z.or_else(|| feature.number(HEIGHT));
        let sigma_m = feature.number(SIGMA).map(|s| s * unit.metres);
        let loose = feature.text(FIX).is_some_and(|t| !is_fixed(t)) || sigma_m.is_some_and(|s| s > FLOAT_SIGMA_M);
        match (feature.points().first(), height) {
            (Some(_), Some(_)) if loose => floats += 1,
            (Some(at), Some(z)) => {
                points.push(SurveyPoint { at: *at, height_m: z * unit.metres, vertical_sigma_m: sigma_m, swath: None })
            }
            _ => blanks += 1,
        }
    }
    let mut notes: Vec<String> = unit.note.into_iter().collect();
    if blanks > 0 {
        notes.push(format!("{blanks} features of {label} without a usable height were left out"));
    }
    let heights = VerticalSystem { name: split.vertical_name, epsg: split.vertical_epsg };
    checked(Points { crs: layer.crs, heights, points, floats, blanks, notes }, &label)
}

fn empty(label: &str) -> Problem {
    Problem::data("layer_empty", format!("{label} holds no point with a height"))
        .hint("points need a place, a height and, where a fix or precision column is present, a fixed solution")
}

/// The points, when there are any and all are possible.
///
/// # Errors
/// `layer_empty`, `absurd_heights`.
pub fn checked(points: Points, label: &str) -> Result<Points, Problem> {
    if points.points.is_empty() {
        return Err(empty(label));
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
        read_near(text, None)
    }

    fn read_near(text: &str, near: Option<Rect<f64>>) -> Result<Points, Problem> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("p.csv"), text).unwrap();
        let source = Source::find(folder.path(), "elevation", "p.csv").unwrap();
        read_text(&source, Some(&crs::from_epsg(7856).unwrap()), None, near)
    }

    #[test]
    fn headers_in_any_words_and_float_fixes_dropped() {
        let p = read("Point;N;E;RL;Fix;VRMS\n1;7812000;372000;51.20;FIXED;0.012\n2;7812010;372000;51.3;Float;0.4\n3;7812020;372000;;Fixed;0.01\n").unwrap();
        assert_eq!((p.points.len(), p.floats, p.blanks), (1, 1, 1));
        assert_eq!(
            p.points[0],
            SurveyPoint {
                at: Coord { x: 372_000.0, y: 7_812_000.0 },
                height_m: 51.2,
                vertical_sigma_m: Some(0.012),
                swath: None
            }
        );
    }

    #[test]
    fn faults_have_names() {
        assert_eq!(read("a,b\n1,2\n").err().unwrap().code, "column_missing");
        assert_eq!(read("e,n,z\n1,2,\n").err().unwrap().code, "layer_empty");
        assert_eq!(read("e,n,z\n1,2,99999\n").err().unwrap().code, "absurd_heights");
    }

    /// A list as a controller writes it: number, northing, easting, height, code.
    #[test]
    fn lists_without_a_header_are_read_by_size_and_place() {
        let near = Some(Rect::new(Coord { x: 371_500.0, y: 7_811_500.0 }, Coord { x: 372_500.0, y: 7_812_500.0 }));
        let first = Coord { x: 372_000.0, y: 7_812_010.0 };
        for text in [
            "101,7812010.0,372000.0,51.20,GR\n102,7812020.0,372000.0,51.25,GR\n",
            "101,372000.0,7812010.0,51.20,GR\n102,372000.0,7812020.0,51.25,GR\n",
            "372000.0,7812010.0,51.20\n372000.0,7812020.0,51.25\n",
            "7812010.0 372000.0 51.20\n7812020.0 372000.0 51.25\n",
            "7812010.0\t372000.0\t51.20\t7\n7812020.0\t372000.0\t51.25\t7\n",
        ] {
            for near in [near, None] {
                let p = read_near(text, near).unwrap_or_else(|e| panic!("{text}: {e}"));
                assert_eq!((p.points[0].at, p.points[0].height_m, p.points.len()), (first, 51.2, 2), "{text}");
                assert!(p.notes.iter().any(|n| n.contains("E 372000 N 7812020")), "{:?}", p.notes);
            }
        }
    }

    #[test]
    fn lists_that_can_be_read_two_ways_are_refused() {
        // A local grid where east and north are about the same number.
        let near = Some(Rect::new(Coord { x: 4_000.0, y: 4_000.0 }, Coord { x: 6_000.0, y: 6_000.0 }));
        let list = "1,5000,5100,51.2\n2,5010,5110,51.3\n";
        let problem = read_near(list, near).err().unwrap();
        assert_eq!(problem.code, "column_order_ambiguous");
        assert!(
            problem.message.contains("number, northing, easting") && problem.message.contains("or number, easting")
        );
        assert_eq!(read_near(list, None).err().unwrap().code, "column_order_ambiguous");
        // By size east is first, by place it is last: one of the two files is swapped.
        let crossed = Some(Rect::new(Coord { x: 7_811_000.0, y: 371_000.0 }, Coord { x: 7_813_000.0, y: 373_000.0 }));
        let problem = read_near("372000,7812000,51\n372000,7812010,51\n", crossed).err().unwrap();
        assert_eq!(problem.code, "column_order_ambiguous");
        let far = Some(Rect::new(Coord { x: 571_000.0, y: 7_811_000.0 }, Coord { x: 573_000.0, y: 7_813_000.0 }));
        let problem = read_near("1,7812000,372000,51\n", far).err().unwrap();
        assert_eq!(problem.code, "column_order_unknown");
        assert!(problem.message.contains("E 372000 N 7812000"), "{problem}");
    }

    #[test]
    fn precision_alone_tells_a_float() {
        let p = read(
            "Point,Northing (m),Easting (m),Ortho Height,VRMS\n1,7812000,372000,51.2,0.015\n2,7812010,372000,51.3,0.35\n",
        );
        let p = p.unwrap();
        assert_eq!((p.points.len(), p.floats), (1, 1));
        let nmea = read("e,n,z,fix\n1,2,3,4\n1,3,3,5\n1,4,3,1\n").unwrap();
        assert_eq!((nmea.points.len(), nmea.floats), (1, 2));
        let ellipsoid = read("e,n,ell_h\n1,2,3\n").unwrap();
        assert!(ellipsoid.notes.iter().any(|n| n.contains("ellipsoid")));
    }
}
