//! Files become artifacts and documents become files: the only folder that knows GDAL, PROJ and the disk.
//!
//! In: `open` (what may be opened) -> `vector_in`, `raster_in`, `points_in` (text by `points_text`, clouds by `las_in`) -> `layers_in`, `survey_in` (all in one
//! projected system, see `crs` and `transform`). Out: `layers_out`, `geotiff_out`, `run_folder`. [`DiskStore`] joins them.

mod breaklines_in;
mod centre_line;
mod crs;
mod digest;
mod disk_store;
mod field_words;
mod gdal_raw;
mod gdal_setup;
mod geotiff_out;
mod guidance_out;
mod height_units;
mod heights_in;
mod las_frame;
mod las_in;
mod layers_in;
mod layers_out;
mod local_geodesy;
mod objects;
mod open;
mod paper_georeference;
mod paper_out;
mod picture_out;
mod points_in;
mod points_text;
mod raster_frame;
mod raster_in;
mod run_folder;
mod safe_text;
mod scratch;
mod style_out;
mod survey_in;
mod taskdata_out;
mod transform;
mod vector_in;
mod vrt;

#[cfg(test)]
mod tests;

pub use disk_store::DiskStore;
pub use objects::Lock;

/// The date inside written files: fixed, so the same run gives the same bytes.
const FIXED_DATE: &str = "2026-01-01T00:00:00.000Z";
