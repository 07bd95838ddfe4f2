//! Point clouds: LAS and LAZ files, of which the ground points are taken.
//!
//! Ground is class 2 (and class 8, model key-point, in record formats 0 to 5, where it marks a ground point too). Points
//! flagged as withheld (deleted), overlap (seen again from the next flight line) or synthetic (not measured) are left out.
//! The file is read in pieces and clipped to the property; a cloud that is still too large is thinned to the means of
//! small cells, so that memory does not grow with the file. Counts and lengths in the file are checked against its size
//! before they are believed.
//!
//! Source: ASPRS, LAS Specification 1.4-R15, tables 8 to 17 (classes, flags) and section 2.6 (coordinate systems).

use super::height_units;
use super::las_frame;
use super::open::Source;
use super::points_in::{Points, VerticalSystem, checked};
use crate::finding::Problem;
use crate::land::survey::SurveyPoint;
use gdal::spatial_ref::SpatialRef;
use geo::{Coord, Intersects, Rect};
use las::point::Classification;
use las::{Point, PointDataBuilder, Reader};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Most points handed on; a square kilometre at four a square metre.
const MOST_POINTS: usize = 4_000_000;
/// Bytes of point records read at once.
const PIECE_BYTES: usize = 4 << 20;

/// Metres in a degree of the equator, WGS 84.
const M_PER_DEGREE: f64 = 111_320.0;

/// Extensions of point clouds.
pub const EXTENSIONS: [&str; 2] = ["las", "laz"];

/// What was left out of a cloud.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
struct LeftOut {
    other_class: usize,
    unclassified: usize,
    withheld: usize,
    overlap: usize,
    synthetic: usize,
    outside: usize,
}

/// Opens the file of a cloud.
fn open(source: &Source) -> Result<Reader, Problem> {
    las_frame::check(source)?;
    guarded(source, || Reader::from_path(&source.file))
}

/// Runs the library, which gives up on some broken files instead of answering.
fn guarded<T>(source: &Source, work: impl FnOnce() -> las::Result<T>) -> Result<T, Problem> {
    let broken = |why: String| {
        Problem::data("file_unreadable", format!("{} is no whole LAS or LAZ file: {why}", source.label()))
            .hint("the file may be damaged or cut short; fetch it again")
    };
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(result) => result.map_err(|e| broken(e.to_string())),
        Err(_) => Err(broken("its records contradict each other".to_owned())),
    }
}

/// Reads the ground points of a cloud. `near` gives, in the system of the cloud, where points are wanted.
///
/// # Errors
/// `file_unreadable`, `no_crs`, `undeclared_units`, `no_ground_points`, `points_outside_boundary`, `absurd_heights`.
pub fn read(
    source: &Source,
    fallback: Option<&SpatialRef>,
    unit: Option<&str>,
    near: impl Fn(&SpatialRef) -> Option<Rect<f64>>,
) -> Result<Points, Problem> {
    let label = source.label();
    let reader = open(source)?;
    let system = las_frame::system(reader.header(), fallback, &label)?;
    drop(reader);
    let unit = height_units::settle(&label, unit, &system, "")?;
    let clip = near(&system.plan);
    let (mut count, mut left_out, mut extent) = (0_usize, LeftOut::default(), None::<Rect<f64>>);
    each_ground_point(source, clip, &mut left_out, |p| {
        count += 1;
        let at = Coord { x: p.x, y: p.y };
        extent = Some(extent.map_or_else(|| Rect::new(at, at), |r| las_frame::with(r, at)));
    })?;
    let Some(extent) = extent else { return Err(nothing_left(&label, left_out)) };
    let mut notes: Vec<String> = unit.note.into_iter().collect();
    let points = if count > MOST_POINTS {
        let mut cells = Thinning::over(extent, MOST_POINTS);
        each_ground_point(source, clip, &mut LeftOut::default(), |p| cells.add(p))?;
        let side = cells.side * plan_metres(&system.plan);
        let points = cells.means(unit.metres);
        notes.push(format!(
            "{count} ground points of {label} were thinned to {} means of cells {side:.2} m wide",
            points.len()
        ));
        points
    } else {
        let mut points = Vec::with_capacity(count);
        each_ground_point(source, clip, &mut LeftOut::default(), |p| {
            points.push(SurveyPoint {
                at: Coord { x: p.x, y: p.y },
                height_m: p.z * unit.metres,
                vertical_sigma_m: None,
                swath: (p.point_source_id != 0).then(|| u32::from(p.point_source_id)),
            });
        })?;
        points
    };
    notes.push(left_out.said(&label, count));
    let heights = VerticalSystem { name: system.vertical_name, epsg: system.vertical_epsg };
    checked(Points { crs: system.plan, heights, points, floats: 0, blanks: 0, notes }, &label)
}

/// Metres in the unit of a plan system; degrees are taken at the equator, good enough to name a cell.
fn plan_metres(plan: &SpatialRef) -> f64 {
    if plan.is_geographic() { M_PER_DEGREE } else { plan.linear_units() }
}

