//! Height rasters, brought onto square north-up cells of the working system, in metres.

use super::crs::SplitCrs;
use super::gdal_setup::reason;
use super::open::{Source, open_raster};
use super::raster_frame::{Frame, Window, check_cover};
use super::transform::Mapper;
use super::{crs, height_units};
use crate::finding::Problem;
use crate::grid::{GridSpec, Raster};
use gdal::raster::Buffer;
use gdal::spatial_ref::SpatialRef;
use gdal::{Dataset, DriverManager};
use geo::{BoundingRect, Coord, MultiPolygon, Rect};

/// Cells a read may have at most: 1.6 GB of heights, a square of 20 km on 1 m cells.
const CELL_LIMIT: usize = 400_000_000;
/// Heights outside this band are not ground anywhere (Dead Sea shore -430 m, Everest 8849 m), metres.
const POSSIBLE_M: std::ops::RangeInclusive<f32> = -450.0..=9000.0;
/// Rows read at once.
const STRIP_ROWS: usize = 256;
/// What stands in cells without a value while the library warps.
const NO_DATA: f32 = -9999.0;

/// An opened height raster.
pub struct HeightRaster {
    source: Source,
    dataset: Dataset,
    frame: Frame,
    /// Its system.
    pub crs: SplitCrs,
    unit: height_units::HeightUnit,
}

/// What was read, and what was done to it.
pub struct Heights {
    /// Heights, metres.
    pub raster: Raster<f32>,
    /// In words, for the record.
    pub handling: String,
    /// What to tell the user.
    pub notes: Vec<String>,
}

fn broken(source: &Source, error: &gdal::errors::GdalError) -> Problem {
    Problem::data("file_unreadable", format!("{} breaks off while it is read: {}", source.label(), reason(error)))
        .hint("the file may be damaged or cut short; fetch it again")
}

