//! Inputs good and bad, each made here with one fault.

use super::{BOUNDARY, Grid, site};
use crate::finding::{Outcome, Problem, Problems};
use crate::formats::DiskStore;
use crate::land::site_table::SiteTable;
use crate::land::store::{Store, Wanted};
use crate::land::survey::{RawElevation, RawSurvey};
use tempfile::TempDir;

struct Place(TempDir);

impl Place {
    fn new(boundary: &str) -> Self {
        let place = Self(tempfile::tempdir().unwrap());
        place.put("boundary.geojson", boundary);
        place
    }
    fn put(&self, name: &str, text: &str) {
        std::fs::write(self.0.path().join(name), text).unwrap();
    }
    fn ground(self, grid: &Grid, height: impl Fn(f64, f64) -> f32) -> Self {
        grid.write(&self.0.path().join("ground.tif"), height);
        self
    }
    fn read(&self, site: &SiteTable) -> Result<Outcome<RawSurvey>, Problems> {
        let here = self.0.path();
        let store = DiskStore::new(here, &here.join(".rowfall"), &here.join("run"));
        store.read_survey(site, &Wanted { ground: true, margin_m: 50.0, ..Wanted::default() })
    }
    fn problem(&self, site: &SiteTable) -> Problem {
        self.read(site).map(|_| ()).unwrap_err().0.remove(0)
    }
}

/// A plane both interpolation and conversion must reproduce.
fn plane(east: f64, north: f64) -> f32 {
    (50.0 + 0.002 * (east - 372_000.0) - 0.001 * (north - 7_812_000.0)) as f32
}

fn heights(survey: &RawSurvey) -> &crate::grid::Raster<f32> {
    match survey.elevation.as_ref().unwrap() {
        RawElevation::Raster { heights, .. } => heights,
        RawElevation::Points { .. } => panic!("a raster was given"),
    }
}

/// Greatest difference from a plane over the valid cells, and the share of valid cells.
fn misfit(survey: &RawSurvey, truth: impl Fn(f64, f64) -> f32) -> (f32, f64) {
    let raster = heights(survey);
    let worst = raster.iter().map(|(cell, z)| {
        let at = raster.spec.centre(cell);
        (z - truth(at.x, at.y)).abs()
    });
    (worst.fold(0.0, f32::max), raster.count_valid() as f64 / raster.spec.len() as f64)
}

#[test]
fn a_plain_raster_comes_through_cell_by_cell() {
    let read = Place::new(BOUNDARY).ground(&Grid::PLAIN, plane).read(&site()).unwrap();
    let survey = read.value;
    assert_eq!(survey.parcels[0].0, "Home");
    assert_eq!((survey.crs.epsg, survey.crs.vertical_epsg), (Some(7856), Some(5711)));
    assert_eq!(survey.crs.vertical_name.as_deref(), Some("AHD height"));
    let spec = heights(&survey).spec;
    // Whole cells of the file: the corner lies on the file's own grid.
    assert!(((spec.north_west.x - 371_950.0) / 5.0).fract() == 0.0 && spec.cell_m == 5.0);
    assert!(spec.cols < 80 && spec.rows < 80, "only a window is read");
    assert_eq!(misfit(&survey, plane), (0.0, 1.0));
    assert_eq!(survey.not_given.len(), site().optional_layers().len());
}

#[test]
fn unusual_rasters_are_brought_onto_square_cells() {
    let (s, c) = 10_f64.to_radians().sin_cos();
    let frames = [
        (
            "turned",
            Grid {
                frame: [371_880.0, 5.0 * c, 5.0 * s, 7_812_330.0, 5.0 * s, -5.0 * c],
                size: (90, 90),
                ..Grid::PLAIN
            },
        ),
        ("south up", Grid { frame: [371_950.0, 5.0, 0.0, 7_811_950.0, 0.0, 5.0], ..Grid::PLAIN }),
        ("not square", Grid { frame: [371_950.0, 5.0, 0.0, 7_812_350.0, 0.0, -4.0], size: (80, 100), ..Grid::PLAIN }),
    ];
    for (what, grid) in frames {
        let read = Place::new(BOUNDARY).ground(&grid, plane).read(&site()).unwrap();
        let (worst, valid) = misfit(&read.value, plane);
        assert!(worst < 0.006 && valid > 0.85, "{what}: {worst} m, {valid}");
        assert!(read.findings.iter().any(|f| f.message.contains("brought onto square cells")), "{what}");
    }
}

