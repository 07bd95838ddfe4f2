//! Points as lines of text: which column is what.
//!
//! With a header the columns are found by their names. Without one the list is taken for number, northing, easting,
//! height, code (or easting before northing, or without the number), as survey controllers write it. Which of these it
//! is must show twice over: the numbers must have the size a coordinate of that kind has, and the points must lie by
//! the boundary. A list that could be read two ways is refused, because both readings look like land.

use crate::finding::Problem;
use geo::{Coord, Intersects, Rect};

const EAST: &[&str] = &["easting", "east", "e", "x", "easting_m", "grid_e", "e_m"];
const NORTH: &[&str] = &["northing", "north", "n", "y", "northing_m", "grid_n", "n_m"];
const LON: &[&str] = &["longitude", "lon", "long", "lng"];
const LAT: &[&str] = &["latitude", "lat"];
/// Names of a height column.
pub const HEIGHT: &[&str] = &[
    "elevation",
    "elev",
    "rl",
    "z",
    "height",
    "h",
    "ortho_height",
    "orthometric_height",
    "height_m",
    "elevation_m",
    "level",
];
const ELLIPSOID: &[&str] = &["ellipsoid_height", "ellipsoidal_height", "ell_h", "ellh"];
/// Names of a column that says what kind of fix it was.
pub const FIX: &[&str] =
    &["fix", "status", "solution", "fix_type", "sol_type", "fix_quality", "gps_quality", "quality", "solution_type"];
/// Names of a column with the vertical precision (1 sigma).
pub const SIGMA: &[&str] =
    &["vrms", "v_prec", "vertical_precision", "vprec", "vrms_m", "sd_u", "vert_prec", "v_rms", "sdu"];

/// Share of the points that must lie by the boundary for a reading of the columns to count.
const LEAST_SHARE: f64 = 0.5;

/// Which column is what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns {
    /// East or longitude.
    pub x: usize,
    /// North or latitude.
    pub y: usize,
    /// Height.
    pub z: usize,
    /// Kind of fix.
    pub fix: Option<usize>,
    /// Vertical precision.
    pub sigma: Option<usize>,
    /// Longitude and latitude by name.
    pub degrees: bool,
    /// What to tell the user about the reading.
    pub note: Option<String>,
}

/// Whether the first line is already a point: three or more numbers, one behind the other.
#[must_use]
pub fn is_headless(first: &csv::StringRecord) -> bool {
    let numbers: Vec<bool> = first.iter().map(|t| number(t).is_some()).collect();
    numbers.windows(3).any(|w| w.iter().all(|n| *n))
}

fn number(text: &str) -> Option<f64> {
    text.trim().parse::<f64>().ok().filter(|v| v.is_finite())
}

impl Columns {
    /// The columns by the names of a header.
    ///
    /// # Errors
    /// `column_missing`.
    pub fn named(header: &csv::StringRecord, label: &str) -> Result<Self, Problem> {
        let names: Vec<String> = header.iter().map(plain_name).collect();
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
        let (z, note) = match (column(HEIGHT), column(ELLIPSOID)) {
            (Some(z), _) => (z, None),
            (None, Some(z)) => (
                z,
                Some(format!(
                    "{label} gives heights above the ellipsoid only (column `{}`); they are tens of metres off a national \
                     height datum and tilted against it. Falls on one property are hardly touched, outlet levels and \
                     control points in another datum must not be mixed with them",
                    names[z]
                )),
            ),
            (None, None) => return Err(missing("height", HEIGHT)),
        };
        Ok(Self { x, y, z, fix: column(FIX), sigma: column(SIGMA), degrees, note })
    }