impl HeightRaster {
    /// Opens a raster and settles its system and unit.
    ///
    /// # Errors
    /// All the problems of opening, `no_crs`, `undeclared_units`.
    pub fn open(source: Source, fallback: Option<&SpatialRef>, unit: Option<&str>) -> Result<Self, Problem> {
        let dataset = open_raster(&source)?;
        let label = source.label();
        let own = dataset.spatial_ref().ok();
        let crs = own.as_ref().or(fallback).map(crs::split).ok_or_else(|| {
            Problem::data("no_crs", format!("{label} does not say which coordinate system it is in"))
                .hint("set `crs = \"EPSG:...\"` under `[site]`")
        })?;
        let frame = Frame::of(&dataset).ok_or_else(|| {
            Problem::data("no_crs", format!("{label} does not say where its cells lie"))
                .hint("export it with georeferencing, or keep its world file beside it")
        })?;
        let band = dataset.rasterband(1).map_err(|e| broken(&source, &e))?;
        let unit = height_units::settle(&label, unit, &crs, &band.unit())?;
        Ok(Self { source, dataset, frame, crs, unit })
    }
    /// Centre of the raster in its own coordinates.
    #[must_use]
    pub fn centre(&self) -> Coord<f64> {
        self.frame.extent().center()
    }
    /// Reads the heights over a boundary and a margin around it.
    ///
    /// # Errors
    /// `boundary_outside_raster`, `boundary_partly_on_raster`, `absurd_heights`, `raster_too_large`, `file_unreadable`.
    pub fn read(
        &self,
        working: &SpatialRef,
        boundary: &MultiPolygon<f64>,
        swapped: Option<&MultiPolygon<f64>>,
        margin_m: f64,
        allow_null: bool,
    ) -> Result<Heights, Problem> {
        let label = self.source.label();
        let from_raster = Mapper::new(&self.crs.plan, working, allow_null, &label)?;
        let to_raster = Mapper::new(working, &self.crs.plan, allow_null, &label)?;
        check_cover(&self.frame, boundary, &to_raster, &label, swapped)?;
        let area = grown(boundary.bounding_rect(), margin_m);
        let window = self.frame.window(area, &to_raster).ok_or_else(|| self.too_large(0))?;
        if window.cols.saturating_mul(window.rows) > CELL_LIMIT {
            return Err(self.too_large(window.cols.saturating_mul(window.rows)));
        }
        let values = self.values(window)?;
        let part = self.frame.part(window);
        self.check_possible(&part, &values)?;
        let mut notes: Vec<String> = self.unit.note.iter().cloned().collect();
        notes.extend(from_raster.note.clone());
        if self.frame.is_plain() && to_raster.is_identity() {
            let spec = GridSpec {
                north_west: part.place(0.0, 0.0),
                cell_m: part.g[1],
                rows: u32::try_from(part.rows).unwrap_or(u32::MAX),
                cols: u32::try_from(part.cols).unwrap_or(u32::MAX),
            };
            return Ok(Heights { raster: onto(spec, values), handling: "as it is".to_owned(), notes });
        }
        let spec = self.target(&part, area, &from_raster)?;
        let raster = warp(&part, &self.crs.plan, values, spec, working).map_err(|e| broken(&self.source, &e))?;
        let why = if to_raster.is_identity() {
            self.frame.oddity().to_owned()
        } else {
            format!("in `{}`", self.crs.plan.name().unwrap_or_default())
        };
        let handling = format!("warped: it is {why}; square cells of {:.2} m, bilinear", spec.cell_m);
        notes.push(format!(
            "{label} is {why}; it was brought onto square cells of {:.2} m in the working system by bilinear interpolation",
            spec.cell_m
        ));
        Ok(Heights { raster, handling, notes })
    }
    fn too_large(&self, cells: usize) -> Problem {
        Problem::data("raster_too_large", format!("{} has {cells} cells around the boundary", self.source.label()))
            .hint("resample it to larger cells; 1 m to 5 m is enough for a layout")
    }
    /// Values of a window in metres; NaN where there is none.
    fn values(&self, window: Window) -> Result<Vec<f32>, Problem> {
        let fail = |e| broken(&self.source, &e);
        let band = self.dataset.rasterband(1).map_err(fail)?;
        let mask_band = band.open_mask_band().map_err(fail)?;
        let (scale, offset) = (band.scale().unwrap_or(1.0), band.offset().unwrap_or(0.0));
        let scale = if scale == 0.0 { 1.0 } else { scale };
        #[expect(clippy::cast_possible_truncation, reason = "heights are kept as f32: 0.5 mm at 4000 m")]
        let metres = |v: f64| ((v * scale + offset) * self.unit.metres) as f32;
        let mut heights = Vec::with_capacity(window.cols * window.rows);
        // In strips: the library hands out 64-bit numbers, and a large raster would need three times its own size.
        let mut row = 0;
        while row < window.rows {
            let rows = STRIP_ROWS.min(window.rows - row);
            let corner = (isize::try_from(window.col).unwrap_or(0), isize::try_from(window.row + row).unwrap_or(0));
            let size = (window.cols, rows);
            let raw = band.read_as::<f64>(corner, size, size, None).map_err(fail)?;
            let mask = mask_band.read_as::<u8>(corner, size, size, None).map_err(fail)?;
            heights
                .extend(raw.data().iter().zip(mask.data()).map(|(v, m)| if *m == 0 { f32::NAN } else { metres(*v) }));
            row += rows;
        }
        Ok(heights)
    }
    fn check_possible(&self, part: &Frame, values: &[f32]) -> Result<(), Problem> {
        let absurd = |v: &f32| !v.is_nan() && !POSSIBLE_M.contains(v);
        let count = values.iter().filter(|v| absurd(v)).count();
        let Some(first) = values.iter().position(absurd) else { return Ok(()) };
        #[expect(clippy::cast_precision_loss, reason = "a place for a message")]
        let at = part.place((first % part.cols) as f64 + 0.5, (first / part.cols) as f64 + 0.5);
        Err(Problem::data(
            "absurd_heights",
            format!(
                "{} holds {count} cells whose height no ground has (outside -450 m to 9000 m); the first is {} m at {:.6}, {:.6}",
                self.source.label(),
                values[first],
                at.x,
                at.y
            ),
        )
        .hint("mark such cells as \"no data\" in the file, or state the right unit in `site.elevation_unit`"))
    }
    /// The working grid a warped raster is brought onto: the part of the area the raster covers.
    fn target(&self, part: &Frame, area: Rect<f64>, from_raster: &Mapper) -> Result<GridSpec, Problem> {
        let unknown = || {
            Problem::data("crs_not_reachable", format!("{} lies outside the working system", self.source.label()))
                .hint("check its coordinate system")
        };
        #[expect(clippy::cast_precision_loss, reason = "rasters have fewer than 2^52 rows")]
        let (cols, rows) = (part.cols as f64, part.rows as f64);
        let at = |c: f64, r: f64| from_raster.point(part.place(c, r)).ok_or_else(unknown);
        let (middle, beside, below) =
            (at(cols / 2.0, rows / 2.0)?, at(cols / 2.0 + 1.0, rows / 2.0)?, at(cols / 2.0, rows / 2.0 + 1.0)?);
        let length = |a: Coord<f64>| (a - middle).x.hypot((a - middle).y);
        // The finer side decides, so nothing that was surveyed is lost.
        let cell_m = ((length(beside).min(length(below)) * 100.0).round() / 100.0).max(0.01);
        let mut footprint: Option<Rect<f64>> = None;
        for k in 0..=20 {
            let t = f64::from(k) / 20.0;
            for (c, r) in [(t, 0.0), (t, 1.0), (0.0, t), (1.0, t)] {
                let p = at(c * cols, r * rows)?;
                let (low, high) = footprint.map_or((p, p), |f| (f.min(), f.max()));
                footprint = Some(Rect::new(
                    Coord { x: low.x.min(p.x), y: low.y.min(p.y) },
                    Coord { x: high.x.max(p.x), y: high.y.max(p.y) },
                ));
            }
        }
        let footprint = footprint.unwrap_or(area);
        let low = Coord { x: area.min().x.max(footprint.min().x), y: area.min().y.max(footprint.min().y) };
        let high = Coord { x: area.max().x.min(footprint.max().x), y: area.max().y.min(footprint.max().y) };
        if (high.x - low.x) * (high.y - low.y) / (cell_m * cell_m) > 4e8 {
            return Err(self.too_large(CELL_LIMIT));
        }
        Ok(GridSpec::covering(Rect::new(low, high), cell_m))
    }
}

