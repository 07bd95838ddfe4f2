//! Grids, scale, convergence and areas against published values.

use crate::formats::transform::Mapper;
use crate::formats::{crs, local_geodesy};
use crate::land::geodesy::LocalGeodesy;
use crate::units::Bearing;
use geo::{Area, Coord, GeodesicArea, Polygon, polygon};

/// Degrees from degrees, minutes, seconds; the sign stands before.
fn dms(sign: f64, d: f64, m: f64, s: f64) -> f64 {
    sign * (d + m / 60.0 + s / 3600.0)
}

fn near(a: Coord<f64>, east: f64, north: f64, tolerance: f64) {
    assert!((a.x - east).abs() < tolerance && (a.y - north).abs() < tolerance, "{a:?} against {east}, {north}");
}

/// A grid and the way to it from its own longitude and latitude.
fn grid(code: u32, degrees: u32) -> (gdal::spatial_ref::SpatialRef, Mapper) {
    let srs = crs::from_epsg(code).unwrap();
    let mapper = Mapper::new(&crs::from_epsg(degrees).unwrap(), &srs, false, "a test").unwrap();
    (srs, mapper)
}

fn around(code: u32, degrees: u32, lon: f64, lat: f64) -> (Coord<f64>, LocalGeodesy) {
    let (srs, mapper) = grid(code, degrees);
    let at = mapper.point(Coord { x: lon, y: lat }).unwrap();
    (at, local_geodesy::around(&srs, at).unwrap())
}

#[test]
fn utm_point_of_the_proj_test_suite() {
    // PROJ test/gie/builtins.gie, utm zone 32 on GRS80: lon 12, lat 56. EPSG:25832 is that grid on ETRS89 (4258).
    let (at, _) = around(25832, 4258, 12.0, 56.0);
    near(at, 687_071.439_109, 6_210_141.326_748, 1e-5);
}

#[test]
fn map_grid_points_of_australian_marks() {
    // Test points of Geoscience Australia's GeodePy (resources): GDA2020 position and map grid, written dd.mmss.
    for (zone, lat, lon, east, north) in [
        (55, dms(-1.0, 16.0, 56.0, 8.616_670), dms(1.0, 145.0, 45.0, 29.928_90), 367_777.259, 8_127_137.757),
        (55, dms(-1.0, 17.0, 31.0, 37.343_70), dms(1.0, 146.0, 1.0, 44.974_60), 396_949.731, 8_061_876.714),
        (56, dms(-1.0, 24.0, 9.0, 32.489_60), dms(1.0, 151.0, 53.0, 13.188_00), 386_930.017, 7_327_717.501),
    ] {
        let (at, _) = around(7800 + zone, 7844, lon, lat);
        near(at, east, north, 1e-3);
    }
}

#[test]
fn scale_and_convergence_of_flinders_peak() {
    // GDA Technical Manual (ICSM), worked example on MGA94 zone 55: point scale factor 1.00023056, convergence 1 35 03.65.
    let (at, g) = around(28355, 4283, dms(1.0, 144.0, 25.0, 29.524_40), dms(-1.0, 37.0, 57.0, 3.720_30));
    near(at, 273_741.297, 5_796_489.777, 2e-3);
    assert!((g.scale - 1.000_230_56).abs() < 1e-8, "{}", g.scale);
    assert!((g.grid_north_azimuth_deg.abs() - dms(1.0, 1.0, 35.0, 3.65)).abs() < 5e-6);
}

#[test]
fn sign_of_the_convergence() {
    // GeodePy test point: -37 48 26.67598, 144 58 16.44114, west of the central meridian 147 in the south. Australian
    // convergence -1.2439811331 with "grid bearing = azimuth + convergence", so grid north lies 1.24398 east of true.
    let (at, g) = around(28355, 4283, dms(1.0, 144.0, 58.0, 16.441_14), dms(-1.0, 37.0, 48.0, 26.675_98));
    near(at, 321_405.559_2, 5_813_614.161_3, 1e-3);
    assert!((g.scale - 0.999_992_87).abs() < 1e-8);
    assert!((g.grid_north_azimuth_deg - 1.243_981_133_1).abs() < 1e-6, "{}", g.grid_north_azimuth_deg);
    assert!((g.true_bearing(at, Bearing::from_degrees(0.0)).degrees() - 1.243_981).abs() < 1e-5);
}

