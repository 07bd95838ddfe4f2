//! Scale and direction of a projected grid, measured against geodesics on its ellipsoid.
//!
//! Source: Karney (2013) for the geodesics. The grid's own formulas are never repeated here, so any projection the
//! library knows is covered.

use super::{crs, transform};
use crate::finding::Problem;
use crate::land::geodesy::LocalGeodesy;
use gdal::spatial_ref::{CoordTransform, SpatialRef};
use geo::Coord;
use geographiclib_rs::{Geodesic, InverseGeodesic};

/// Half the length of the measuring cross, metres: long against rounding (1e-9 m), short against curvature.
const ARM_M: f64 = 100.0;
/// Distance over which the change of scale and direction is taken, metres.
const STEP_M: f64 = 2000.0;

struct Probe {
    to_degrees: CoordTransform,
    ellipsoid: Geodesic,
}

impl Probe {
    fn new(srs: &SpatialRef) -> Option<Self> {
        let mut geographic = srs.geog_cs().ok()?;
        crs::east_first(&mut geographic);
        let (a, b) = (srs.semi_major().ok()?, srs.semi_minor().ok()?);
        Some(Self { to_degrees: transform::strict(srs, &geographic).ok()?, ellipsoid: Geodesic::new(a, (a - b) / a) })
    }
    fn degrees(&self, at: Coord<f64>) -> Option<(f64, f64)> {
        let (mut x, mut y) = ([at.x], [at.y]);
        self.to_degrees.transform_coords(&mut x, &mut y, &mut []).ok()?;
        (x[0].is_finite() && y[0].is_finite()).then_some((x[0], y[0]))
    }
    /// Ground length and mean azimuth of the grid line between two places.
    fn measure(&self, from: Coord<f64>, to: Coord<f64>) -> Option<(f64, f64)> {
        let ((lon1, lat1), (lon2, lat2)) = (self.degrees(from)?, self.degrees(to)?);
        let (length, azimuth1, azimuth2, _): (f64, f64, f64, f64) = self.ellipsoid.inverse(lat1, lon1, lat2, lon2);
        let turn = (azimuth2 - azimuth1 + 180.0).rem_euclid(360.0) - 180.0;
        Some((length, azimuth1 + turn / 2.0))
    }
    /// Scale factor and true azimuth of grid north at a place.
    fn at(&self, place: Coord<f64>) -> Option<(f64, f64)> {
        let north = Coord { x: 0.0, y: ARM_M };
        let east = Coord { x: ARM_M, y: 0.0 };
        let (along_north, azimuth) = self.measure(place - north, place + north)?;
        let (along_east, _) = self.measure(place - east, place + east)?;
        // Both arms agree on a conformal grid; the geometric mean keeps areas right on any other.
        Some((2.0 * ARM_M / (along_north * along_east).sqrt(), azimuth))
    }
}

/// Scale factor near a place; `None` outside the projection.
#[must_use]
pub fn scale_near(srs: &SpatialRef, near: Coord<f64>) -> Option<f64> {
    Probe::new(srs)?.at(near).map(|(scale, _)| scale)
}

/// The linear model of scale and direction around a place.
///
/// # Errors
/// `crs_not_reachable` when the place lies outside the projection.
pub fn around(srs: &SpatialRef, origin: Coord<f64>) -> Result<LocalGeodesy, Problem> {
    measure(srs, origin).ok_or_else(|| {
        Problem::data(
            "crs_not_reachable",
            format!("the place E {:.0} N {:.0} lies outside `{}`", origin.x, origin.y, srs.name().unwrap_or_default()),
        )
    })
}

fn measure(srs: &SpatialRef, origin: Coord<f64>) -> Option<LocalGeodesy> {
    let probe = Probe::new(srs)?;
    let (scale, azimuth) = probe.at(origin)?;
    let slope = |step: Coord<f64>| -> Option<(f64, f64)> {
        let (ahead, behind) = (probe.at(origin + step)?, probe.at(origin - step)?);
        Some(((ahead.0 - behind.0) / (2.0 * STEP_M), (ahead.1 - behind.1) / (2.0 * STEP_M)))
    };
    let east = slope(Coord { x: STEP_M, y: 0.0 })?;
    let north = slope(Coord { x: 0.0, y: STEP_M })?;
    Some(LocalGeodesy {
        origin,
        scale,
        scale_per_m: (east.0, north.0),
        grid_north_azimuth_deg: azimuth,
        azimuth_per_m_deg: (east.1, north.1),
    })
}
