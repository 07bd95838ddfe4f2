//! Coordinate systems: which one we work in, and the way there.

use super::open::set_up_gdal;
use crate::finding::Problem;
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, CoordTransformOptions, SpatialRef};
use geo::{Bearing, Coord, Distance, Geodesic, Point};

fn easting_first(mut srs: SpatialRef) -> SpatialRef {
    srs.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    srs
}

/// A system from its WKT, easting (or longitude) first.
pub(super) fn from_wkt(wkt: &str) -> Option<SpatialRef> {
    set_up_gdal();
    SpatialRef::from_wkt(wkt).ok().map(easting_first)
}

/// A system from what a user writes: `EPSG:7856`, WKT or a PROJ string.
pub(super) fn from_user(text: &str) -> Result<SpatialRef, Problem> {
    set_up_gdal();
    SpatialRef::from_definition(text).map(easting_first).map_err(|_| {
        Problem::request("unknown_crs", format!("`site.crs` = `{text}` is no coordinate system PROJ knows"))
            .hint("write it as `EPSG:` and a number, for instance `EPSG:7856`")
    })
}

/// A system from an EPSG code.
pub(super) fn from_epsg(code: u32) -> Result<SpatialRef, Problem> {
    set_up_gdal();
    SpatialRef::from_epsg(code)
        .map(easting_first)
        .map_err(|_| Problem::data("unknown_crs", format!("EPSG:{code} is not in the PROJ database")))
}

/// The horizontal part of a system; compound systems lose their vertical part.
pub(super) fn horizontal(srs: &SpatialRef) -> SpatialRef {
    if !srs.is_compound() {
        return easting_first(srs.clone());
    }
    // The horizontal part is the first child system of the compound.
    srs.to_projjson()
        .ok()
        .and_then(|json| serde_json::from_str::<serde_json::Value>(&json).ok())
        .and_then(|json| json.get("components").and_then(|c| c.get(0)).map(ToString::to_string))
        .and_then(|part| SpatialRef::from_definition(&part).ok())
        .map_or_else(|| easting_first(srs.clone()), easting_first)
}

/// Name, EPSG code and metres per unit of the vertical part of a compound system.
pub(super) fn vertical(srs: &SpatialRef) -> Option<(String, Option<u32>, f64)> {
    if !srs.is_compound() {
        return None;
    }
    let json: serde_json::Value = serde_json::from_str(&srs.to_projjson().ok()?).ok()?;
    let part = json.get("components")?.get(1)?;
    let name = part.get("name")?.as_str()?.to_owned();
    let code = part
        .get("id")
        .and_then(|id| id.get("code"))
        .and_then(serde_json::Value::as_u64)
        .and_then(|c| u32::try_from(c).ok());
    let unit =
        part.get("coordinate_system").and_then(|c| c.get("axis")).and_then(|a| a.get(0)).and_then(|a| a.get("unit"));
    let metres = match unit {
        Some(serde_json::Value::Object(o)) => {
            o.get("conversion_factor").and_then(serde_json::Value::as_f64).unwrap_or(1.0)
        }
        _ => 1.0,
    };
    Some((name, code, metres))
}

/// Whether a system is projected with metres on both axes.
pub(super) fn is_projected_metres(srs: &SpatialRef) -> bool {
    srs.is_projected() && (srs.linear_units() - 1.0).abs() < 1e-12
}

/// The tag the rest of the program carries around.
pub(super) fn tag(srs: &SpatialRef, vertical: Option<(String, Option<u32>)>) -> CrsTag {
    let epsg = if srs.auth_name().as_deref() == Some("EPSG") { srs.auth_code().ok() } else { None };
    let (vertical_name, vertical_epsg) = vertical.map_or((None, None), |(name, code)| (Some(name), code));
    CrsTag {
        name: srs.name().unwrap_or_else(|| "unnamed".to_owned()),
        epsg: epsg.and_then(|c| u32::try_from(c).ok()),
        wkt: srs.to_wkt().unwrap_or_default(),
        vertical_name,
        vertical_epsg,
    }
}

/// The projected zone for a place: MGA2020 in and around Australia, else UTM on WGS 84.
pub(super) fn zone_for(lon_deg: f64, lat_deg: f64) -> u32 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "longitude is within -180 to 180")]
    let zone = ((lon_deg + 180.0) / 6.0).floor().clamp(0.0, 59.0) as u32 + 1;
    let australia = (108.0..=156.0).contains(&lon_deg) && (-45.0..=-9.0).contains(&lat_deg);
    if australia && (49..=56).contains(&zone) {
        7_800 + zone
    } else if lat_deg >= 0.0 {
        32_600 + zone
    } else {
        32_700 + zone
    }
}

/// A transformation with ballpark fall-backs refused.
pub(super) fn transform(from: &SpatialRef, to: &SpatialRef, what: &str) -> Result<CoordTransform, Problem> {
    let refuse = |reason: String| {
        Problem::data(
            "crs_not_reachable",
            format!(
                "`{what}`: no known way from `{}` to `{}` ({reason})",
                from.name().unwrap_or_default(),
                to.name().unwrap_or_default()
            ),
        )
        .hint("give the data in the system of the elevation source, or install the transformation grid PROJ asks for")
    };
    let mut options = CoordTransformOptions::new().map_err(|e| refuse(e.to_string()))?;
    options.set_ballpark_allowed(false).map_err(|e| refuse(e.to_string()))?;
    CoordTransform::new_with_options(from, to, &options).map_err(|e| refuse(e.to_string()))
}