#[test]
fn the_linear_model_holds_over_a_farm() {
    let (srs, _) = grid(7856, 7844);
    let here = Coord { x: 372_000.0, y: 7_812_000.0 };
    let model = local_geodesy::around(&srs, here).unwrap();
    for (dx, dy) in [(2500.0, 1500.0), (-3000.0, 2000.0), (500.0, -3000.0)] {
        let there = here + Coord { x: dx, y: dy };
        let exact = local_geodesy::around(&srs, there).unwrap();
        assert!((model.scale_at(there) - exact.scale).abs() < 3e-7);
        let turned = model.true_bearing(there, Bearing::from_degrees(90.0)).degrees() - 90.0;
        assert!((turned - exact.grid_north_azimuth_deg).abs() < 1e-5);
    }
}

#[test]
fn ground_area_of_a_paddock() {
    // Corners -17.530/-17.538, 146.010/146.020 on WGS 84: geodesic area by geo's Karney (2013) implementation against the
    // plane area on UTM 55 divided by the square of our scale.
    let degrees: Polygon<f64> =
        polygon![(x: 146.01, y: -17.538), (x: 146.02, y: -17.538), (x: 146.02, y: -17.53), (x: 146.01, y: -17.53)];
    let (srs, mapper) = grid(32755, 4326);
    let plane = mapper.areas(&geo::MultiPolygon(vec![degrees.clone()])).unwrap();
    let centre = mapper.point(Coord { x: 146.015, y: -17.534 }).unwrap();
    let model = local_geodesy::around(&srs, centre).unwrap();
    let (geodesic, ground) = (degrees.geodesic_area_unsigned(), model.ground_area_m2(centre, plane.unsigned_area()));
    assert!((geodesic - 940_115.880).abs() < 0.01);
    assert!((ground / geodesic - 1.0).abs() < 1e-6, "{ground} against {geodesic}");
}

#[test]
fn area_of_a_triangle_of_the_geographiclib_suite() {
    // geographiclib test_geodesic.py: (lat, lon) (2,1) (1,2) (3,3) has 18454562325.45119 m2.
    let t: Polygon<f64> = polygon![(x: 1.0, y: 2.0), (x: 2.0, y: 1.0), (x: 3.0, y: 3.0)];
    assert!((t.geodesic_area_unsigned() - 18_454_562_325.451_19).abs() < 1.0);
}

#[test]
fn datum_step_of_alice_springs() {
    // PROJ test/gie/GDA.gie from the ICSM GDA2020 Technical Manual: GDA94 133.88551329, -23.67012389 is GDA2020
    // 133.8855216, -23.67011014 (2 mm, so 3e-8 degrees).
    let mapper = Mapper::new(&crs::from_epsg(4283).unwrap(), &crs::from_epsg(7844).unwrap(), false, "a test").unwrap();
    let at = mapper.point(Coord { x: 133.885_513_29, y: -23.670_123_89 }).unwrap();
    near(at, 133.885_521_6, -23.670_110_14, 3e-8);
    assert_eq!(mapper.note, None);
}

#[test]
fn no_shift_between_different_datums_is_asked_for() {
    let (wgs84, mga94, mga2020) =
        (crs::from_epsg(4326).unwrap(), crs::from_epsg(28356).unwrap(), crs::from_epsg(7856).unwrap());
    // Plain longitude and latitude is let through with its accuracy said; two named datums are not.
    assert!(Mapper::new(&wgs84, &mga94, false, "x").unwrap().note.unwrap().contains("2 m"));
    let etrs89 = crs::from_epsg(4258).unwrap();
    let nad83 = crs::from_epsg(26915).unwrap();
    let refused = Mapper::new(&etrs89, &nad83, false, "x").err().map(|p| p.code);
    assert!(refused.as_deref() == Some("crs_not_reachable"), "{refused:?}");
    assert!(Mapper::new(&wgs84, &mga94, true, "x").unwrap().note.unwrap().contains("without a shift"));
    assert!(Mapper::new(&wgs84, &mga2020, false, "x").unwrap().note.unwrap().contains("EPSG:8450"));
}

