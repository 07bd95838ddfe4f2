//! What a LAS or LAZ file says about itself: sizes that must fit, and the coordinate system.
//!
//! Source: ASPRS, LAS Specification 1.4-R15, table 3 (header), section 2.6 (system by WKT or by GeoTIFF keys);
//! OGC 19-008r4 (GeoTIFF 1.1) for the keys.

use super::crs::{self, SplitCrs};
use super::height_units::{FOOT_M, US_FOOT_M};
use super::open::Source;
use crate::finding::Problem;
use gdal::spatial_ref::SpatialRef;
use geo::{Coord, Rect};
use las::Header;
use las::crs::{GeoTiffCrs, GeoTiffData};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

/// Bytes of the longest header read here: that of version 1.4.
const HEADER_BYTES: usize = 375;
/// Bytes before the data of an extended record.
const EXTENDED_RECORD_BYTES: u64 = 60;

/// Checks that the counts and places in the header fit into the file, before anything is reserved for them.
///
/// # Errors
/// `file_unreadable`.
pub fn check(source: &Source) -> Result<(), Problem> {
    let broken = |why: &str| {
        Problem::data("file_unreadable", format!("{} is no whole LAS or LAZ file: {why}", source.label()))
            .hint("the file may be damaged or cut short; fetch it again")
    };
    let mut file = File::open(&source.file).map_err(|e| broken(&e.to_string()))?;
    let size = file.metadata().map_err(|e| broken(&e.to_string()))?.len();
    let mut head = Vec::new();
    file.by_ref().take(HEADER_BYTES as u64).read_to_end(&mut head).map_err(|e| broken(&e.to_string()))?;
    if !head.starts_with(b"LASF") || head.len() < 227 {
        return Err(broken("it does not begin like one"));
    }
    let (minor, header_bytes) = (head[25], u64::from(number(&head, 94, 2) as u16));
    let (data_at, record_bytes) = (number(&head, 96, 4), number(&head, 105, 2));
    let compressed = head[104] & 0x80 != 0;
    let points = if minor >= 4 { number(&head, 247, 8) } else { number(&head, 107, 4) };
    if data_at > size || data_at < header_bytes || header_bytes < 227 {
        return Err(broken("its points are said to begin outside of it"));
    }
    if !compressed && points.checked_mul(record_bytes).is_none_or(|bytes| bytes > size - data_at) {
        return Err(broken(&format!("its header counts {points} points of {record_bytes} bytes, more than it holds")));
    }
    if compressed {
        check_chunks(&mut file, data_at, size).map_err(broken)?;
    }
    if minor >= 4 && number(&head, 243, 4) > 0 {
        let at = number(&head, 235, 8);
        let long = at.checked_add(EXTENDED_RECORD_BYTES).filter(|end| *end <= size).and_then(|end| {
            let bytes = read_number(&mut file, at + 20, 8)?;
            end.checked_add(bytes).filter(|end| *end <= size)
        });
        long.ok_or_else(|| broken("an extended record is longer than the file"))?;
    }
    Ok(())
}

/// The table of compressed chunks must lie in the file and cannot have more entries than the file has bytes.
fn check_chunks(file: &mut File, data_at: u64, size: u64) -> Result<(), &'static str> {
    let wrong = "its table of chunks lies outside of it";
    let mut at = read_number(file, data_at, 8).ok_or(wrong)?;
    // A writer that could not go back put the place at the very end.
    if at == u64::MAX {
        at = size.checked_sub(8).and_then(|end| read_number(file, end, 8)).ok_or(wrong)?;
    }
    let count = read_number(file, at.checked_add(4).ok_or(wrong)?, 4).ok_or(wrong)?;
    if count > size { Err(wrong) } else { Ok(()) }
}

fn read_number(file: &mut File, at: u64, bytes: usize) -> Option<u64> {
    let mut buffer = [0_u8; 8];
    file.seek(SeekFrom::Start(at)).ok()?;
    file.read_exact(&mut buffer[..bytes]).ok()?;
    Some(u64::from_le_bytes(buffer))
}

/// A little-endian number in a header; zero where the header is too short for it.
fn number(head: &[u8], at: usize, bytes: usize) -> u64 {
    let mut buffer = [0_u8; 8];
    if let Some(part) = head.get(at..at + bytes) {
        buffer[..bytes].copy_from_slice(part);
    }
    u64::from_le_bytes(buffer)
}

/// The system the points are in: WKT before GeoTIFF keys before `site.crs`.
///
/// # Errors
/// `no_crs`.
pub fn system(header: &Header, fallback: Option<&SpatialRef>, label: &str) -> Result<SplitCrs, Problem> {
    crate::formats::gdal_setup::set_up();
    let unknown =
        |why: &str| Problem::data("no_crs", format!("{label} {why}")).hint("set `crs = \"EPSG:...\"` under `[site]`");
    let keys = header.get_geotiff_crs().ok().flatten();
    let by_wkt = header.get_wkt_crs_bytes().map(|bytes| {
        let text = String::from_utf8_lossy(bytes);
        SpatialRef::from_wkt(text.trim_end_matches('\0').trim()).map(|srs| crs::split(&srs))
    });
    match (by_wkt, keys, fallback) {
        (Some(Ok(system)), ..) => Ok(system),
        (_, Some(keys), fallback) => by_keys(&keys, fallback)
            .ok_or_else(|| unknown("names its coordinate system by keys of its maker that are not understood")),
        (_, None, Some(fallback)) => Ok(crs::split(fallback)),
        (Some(Err(_)), None, None) => Err(unknown("names a coordinate system that is not understood")),
        (None, None, None) => Err(unknown("does not say which coordinate system it is in")),
    }
}

/// GeoTIFF keys: plan, vertical system and its unit.
fn by_keys(keys: &GeoTiffCrs, fallback: Option<&SpatialRef>) -> Option<SplitCrs> {
    let value = |id: u16| {
        keys.entries.iter().find(|k| k.id == id).and_then(|k| match &k.data {
            GeoTiffData::U16(v) => Some(*v),
            _ => None,
        })
    };
    let code = |id: u16| value(id).filter(|v| (1024..32_767).contains(v)).map(u32::from);
    let plan = code(3072).or_else(|| code(2048)).map(crs::from_epsg);
    let plan = match plan {
        Some(Ok(plan)) => plan,
        _ => fallback?.clone(),
    };
    let mut system = crs::split(&plan);
    let up = code(4096).and_then(|vertical| {
        let code = format!("EPSG:{}+{vertical}", crs::epsg(&system.plan)?);
        crs::from_user(&code).ok()
    });
    if let Some(up) = up.map(|srs| crs::split(&srs)) {
        (system.vertical_name, system.vertical_epsg) = (up.vertical_name, up.vertical_epsg);
        system.vertical_unit_m = up.vertical_unit_m;
    }
    // EPSG units of measure 9001 to 9003.
    let unit_m = match value(4099) {
        Some(9001) => Some(1.0),
        Some(9002) => Some(FOOT_M),
        Some(9003) => Some(US_FOOT_M),
        _ => None,
    };
    system.vertical_unit_m = unit_m.or(system.vertical_unit_m);
    Some(system)
}

/// A rectangle grown to hold a place.
#[must_use]
pub fn with(rect: Rect<f64>, at: Coord<f64>) -> Rect<f64> {
    let (low, high) = (rect.min(), rect.max());
    Rect::new(Coord { x: low.x.min(at.x), y: low.y.min(at.y) }, Coord { x: high.x.max(at.x), y: high.y.max(at.y) })
}
