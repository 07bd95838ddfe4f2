//! Coordinates from one system into another, never by a made-up path.

use super::crs;
use super::gdal_setup::reason;
use crate::finding::Problem;
use gdal::spatial_ref::{CoordTransform, CoordTransformOptions, SpatialRef};
use geo::{Coord, Geometry, LineString, MapCoords, MultiPolygon, Polygon};

/// The datum that files of plain longitude and latitude are in by their standard, whatever their maker's receiver did.
const LOOSE: &str = "WGS 84";

/// A checked way from one horizontal system to another.
pub struct Mapper {
    inner: Option<CoordTransform>,
    /// What to tell the user about the accuracy, when there is something to tell.
    pub note: Option<String>,
}

impl Mapper {
    /// The way from `from` to `to`.
    ///
    /// # Errors
    /// `crs_not_reachable` when no published operation is known, or when the only one is "no shift" between
    /// different datums and `allow_null` is not set.
    pub fn new(from: &SpatialRef, to: &SpatialRef, allow_null: bool, what: &str) -> Result<Self, Problem> {
        if from == to {
            return Ok(Self { inner: None, note: None });
        }
        let name = |s: &SpatialRef| s.name().unwrap_or_else(|| "unnamed system".to_owned());
        let unreachable = |why: String| {
            Problem::data(
                "crs_not_reachable",
                format!("{what} is in `{}`, which cannot be brought into `{}`: {why}", name(from), name(to)),
            )
        };
        let inner = strict(from, to).map_err(|error| {
            unreachable(format!("no published transformation is known here ({})", reason(&error)))
                .hint("deliver the data in the system of the elevation raster")
        })?;
        let note = match null_shift(from, to) {
            None => None,
            Some((a, b)) if is_current_pair(&a, &b) => Some(format!(
                "data in {a} were taken as {b} without a shift (EPSG:8450, stated accuracy 3 m); have lines that must \
                 be right to a decimetre surveyed in {b}"
            )),
            // GeoJSON and KML cannot name another datum, and "WGS 84" as a whole is only good to about 2 m itself.
            Some((a, b)) if a == LOOSE || b == LOOSE => Some(format!(
                "data in {a} were taken as {b} without a shift: `{LOOSE}` as such is only defined to about 2 m, and on the \
                 ground the two can differ by that much. Deliver the data in the datum of the elevation raster, or check \
                 two corners on the ground before pegging"
            )),
            Some((a, b)) if allow_null => Some(format!(
                "data in {a} were taken as {b} without a shift because `site.allow_null_datum_shift` is set; such pairs \
                 can differ by a metre or more on the ground"
            )),
            Some((a, b)) => {
                return Err(unreachable(format!(
                    "between {a} and {b} only \"no shift\" is known, which can be wrong by a metre or more on the ground"
                ))
                .hint(
                    "deliver the data in the datum of the elevation raster, or set `allow_null_datum_shift = true` \
                     under `[site]` when a few metres do not matter",
                ));
            }
        };
        Ok(Self { inner: Some(inner), note })
    }

    /// Whether both systems are the same.
    #[must_use]
    pub const fn is_identity(&self) -> bool {
        self.inner.is_none()
    }
    /// A point.
    #[must_use]
    pub fn point(&self, at: Coord<f64>) -> Option<Coord<f64>> {
        let Some(inner) = &self.inner else { return Some(at) };
        let (mut x, mut y) = ([at.x], [at.y]);
        inner.transform_coords(&mut x, &mut y, &mut []).ok()?;
        (x[0].is_finite() && y[0].is_finite()).then_some(Coord { x: x[0], y: y[0] })
    }
    /// A geometry; `None` when a point of it cannot be expressed.
    #[must_use]
    pub fn geometry(&self, geometry: &Geometry<f64>) -> Option<Geometry<f64>> {
        geometry.try_map_coords(|c| self.point(c).ok_or(())).ok()
    }
    /// Polygons.
    #[must_use]
    pub fn areas(&self, areas: &MultiPolygon<f64>) -> Option<MultiPolygon<f64>> {
        areas.try_map_coords(|c| self.point(c).ok_or(())).ok()
    }
    /// A rectangle, its edges followed at 21 points each, as the outline of what it covers.
    #[must_use]
    pub fn outline(&self, rect: geo::Rect<f64>) -> Option<Polygon<f64>> {
        let corners = [
            rect.min(),
            Coord { x: rect.max().x, y: rect.min().y },
            rect.max(),
            Coord { x: rect.min().x, y: rect.max().y },
        ];
        let mut ring = Vec::new();
        for (i, a) in corners.iter().enumerate() {
            let b = corners[(i + 1) % 4];
            for k in 0..21 {
                let t = f64::from(k) / 21.0;
                ring.push(self.point(*a + (b - *a) * t)?);
            }
        }
        Some(Polygon::new(LineString(ring), vec![]))
    }
}

/// A transformation with guessed ("ballpark") operations shut out.
pub fn strict(from: &SpatialRef, to: &SpatialRef) -> gdal::errors::Result<CoordTransform> {
    let mut options = CoordTransformOptions::new()?;
    options.set_ballpark_allowed(false)?;
    CoordTransform::new_with_options(from, to, &options)
}

/// The names of the two datums when the operation between them moves nothing although they differ.
fn null_shift(from: &SpatialRef, to: &SpatialRef) -> Option<(String, String)> {
    let (mut a, mut b) = (from.geog_cs().ok()?, to.geog_cs().ok()?);
    crs::east_first(&mut a);
    crs::east_first(&mut b);
    let names = (a.name()?, b.name()?);
    if a == b || names.0 == names.1 {
        return None;
    }
    let way = strict(&a, &b).ok()?;
    let area = to.area_of_use().map_or((150.0, -20.0), |u| {
        (f64::midpoint(u.west_lon_degree, u.east_lon_degree), f64::midpoint(u.south_lat_degree, u.north_lat_degree))
    });
    let (mut x, mut y) = ([area.0], [area.1]);
    way.transform_coords(&mut x, &mut y, &mut []).ok()?;
    ((x[0] - area.0).abs() < 1e-10 && (y[0] - area.1).abs() < 1e-10).then_some(names)
}

/// Datums that are kept together on purpose: today's WGS 84 frames and GDA2020 (within decimetres in 2020-2030).
fn is_current_pair(a: &str, b: &str) -> bool {
    matches!((a, b), ("WGS 84", "GDA2020") | ("GDA2020", "WGS 84"))
}
