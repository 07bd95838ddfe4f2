//! Tests of the terrain stage.

use super::*;
use crate::grid::GridSpec;
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::{Culvert, SiteLayers};
use crate::land::survey::AccuracyStatement;
use crate::stages::Silent;
use geo::{Coord, LineString, MultiPolygon, polygon};
use std::sync::atomic::AtomicBool;

fn run_on(height: impl Fn(Coord<f64>) -> f64, params: &TerrainParams) -> Outcome<TerrainModel> {
    run_with(height, Vec::new(), params)
}

fn run_with(
    height: impl Fn(Coord<f64>) -> f64,
    culverts: Vec<Culvert>,
    params: &TerrainParams,
) -> Outcome<TerrainModel> {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 200.0 }, cell_m: 2.0, rows: 100, cols: 150 };
    let mut surface = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        surface.values[i] = height(spec.centre(spec.cell(i))) as f32;
    }
    let boundary = MultiPolygon(vec![
        polygon![(x: 20.0, y: 20.0), (x: 280.0, y: 20.0), (x: 280.0, y: 180.0), (x: 20.0, y: 180.0)],
    ]);
    let crs = CrsTag { name: "plane".into(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None };
    let site = Site {
        name: "t".into(),
        parcels: Vec::new(),
        boundary,
        parcels_worked_as_one: true,
        layers: SiteLayers { culverts, ..SiteLayers::default() },
        not_given: Vec::new(),
        crs,
        geodesy: LocalGeodesy::flat(),
    };
    let accuracy = AccuracyStatement {
        vertical_sigma_m: 0.03,
        basis: "stated".into(),
        known: true,
        control_shift_m: None,
        control_sd_m: None,
    };
    let ground = Ground {
        surveyed: ElevationModel(surface.clone()),
        concept: ElevationModel(surface),
        point_density: None,
        smoothed_over_m: 0.0,
        beds_mean_m: 0.0,
        accuracy,
    };
    let ctx = Ctx { progress: &Silent, cancel: &AtomicBool::new(false) };
    Terrain::run(TerrainInput { site: &site, ground: &ground }, params, &ctx).unwrap()
}

/// A plane falling 0.12 % east and 0.05 % south: slope sqrt(0.12^2 + 0.05^2) = 0.13 %, aspect atan2(0.12, -0.05).
#[test]
fn plane_has_its_slope_aspect_and_contours() {
    let model = run_on(|p| 10.0 - 0.0012 * p.x + 0.0005 * p.y, &TerrainParams::default()).value;
    assert!((model.median_slope_ratio - 0.0013).abs() < 1e-5);
    let aspect = model.aspect.0.at(Coord { x: 150.0, y: 100.0 }).unwrap();
    assert!((f64::from(aspect) - 112.62).abs() < 1.0, "{aspect}");
    // Relief inside is about 0.39 m: 0.05 m is the smallest interval offered and shows 7 or 8 levels.
    assert!((model.contour_interval_m - 0.05).abs() < 1e-12);
    assert!((6..=12).contains(&model.contours.len()));
    assert!(model.contours.windows(2).all(|w| w[0].level_m < w[1].level_m));
}

/// All water that falls on the grid leaves over its rim.
#[test]
fn water_is_conserved() {
    let model = run_on(|p| 5.0 + 0.3 * (p.x / 30.0).sin() * (p.y / 25.0).cos(), &TerrainParams::default()).value;
    let leaving: f64 = model
        .flow
        .downstream
        .iter()
        .zip(&model.accumulation.0.values)
        .filter(|(d, _)| **d == crate::grid::FlowField::OFF_GRID)
        .map(|(_, ha)| f64::from(*ha))
        .sum();
    assert!((leaving - 6.0).abs() < 1e-3, "{leaving} of 6 ha");
    assert!(model.filled.0.values.iter().all(|z| z.is_finite()));
}

#[test]
fn steep_land_is_severe() {
    let outcome = run_on(|p| 0.05 * p.x, &TerrainParams::default());
    assert_eq!(outcome.findings[0].code, "steep_land");
    assert_eq!(outcome.findings[0].severity, Severity::Severe);
    // 13 m of relief: 1 m is the first interval with at most 25 levels.
    assert!((outcome.value.contour_interval_m - 1.0).abs() < 1e-12);
}

