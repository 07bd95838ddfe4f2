//! Opening files nobody has vouched for.
//!
//! Only listed drivers open, nothing is fetched from a network, and a virtual raster may only name files in its own
//! folder.

use crate::finding::Problem;
use gdal::errors::GdalError;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use std::path::{Path, PathBuf};
use std::sync::Once;

/// Vector drivers that may open an input.
const VECTOR_DRIVERS: [&str; 6] = ["GeoJSON", "GPKG", "ESRI Shapefile", "KML", "LIBKML", "FlatGeobuf"];
/// Raster drivers that may open an input.
const RASTER_DRIVERS: [&str; 5] = ["GTiff", "AAIGrid", "HFA", "XYZ", "SRTMHGT"];

/// Settings every use of GDAL here relies on: quiet, offline, and the same bytes on every day.
pub(super) fn set_up_gdal() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        for (key, value) in [
            ("OGR_CURRENT_DATE", "2026-01-01T00:00:00.000Z"),
            ("PROJ_NETWORK", "OFF"),
            ("GDAL_HTTP_TIMEOUT", "1"),
            ("CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "{noext}none"),
            ("GDAL_PAM_ENABLED", "NO"),
            ("GDAL_CACHEMAX", "128"),
            ("GDAL_NUM_THREADS", "1"),
        ] {
            // A setting GDAL refuses is one it does not know; nothing else depends on it.
            let _ = gdal::config::set_config_option(key, value);
        }
        gdal::config::set_error_handler(|_, _, message| tracing::debug!(target: "gdal", "{message}"));
    });
}

/// A path with an optional layer: `site.gpkg#waterway`.
pub(super) fn split_layer(source: &str) -> (&str, Option<&str>) {
    match source.rsplit_once('#') {
        Some((path, layer)) if !path.is_empty() && !layer.contains('/') => (path, Some(layer)),
        _ => (source, None),
    }
}

/// The file a source names, checked to be a plain local path.
pub(super) fn local_path(base: &Path, key: &str, source: &str) -> Result<PathBuf, Problem> {
    let (name, _) = split_layer(source);
    if name.starts_with("/vsi") || name.contains("://") || name.starts_with("PG:") || name.starts_with("MYSQL:") {
        return Err(Problem::data("reaches_outside", format!("`site.{key}` = `{name}` is not a local file"))
            .hint("copy the data beside the pipeline file and name that copy; nothing is fetched from a network"));
    }
    let path = base.join(name);
    if !path.exists() {
        return Err(Problem::data("file_missing", format!("`site.{key}`: no file at `{name}`"))
            .hint("paths are relative to the pipeline file"));
    }
    if path.is_dir() && path.extension().is_none_or(|e| e != "gdb") {
        return Err(Problem::data("file_unreadable", format!("`site.{key}`: `{name}` is a folder, not a file")));
    }
    Ok(path)
}

fn open(path: &Path, flags: GdalOpenFlags, drivers: &[&str]) -> Result<Dataset, GdalError> {
    set_up_gdal();
    Dataset::open_ex(
        path,
        DatasetOptions { open_flags: flags, allowed_drivers: Some(drivers), ..DatasetOptions::default() },
    )
}

/// Opens a vector file.
pub(super) fn open_vector(base: &Path, key: &str, source: &str) -> Result<Dataset, Problem> {
    let path = local_path(base, key, source)?;
    open(&path, GdalOpenFlags::GDAL_OF_VECTOR, &VECTOR_DRIVERS).map_err(|_| {
        let (name, _) = split_layer(source);
        let code = if open(&path, GdalOpenFlags::GDAL_OF_VECTOR, &[]).is_ok() {
            "driver_not_allowed"
        } else {
            "file_unreadable"
        };
        Problem::data(code, format!("`site.{key}`: `{name}` cannot be read as a vector file")).hint(format!(
            "save it as GeoPackage, GeoJSON, Shapefile, KML or FlatGeobuf ({})",
            VECTOR_DRIVERS.join(", ")
        ))
    })
}

