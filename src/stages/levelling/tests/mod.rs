//! Earthworks whose answer is known beforehand.

mod bent;
mod beyond;
mod least;
mod reach;

use super::*;
use crate::grid::GridSpec;
use crate::land::blocks::{BlockId, Row};
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::{SiteLayers, TopsoilZone};
use crate::land::survey::AccuracyStatement;
use crate::stages::Silent;
use crate::units::Bearing;
use geo::{Coord, LineString, MultiPolygon, Rect};
use std::sync::atomic::AtomicBool;

fn site(topsoil_m: f64) -> Site {
    let everywhere = MultiPolygon(vec![Rect::new(Coord { x: -1e4, y: -1e4 }, Coord { x: 1e4, y: 1e4 }).to_polygon()]);
    Site {
        name: String::new(),
        parcels: Vec::new(),
        boundary: MultiPolygon(Vec::new()),
        parcels_worked_as_one: true,
        layers: SiteLayers {
            topsoil: vec![TopsoilZone { outline: everywhere, depth_m: topsoil_m }],
            ..SiteLayers::default()
        },
        not_given: Vec::new(),
        crs: CrsTag { name: String::new(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None },
        geodesy: LocalGeodesy::flat(),
    }
}

/// 300 x 200 m, 2 m cells, height by a rule; rows run east.
fn farm(height: impl Fn(Coord<f64>) -> f64) -> (Ground, BlockPlan) {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 200.0 }, cell_m: 2.0, rows: 100, cols: 150 };
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        raster.values[i] = height(spec.centre(spec.cell(i))) as f32;
    }
    let model = ElevationModel(raster);
    let accuracy = AccuracyStatement {
        vertical_sigma_m: 0.02,
        basis: String::new(),
        known: true,
        control_shift_m: None,
        control_sd_m: None,
    };
    let ground = Ground {
        surveyed: model.clone(),
        concept: model,
        smoothed_over_m: 0.0,
        beds_mean_m: 0.0,
        accuracy,
        point_density: None,
    };
    let outline = Rect::new(Coord { x: 10.0, y: 10.0 }, Coord { x: 290.0, y: 190.0 }).to_polygon();
    let row = |number: u32| {
        let y = 185.0 - 10.0 * f64::from(number - 1);
        Row { number, line: LineString(vec![Coord { x: 18.0, y }, Coord { x: 282.0, y }]), length_m: 264.0, fall: None }
    };
    let block = RowBlock {
        id: BlockId(1),
        name: "B01".to_owned(),
        parcel: String::new(),
        cropped: MultiPolygon(vec![outline.clone()]),
        outline,
        bearing: Bearing::from_degrees(90.0),
        row_spacing_m: 10.0,
        rows: (1..=17).map(row).collect(),
        headlands: Vec::new(),
        judged: crate::land::blocks::Judged::default(),
        given: false,
        bent: None,
    };
    (ground, BlockPlan { blocks: vec![block], ..BlockPlan::default() })
}

