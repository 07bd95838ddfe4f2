//! Elevation rasters, from whatever they are to heights in metres on square north-up cells.

use super::crs;
use super::open::open_raster;
use crate::finding::{Finding, Problem, Problems, Severity};
use crate::grid::{GridSpec, Raster};
use crate::land::site_table::SiteTable;
use gdal::Dataset;
use gdal::spatial_ref::SpatialRef;
use geo::{Coord, Rect};
use std::path::Path;

/// Heights beyond these are no ground on Earth (Dead Sea shore -430 m, highest summit 8,849 m).
const HEIGHTS_M: std::ops::RangeInclusive<f64> = -450.0..=9_000.0;
/// International foot and US survey foot, metres.
const FOOT_M: f64 = 0.3048;
const US_FOOT_M: f64 = 1_200.0 / 3_937.0;

/// An opened elevation raster.
pub(super) struct RasterSource {
    dataset: Dataset,
    transform: [f64; 6],
    size: (usize, usize),
    /// Horizontal system of the raster.
    pub(super) plan: SpatialRef,
    /// Name and code of its vertical datum, when declared.
    pub(super) vertical: Option<(String, Option<u32>)>,
    unit_m: f64,
    unit_note: Option<String>,
}

impl RasterSource {
    /// Opens and judges the header; nothing is read yet.
    pub(super) fn open(base: &Path, site: &SiteTable, source: &str) -> Result<Self, Problems> {
        let dataset = open_raster(base, "elevation", source)?;
        let wrong = |code: &str, message: String, hint: &str| Problems::from(Problem::data(code, message).hint(hint));
        if dataset.raster_count() == 0 {
            return Err(wrong(
                "not_a_raster",
                format!("`site.elevation`: `{source}` has no raster band"),
                "give a single-band elevation raster",
            ));
        }
        let declared = dataset.spatial_ref().ok().filter(|s| s.to_wkt().is_ok_and(|w| !w.is_empty()));
        let full = match (declared, site.crs.as_deref()) {
            (Some(srs), _) => crs::from_wkt(&srs.to_wkt().unwrap_or_default()).ok_or_else(|| {
                wrong(
                    "no_crs",
                    format!("`site.elevation`: the coordinate system of `{source}` cannot be read"),
                    "set `site.crs`",
                )
            })?,
            (None, Some(text)) => crs::from_user(text)?,
            (None, None) => {
                return Err(wrong(
                    "no_crs",
                    format!("`site.elevation`: `{source}` does not say its coordinate system"),
                    "set `site.crs`, for instance `crs = \"EPSG:7856\"`, after checking it with whoever made the file",
                ));
            }
        };
        let plan = crs::horizontal(&full);
        let vertical = crs::vertical(&full);
        let unit = dataset.rasterband(1).map(|b| b.unit()).unwrap_or_default();
        let (unit_m, unit_note) = height_unit(site, &unit, vertical.as_ref().map(|v| v.2), &plan, source)?;
        let transform = dataset.geo_transform().map_err(|_| {
            wrong(
                "no_position",
                format!("`site.elevation`: `{source}` does not say where it lies"),
                "give a georeferenced raster",
            )
        })?;
        let size = dataset.raster_size();
        let vertical = site
            .vertical_datum
            .clone()
            .map(|name| (name, vertical.as_ref().and_then(|v| v.1)))
            .or_else(|| vertical.map(|(name, code, _)| (name, code)));
        Ok(Self { dataset, transform, size, plan, vertical, unit_m, unit_note })
    }

    /// Whether its cells can be taken as they are: projected metres, square, north up.
    pub(super) fn is_plain(&self) -> bool {
        let t = &self.transform;
        crs::is_projected_metres(&self.plan)
            && t[2] == 0.0
            && t[4] == 0.0
            && t[1] > 0.0
            && t[5] < 0.0
            && (t[1] + t[5]).abs() < 1e-6 * t[1]
    }

    fn pixel(&self, at: Coord<f64>) -> Coord<f64> {
        let t = &self.transform;
        let determinant = t[1] * t[5] - t[2] * t[4];
        let (dx, dy) = (at.x - t[0], at.y - t[3]);
        Coord { x: (t[5] * dx - t[2] * dy) / determinant, y: (t[1] * dy - t[4] * dx) / determinant }
    }

    /// Corners and edge points of the raster in its own system, for extents.
    fn place(&self, col: f64, row: f64) -> Coord<f64> {
        let t = &self.transform;
        Coord { x: t[0] + col * t[1] + row * t[2], y: t[3] + col * t[4] + row * t[5] }
    }

    /// Extent of the raster in its own system.
    pub(super) fn extent(&self) -> Rect<f64> {
        let (w, h) = (self.size.0 as f64, self.size.1 as f64);
        let corners = [self.place(0.0, 0.0), self.place(w, 0.0), self.place(0.0, h), self.place(w, h)];
        let fold =
            |f: fn(f64, f64) -> f64, pick: fn(&Coord<f64>) -> f64| corners.iter().map(pick).reduce(f).unwrap_or(0.0);
        Rect::new(
            Coord { x: fold(f64::min, |c| c.x), y: fold(f64::min, |c| c.y) },
            Coord { x: fold(f64::max, |c| c.x), y: fold(f64::max, |c| c.y) },
        )
    }

