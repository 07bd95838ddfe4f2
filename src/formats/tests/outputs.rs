//! Documents written, read back, and written again to the same bytes.

use super::{BOUNDARY, Grid, site};
use crate::formats::{DiskStore, crs};
use crate::grid::{GridSpec, Raster};
use crate::land::document::{
    Content, Document, Feature, Field, FieldKind, GeometryKind, Layer, LayerStyle, Pattern, RasterSheet, Value,
};
use crate::land::geodesy::CrsTag;
use crate::land::site_table::SiteTable;
use crate::land::store::{RenderedFile, Store, Wanted};
use geo::{Area, Coord, Geometry, polygon};

pub fn tag() -> CrsTag {
    crs::tag(&crs::from_epsg(7856).unwrap(), Some("AHD height".to_owned()), Some(5711)).unwrap()
}

pub fn layer() -> Layer {
    let field = |name: &str, kind| Field { name: name.to_owned(), kind };
    let area = polygon![(x: 372_000.000_4, y: 7_812_000.0), (x: 372_100.0, y: 7_812_000.0), (x: 372_100.0, y: 7_812_050.0), (x: 372_000.0, y: 7_812_050.0)];
    Layer {
        name: "row_block".to_owned(),
        title: "Row blocks & 'more'".to_owned(),
        kind: GeometryKind::Area,
        fields: vec![
            field("name", FieldKind::Text),
            field("number", FieldKind::Integer),
            field("fall_pct", FieldKind::Real(2)),
        ],
        features: vec![Feature {
            geometry: Geometry::Polygon(area),
            values: vec!["A 'ü'".into(), Value::Integer(7), Value::Real(0.123_456)],
        }],
        style: LayerStyle {
            stroke: [10, 20, 30],
            stroke_mm: 0.4,
            fill: Some([200, 210, 220, 128]),
            pattern: Pattern::Hatched(45),
            label: Some("name".to_owned()),
        },
    }
}

pub fn sheet() -> RasterSheet {
    let spec = GridSpec { north_west: Coord { x: 372_000.0, y: 7_812_600.0 }, cell_m: 1.0, rows: 600, cols: 500 };
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        let at = spec.centre(spec.cell(i));
        raster.values[i] = (50.0 + 0.001 * (at.x - 372_000.0)) as f32;
    }
    raster.valid[5] = false;
    RasterSheet { raster, description: "design surface".to_owned(), unit: "m".to_owned(), heights: true }
}

fn render(path: &str, content: Content) -> Vec<RenderedFile> {
    let place = tempfile::tempdir().unwrap();
    let store = DiskStore::new(place.path(), place.path(), place.path());
    let document = Document { path: path.to_owned(), content };
    let first = store.render(&document, &tag()).unwrap();
    assert_eq!(first, store.render(&document, &tag()).unwrap(), "{path} differs between two writings");
    first
}

/// Puts files into a folder and names the main one.
fn on_disk(files: &[RenderedFile]) -> (tempfile::TempDir, std::path::PathBuf) {
    let place = tempfile::tempdir().unwrap();
    for file in files {
        std::fs::write(place.path().join(file.path.rsplit('/').next().unwrap()), &file.bytes).unwrap();
    }
    let main =
        place.path().join(files.iter().find(|f| !f.path.ends_with(".dbf")).unwrap().path.rsplit('/').next().unwrap());
    (place, main)
}

#[test]
fn geopackage_keeps_layers_values_and_styles() {
    let files = render("maps/plan.gpkg", Content::GeoPackage(vec![layer()]));
    assert_eq!(files.len(), 1);
    assert_eq!(files[0].path, "maps/plan.gpkg");
    // GeoPackage 1.3, requirement 2: application id "GPKG" at byte 68, user version 10300 at byte 60.
    assert_eq!(&files[0].bytes[68..72], b"GPKG");
    assert_eq!(files[0].bytes[60..64], 10300_u32.to_be_bytes());
    let (_place, file) = on_disk(&files);
    let dataset = gdal::Dataset::open(file).unwrap();
    let mut row_block = dataset.layer_by_name("row_block").unwrap();
    use gdal::vector::LayerAccess;
    let feature = row_block.features().next().unwrap();
    assert_eq!(feature.field_as_string(0).unwrap().as_deref(), Some("A 'ü'"));
    assert_eq!(feature.field_as_integer64(1).unwrap(), Some(7));
    assert_eq!(feature.field_as_double(2).unwrap(), Some(0.12));
    assert!((feature.geometry().unwrap().to_geo().unwrap().unsigned_area() - 5000.0).abs() < 1e-6, "rounded to 1 mm");
    let mut styles = dataset
        .execute_sql(
            "SELECT styleQML, styleSLD, f_table_schema FROM layer_styles",
            None,
            gdal::vector::sql::Dialect::DEFAULT,
        )
        .unwrap()
        .unwrap();
    let style = styles.features().next().unwrap();
    assert!(style.field_as_string(0).unwrap().unwrap().contains("b_diagonal"));
    assert!(style.field_as_string(1).unwrap().unwrap().contains("#0a141e"));
    assert_eq!(style.field_as_string(2).unwrap().as_deref(), Some(""));
}