#[test]
fn degrees_are_worked_out_in_the_grid_zone() {
    let grid =
        Grid { frame: [151.7770, 4.5e-5, 0.0, -19.7800, 0.0, -4.5e-5], size: (120, 120), crs: Some("EPSG:4326") };
    let slope = |lon: f64, lat: f64| (50.0 + 200.0 * (lon - 151.78) - 100.0 * (lat + 19.78)) as f32;
    let read = Place::new(BOUNDARY).ground(&grid, slope).read(&site()).unwrap();
    assert_eq!(read.value.crs.epsg, Some(7856));
    let degrees = crate::formats::crs::wgs84().unwrap();
    let working = crate::formats::crs::from_epsg(7856).unwrap();
    let back = crate::formats::transform::Mapper::new(&working, &degrees, false, "x").unwrap();
    let truth = |x: f64, y: f64| {
        let at = back.point(geo::Coord { x, y }).unwrap();
        slope(at.x, at.y)
    };
    assert!(misfit(&read.value, truth).0 < 0.002);
}

#[test]
fn declared_feet_become_metres_and_undeclared_feet_are_asked_for() {
    let feet = Grid { crs: Some("EPSG:7856+8050"), ..Grid::PLAIN };
    let in_feet = |x: f64, y: f64| plane(x, y) / 0.3048;
    let read = Place::new(BOUNDARY).ground(&feet, in_feet).read(&site()).unwrap();
    assert!(misfit(&read.value, plane).0 < 1e-4);
    assert!(read.findings.iter().any(|f| f.message.contains("feet")));
    assert_eq!(read.value.crs.vertical_epsg, None, "the code of a foot system must not stand on metres");
}

#[test]
fn impossible_heights_are_refused_and_nothing_else_is() {
    let odd = |bad: f32| {
        move |x: f64, y: f64| {
            if (x - 372_052.5).abs() < 1.0 && (y - 7_812_202.5).abs() < 1.0 { bad } else { plane(x, y) }
        }
    };
    for bad in [1e20, -32768.0, f32::INFINITY] {
        let place = Place::new(BOUNDARY).ground(&Grid::PLAIN, odd(bad));
        assert_eq!(place.problem(&site()).code, "absurd_heights", "{bad}");
    }
    let place = Place::new(BOUNDARY).ground(&Grid::PLAIN, odd(f32::NAN));
    let survey = place.read(&site()).unwrap().value;
    assert_eq!(heights(&survey).spec.len() - heights(&survey).count_valid(), 1);
}

#[test]
fn boundaries_off_the_raster_say_by_how_much() {
    let east = Grid { frame: [372_150.0, 5.0, 0.0, 7_812_350.0, 0.0, -5.0], ..Grid::PLAIN };
    let problem = Place::new(BOUNDARY).ground(&east, plane).problem(&site());
    assert_eq!(problem.code, "boundary_partly_on_raster");
    assert!(problem.message.contains('%'), "{}", problem.message);
    let far = Grid { frame: [382_080.0, 5.0, 0.0, 7_812_350.0, 0.0, -5.0], ..Grid::PLAIN };
    assert_eq!(Place::new(BOUNDARY).ground(&far, plane).problem(&site()).code, "boundary_outside_raster");
    let swapped = BOUNDARY.replace("151.7790,", "A,").replace("151.7804,", "B,");
    let swapped = swapped
        .replace("[A,-19.7831]", "[-19.7831,151.7790]")
        .replace("[A,-19.7820]", "[-19.7820,151.7790]")
        .replace("[B,-19.7831]", "[-19.7831,151.7804]")
        .replace("[B,-19.7820]", "[-19.7820,151.7804]");
    let problem = Place::new(&swapped).ground(&Grid::PLAIN, plane).problem(&site());
    assert_eq!(problem.code, "boundary_outside_raster");
    assert!(problem.hint.unwrap().contains("swapped"));
}