    /// The columns of a list without a header; `near` is where the boundary lies, in the system of the list.
    ///
    /// # Errors
    /// `column_order_unknown` when no reading puts the points by the boundary, `column_order_ambiguous` when two do.
    pub fn by_size_and_place(
        records: &[csv::StringRecord],
        near: Option<Rect<f64>>,
        label: &str,
    ) -> Result<Self, Problem> {
        let width = records.iter().map(csv::StringRecord::len).min().unwrap_or(0);
        let readings: Vec<Reading> = (0..2_usize)
            .filter(|first| first + 2 < width)
            .flat_map(|first| [(first, first + 1), (first + 1, first)].map(|(x, y)| (x, y, first + 2)))
            .filter_map(|(x, y, z)| Reading::of(records, x, y, z, near))
            .collect();
        let sized: Vec<&Reading> = readings.iter().filter(|r| r.has_size).collect();
        let placed: Vec<&Reading> = readings.iter().filter(|r| r.by_boundary == Some(true)).collect();
        let said = |r: &Reading| r.words(width);
        let choice = match (sized.as_slice(), placed.as_slice()) {
            (_, []) if near.is_some() => {
                let far = sized
                    .first()
                    .map_or(String::new(), |r| format!("; read as {} they lie about {}", said(r), place(r.middle)));
                return Err(Problem::data(
                    "column_order_unknown",
                    format!(
                        "{label} has no header, and in no order of its columns do its points lie by the boundary{far}"
                    ),
                )
                .hint("check `site.crs`, or write a header line such as `number,easting,northing,height,code`"));
            }
            (sizes, [one]) if sizes.is_empty() || sizes.contains(one) => *one,
            ([one], []) => *one,
            (sizes, [one]) => {
                let both = [said(one)].into_iter().chain(sizes.iter().map(|r| said(r)));
                return Err(ambiguous(label, &both.collect::<Vec<_>>()));
            }
            (sizes, places) => {
                // The size of the numbers settles it only among the readings that lie by the boundary.
                let both: Vec<&Reading> =
                    sizes.iter().copied().filter(|s| places.is_empty() || places.contains(s)).collect();
                match both.as_slice() {
                    [one] => *one,
                    more => {
                        let open = if more.is_empty() { readings.iter().collect() } else { more.to_vec() };
                        return Err(ambiguous(label, &open.into_iter().map(said).collect::<Vec<_>>()));
                    }
                }
            }
        };
        Ok(Self {
            x: choice.x,
            y: choice.y,
            z: choice.z,
            fix: None,
            sigma: None,
            degrees: false,
            note: Some(format!(
                "{label} has no header; its columns were taken as {}, which puts its points about {}",
                said(choice),
                place(choice.middle)
            )),
        })
    }
}

fn plain_name(text: &str) -> String {
    let text = text.trim().trim_start_matches('\u{feff}').to_lowercase();
    // "Northing (m)", "Ortho Height" and "ortho-height" are one word each.
    let text = text.split(['(', '[']).next().unwrap_or_default().trim().to_owned();
    text.replace([' ', '-', '.'], "_")
}

fn place(at: Coord<f64>) -> String {
    format!("E {:.0} N {:.0}", at.x, at.y)
}

fn ambiguous(label: &str, readings: &[String]) -> Problem {
    let readings = if readings.is_empty() { "no order at all".to_owned() } else { readings.join(", or ") };
    Problem::data("column_order_ambiguous", format!("{label} has no header, and its columns can be read as {readings}"))
        .hint("write a header line such as `number,easting,northing,height,code`")
}

/// One way of reading the columns.
#[derive(Debug, PartialEq)]
struct Reading {
    x: usize,
    y: usize,
    z: usize,
    /// Whether the numbers have the size of eastings, northings and heights of a national or UTM grid.
    has_size: bool,
    /// Whether most points lie by the boundary; `None` when that cannot be told.
    by_boundary: Option<bool>,
    middle: Coord<f64>,
}

impl Reading {
    fn of(records: &[csv::StringRecord], x: usize, y: usize, z: usize, near: Option<Rect<f64>>) -> Option<Self> {
        let value = |r: &csv::StringRecord, i: usize| r.get(i).and_then(number);
        let all: Vec<(Coord<f64>, f64)> =
            records.iter().filter_map(|r| Some((Coord { x: value(r, x)?, y: value(r, y)? }, value(r, z)?))).collect();
        if all.is_empty() || 2 * all.len() < records.len() {
            return None;
        }
        let mostly = |count: usize| count as f64 / all.len() as f64 >= LEAST_SHARE;
        let possible = |h: f64| (-450.0..=9_000.0).contains(&h);
        // UTM and the grids built like it: eastings of 100 to 900 km, northings beyond 1000 km; no ground is higher
        // than 9 km.
        let sized =
            all.iter().filter(|(at, h)| (1e5..1e6).contains(&at.x) && (1e6..1e7).contains(&at.y) && possible(*h));
        let has_size = mostly(sized.count());
        let by_boundary =
            near.map(|near| mostly(all.iter().filter(|(at, h)| near.intersects(at) && possible(*h)).count()));
        let middle = all[all.len() / 2].0;
        Some(Self { x, y, z, has_size, by_boundary, middle })
    }
    fn words(&self, width: usize) -> String {
        let first = if self.x.min(self.y) == 1 { "number, " } else { "" };
        let order = if self.x < self.y { "easting, northing" } else { "northing, easting" };
        let code = if width > self.z + 1 { ", code" } else { "" };
        format!("{first}{order}, height{code}")
    }
}