/// Hands every wanted ground point on, in file order.
fn each_ground_point(
    source: &Source,
    clip: Option<Rect<f64>>,
    left_out: &mut LeftOut,
    mut take: impl FnMut(&Point),
) -> Result<(), Problem> {
    let mut reader = open(source)?;
    let key_points_are_ground = reader.header().point_format().to_u8().is_ok_and(|f| (f & 0x3f) < 6);
    let total = reader.header().number_of_points();
    let mut piece = PointDataBuilder::new().for_header(reader.header()).build();
    let size = (PIECE_BYTES / piece.record_len().max(1)).max(1) as u64;
    let mut read = 0;
    while read < total {
        let got = guarded(source, || reader.fill_points(size, &mut piece))?;
        if got == 0 {
            break;
        }
        read += got;
        let sound = guarded(source, || {
            for point in piece.points() {
                let point = point?;
                // A scale or offset that is no number makes places that are none.
                if !(point.x.is_finite() && point.y.is_finite() && point.z.is_finite()) {
                    return Ok(false);
                }
                if left_out.passes(&point, key_points_are_ground, clip) {
                    take(&point);
                }
            }
            Ok(true)
        })?;
        if !sound {
            let what = format!("{} holds points whose place is no number", source.label());
            return Err(Problem::data("file_unreadable", what).hint("the file may be damaged; fetch it again"));
        }
    }
    Ok(())
}

impl LeftOut {
    /// Whether a point is a ground point to be used; counts it when it is not.
    fn passes(&mut self, point: &Point, key_points_are_ground: bool, clip: Option<Rect<f64>>) -> bool {
        let place = Coord { x: point.x, y: point.y };
        let ground = point.classification == Classification::Ground
            || key_points_are_ground && point.classification == Classification::ModelKeyPoint;
        let unclassified =
            matches!(point.classification, Classification::CreatedNeverClassified | Classification::Unclassified);
        let why = if point.is_withheld {
            &mut self.withheld
        } else if point.is_overlap {
            &mut self.overlap
        } else if point.is_synthetic {
            &mut self.synthetic
        } else if unclassified {
            &mut self.unclassified
        } else if !ground {
            &mut self.other_class
        } else if clip.is_some_and(|c| !c.intersects(&place)) {
            &mut self.outside
        } else {
            return true;
        };
        *why += 1;
        false
    }
    fn said(self, label: &str, taken: usize) -> String {
        format!(
            "{taken} ground points of {label} were taken; left out: {} of another class, {} never classified, {} withheld, \
             {} overlap, {} synthetic, {} ground points away from the property",
            self.other_class, self.unclassified, self.withheld, self.overlap, self.synthetic, self.outside
        )
    }
}

fn nothing_left(label: &str, left_out: LeftOut) -> Problem {
    if left_out.outside > 0 {
        return Problem::data(
            "points_outside_boundary",
            format!("none of the {} ground points of {label} lies by the boundary", left_out.outside),
        )
        .hint("check the coordinate systems of both files, or fetch the tile of the property");
    }
    Problem::data(
        "no_ground_points",
        format!("{label} holds no usable point of class 2 (ground); {}", left_out.said("it", 0)),
    )
    .hint("have the cloud classified into ground and the rest first; an unclassified cloud shows trees, not land")
}

/// Means of points by cell.
struct Thinning {
    corner: Coord<f64>,
    side: f64,
    cols: usize,
    /// Sums of x, y (from the corner) and z, and the number.
    cells: Vec<([f64; 3], u32)>,
}

impl Thinning {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "cell counts"
    )]
    fn over(extent: Rect<f64>, most: usize) -> Self {
        // Room for the part cells at two sides: a long strip has more of them.
        let (w, h) = (extent.width().max(1e-9), extent.height().max(1e-9));
        let mut side = (w * h / most as f64).sqrt().max(w.max(h) / most as f64);
        let count = |side: f64| (((w / side).floor() as usize) + 1).saturating_mul(((h / side).floor() as usize) + 1);
        while count(side) > most {
            side *= 1.01;
        }
        let cols = (w / side).floor() as usize + 1;
        Self { corner: extent.min(), side, cols, cells: vec![([0.0; 3], 0); count(side)] }
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "inside the extent")]
    fn add(&mut self, p: &Point) {
        let (x, y) = (p.x - self.corner.x, p.y - self.corner.y);
        let (col, row) = ((x / self.side) as usize, (y / self.side) as usize);
        if let Some((sums, n)) = self.cells.get_mut(row * self.cols + col.min(self.cols - 1)) {
            sums[0] += x;
            sums[1] += y;
            sums[2] += p.z;
            *n += 1;
        }
    }
    fn means(self, metres: f64) -> Vec<SurveyPoint> {
        let mean = |(sums, n): ([f64; 3], u32)| SurveyPoint {
            at: Coord { x: self.corner.x + sums[0] / f64::from(n), y: self.corner.y + sums[1] / f64::from(n) },
            height_m: sums[2] / f64::from(n) * metres,
            vertical_sigma_m: None,
            swath: None,
        };
        self.cells.into_iter().filter(|(_, n)| *n > 0).map(mean).collect()
    }
}