    /// Reads the heights that cover `wanted` (working metres), converting what has to be converted.
    pub(super) fn read(
        &self,
        working: &SpatialRef,
        wanted: Rect<f64>,
        findings: &mut Vec<Finding>,
    ) -> Result<(Raster<f32>, String), Problems> {
        if let Some(note) = &self.unit_note {
            findings.push(Finding::new(Severity::Note, "survey", "heights_converted", note.clone()));
        }
        let same = self.plan.to_wkt().ok() == working.to_wkt().ok();
        let (raster, handling) = if self.is_plain() && same {
            (self.read_plain(wanted)?, "as it is".to_owned())
        } else {
            let raster = self.read_resampled(working, wanted)?;
            let what = format!(
                "resampled (bilinear) from `{}`{} to square {:.2} m cells",
                self.plan.name().unwrap_or_default(),
                if self.transform[2] != 0.0 || self.transform[4] != 0.0 { ", rotated," } else { "" },
                raster.spec.cell_m
            );
            findings.push(Finding::new(
                Severity::Warning,
                "survey",
                "elevation_resampled",
                format!("The elevation raster was {what}: heights between its cells are interpolated."),
            ));
            (raster, what)
        };
        check_heights(&raster)?;
        Ok((raster, handling))
    }

    fn window(&self, low: Coord<f64>, high: Coord<f64>) -> Option<(isize, isize, usize, usize)> {
        let clamp = |v: f64, max: usize| v.max(0.0).min(max as f64) as isize;
        let (x0, x1) = (clamp(low.x.floor() - 2.0, self.size.0), clamp(high.x.ceil() + 2.0, self.size.0));
        let (y0, y1) = (clamp(low.y.floor() - 2.0, self.size.1), clamp(high.y.ceil() + 2.0, self.size.1));
        (x1 > x0 && y1 > y0).then_some((x0, y0, x1.abs_diff(x0), y1.abs_diff(y0)))
    }

    /// Heights and validity of a window of the file, in metres.
    fn read_window(&self, (x, y, w, h): (isize, isize, usize, usize)) -> Result<(Vec<f32>, Vec<bool>), Problem> {
        let failed = |e: gdal::errors::GdalError| {
            Problem::data("file_unreadable", format!("`site.elevation`: reading heights failed: {e}"))
        };
        let band = self.dataset.rasterband(1).map_err(failed)?;
        let values = band.read_as::<f64>((x, y), (w, h), (w, h), None).map_err(failed)?;
        let mask = band.open_mask_band().and_then(|m| m.read_as::<u8>((x, y), (w, h), (w, h), None)).ok();
        let scale = band.scale().unwrap_or(1.0);
        let offset = band.offset().unwrap_or(0.0);
        let no_data = band.no_data_value();
        let valid: Vec<bool> = values
            .data()
            .iter()
            .enumerate()
            .map(|(i, v)| v.is_finite() && no_data != Some(*v) && mask.as_ref().is_none_or(|m| m.data()[i] != 0))
            .collect();
        let heights = values.data().iter().map(|v| ((v * scale + offset) * self.unit_m) as f32).collect();
        Ok((heights, valid))
    }

    fn outside() -> Problems {
        Problem::data("boundary_outside_raster", "`site.boundary` does not touch the elevation raster").into()
    }

    #[expect(clippy::cast_possible_truncation, reason = "raster sizes are below 2^32")]
    fn read_plain(&self, wanted: Rect<f64>) -> Result<Raster<f32>, Problems> {
        let low = self.pixel(Coord { x: wanted.min().x, y: wanted.max().y });
        let high = self.pixel(Coord { x: wanted.max().x, y: wanted.min().y });
        let window = self.window(low, high).ok_or_else(Self::outside)?;
        let (values, valid) = self.read_window(window)?;
        let spec = GridSpec {
            north_west: self.place(window.0 as f64, window.1 as f64),
            cell_m: self.transform[1],
            rows: window.3 as u32,
            cols: window.2 as u32,
        };
        Ok(Raster { spec, values, valid })
    }

