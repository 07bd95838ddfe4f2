//! Checks of the whole folder against files and published values.

mod clouds;
mod geodesy;
mod guidance;
mod inputs;
mod outputs;
mod papers;

use crate::land::site_table::SiteTable;
use std::path::Path;

/// A boundary of about 150 m x 120 m near E 372100 N 7812100 of EPSG:7856, as WGS 84 GeoJSON.
pub const BOUNDARY: &str = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"Home","Lot":"12"},
"geometry":{"type":"Polygon","coordinates":[[[151.7790,-19.7831],[151.7804,-19.7831],[151.7804,-19.7820],[151.7790,-19.7820],[151.7790,-19.7831]]]}}]}"#;

/// A raster file to be made for a test.
pub struct Grid {
    /// Affine frame.
    pub frame: [f64; 6],
    /// Columns and rows.
    pub size: (usize, usize),
    /// What `site.crs` could say; `None` for none.
    pub crs: Option<&'static str>,
}

impl Grid {
    /// 400 m x 400 m of 5 m cells around the boundary.
    pub const PLAIN: Self =
        Self { frame: [371_950.0, 5.0, 0.0, 7_812_350.0, 0.0, -5.0], size: (80, 80), crs: Some("EPSG:7856+5711") };

    /// Writes the raster; `height` gets the coordinates of a cell centre.
    pub fn write(&self, file: &Path, height: impl Fn(f64, f64) -> f32) {
        super::gdal_setup::set_up();
        let driver = gdal::DriverManager::get_driver_by_name("GTiff").unwrap();
        let (cols, rows) = self.size;
        let mut dataset = driver.create_with_band_type::<f32, _>(file, cols, rows, 1).unwrap();
        dataset.set_geo_transform(&self.frame).unwrap();
        if let Some(crs) = self.crs {
            dataset.set_spatial_ref(&crate::formats::crs::from_user(crs).unwrap()).unwrap();
        }
        let g = self.frame;
        let values = (0..cols * rows).map(|i| {
            let (c, r) = ((i % cols) as f64 + 0.5, (i / cols) as f64 + 0.5);
            height(g[0] + c * g[1] + r * g[2], g[3] + c * g[4] + r * g[5])
        });
        let mut buffer = gdal::raster::Buffer::new((cols, rows), values.collect());
        dataset.rasterband(1).unwrap().write((0, 0), (cols, rows), &mut buffer).unwrap();
        dataset.close().unwrap();
    }
}

/// A site with the boundary and a raster called `ground.tif`.
pub fn site() -> SiteTable {
    SiteTable {
        boundary: "boundary.geojson".to_owned(),
        elevation: Some("ground.tif".to_owned()),
        ..SiteTable::default()
    }
}