#[test]
fn faults_of_files_have_stable_names() {
    let code = |place: &Place, site: &SiteTable| place.problem(site).code;
    let good = || Place::new(BOUNDARY).ground(&Grid::PLAIN, plane);
    let with = |boundary: &str| SiteTable { boundary: boundary.to_owned(), ..site() };
    assert_eq!(code(&good(), &with("gone.geojson")), "file_missing");
    for path in ["/vsicurl/http://x/a.geojson", "https://x/a.geojson", "PG:host=x", "{\"type\":\"Point\"}"] {
        let got = code(&good(), &with(path));
        assert!(got == "driver_not_allowed" || got == "file_missing", "{path}: {got}");
    }
    assert_eq!(code(&Place::new("hello").ground(&Grid::PLAIN, plane), &site()), "file_unreadable");
    let empty = r#"{"type":"FeatureCollection","features":[]}"#;
    assert_eq!(code(&Place::new(empty).ground(&Grid::PLAIN, plane), &site()), "layer_empty");
    let line = r#"{"type":"LineString","coordinates":[[151.779,-19.783],[151.78,-19.783]]}"#;
    assert_eq!(code(&Place::new(line).ground(&Grid::PLAIN, plane), &site()), "not_polygons");
    let place = good();
    place.put("ground.tif", "text");
    assert_eq!(code(&place, &site()), "not_a_raster");
    let bare = Place::new(BOUNDARY).ground(&Grid { crs: None, ..Grid::PLAIN }, plane);
    let problem = bare.problem(&site());
    assert_eq!(problem.code, "no_crs");
    assert!(problem.hint.unwrap().contains("crs"));
    assert!(bare.read(&SiteTable { crs: Some("EPSG:7856".to_owned()), ..site() }).is_ok());
    let other = SiteTable { parcel_name: Some("paddock".to_owned()), ..site() };
    assert_eq!(code(&good(), &other), "attribute_missing");
    let lot = SiteTable { parcel_name: Some("lot".to_owned()), ..site() };
    assert_eq!(good().read(&lot).unwrap().value.parcels[0].0, "12");
}

#[test]
fn all_faults_show_at_once() {
    let place = Place::new("hello");
    let all = SiteTable { track: Some("gone.shp".to_owned()), ..site() };
    let codes: Vec<String> = place.read(&all).unwrap_err().0.into_iter().map(|p| p.code).collect();
    assert_eq!(codes, ["file_unreadable", "file_missing", "file_missing"]);
}

