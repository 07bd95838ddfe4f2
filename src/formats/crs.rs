//! Coordinate systems: what a file is in, and which projected system the run works in.

use super::local_geodesy;
use crate::finding::Problem;
use crate::land::geodesy::CrsTag;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use geo::Coord;
use serde_json::Value;

/// A system taken apart into its plan and its heights.
#[derive(Debug, Clone)]
pub struct SplitCrs {
    /// The horizontal system, east before north.
    pub plan: SpatialRef,
    /// Name of the vertical system.
    pub vertical_name: Option<String>,
    /// Its EPSG code.
    pub vertical_epsg: Option<u32>,
    /// Length of its unit, metres.
    pub vertical_unit_m: Option<f64>,
}

/// Makes a system speak east (or longitude) first.
pub fn east_first(srs: &mut SpatialRef) {
    srs.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
}

/// A system from an EPSG code, east first.
///
/// # Errors
/// When the code is not known.
pub fn from_epsg(code: u32) -> Result<SpatialRef, Problem> {
    super::gdal_setup::set_up();
    let mut srs = SpatialRef::from_epsg(code).map_err(|e| {
        Problem::data("no_crs", format!("EPSG:{code} is not a coordinate system the library knows: {e}"))
    })?;
    east_first(&mut srs);
    Ok(srs)
}

/// WGS 84 longitude and latitude.
///
/// # Errors
/// When the library has no database.
pub fn wgs84() -> Result<SpatialRef, Problem> {
    from_epsg(4326)
}

/// The system named by `site.crs`: an EPSG code or WKT, never a file or an address.
///
/// # Errors
/// `no_crs` when it is neither.
pub fn from_user(text: &str) -> Result<SpatialRef, Problem> {
    super::gdal_setup::set_up();
    let text = text.trim();
    let is_code = text
        .to_ascii_uppercase()
        .strip_prefix("EPSG:")
        .is_some_and(|c| !c.is_empty() && c.chars().all(|c| c.is_ascii_digit() || c == '+'));
    let is_wkt = ["PROJC", "GEOG", "COMPD", "COMPO"].iter().any(|w| text.starts_with(w)) && text.contains('[');
    let bad = |why: &str| {
        Problem::request("no_crs", format!("`site.crs` is `{text}`, {why}")).hint("write it like `EPSG:7856`")
    };
    if !is_code && !is_wkt {
        return Err(bad("which is neither an EPSG code nor WKT"));
    }
    let mut srs =
        SpatialRef::from_definition(text).map_err(|e| bad(&format!("which the library does not know: {e}")))?;
    east_first(&mut srs);
    Ok(srs)
}

/// Takes a system apart.
#[must_use]
pub fn split(srs: &SpatialRef) -> SplitCrs {
    let mut plan = srs.clone();
    east_first(&mut plan);
    let mut whole = SplitCrs { plan, vertical_name: None, vertical_epsg: None, vertical_unit_m: None };
    let Some(json) = srs.to_projjson().ok().and_then(|t| serde_json::from_str::<Value>(&t).ok()) else { return whole };
    let Some([plan, up]) = json["components"].as_array().map(Vec::as_slice) else {
        // A file that writes a system out rounds its numbers and keeps names of its time; where it gives the code too,
        // the published system is meant, and the way into others is known.
        let published = epsg_of(&json).and_then(|code| from_epsg(code).ok());
        if let Some(published) = published.filter(|p| (p.linear_units() - whole.plan.linear_units()).abs() < 1e-9) {
            whole.plan = published;
        }
        return whole;
    };
    let mut horizontal = match epsg_of(plan).map(SpatialRef::from_epsg) {
        Some(Ok(srs)) => srs,
        _ => match SpatialRef::from_definition(&plan.to_string()) {
            Ok(srs) => srs,
            Err(_) => return whole,
        },
    };
    east_first(&mut horizontal);
    whole.plan = horizontal;
    whole.vertical_name = up["name"].as_str().map(str::to_owned);
    whole.vertical_epsg = epsg_of(up);
    let unit = &up["coordinate_system"]["axis"][0]["unit"];
    whole.vertical_unit_m = unit["conversion_factor"].as_f64().or_else(|| (unit == "metre").then_some(1.0));
    if whole.vertical_unit_m.is_some_and(|u| (u - 1.0).abs() > 1e-12) {
        // The heights are converted to metres, so the code of the foot-based system no longer describes them.
        let datum = [&up["datum"], &up["datum_ensemble"]].into_iter().find_map(|d| d["name"].as_str());
        whole.vertical_name = datum.map(str::to_owned).or(whole.vertical_name);
        whole.vertical_epsg = None;
    }
    whole
}

