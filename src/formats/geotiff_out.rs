//! Rasters to cloud-optimised GeoTIFF.

use super::crs;
use super::open::set_up_gdal;
use super::vector_out::failed;
use crate::finding::Problem;
use crate::land::document::RasterSheet;
use crate::land::geodesy::CrsTag;
use gdal::cpl::CslStringList;
use gdal::raster::Buffer;
use gdal::{DriverManager, Metadata};
use std::path::Path;

/// The number that stands for "no data": exact in f32 and understood everywhere.
const NO_DATA: f32 = -9_999.0;

/// Writes one sheet; the same bytes for the same sheet.
pub(super) fn geotiff(file: &Path, name: &str, sheet: &RasterSheet, tag: &CrsTag) -> Result<(), Problem> {
    set_up_gdal();
    let problem = |e: gdal::errors::GdalError| failed(name, e);
    let spec = sheet.raster.spec;
    let values: Vec<f32> = sheet
        .raster
        .values
        .iter()
        .zip(&sheet.raster.valid)
        .map(|(v, valid)| if *valid { *v } else { NO_DATA })
        .collect();
    let (cols, rows) = (spec.cols as usize, spec.rows as usize);
    let memory = DriverManager::get_driver_by_name("MEM").map_err(problem)?;
    let mut dataset = memory.create_with_band_type::<f32, _>("", cols, rows, 1).map_err(problem)?;
    dataset
        .set_geo_transform(&[spec.north_west.x, spec.cell_m, 0.0, spec.north_west.y, 0.0, -spec.cell_m])
        .map_err(problem)?;
    let srs = match (tag.epsg, tag.vertical_epsg) {
        (Some(plan), Some(height)) if sheet.heights => crs::from_user(&format!("EPSG:{plan}+{height}"))?,
        (Some(plan), _) => crs::from_epsg(plan)?,
        (None, _) => crs::from_wkt(&tag.wkt).ok_or_else(|| failed(name, "the working system cannot be written"))?,
    };
    dataset.set_spatial_ref(&srs).map_err(problem)?;
    dataset.set_metadata_item("TIFFTAG_IMAGEDESCRIPTION", &sheet.description, "").map_err(problem)?;
    let mut band = dataset.rasterband(1).map_err(problem)?;
    band.set_no_data_value(Some(f64::from(NO_DATA))).map_err(problem)?;
    band.set_description(&sheet.description).map_err(problem)?;
    band.set_metadata_item("UNITS", &sheet.unit, "").map_err(problem)?;
    band.write((0, 0), (cols, rows), &mut Buffer::new((cols, rows), values)).map_err(problem)?;
    let cog = DriverManager::get_driver_by_name("COG").map_err(problem)?;
    let options = CslStringList::from_iter([
        "COMPRESS=DEFLATE",
        "PREDICTOR=YES",
        "LEVEL=6",
        "BLOCKSIZE=256",
        "OVERVIEWS=AUTO",
        "OVERVIEW_RESAMPLING=AVERAGE",
        "BIGTIFF=IF_SAFER",
        "GEOTIFF_VERSION=1.1",
    ]);
    let copy = dataset.create_copy(&cog, file, &options).map_err(problem)?;
    copy.close().map_err(problem)
}
