//! The state of the GDAL library, set once: no network, fixed dates, errors returned and not printed.

use std::sync::Once;

/// Drivers that talk to other machines or run code; taken out before the others are registered.
const NETWORK_DRIVERS: &str = "HTTP,WMS,WMTS,WCS,WFS,OAPIF,OGCAPI,PLMOSAIC,PLSCENES,DAAS,EEDA,EEDAI,CARTO,AMIGOCLOUD,ELASTIC,\
                               CSW,NGW,PostgreSQL,MySQL,MSSQLSpatial,ODBC,STACTA,STACIT,ZARR,PostGISRaster";

/// What the library says went wrong, without the name of the function that said it.
#[must_use]
pub fn reason(error: &gdal::errors::GdalError) -> String {
    use gdal::errors::GdalError::{CplError, InvalidCoordinateRange, NullPointer};
    let text = match error {
        CplError { msg, .. } | NullPointer { msg, .. } => msg.clone(),
        InvalidCoordinateRange { msg, .. } => msg.clone().unwrap_or_default(),
        other => other.to_string(),
    };
    if text.trim().is_empty() { "the library gives no reason".to_owned() } else { text }
}

/// Sets the library up; later calls do nothing.
pub fn set_up() {
    static DONE: Once = Once::new();
    DONE.call_once(|| {
        for (key, value) in [
            ("GDAL_SKIP", NETWORK_DRIVERS),
            ("OGR_SKIP", NETWORK_DRIVERS),
            ("PROJ_NETWORK", "OFF"),
            ("CPL_VSIL_CURL_ALLOWED_EXTENSIONS", ".none"),
            ("GDAL_HTTP_MAX_RETRY", "0"),
            ("GDAL_VRT_ENABLE_PYTHON", "NO"),
            ("GDAL_NUM_THREADS", "1"),
            // Dates inside written files are fixed, so the same run gives the same bytes.
            ("OGR_CURRENT_DATE", super::FIXED_DATE),
        ] {
            if let Err(error) = gdal::config::set_config_option(key, value) {
                tracing::warn!(key, %error, "the library does not take a setting");
            }
        }
        gdal::config::set_error_handler(|class, number, message| {
            tracing::debug!(?class, number, message, "gdal");
        });
        gdal::DriverManager::register_all();
    });
}
