//! Where a raster lies: pixels to coordinates and back, and how much of the boundary it covers.

use super::transform::Mapper;
use crate::finding::Problem;
use gdal::Dataset;
use geo::{Area, BooleanOps, BoundingRect, Coord, MapCoords, MultiPolygon, Rect};

/// The affine frame of a raster.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Coefficients in the order the library gives them: `x = g0 + col g1 + row g2`, `y = g3 + col g4 + row g5`.
    pub g: [f64; 6],
    /// Number of columns.
    pub cols: usize,
    /// Number of rows.
    pub rows: usize,
}

/// A rectangle of pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First column.
    pub col: usize,
    /// First row.
    pub row: usize,
    /// Columns.
    pub cols: usize,
    /// Rows.
    pub rows: usize,
}

impl Frame {
    /// The frame of a dataset; `None` when it has none.
    #[must_use]
    pub fn of(dataset: &Dataset) -> Option<Self> {
        let (cols, rows) = dataset.raster_size();
        let frame = Self { g: dataset.geo_transform().ok()?, cols, rows };
        (frame.determinant().abs() > 0.0).then_some(frame)
    }
    fn determinant(&self) -> f64 {
        self.g[1] * self.g[5] - self.g[2] * self.g[4]
    }
    /// North-up with square cells.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        let [_, width, turn_x, _, turn_y, height] = self.g;
        turn_x == 0.0 && turn_y == 0.0 && width > 0.0 && height < 0.0 && (width + height).abs() < 1e-6 * width
    }
    /// In words what is unusual.
    #[must_use]
    pub fn oddity(&self) -> &'static str {
        let [_, width, turn_x, _, turn_y, height] = self.g;
        if turn_x != 0.0 || turn_y != 0.0 {
            "turned against grid north"
        } else if height > 0.0 || width < 0.0 {
            "stored with south up"
        } else {
            "on cells that are not square"
        }
    }
    /// Coordinates of a place in pixels (corner of the first pixel is 0, 0).
    #[must_use]
    #[expect(clippy::many_single_char_names, reason = "the coefficients have no other names")]
    pub fn place(&self, col: f64, row: f64) -> Coord<f64> {
        let [a, b, c, d, e, f] = self.g;
        Coord { x: a + col * b + row * c, y: d + col * e + row * f }
    }
    /// Pixel position of coordinates.
    #[must_use]
    pub fn pixel(&self, at: Coord<f64>) -> Coord<f64> {
        let (dx, dy, det) = (at.x - self.g[0], at.y - self.g[3], self.determinant());
        Coord { x: (dx * self.g[5] - dy * self.g[2]) / det, y: (dy * self.g[1] - dx * self.g[4]) / det }
    }
    /// All pixels.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "rasters have fewer than 2^52 rows")]
    pub fn all(&self) -> Rect<f64> {
        Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: self.cols as f64, y: self.rows as f64 })
    }
    /// Corners of the raster as a rectangle in its own coordinates.
    #[must_use]
    pub fn extent(&self) -> Rect<f64> {
        let all = self.all();
        let corners = all.to_polygon().map_coords(|c| self.place(c.x, c.y));
        corners.bounding_rect().unwrap_or(all)
    }
    /// The frame of a part.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "rasters have fewer than 2^52 rows")]
    pub fn part(&self, window: Window) -> Self {
        let corner = self.place(window.col as f64, window.row as f64);
        let mut g = self.g;
        (g[0], g[3]) = (corner.x, corner.y);
        Self { g, cols: window.cols, rows: window.rows }
    }
    /// The pixels that touch an area given in working coordinates, one more on every side; `None` when none do.
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "clamped to the raster"
    )]
    pub fn window(&self, area: Rect<f64>, to_raster: &Mapper) -> Option<Window> {
        let outline = to_raster.outline(area)?.map_coords(|c| self.pixel(c));
        let pixels = outline.bounding_rect()?;
        let clamp = |v: f64, n: usize| v.clamp(0.0, n as f64) as usize;
        let (col, row) =
            (clamp((pixels.min().x - 1.0).floor(), self.cols), clamp((pixels.min().y - 1.0).floor(), self.rows));
        let (right, low) =
            (clamp((pixels.max().x + 1.0).ceil(), self.cols), clamp((pixels.max().y + 1.0).ceil(), self.rows));
        (right > col && low > row).then(|| Window { col, row, cols: right - col, rows: low - row })
    }
}

/// Share of the boundary the raster covers, 0 to 1.
#[must_use]
pub fn covered_share(frame: &Frame, boundary: &MultiPolygon<f64>, to_raster: &Mapper) -> f64 {
    let Some(there) = to_raster.areas(boundary) else { return 0.0 };
    let pixels = there.map_coords(|c| frame.pixel(c));
    let all = MultiPolygon(vec![frame.all().to_polygon()]);
    // Each polygon by itself: parcels may overlap, and the overlap is somebody else's to report. Both areas come from
    // the same clipping, so the halves of an outline that crosses itself do not cancel.
    let (mut inside, mut whole) = (0.0, 0.0);
    for polygon in &pixels.0 {
        inside += polygon.intersection(&all).unsigned_area();
        whole += geo::unary_union([polygon]).unsigned_area();
    }
    if whole > 0.0 { (inside / whole).clamp(0.0, 1.0) } else { 0.0 }
}

/// Checks that the raster covers the boundary.
///
/// # Errors
/// `boundary_outside_raster` or `boundary_partly_on_raster` with both extents and the covered share.
pub fn check_cover(
    frame: &Frame,
    boundary: &MultiPolygon<f64>,
    to_raster: &Mapper,
    label: &str,
    swapped: Option<&MultiPolygon<f64>>,
) -> Result<(), Problem> {
    let share = covered_share(frame, boundary, to_raster);
    if share > 0.9999 {
        return Ok(());
    }
    let there = to_raster.areas(boundary).and_then(|b| b.bounding_rect());
    let outside = share <= 0.0;
    let code = if outside { "boundary_outside_raster" } else { "boundary_partly_on_raster" };
    let message = format!(
        "{label} covers {:.1} % of the boundary: the boundary spans {}, the raster {}",
        share * 100.0,
        there.map_or_else(|| "places the raster's system does not know".to_owned(), span),
        span(frame.extent()),
    );
    let swap_helps = swapped.is_some_and(|s| covered_share(frame, s, to_raster) > share.max(0.5));
    Err(Problem::data(code, message).hint(if swap_helps {
        "with its axes swapped the boundary would lie on the raster: write longitude before latitude (east before north)"
    } else if outside {
        "check that both are of the same property and that their coordinate systems are the ones stated"
    } else {
        "give a raster that covers the whole boundary, or cut the boundary back to the land that was surveyed"
    }))
}

fn span(r: Rect<f64>) -> String {
    let decimals = if r.max().x.abs() <= 360.0 && r.max().y.abs() <= 360.0 { 6 } else { 0 };
    format!(
        "{:.d$} to {:.d$} east and {:.d$} to {:.d$} north",
        r.min().x,
        r.max().x,
        r.min().y,
        r.max().y,
        d = decimals
    )
}