#[test]
fn layers_take_numbers_as_text_and_heights_from_points() {
    let place = Place::new(BOUNDARY).ground(&Grid::PLAIN, plane);
    place.put("line.geojson", r#"{"type":"Feature","properties":{"Clearance_M":"6.5","EASEMENT":30},"geometry":{"type":"LineString","coordinates":[[151.779,-19.783,7],[151.78,-19.783,8]]}}"#);
    place.put("point.geojson", r#"{"type":"Feature","properties":{"name":"BM 1"},"geometry":{"type":"Point","coordinates":[151.779,-19.783,51.25]}}"#);
    let full = SiteTable {
        power_line: Some("line.geojson".to_owned()),
        control_point: Some("point.geojson".to_owned()),
        ..site()
    };
    let layers = place.read(&full).unwrap().value.layers;
    assert_eq!((layers.power_lines[0].clearance_m, layers.power_lines[0].easement_m), (Some(6.5), Some(30.0)));
    assert_eq!((layers.control_points[0].name.as_str(), layers.control_points[0].height_m), ("BM 1", 51.25));
}

#[test]
fn points_stand_in_for_a_raster() {
    let place = Place::new(BOUNDARY);
    place
        .put("rtk.csv", "Pt,Easting,Northing,Elev,Status\n1,372100,7812100,51.25,Fixed\n2,372110,7812100,51.5,Float\n");
    let mut table = SiteTable { elevation: Some("rtk.csv".to_owned()), ..site() };
    assert_eq!(place.problem(&table).code, "no_crs");
    table.crs = Some("EPSG:7856".to_owned());
    let survey = place.read(&table).unwrap().value;
    let Some(RawElevation::Points { points, floats, .. }) = survey.elevation else { panic!("points were given") };
    assert_eq!((points.len(), floats, points[0].height_m), (1, 1, 51.25));
    assert_eq!(survey.crs.epsg, Some(7856));
}

#[test]
fn breaklines_and_further_sources_come_with_their_heights() {
    let place = Place::new(BOUNDARY);
    place.put("rtk.csv", "1,7812100,372100,51.25,GR\n2,7812100,372110,51.5,GR\n3,7812110,372110,51.6,GR\n");
    place.put("more.csv", "e,n,z\n372105,7812105,51.4\n");
    let line = |coordinates: &str| {
        format!(
            "{{\"type\":\"FeatureCollection\",\"crs\":{{\"type\":\"name\",\"properties\":{{\"name\":\"urn:ogc:def:crs:EPSG::7856\"}}}},\
             \"features\":[{{\"type\":\"Feature\",\"properties\":{{}},\"geometry\":{{\"type\":\"LineString\",\"coordinates\":{coordinates}}}}}]}}"
        )
    };
    place.put("edge.geojson", &line("[[372100,7812100,50.5],[372120,7812100,50.25]]"));
    let mut table = SiteTable {
        elevation: Some("rtk.csv".to_owned()),
        more_elevation: vec!["more.csv".to_owned()],
        breakline: Some("edge.geojson".to_owned()),
        crs: Some("EPSG:7856".to_owned()),
        ..site()
    };
    let survey = place.read(&table).unwrap().value;
    let Some(RawElevation::Points { points, .. }) = &survey.elevation else { panic!("points were given") };
    assert_eq!((points.len(), points[0].at), (3, geo::Coord { x: 372_100.0, y: 7_812_100.0 }));
    assert_eq!(survey.more_elevation[0].0, "more.csv");
    assert_eq!(survey.breaklines[0].vertices[1], (geo::Coord { x: 372_120.0, y: 7_812_100.0 }, 50.25));
    // Every source counts for the digest.
    let digest = |t: &SiteTable| crate::formats::digest::of(place.0.path(), t, &wanted()).unwrap().0;
    let before = digest(&table);
    place.put("edge.geojson", &line("[[372100,7812100],[372120,7812100]]"));
    assert_ne!(before, digest(&table));
    assert_eq!(place.problem(&table).code, "breakline_without_heights");
    table.breakline = Some("boundary.geojson".to_owned());
    assert_eq!(place.problem(&table).code, "breakline_without_heights");
    table.breakline = Some("gone.geojson".to_owned());
    table.more_elevation = vec!["gone.laz".to_owned()];
    let codes: Vec<String> = place.read(&table).map(|_| ()).unwrap_err().0.into_iter().map(|p| p.code).collect();
    assert!(codes.iter().all(|c| c == "file_missing") && !codes.is_empty(), "{codes:?}");
}

fn wanted() -> Wanted {
    Wanted { ground: true, margin_m: 50.0, ..Wanted::default() }
}

#[test]
fn a_boundary_alone_is_enough_when_no_ground_is_wanted() {
    let place = Place::new(BOUNDARY);
    let store = DiskStore::new(place.0.path(), place.0.path(), place.0.path());
    let survey = store.read_survey(&site(), &Wanted::default()).unwrap().value;
    assert_eq!((survey.crs.epsg, survey.elevation.is_none(), survey.crs.vertical_name), (Some(7856), true, None));
    // UTM-like grids stay within a few parts in ten thousand.
    assert!((survey.geodesy.scale - 1.0).abs() < 1e-3);
}

#[test]
fn an_area_waterway_gets_a_line_and_keeps_its_banks() {
    let place = Place::new(BOUNDARY).ground(&Grid::PLAIN, plane);
    place.put("creek.geojson", r#"{"type":"Feature","properties":{"NAME":"Creek","order":"3"},"geometry":{"type":"Polygon","coordinates":[[[151.779,-19.7830],[151.780,-19.7830],[151.780,-19.7829],[151.779,-19.7829],[151.779,-19.7830]]]}}"#);
    let survey = place.read(&SiteTable { waterway: Some("creek.geojson".to_owned()), ..site() }).unwrap().value;
    let creek = &survey.layers.waterways[0];
    assert_eq!((creek.name.as_str(), creek.order, creek.banks.is_some()), ("Creek", Some(3), true));
    assert!(!survey.not_given.contains(&"waterway".to_owned()));
}