/// Opens a raster file; virtual rasters only when everything they name lies in their own folder.
pub(super) fn open_raster(base: &Path, key: &str, source: &str) -> Result<Dataset, Problem> {
    let path = local_path(base, key, source)?;
    let (name, _) = split_layer(source);
    let mut drivers = RASTER_DRIVERS.to_vec();
    if is_virtual(&path) {
        check_virtual(&path, key, name)?;
        drivers.push("VRT");
    }
    open(&path, GdalOpenFlags::GDAL_OF_RASTER, &drivers).map_err(|_| {
        Problem::data("not_a_raster", format!("`site.{key}`: `{name}` cannot be read as a raster"))
            .hint(format!("save it as GeoTIFF or ESRI ASCII grid ({})", RASTER_DRIVERS.join(", ")))
    })
}

fn is_virtual(path: &Path) -> bool {
    std::fs::read(path).is_ok_and(|bytes| {
        let head = String::from_utf8_lossy(&bytes[..bytes.len().min(2_000)]).to_string();
        head.trim_start().starts_with("<VRTDataset") || head.contains("<VRTDataset")
    })
}

/// Refuses a virtual raster that names anything outside its own folder, or another virtual raster.
fn check_virtual(path: &Path, key: &str, name: &str) -> Result<(), Problem> {
    let refuse = |what: &str| {
        Problem::data(
            "reaches_outside",
            format!("`site.{key}`: the virtual raster `{name}` names `{what}`, which is not in its own folder"),
        )
        .hint("turn it into a GeoTIFF first, or keep its sources beside it")
    };
    let text = std::fs::read_to_string(path)
        .map_err(|e| Problem::data("file_unreadable", format!("`site.{key}`: `{name}` cannot be read: {e}")))?;
    // Anything but plain sources (inline code, raw bands, warped or panned rasters) may reach further than it shows.
    for word in [
        "PixelFunction",
        "VRTRawRasterBand",
        "VRTWarpedDataset",
        "VRTPansharpenedDataset",
        "VRTDerivedRasterBand",
        "<!ENTITY",
        "SourceDataset",
    ] {
        if text.contains(word) {
            return Err(refuse(word));
        }
    }
    let folder = path.parent().unwrap_or(Path::new(".")).to_path_buf();
    for part in text.split("<SourceFilename").skip(1) {
        let (attributes, rest) = part.split_once('>').ok_or_else(|| refuse("a broken entry"))?;
        let target = rest.split("</SourceFilename").next().unwrap_or("").trim();
        let relative = attributes.contains("relativeToVRT=\"1\"");
        let plain = Path::new(target).components().all(|c| matches!(c, std::path::Component::Normal(_)));
        let inside = relative && plain && !target.contains(':');
        if !inside {
            return Err(refuse(target));
        }
        let file = folder.join(target);
        if is_virtual(&file) {
            return Err(refuse(target));
        }
        let link_leaves = match (std::fs::canonicalize(&file), std::fs::canonicalize(&folder)) {
            (Ok(file), Ok(folder)) => !file.starts_with(folder),
            _ => true,
        };
        if link_leaves {
            return Err(refuse(target));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layers_are_split_off() {
        assert_eq!(split_layer("a/site.gpkg#waterway"), ("a/site.gpkg", Some("waterway")));
        assert_eq!(split_layer("a#b/site.gpkg"), ("a#b/site.gpkg", None));
        assert_eq!(split_layer("site.gpkg"), ("site.gpkg", None));
    }

    #[test]
    fn networks_and_databases_are_refused() {
        for source in ["/vsicurl/http://x/y.tif", "https://x/y.tif", "PG:dbname=x", "/vsizip/x.zip"] {
            assert_eq!(
                local_path(Path::new("."), "elevation", source).unwrap_err().code,
                "reaches_outside",
                "{source}"
            );
        }
        assert_eq!(local_path(Path::new("."), "elevation", "no-such-file.tif").unwrap_err().code, "file_missing");
    }
}