#[test]
fn geojson_follows_rfc_7946() {
    let files = render("blocks.geojson", Content::GeoJson(layer(), 7));
    let json: serde_json::Value = serde_json::from_slice(&files[0].bytes).unwrap();
    assert!(json.get("crs").is_none(), "section 4: no crs member");
    let ring = json["features"][0]["geometry"]["coordinates"][0].as_array().unwrap();
    assert_eq!(ring.first(), ring.last(), "section 3.1.6: closed");
    let xy: Vec<(f64, f64)> = ring.iter().map(|p| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap())).collect();
    let signed: f64 = xy.windows(2).map(|w| w[0].0 * w[1].1 - w[1].0 * w[0].1).sum();
    assert!(signed > 0.0, "section 3.1.6: counter-clockwise");
    assert!(xy.iter().all(|(lon, lat)| (151.0..152.0).contains(lon) && (-20.0..-19.0).contains(lat)));
    assert_eq!(json["features"][0]["properties"]["fall_pct"], 0.12);
}

#[test]
fn shapefile_and_kml_come_back() {
    for (path, content) in [("guide/rows.shp", Content::Shapefile(layer())), ("guide/rows.kml", Content::Kml(layer()))]
    {
        let files = render(path, content);
        let (_place, file) = on_disk(&files);
        let file = file.with_extension(path.rsplit('.').next().unwrap());
        let dataset = gdal::Dataset::open(&file).unwrap();
        let mut out = dataset.layer(0).unwrap();
        use gdal::vector::LayerAccess;
        assert!(out.spatial_ref().unwrap().is_geographic());
        let area = out.features().next().unwrap().geometry().unwrap().area();
        // 100 m x 50 m in degrees at 19.78 south; a degree is 104.8 km by 110.7 km there (WGS 84 ellipsoid).
        assert!((area * 104_800.0 * 110_700.0 / 5000.0 - 1.0).abs() < 0.01, "{path}: {area}");
    }
}

#[test]
fn plans_on_gda94_are_written_through_gda2020() {
    // PROJ test/gie/GDA.gie from the ICSM GDA2020 Technical Manual, Alice Springs: GDA94 133.88551329, -23.67012389 is
    // GDA2020 133.8855216, -23.67011014. The bare way to WGS 84 shifts nothing and would print the former.
    let (gda94, mga94) = (crs::from_epsg(4283).unwrap(), crs::from_epsg(28353).unwrap());
    let there = crate::formats::transform::Mapper::new(&gda94, &mga94, false, "x").unwrap();
    let at = there.point(Coord { x: 133.885_513_29, y: -23.670_123_89 }).unwrap();
    let point = Layer {
        kind: GeometryKind::Point,
        features: vec![Feature {
            geometry: Geometry::Point(at.into()),
            values: vec![Value::Nothing, Value::Nothing, Value::Nothing],
        }],
        ..layer()
    };
    let files =
        crate::formats::layers_out::geojson("p.geojson", &point, 9, &crs::tag(&mga94, None, None).unwrap()).unwrap();
    let json: serde_json::Value = serde_json::from_slice(&files[0].bytes).unwrap();
    let got = &json["features"][0]["geometry"]["coordinates"];
    assert!((got[0].as_f64().unwrap() - 133.885_521_6).abs() < 3e-8, "{got}");
    assert!((got[1].as_f64().unwrap() + 23.670_110_14).abs() < 3e-8, "{got}");
}

#[test]
fn geotiff_keeps_values_unit_and_both_systems() {
    let files = render("maps/design.tif", Content::GeoTiff(sheet()));
    assert_eq!(files.len(), 1, "everything is inside");
    let (_place, file) = on_disk(&files);
    let dataset = gdal::Dataset::open(file).unwrap();
    let band = dataset.rasterband(1).unwrap();
    assert_eq!((band.no_data_value(), band.unit().as_str()), (Some(-9999.0), "m"));
    assert!(band.overview_count().unwrap() > 0);
    let split = crs::split(&dataset.spatial_ref().unwrap());
    assert_eq!((crs::epsg(&split.plan), split.vertical_epsg), (Some(7856), Some(5711)));
    let values = band.read_band_as::<f32>().unwrap();
    let sheet = sheet();
    for (i, (wrote, read)) in sheet.raster.values.iter().zip(values.data()).enumerate() {
        assert_eq!(*read, if sheet.raster.valid[i] { *wrote } else { -9999.0 });
    }
}

#[test]
fn a_written_plan_can_be_given_again() {
    // Blocks and surface go out through the writers and come back through the readers.
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join("boundary.geojson"), BOUNDARY).unwrap();
    Grid::PLAIN.write(&place.path().join("ground.tif"), |_, _| 50.0);
    let surface = render("surface.tif", Content::GeoTiff(sheet()));
    let blocks = render("plan.gpkg", Content::GeoPackage(vec![layer()]));
    std::fs::write(place.path().join("plan.gpkg"), &blocks[0].bytes).unwrap();
    std::fs::write(place.path().join("surface.tif"), &surface[0].bytes).unwrap();
    let store = DiskStore::new(place.path(), place.path(), place.path());
    let wanted = Wanted {
        ground: true,
        given_blocks: Some("plan.gpkg".to_owned()),
        previous_blocks: Some("plan.gpkg".to_owned()),
        given_surface: Some("surface.tif".to_owned()),
        margin_m: 20.0,
    };
    let site = SiteTable { elevation: Some("ground.tif".to_owned()), ..site() };
    let survey = store.read_survey(&site, &wanted).unwrap().value;
    assert_eq!(survey.layers.given_blocks[0].name, "A 'ü'");
    assert_eq!(survey.layers.previous_blocks, survey.layers.given_blocks);
    assert!((survey.layers.given_blocks[0].outline.unsigned_area() - 5000.0).abs() < 1e-6);
    let surface = survey.given_surface.unwrap().0;
    assert!((surface.at(Coord { x: 372_150.5, y: 7_812_100.5 }).unwrap() - 50.1505).abs() < 1e-4);
}