#[test]
fn zones() {
    // Boundaries of UTM zones: IOGP Guidance Note 7-2; Australian places on MGA2020 (EPSG:7846-7859).
    let code = |lon, lat| crs::epsg(&crs::zone_of(lon, lat).unwrap());
    assert_eq!(code(151.78, -19.78), Some(7856));
    assert_eq!(code(146.02, -17.53), Some(7855));
    assert_eq!(code(12.0, 56.0), Some(32633));
    assert_eq!(code(11.99, 56.0), Some(32632));
    assert_eq!(code(-47.8, -21.2), Some(32723));
    assert_eq!(code(147.2, -9.4), Some(32755), "Port Moresby is not in Australia");
    assert!(crs::zone_of(-19.78, 151.78).is_err());
    // On its own datum nothing is shifted: EPSG:26917 is NAD83 / UTM zone 17N, EPSG:28356 GDA94 / MGA zone 56.
    let on = |data, lon, lat| crs::zone_on_datum_of(&crs::from_epsg(data).unwrap(), lon, lat).unwrap();
    assert_eq!(crs::epsg(&on(2236, -80.5, 26.7)), Some(26917));
    assert!(on(4283, 151.78, -19.78).name().unwrap().starts_with("GDA94"));
    assert_eq!(crs::epsg(&on(4326, 151.78, -19.78)), Some(7856));
}

/// Projects a point given in degrees on the ellipsoid of a PROJ definition.
fn project(definition: &str, lon_deg: f64, lat_deg: f64) -> Coord<f64> {
    let mut plan = gdal::spatial_ref::SpatialRef::from_proj4(definition).unwrap();
    crs::east_first(&mut plan);
    let mut degrees = plan.geog_cs().unwrap();
    crs::east_first(&mut degrees);
    Mapper::new(&degrees, &plan, false, "a test").unwrap().point(Coord { x: lon_deg, y: lat_deg }).unwrap()
}

#[test]
fn worked_examples_of_the_guidance_note() {
    // IOGP Guidance Note 7-2: Transverse Mercator (method 9807, as on epsg.io), 50.5 N 0.5 E.
    let airy = "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +a=6377563.396 +rf=299.32496";
    near(project(airy, 0.5, 50.5), 577_274.99, 69_740.50, 0.02);
    // The same note, Lambert conic, two parallels, US survey feet (from memory): 28 30 N, 96 W.
    let texas = "+proj=lcc +lat_1=28.38333333333333 +lat_2=30.28333333333333 +lat_0=27.83333333333333 +lon_0=-99 \
                 +x_0=609601.2192024384 +y_0=0 +ellps=clrk66 +units=us-ft";
    near(project(texas, -96.0, 28.5), 2_963_503.91, 254_759.80, 0.02);
    // The same note, Lambert conic, one parallel (from memory): 17 55 55.80 N, 76 56 37.26 W.
    let jamaica = "+proj=lcc +lat_1=18 +lat_0=18 +lon_0=-77 +k_0=1 +x_0=250000 +y_0=150000 +ellps=clrk66";
    near(project(jamaica, -76.943_683_333, 17.932_166_667), 255_966.58, 142_493.51, 0.02);
}

#[test]
fn geodesic_pair_of_the_datum_manual() {
    // GDA Technical Manual, Flinders Peak to Buninyong (GeodePy tests): 54,972.271 m, azimuth 306 52 05.37.
    use geo::{Bearing as _, Distance as _, Geodesic, Point};
    let flinders = Point::new(dms(1.0, 144.0, 25.0, 29.524_40), dms(-1.0, 37.0, 57.0, 3.720_30));
    let buninyong = Point::new(dms(1.0, 143.0, 55.0, 35.383_90), dms(-1.0, 37.0, 39.0, 10.156_10));
    assert!((Geodesic.distance(flinders, buninyong) - 54_972.271).abs() < 1e-3);
    let azimuth_deg = Geodesic.bearing(flinders, buninyong).rem_euclid(360.0);
    assert!((azimuth_deg - dms(1.0, 306.0, 52.0, 5.37)).abs() < 5e-6, "{azimuth_deg}");
}