/// Moves one point; `None` where the transformation is not defined.
pub(super) fn move_point(way: &CoordTransform, at: Coord<f64>) -> Option<Coord<f64>> {
    let (mut x, mut y, mut z) = ([at.x], [at.y], [0.0]);
    way.transform_coords(&mut x, &mut y, &mut z).ok()?;
    (x[0].is_finite() && y[0].is_finite()).then_some(Coord { x: x[0], y: y[0] })
}

/// Scale and direction of the grid near a point, by small differences on the ellipsoid.
pub(super) fn local_geodesy(srs: &SpatialRef, origin: Coord<f64>) -> Result<LocalGeodesy, Problem> {
    let degrees = srs.geog_cs().map(easting_first).map_err(|e| Problem::data("unknown_crs", e.to_string()))?;
    let way = transform(srs, &degrees, "working system")?;
    let outside =
        || Problem::data("outside_crs", "the property lies outside the area its coordinate system is made for");
    // 100 m is short enough for a differential and long enough to keep twelve digits.
    const STEP_M: f64 = 100.0;
    const SPREAD_M: f64 = 2_000.0;
    let sample = |at: Coord<f64>| -> Result<(f64, f64), Problem> {
        let here = Point(move_point(&way, at).ok_or_else(outside)?);
        let north = Point(move_point(&way, Coord { x: at.x, y: at.y + STEP_M }).ok_or_else(outside)?);
        let south = Point(move_point(&way, Coord { x: at.x, y: at.y - STEP_M }).ok_or_else(outside)?);
        let scale = 2.0 * STEP_M / Geodesic.distance(south, north);
        let azimuth = Geodesic.bearing(here, north);
        Ok((scale, (azimuth + 180.0).rem_euclid(360.0) - 180.0))
    };
    let shifted = |dx: f64, dy: f64| sample(Coord { x: origin.x + dx, y: origin.y + dy });
    let (scale, azimuth) = sample(origin)?;
    let (east, west) = (shifted(SPREAD_M, 0.0)?, shifted(-SPREAD_M, 0.0)?);
    let (north, south) = (shifted(0.0, SPREAD_M)?, shifted(0.0, -SPREAD_M)?);
    let per_m = |a: f64, b: f64| (a - b) / (2.0 * SPREAD_M);
    Ok(LocalGeodesy {
        origin,
        scale,
        scale_per_m: (per_m(east.0, west.0), per_m(north.0, south.0)),
        grid_north_azimuth_deg: azimuth,
        azimuth_per_m_deg: (per_m(east.1, west.1), per_m(north.1, south.1)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn to_zone(code: u32, lat: f64, lon: f64, datum: u32) -> Coord<f64> {
        let way = transform(&from_epsg(datum).unwrap(), &from_epsg(code).unwrap(), "test").unwrap();
        move_point(&way, Coord { x: lon, y: lat }).unwrap()
    }

    #[test]
    fn map_grid_points_of_the_geodesy_agency() {
        // GeodePy test resources (Geoscience Australia), GDA2020: latitude and longitude as DD.MMSSssss.
        let dms = |v: f64| {
            let (sign, v) = (v.signum(), v.abs());
            let degrees = v.trunc();
            let minutes = ((v - degrees) * 100.0 + 1e-9).trunc();
            let seconds = ((v - degrees) * 100.0 - minutes) * 100.0;
            sign * (degrees + minutes / 60.0 + seconds / 3_600.0)
        };
        for (lat, lon, zone, east, north) in [
            (-16.56086167, 145.45299289, 55, 367_777.259, 8_127_137.757),
            (-17.31373437, 146.01449746, 55, 396_949.731, 8_061_876.714),
            (-24.09324896, 151.53131880, 56, 386_930.017, 7_327_717.501),
        ] {
            let at = to_zone(7_800 + zone, dms(lat), dms(lon), 7844);
            assert!((at.x - east).abs() < 2e-3 && (at.y - north).abs() < 2e-3, "{at:?}");
        }
    }

    #[test]
    fn utm_of_the_projection_library() {
        // PROJ test suite, builtins.gie: UTM zone 32, GRS 80, 12 E 56 N (EPSG:25832 on ETRS89).
        let at = to_zone(25832, 56.0, 12.0, 4258);
        assert!((at.x - 687_071.439_1).abs() < 1e-3 && (at.y - 6_210_141.326_7).abs() < 1e-3);
    }

    #[test]
    fn grid_north_and_scale_of_the_geodesy_agency() {
        // GeodePy: MGA zone 55, E 321405.5592 N 5813614.1613, scale 0.99999287; grid convergence -1.2439811331 in the
        // Australian sense, so grid north points to azimuth +1.24398.
        let geodesy = local_geodesy(&from_epsg(7855).unwrap(), Coord { x: 321_405.5592, y: 5_813_614.1613 }).unwrap();
        assert!((geodesy.scale - 0.999_992_87).abs() < 2e-8, "{}", geodesy.scale);
        assert!((geodesy.grid_north_azimuth_deg - 1.243_981_13).abs() < 1e-4, "{}", geodesy.grid_north_azimuth_deg);
    }

    #[test]
    fn zones() {
        assert_eq!(zone_for(146.0, -17.5), 7855);
        assert_eq!(zone_for(-47.0, -22.0), 32723);
        assert_eq!(zone_for(9.0, 47.0), 32632);
    }

    #[test]
    fn vertical_part_is_told_apart() {
        let compound = from_user("EPSG:7856+5711").unwrap();
        assert_eq!(vertical(&compound).map(|v| v.1), Some(Some(5711)));
        let plan = horizontal(&compound);
        assert!(is_projected_metres(&plan) && plan.auth_code().ok() == Some(7856));
    }
}
