//! The one call the safe binding lacks.

use gdal::raster::RasterBand;
use std::ffi::CString;

/// Names the unit of a band's values; a unit with a zero byte in it is left out.
#[expect(unsafe_code, reason = "the safe binding reads the unit of a band but cannot set it")]
pub fn set_unit(band: &RasterBand<'_>, unit: &str) {
    let Ok(unit) = CString::new(unit) else { return };
    // SAFETY: the band lives as long as the borrow, and the library copies the text.
    let _error_class = unsafe { gdal_sys::GDALSetRasterUnitType(band.c_rasterband(), unit.as_ptr()) };
}