fn epsg_of(json: &Value) -> Option<u32> {
    (json["id"]["authority"] == "EPSG")
        .then(|| json["id"]["code"].as_u64())
        .flatten()
        .and_then(|c| u32::try_from(c).ok())
}

/// The EPSG code of a system, when it carries one.
#[must_use]
pub fn epsg(srs: &SpatialRef) -> Option<u32> {
    let json: Value = serde_json::from_str(&srs.to_projjson().ok()?).ok()?;
    epsg_of(&json)
}

/// Whether the program can work in a system near a place: projected, metres, and hardly stretched (a farm of
/// web-map metres would be wrong by a tenth).
#[must_use]
pub fn is_workable(srs: &SpatialRef, near: Coord<f64>) -> bool {
    srs.is_projected()
        && (srs.linear_units() - 1.0).abs() < 1e-9
        && local_geodesy::scale_near(srs, near).is_some_and(|k| (k - 1.0).abs() < 0.003)
}

/// The grid zone of a place: the Australian map grid in Australia, else UTM on WGS 84.
///
/// # Errors
/// Outside 80 degrees south to 84 degrees north, where neither is defined.
pub fn zone_of(lon: f64, lat: f64) -> Result<SpatialRef, Problem> {
    if !(-80.0..=84.0).contains(&lat) || !(-180.0..=180.0).contains(&lon) {
        return Err(Problem::data(
            "crs_not_reachable",
            format!("the boundary lies at longitude {lon:.4}, latitude {lat:.4}, where no grid zone is defined"),
        )
        .hint("longitude comes before latitude in a GeoJSON file; check the order"));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 60")]
    let zone = ((((lon + 180.0) / 6.0).floor() as u32) + 1).min(60);
    from_epsg(match (in_australia(lon, lat), lat < 0.0) {
        (true, _) => 7800 + zone,
        (false, true) => 32_700 + zone,
        (false, false) => 32_600 + zone,
    })
}

/// The UTM zone of a place on the datum of the data, so that nothing has to be shifted; on GDA2020 and WGS 84 the
/// published zone.
///
/// # Errors
/// As for [`zone_of`].
pub fn zone_on_datum_of(data: &SpatialRef, lon: f64, lat: f64) -> Result<SpatialRef, Problem> {
    let published = zone_of(lon, lat)?;
    let Ok(degrees) = data.geog_cs() else { return Ok(published) };
    let datum = degrees.name().unwrap_or_default();
    if matches!(datum.as_str(), "WGS 84" | "GDA2020") {
        return Ok(published);
    }
    let zone = ((lon + 180.0) / 6.0).floor().min(59.0);
    let (side, false_northing) = if lat < 0.0 { ("S", 10_000_000) } else { ("N", 0) };
    let wkt = format!(
        "PROJCS[\"{datum} / UTM zone {number}{side}\",{degrees},PROJECTION[\"Transverse_Mercator\"],\
         PARAMETER[\"latitude_of_origin\",0],PARAMETER[\"central_meridian\",{meridian}],PARAMETER[\"scale_factor\",0.9996],\
         PARAMETER[\"false_easting\",500000],PARAMETER[\"false_northing\",{false_northing}],UNIT[\"metre\",1]]",
        number = zone + 1.0,
        meridian = zone * 6.0 - 177.0,
        degrees = degrees.to_wkt().map_err(|e| unwritable(&e))?,
    );
    let mut srs = SpatialRef::from_wkt(&wkt).map_err(|e| unwritable(&e))?;
    // Takes the published code when there is one; a zone without a code is still a good system.
    let _unpublished = srs.auto_identify_epsg();
    east_first(&mut srs);
    Ok(srs)
}

fn unwritable(error: &gdal::errors::GdalError) -> Problem {
    Problem::data("no_crs", format!("the working system cannot be written down: {error}"))
}

/// Rough, and only decides which of two grids a decimetre apart is offered when the data name none.
fn in_australia(lon: f64, lat: f64) -> bool {
    let beyond_torres = lon > 141.0 && lat > -10.6 || lon > 144.5 && lat > -12.0;
    let beyond_timor = lon < 128.5 && lat > -11.3;
    (112.5..=154.0).contains(&lon) && (-44.0..=-10.0).contains(&lat) && !beyond_torres && !beyond_timor
}

/// The record of a system for the artifacts.
///
/// # Errors
/// When it cannot be written as WKT.
pub fn tag(srs: &SpatialRef, vertical_name: Option<String>, vertical_epsg: Option<u32>) -> Result<CrsTag, Problem> {
    let wkt = srs.to_wkt().map_err(|e| unwritable(&e))?;
    Ok(CrsTag {
        name: srs.name().unwrap_or_else(|| "unnamed projected system".to_owned()),
        epsg: epsg(srs),
        wkt,
        vertical_name,
        vertical_epsg,
    })
}

/// The system an artifact was made in.
///
/// # Errors
/// When the record is not understood.
pub fn from_tag(tag: &CrsTag) -> Result<SpatialRef, Problem> {
    super::gdal_setup::set_up();
    if let Some(code) = tag.epsg {
        return from_epsg(code);
    }
    let mut srs = SpatialRef::from_wkt(&tag.wkt)
        .map_err(|e| Problem::data("no_crs", format!("the working system `{}` is not understood: {e}", tag.name)))?;
    east_first(&mut srs);
    Ok(srs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::transform::Mapper;

    /// Text as national point clouds carry it: the older name of the datum and a rounded flattening, with the code.
    #[test]
    fn a_system_written_out_with_its_code_is_the_published_one() {
        let text = concat!(
            r#"PROJCRS["RGF93 / Lambert-93",BASEGEOGCRS["RGF93",DATUM["Reseau Geodesique Francais 1993","#,
            r#"ELLIPSOID["GRS 1980",6378137,298.2572221,LENGTHUNIT["metre",1]]]],CONVERSION["Lambert-93","#,
            r#"METHOD["Lambert Conic Conformal (2SP)",ID["EPSG",9802]],PARAMETER["Latitude of false origin",46.5],"#,
            r#"PARAMETER["Longitude of false origin",3],PARAMETER["Latitude of 1st standard parallel",49],"#,
            r#"PARAMETER["Latitude of 2nd standard parallel",44],PARAMETER["Easting at false origin",700000],"#,
            r#"PARAMETER["Northing at false origin",6600000]],CS[Cartesian,2],AXIS["Easting (X)",east],"#,
            r#"AXIS["Northing (Y)",north],LENGTHUNIT["metre",1],ID["EPSG",2154]]"#,
        );
        let found = split(&from_user(text).unwrap()).plan;
        assert!(Mapper::new(&from_epsg(2154).unwrap(), &found, false, "a boundary").unwrap().is_identity());
        // Another unit under the same code is another system.
        let feet =
            text.replace(r#"LENGTHUNIT["metre",1],ID["EPSG",2154]"#, r#"LENGTHUNIT["foot",0.3048],ID["EPSG",2154]"#);
        assert!((split(&from_user(&feet).unwrap()).plan.linear_units() - 0.3048).abs() < 1e-9);
    }
}
