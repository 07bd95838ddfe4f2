//! Rasters as cloud-optimised GeoTIFF.

use super::gdal_setup::reason;
use super::scratch::{Scratch, fault};
use super::{crs, gdal_raw};
use crate::finding::Problem;
use crate::land::document::RasterSheet;
use crate::land::geodesy::CrsTag;
use crate::land::store::RenderedFile;
use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{DriverManager, Metadata};

/// What stands for "no value": exact in 32-bit floats and understood by every reader.
const NO_DATA: f32 = -9999.0;

/// Writes a sheet; heights carry the vertical system when its code is known.
///
/// # Errors
/// `not_written`.
pub fn write(path: &str, sheet: &RasterSheet, tag: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
    let srs = system(sheet, tag)?;
    let scratch = Scratch::new(path)?;
    cog(sheet, &srs, &scratch.file()).map_err(|e| fault(path, &reason(&e)))?;
    scratch.collect()
}

/// Plan system, with the vertical one when the values are heights and both codes are known.
fn system(sheet: &RasterSheet, tag: &CrsTag) -> Result<SpatialRef, Problem> {
    if let (true, Some(plan), Some(up)) = (sheet.heights, tag.epsg, tag.vertical_epsg) {
        return crs::from_user(&format!("EPSG:{plan}+{up}"));
    }
    crs::from_tag(tag)
}

fn cog(sheet: &RasterSheet, srs: &SpatialRef, file: &std::path::Path) -> gdal::errors::Result<()> {
    let raster = &sheet.raster;
    let size = (raster.spec.cols as usize, raster.spec.rows as usize);
    let mut memory =
        DriverManager::get_driver_by_name("MEM")?.create_with_band_type::<f32, _>("", size.0, size.1, 1)?;
    let (corner, cell_m) = (raster.spec.north_west, raster.spec.cell_m);
    memory.set_geo_transform(&[corner.x, cell_m, 0.0, corner.y, 0.0, -cell_m])?;
    memory.set_spatial_ref(srs)?;
    memory.set_metadata_item("AREA_OR_POINT", "Area", "")?;
    memory.set_metadata_item("TIFFTAG_IMAGEDESCRIPTION", &sheet.description, "")?;
    memory.set_metadata_item("TIFFTAG_SOFTWARE", "rowfall", "")?;
    let values = raster.values.iter().zip(&raster.valid).map(|(v, ok)| if *ok && v.is_finite() { *v } else { NO_DATA });
    let mut buffer = Buffer::new(size, values.collect());
    {
        let mut band = memory.rasterband(1)?;
        band.set_no_data_value(Some(f64::from(NO_DATA)))?;
        band.set_description(&sheet.description)?;
        gdal_raw::set_unit(&band, &sheet.unit);
        band.write((0, 0), size, &mut buffer)?;
    }
    let options = [
        "COMPRESS=DEFLATE",
        "PREDICTOR=YES",
        "LEVEL=6",
        "BLOCKSIZE=256",
        "OVERVIEW_RESAMPLING=AVERAGE",
        "RESAMPLING=AVERAGE",
        "BIGTIFF=IF_SAFER",
        "GEOTIFF_VERSION=1.1",
        "NUM_THREADS=1",
    ];
    let options: RasterCreationOptions = options.into_iter().collect();
    memory.create_copy(&DriverManager::get_driver_by_name("COG")?, file, &options)?.close()
}