fn run(
    height: impl Fn(Coord<f64>) -> f64,
    params: &LevellingParams,
    topsoil_m: f64,
) -> (LevellingPlan, Vec<crate::finding::Finding>) {
    let (ground, blocks) = farm(height);
    let (site, rates) = (site(topsoil_m), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let input = LevellingInput {
        site: &site,
        ground: &ground,
        water: None,
        blocks: &blocks,
        given_surface: None,
        rates: &rates,
        undrained_per_m2: None,
    };
    let outcome = Levelling::run(input, params, &ctx).unwrap();
    (outcome.value, outcome.findings)
}

fn params(surface: Forming) -> LevellingParams {
    LevellingParams { surface, ..LevellingParams::default() }
}

fn wavy(at: Coord<f64>) -> f64 {
    10.0 - 0.002 * at.x + 0.15 * (at.x / 40.0).sin() * (at.y / 50.0).cos()
}

#[test]
fn a_plane_within_limits_moves_nothing() {
    for surface in [Forming::Plane, Forming::GradedRows] {
        let (plan, _) = run(|at| 10.0 - 0.002 * at.x, &params(surface), 0.3);
        let earth = &plan.blocks[0];
        assert!(earth.cut_m3 < 1.0, "{surface:?}: {}", earth.cut_m3);
        assert!((earth.row_fall.percent() - 0.2).abs() < 0.005);
    }
}

#[test]
fn balance_is_met_and_falls_stay_within_limits() {
    for surface in [Forming::Plane, Forming::GradedRows] {
        let p = params(surface);
        let (plan, _) = run(wavy, &p, 0.3);
        let earth = &plan.blocks[0];
        assert!(earth.cut_m3 > 100.0);
        assert!((earth.cut_m3 / earth.fill_m3 / p.cut_fill_ratio - 1.0).abs() < 1e-6, "{surface:?}");
        for fall in &earth.rows_after {
            // Heights are kept as f32 (1e-6 m at 10 m) and lanes are interpolated: a twentieth of the limit is allowed.
            assert!(fall.least.percent() > p.min_fall_pct * 0.95, "{surface:?}: {}", fall.least.percent());
            assert!(fall.greatest.percent() < p.max_fall_pct * 1.05);
            assert!(fall.reverse_depth_m < 1e-3);
        }
        let banded: f64 = earth.bands.iter().map(|b| b.volume_m3).sum();
        assert!((banded / earth.cut_m3 - 1.0).abs() < 1e-3, "every cubic metre of cut is in a band");
    }
}

#[test]
fn graded_rows_move_less_than_a_plane() {
    let plane = run(wavy, &params(Forming::Plane), 0.3).0.blocks[0].cut_m3;
    let graded = run(wavy, &params(Forming::GradedRows), 0.3).0.blocks[0].cut_m3;
    assert!(graded < 0.89 * plane, "{graded} m3 against {plane} m3");
}

#[test]
fn too_flat_ground_is_given_its_least_fall() {
    let (plan, _) = run(|_| 10.0, &params(Forming::Plane), 0.3);
    let earth = &plan.blocks[0];
    assert!((earth.row_fall.percent() - 0.08).abs() < 0.002);
    assert!(earth.binding.iter().any(|b| b.contains("at its least")));
    // A wedge of 0.08 % over 280 m: mean cut of a balanced wedge is L s / 8 per unit area at ratio 1.
    let wedge = 280.0 * 0.0008 / 8.0 * 280.0 * 180.0;
    assert!(earth.cut_m3 > wedge && earth.cut_m3 < 1.3 * wedge, "{} against {wedge}", earth.cut_m3);
}

#[test]
fn as_it_lies_moves_no_bulk_earth() {
    let (plan, _) = run(wavy, &params(Forming::AsItLies), 0.3);
    let earth = &plan.blocks[0];
    assert!(earth.cut_m3 < 1e-6 && earth.cost.likely > 0.0);
}

#[test]
fn cutting_into_subsoil_is_said() {
    let (plan, findings) = run(wavy, &params(Forming::Plane), 0.12);
    assert!(plan.blocks[0].subsoil_m2 > 0.0);
    assert!(findings.iter().any(|f| f.code == "cut_into_subsoil"));
    let (plan, _) = run(wavy, &params(Forming::Plane), 1.0);
    assert!(plan.blocks[0].subsoil_m2 < 1e-9 && plan.blocks[0].strip_m3 < 1e-9);
}

#[test]
fn a_given_surface_is_measured() {
    let (ground, blocks) = farm(|_| 10.0);
    let given = ElevationModel(ground.concept.0.map(|z| z - 0.1));
    let (site, rates) = (site(0.3), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let input = LevellingInput {
        site: &site,
        ground: &ground,
        water: None,
        blocks: &blocks,
        given_surface: Some(&given),
        rates: &rates,
        undrained_per_m2: None,
    };
    let plan = Levelling::run(input, &LevellingParams::default(), &ctx).unwrap().value;
    assert_eq!(plan.blocks[0].surface, SurfaceKind::Given);
    // 280 m x 180 m lowered by 0.1 m.
    assert!((plan.blocks[0].cut_m3 - 5_040.0).abs() < 5.0, "{}", plan.blocks[0].cut_m3);
}

#[test]
fn cutting_below_a_level_limit_is_severe() {
    let (ground, blocks) = farm(wavy);
    let rates = Rates::default();
    let cancel = AtomicBool::new(false);
    let codes = |level_m: f64| {
        let mut site = site(1.0);
        let outline = site.layers.topsoil[0].outline.clone();
        site.layers.level_limits =
            vec![crate::land::site::LevelLimit { outline, level_m, reason: "acid sulfate".to_owned() }];
        let input = LevellingInput {
            site: &site,
            ground: &ground,
            water: None,
            blocks: &blocks,
            given_surface: None,
            rates: &rates,
            undrained_per_m2: None,
        };
        let ctx = Ctx { progress: &Silent, cancel: &cancel };
        let findings = Levelling::run(input, &params(Forming::Plane), &ctx).unwrap().findings;
        findings.iter().any(|f| f.code == "level_limit_passed" && f.severity == crate::finding::Severity::Severe)
    };
    assert!(codes(9.8) && !codes(5.0));
}