    fn read_resampled(&self, working: &SpatialRef, wanted: Rect<f64>) -> Result<Raster<f32>, Problems> {
        let way = crs::transform(working, &self.plan, "site.elevation")?;
        let to_pixel = |at: Coord<f64>| crs::move_point(&way, at).map(|p| self.pixel(p));
        let centre = wanted.center();
        let cell_m = self.cell_in_metres(&to_pixel, centre).ok_or_else(Self::outside)?;
        let spec = GridSpec::covering(wanted, cell_m);
        // The window comes from points along the rim, which bound the image of a small rectangle.
        let (mut low, mut high) = (Coord { x: f64::MAX, y: f64::MAX }, Coord { x: f64::MIN, y: f64::MIN });
        for i in 0..=20 {
            for j in [0.0, 1.0] {
                let f = f64::from(i) / 20.0;
                for (u, v) in [(f, j), (j, f)] {
                    let at = Coord { x: wanted.min().x + u * wanted.width(), y: wanted.min().y + v * wanted.height() };
                    if let Some(p) = to_pixel(at) {
                        low = Coord { x: low.x.min(p.x), y: low.y.min(p.y) };
                        high = Coord { x: high.x.max(p.x), y: high.y.max(p.y) };
                    }
                }
            }
        }
        let window = self.window(low, high).ok_or_else(Self::outside)?;
        let (values, valid) = self.read_window(window)?;
        #[expect(clippy::cast_possible_truncation, reason = "raster sizes are below 2^32")]
        let source = Raster {
            // Pixel space itself serves as the plane to interpolate in: one unit a cell, north up.
            spec: GridSpec {
                north_west: Coord { x: 0.0, y: 0.0 },
                cell_m: 1.0,
                rows: window.3 as u32,
                cols: window.2 as u32,
            },
            values,
            valid,
        };
        let mut raster = Raster::empty(spec, 0.0_f32);
        for i in 0..spec.len() {
            let Some(p) = to_pixel(spec.centre(spec.cell(i))) else { continue };
            let at = Coord { x: p.x - window.0 as f64, y: -(p.y - window.1 as f64) };
            if source.at(at).is_some() {
                if let Some(z) = source.bilinear(at) {
                    raster.set(spec.cell(i), z as f32);
                }
            }
        }
        Ok(raster)
    }

    /// Side of a working cell that holds as much ground as one cell of the file, metres, to two decimals.
    fn cell_in_metres(&self, to_pixel: &impl Fn(Coord<f64>) -> Option<Coord<f64>>, centre: Coord<f64>) -> Option<f64> {
        const STEP_M: f64 = 50.0;
        let here = to_pixel(centre)?;
        let east = to_pixel(Coord { x: centre.x + STEP_M, y: centre.y })?;
        let north = to_pixel(Coord { x: centre.x, y: centre.y + STEP_M })?;
        let area = ((east.x - here.x) * (north.y - here.y) - (east.y - here.y) * (north.x - here.x)).abs();
        let cell = STEP_M / area.sqrt();
        (cell.is_finite() && cell > 0.0).then(|| (cell * 100.0).round().max(1.0) / 100.0)
    }
}

/// Metres per unit of height, and what to say when it is not 1.
fn height_unit(
    site: &SiteTable,
    band_unit: &str,
    vertical_m: Option<f64>,
    plan: &SpatialRef,
    source: &str,
) -> Result<(f64, Option<String>), Problem> {
    let named = |unit: &str| match unit.trim().to_lowercase().as_str() {
        "m" | "metre" | "metres" | "meter" | "meters" => Some(1.0),
        "ft" | "foot" | "feet" | "international foot" => Some(FOOT_M),
        "us-ft" | "ftus" | "us survey foot" | "us_survey_foot" | "foot_us" | "us survey feet" | "sfoot" => {
            Some(US_FOOT_M)
        }
        _ => None,
    };
    let unit_m = match (site.elevation_unit.as_deref(), band_unit) {
        (Some(text), _) => named(text).ok_or_else(|| {
            Problem::request(
                "unknown_unit",
                format!("`site.elevation_unit` = `{text}` is not one of `m`, `ft`, `us-ft`"),
            )
        })?,
        (None, "") => match vertical_m {
            Some(metres) => metres,
            None if plan.is_projected() && (plan.linear_units() - 1.0).abs() > 1e-9 => {
                return Err(Problem::data(
                    "undeclared_units",
                    format!("`site.elevation`: `{source}` lies on a grid in feet and does not say whether its heights are feet or metres"),
                )
                .hint("set `site.elevation_unit` to `m`, `ft` or `us-ft`"));
            }
            None => 1.0,
        },
        (None, text) => named(text).ok_or_else(|| {
            Problem::data(
                "undeclared_units",
                format!("`site.elevation`: the height unit `{text}` of `{source}` is not known"),
            )
            .hint("set `site.elevation_unit` to `m`, `ft` or `us-ft`")
        })?,
    };
    let note = (unit_m != 1.0).then(|| format!("Heights in feet were converted to metres (1 ft = {unit_m:.10} m)."));
    Ok((unit_m, note))
}

/// Refuses heights that are no ground: usually a "no data" number the file does not declare.
fn check_heights(raster: &Raster<f32>) -> Result<(), Problem> {
    let absurd: Vec<_> = raster.iter().filter(|(_, z)| !HEIGHTS_M.contains(&f64::from(*z))).collect();
    let Some((cell, z)) = absurd.first() else { return Ok(()) };
    let at = raster.spec.centre(*cell);
    Err(Problem::data(
        "absurd_heights",
        format!(
            "`site.elevation`: {} cell(s) hold heights outside {} to {} m, the first {z:e} m at E {:.0} N {:.0}",
            absurd.len(),
            HEIGHTS_M.start(),
            HEIGHTS_M.end(),
            at.x,
            at.y
        ),
    )
    .hint("declare that number as `no data` in the file, or set `site.elevation_unit` when the heights are not metres"))
}