#[test]
fn given_interval_is_used_and_every_fifth_is_major() {
    let params = TerrainParams { contour_interval_m: 0.5, ..TerrainParams::default() };
    let model = run_on(|p| 0.02 * p.x, &params).value;
    assert!(model.contours.iter().all(|c| c.major == ((c.level_m / 2.5).fract() == 0.0)));
    assert!(model.contours.iter().any(|c| c.major));
}

/// A bank 1 m high and 4 m wide across a valley that falls 2 % to the south: water stands behind it; let through, it runs.
#[test]
fn banks_hold_water_until_they_are_opened() {
    let land = |p: Coord<f64>| {
        let bank = if (98.0..102.0).contains(&p.y) { 1.0 } else { 0.0 };
        10.0 + 0.02 * p.y + 0.02 * (p.x - 150.0).abs() + bank
    };
    let held = run_on(land, &TerrainParams::default());
    let lake = &held.value.depressions[0];
    assert_eq!((lake.id, lake.within, held.value.opened_banks.len()), (1, None, 0));
    // The bank stands 1 m above the valley floor, which falls 4 cm a cell.
    assert!((0.94..1.02).contains(&lake.max_depth_m), "{lake:?}");
    assert!((lake.pour_point.y - 99.0).abs() < 3.0 && (lake.floor.y - 103.0).abs() < 1.5, "{lake:?}");
    let params = TerrainParams { bank_opened_length_m: 12.0, ..TerrainParams::default() };
    let opened = run_on(land, &params);
    assert_eq!((opened.value.opened_banks.len(), opened.findings[0].code.as_str()), (1, "banks_opened"));
    let at = Coord { x: 151.0, y: 103.0 };
    assert!(held.value.filled.0.at(at) > opened.value.filled.0.at(at).map(|z| z + 0.9));
    // Longer than allowed: it holds.
    let short = TerrainParams { bank_opened_length_m: 3.0, ..TerrainParams::default() };
    assert!(run_on(land, &short).value.opened_banks.is_empty());
}

/// The same bank with a mapped culvert, drawn from foot to foot and 2 m beside the valley floor: nothing stands, the whole
/// valley above drains through it, and one mapped off the ground is told, not used.
#[test]
fn mapped_culverts_are_opened() {
    let land = |p: Coord<f64>| {
        let bank = if (98.0..102.0).contains(&p.y) { 1.0 } else { 0.0 };
        10.0 + 0.02 * p.y + 0.02 * (p.x - 150.0).abs() + bank
    };
    let culvert = |x: f64, north: f64| Culvert {
        name: format!("at {x}"),
        line: LineString::from(vec![(x, 97.0), (x, north)]),
        diameter_m: Some(0.6),
        upper_level_m: None,
        lower_level_m: None,
    };
    let run = run_with(land, vec![culvert(152.0, 103.0), culvert(20.0, 260.0)], &TerrainParams::default());
    assert!(run.value.depressions.is_empty(), "{:?}", run.value.depressions);
    let [bank] = &run.value.opened_banks[..] else { panic!("{:?}", run.value.opened_banks) };
    assert_eq!((bank.culvert.as_deref(), bank.diameter_m), (Some("at 152"), Some(0.6)));
    assert!((0.9..1.1).contains(&bank.depth_m), "{bank:?}");
    // Above the bank lie 98 m x 300 m, with the bank and the foot below it 104 m x 300 m.
    assert!((2.5..3.12).contains(&bank.catchment_ha), "{bank:?}");
    let codes: Vec<&str> = run.findings.iter().map(|f| f.code.as_str()).collect();
    assert_eq!(codes, ["culvert_not_opened", "culverts_opened"]);
}

/// The two ways of taking slope agree on a plane and differ on rough ground.
#[test]
fn slope_method_is_a_choice() {
    let other = TerrainParams { slope_method: SlopeMethod::ZevenbergenThorne, ..TerrainParams::default() };
    let rough = |p: Coord<f64>| 5.0 + 0.001 * p.x + 0.02 * (1.7 * p.x).sin() * (2.3 * p.y).cos();
    assert_ne!(run_on(rough, &other).value.slope, run_on(rough, &TerrainParams::default()).value.slope);
}