fn grown(rect: Option<Rect<f64>>, by: f64) -> Rect<f64> {
    let rect = rect.unwrap_or_else(|| Rect::new(Coord::zero(), Coord::zero()));
    let by = Coord { x: by, y: by };
    Rect::new(rect.min() - by, rect.max() + by)
}

fn onto(spec: GridSpec, values: Vec<f32>) -> Raster<f32> {
    let valid = values.iter().map(|v| v.is_finite()).collect();
    let values = values.into_iter().map(|v| if v.is_finite() { v } else { 0.0 }).collect();
    Raster { spec, values, valid }
}

/// A one-band raster in memory.
fn in_memory(frame: &Frame, crs: &SpatialRef, values: Vec<f32>) -> gdal::errors::Result<Dataset> {
    let driver = DriverManager::get_driver_by_name("MEM")?;
    let mut dataset = driver.create_with_band_type::<f32, _>("", frame.cols, frame.rows, 1)?;
    dataset.set_geo_transform(&frame.g)?;
    dataset.set_spatial_ref(crs)?;
    let mut band = dataset.rasterband(1)?;
    band.set_no_data_value(Some(f64::from(NO_DATA)))?;
    band.write((0, 0), (frame.cols, frame.rows), &mut Buffer::new((frame.cols, frame.rows), values))?;
    Ok(dataset)
}

fn warp(
    from: &Frame,
    crs: &SpatialRef,
    values: Vec<f32>,
    spec: GridSpec,
    working: &SpatialRef,
) -> gdal::errors::Result<Raster<f32>> {
    let values = values.into_iter().map(|v| if v.is_finite() { v } else { NO_DATA }).collect();
    let source = in_memory(from, crs, values)?;
    let to = Frame {
        g: [spec.north_west.x, spec.cell_m, 0.0, spec.north_west.y, 0.0, -spec.cell_m],
        cols: spec.cols as usize,
        rows: spec.rows as usize,
    };
    let target = in_memory(&to, working, vec![NO_DATA; spec.len()])?;
    gdal::raster::reproject(&source, &target)?;
    let values = target.rasterband(1)?.read_band_as::<f32>()?.data().to_vec();
    Ok(onto(spec, values.into_iter().map(|v| if (v - NO_DATA).abs() < 0.5 { f32::NAN } else { v }).collect()))
}
