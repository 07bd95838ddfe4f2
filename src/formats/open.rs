//! Opening input files: only plain local files, only formats on a list.

use super::gdal_setup::{self, reason};
use super::vrt;
use crate::finding::Problem;
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use std::path::{Path, PathBuf};

/// Vector formats that may be read.
const VECTOR_DRIVERS: [&str; 6] = ["GeoJSON", "GPKG", "ESRI Shapefile", "LIBKML", "KML", "FlatGeobuf"];
/// Raster formats that may be read.
const RASTER_DRIVERS: [&str; 5] = ["GTiff", "AAIGrid", "HFA", "XYZ", "VRT"];

/// An input as named in the pipeline file, found on disk.
#[derive(Debug, Clone)]
pub struct Source {
    /// Key of the site table, or of the stage parameter.
    pub key: String,
    /// As written.
    pub written: String,
    /// The file.
    pub file: PathBuf,
    /// The layer after `#`.
    pub layer: Option<String>,
}

impl Source {
    /// Finds the file an input names.
    ///
    /// # Errors
    /// `driver_not_allowed` for anything that is not a plain local path, `file_missing` when nothing is there.
    pub fn find(base: &Path, key: &str, written: &str) -> Result<Self, Problem> {
        let lower = written.to_ascii_lowercase();
        if lower.starts_with("/vsi") || lower.contains("://") || written.trim_start().starts_with(['{', '<']) {
            return Err(Problem::data(
                "driver_not_allowed",
                format!("`site.{key}` names `{written}`, which is not a file on this machine"),
            )
            .hint("save the data as a file beside the pipeline file and name that"));
        }
        let (path, layer) = match written.rsplit_once('#') {
            Some((path, layer)) if !base.join(written).exists() => (path, Some(layer.to_owned())),
            _ => (written, None),
        };
        let file = base.join(path);
        if !file.is_file() {
            return Err(Problem::data(
                "file_missing",
                format!("`site.{key}` names `{written}`, but there is no file `{}`", file.display()),
            )
            .hint("paths are relative to the folder of the pipeline file"));
        }
        Ok(Self { key: key.to_owned(), written: written.to_owned(), file, layer })
    }
    /// Lower-case extension.
    #[must_use]
    pub fn extension(&self) -> String {
        self.file.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default()
    }
    /// The start of a message about this input.
    #[must_use]
    pub fn label(&self) -> String {
        format!("`site.{}` (`{}`)", self.key, self.written)
    }
    /// Whether the file holds points as comma-separated text.
    #[must_use]
    pub fn is_point_text(&self) -> bool {
        matches!(self.extension().as_str(), "csv" | "txt" | "tsv")
    }
}

fn open(source: &Source, drivers: &[&str], kind: GdalOpenFlags) -> Result<Dataset, gdal::errors::GdalError> {
    gdal_setup::set_up();
    Dataset::open_ex(
        &source.file,
        DatasetOptions {
            open_flags: kind | GdalOpenFlags::GDAL_OF_READONLY | GdalOpenFlags::GDAL_OF_VERBOSE_ERROR,
            allowed_drivers: Some(drivers),
            ..DatasetOptions::default()
        },
    )
}

fn unreadable(source: &Source) -> Option<Problem> {
    std::fs::File::open(&source.file).err().map(|error| {
        Problem::data("file_unreadable", format!("{} cannot be read: {error}", source.label()))
            .hint("check the permissions of the file")
    })
}

/// Opens a vector file.
///
/// # Errors
/// `file_unreadable` when no allowed format knows it.
pub fn open_vector(source: &Source) -> Result<Dataset, Problem> {
    if let Some(problem) = unreadable(source) {
        return Err(problem);
    }
    open(source, &VECTOR_DRIVERS, GdalOpenFlags::GDAL_OF_VECTOR).map_err(|error| {
        Problem::data(
            "file_unreadable",
            format!("{} is no vector file the program reads: {}", source.label(), reason(&error)),
        )
        .hint("give GeoJSON, GeoPackage, Shapefile, KML or FlatGeobuf")
    })
}

/// Opens a raster file.
///
/// # Errors
/// `file_unreadable`, `not_a_raster`, and `reaches_outside` for a virtual raster that leaves its folder.
pub fn open_raster(source: &Source) -> Result<Dataset, Problem> {
    if let Some(problem) = unreadable(source) {
        return Err(problem);
    }
    vrt::check(source)?;
    let not_a_raster = |what: String| {
        Problem::data("not_a_raster", format!("{} is not a raster the program reads{what}", source.label()))
            .hint("give GeoTIFF, ASCII grid, Imagine, XYZ grid or a virtual raster beside its parts")
    };
    let dataset = open(source, &RASTER_DRIVERS, GdalOpenFlags::GDAL_OF_RASTER)
        .map_err(|error| not_a_raster(format!(": {}", reason(&error))))?;
    if dataset.raster_count() == 0 {
        return Err(not_a_raster(": it has no band".to_owned()));
    }
    Ok(dataset)
}
