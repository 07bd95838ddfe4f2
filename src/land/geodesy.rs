//! How the working grid sits on the Earth near the property.

use crate::units::Bearing;
use geo::Coord;
use serde::{Deserialize, Serialize};

/// The coordinate reference system everything inside the program is in: projected metres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CrsTag {
    /// Name as the authority gives it, for instance `GDA2020 / MGA zone 56`.
    pub name: String,
    /// EPSG code of the horizontal system, when it has one.
    pub epsg: Option<u32>,
    /// Full definition as WKT.
    pub wkt: String,
    /// Name of the vertical datum, when it was declared; never guessed.
    pub vertical_name: Option<String>,
    /// EPSG code of the vertical datum, when known.
    pub vertical_epsg: Option<u32>,
}

impl CrsTag {
    /// The datum the system stands on, as its definition names it (`WGS_1984` becomes `WGS 84`); `None` when it names
    /// none ("unknown", "unnamed", "not specified").
    #[must_use]
    pub fn datum_name(&self) -> Option<String> {
        let definition = &self.wkt;
        let named = |word: &str| Some(definition.split_once(&format!("{word}[\""))?.1.split_once('"')?.0);
        // Both spellings of the well-known text standard, and the group of frames that WGS 84 has become.
        let name = ["ENSEMBLE", "DATUM", "TRF"].into_iter().find_map(named)?;
        let plain = name.replace('_', " ");
        let lower = plain.to_ascii_lowercase();
        let nameless = ["unknown", "unnamed", "not specified", "undefined"].iter().any(|w| lower.contains(w));
        if nameless || lower.trim().is_empty() {
            return None;
        }
        Some(match plain.as_str() {
            "WGS 1984" | "World Geodetic System 1984 ensemble" | "World Geodetic System 1984" => "WGS 84".to_owned(),
            "Geocentric Datum of Australia 2020" | "GDA2020" => "GDA2020".to_owned(),
            "Geocentric Datum of Australia 1994" | "GDA94" => "GDA94".to_owned(),
            _ => plain,
        })
    }
}

/// Scale factor and convergence of the grid, linear in place: exact to a few parts in 10^8 over a farm.
///
/// The working grid itself is never scaled. Wishes given on the ground (row spacing, widths) are
/// multiplied by [`LocalGeodesy::scale_at`] when laid out, grid areas divided by its square when reported.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LocalGeodesy {
    /// Place the linear model is expanded around (east, north), metres.
    pub origin: Coord<f64>,
    /// Grid distance over ellipsoidal distance at the origin.
    pub scale: f64,
    /// Change of the scale per metre east and per metre north.
    pub scale_per_m: (f64, f64),
    /// True azimuth of grid north at the origin, degrees clockwise: add it to a grid bearing to get the
    /// true bearing. (The Australian manuals' "grid convergence" has the opposite sign.)
    pub grid_north_azimuth_deg: f64,
    /// Change of that azimuth per metre east and per metre north, degrees.
    pub azimuth_per_m_deg: (f64, f64),
}

impl LocalGeodesy {
    /// A plane grid without distortion, for tests and synthetic ground.
    #[must_use]
    pub const fn flat() -> Self {
        Self {
            origin: Coord { x: 0.0, y: 0.0 },
            scale: 1.0,
            scale_per_m: (0.0, 0.0),
            grid_north_azimuth_deg: 0.0,
            azimuth_per_m_deg: (0.0, 0.0),
        }
    }
    /// Grid distance over ground (ellipsoidal) distance near a point.
    #[must_use]
    pub fn scale_at(&self, at: Coord<f64>) -> f64 {
        self.scale + self.scale_per_m.0 * (at.x - self.origin.x) + self.scale_per_m.1 * (at.y - self.origin.y)
    }
    /// True bearing of a grid bearing at a point.
    #[must_use]
    pub fn true_bearing(&self, at: Coord<f64>, grid: Bearing) -> Bearing {
        Bearing::from_degrees(
            grid.degrees()
                + self.grid_north_azimuth_deg
                + self.azimuth_per_m_deg.0 * (at.x - self.origin.x)
                + self.azimuth_per_m_deg.1 * (at.y - self.origin.y),
        )
    }
    /// Ellipsoidal area of a grid area near a point, square metres.
    #[must_use]
    pub fn ground_area_m2(&self, at: Coord<f64>, grid_area_m2: f64) -> f64 {
        grid_area_m2 / self.scale_at(at).powi(2)
    }
    /// Ground length of a grid length near a point, metres.
    #[must_use]
    pub fn ground_length_m(&self, at: Coord<f64>, grid_length_m: f64) -> f64 {
        grid_length_m / self.scale_at(at)
    }
}
