//! Checks on a synthetic valley: a creek runs south through the middle of a rectangular property.
//!
//! Areas and levels expected follow from the geometry of the valley, worked out beside each check.

use super::*;
use crate::grid::{GridSpec, Raster};
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::{ExistingTrack, KeepArea, KeepKind, OutletPoint, Parcel, PowerLine, SiteLayers, Waterway};
use crate::land::survey::{AccuracyStatement, ElevationModel};
use crate::stages::Silent;
use crate::stages::terrain::{Terrain, TerrainInput, TerrainParams};
use geo::{Area, Coord, LineString, MultiPolygon, Polygon, polygon};
use std::sync::atomic::AtomicBool;

const CELL_M: f64 = 2.0;

fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> Polygon<f64> {
    polygon![(x: x0, y: y0), (x: x1, y: y0), (x: x1, y: y1), (x: x0, y: y1)]
}

fn valley(p: Coord<f64>) -> f64 {
    let channel = if (p.x - 300.0).abs() < 4.0 { 1.0 } else { 0.0 };
    5.0 + 0.002 * (p.x - 300.0).abs() + 0.001 * p.y - channel
}

struct Farm {
    site: Site,
    ground: Ground,
    terrain: TerrainModel,
}

fn farm(height: impl Fn(Coord<f64>) -> f64, layers: SiteLayers, sigma_m: f64) -> Farm {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 500.0 }, cell_m: CELL_M, rows: 250, cols: 300 };
    let mut surface = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        surface.values[i] = height(spec.centre(spec.cell(i))) as f32;
    }
    let outline = MultiPolygon(vec![rect(50.0, 50.0, 550.0, 450.0)]);
    let crs = CrsTag { name: "plane".into(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None };
    let site = Site {
        name: "Valley".into(),
        parcels: vec![Parcel { id: 1, name: "Parcel 1".into(), outline: outline.clone() }],
        boundary: outline,
        parcels_worked_as_one: false,
        layers,
        not_given: Vec::new(),
        crs,
        geodesy: LocalGeodesy::flat(),
    };
    let accuracy = AccuracyStatement {
        vertical_sigma_m: sigma_m,
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
    let input = TerrainInput { site: &site, ground: &ground };
    let terrain = Terrain::run(input, &TerrainParams::default(), &ctx).unwrap().value;
    Farm { site, ground, terrain }
}

fn run(farm: &Farm, params: &WaterParams) -> Result<Outcome<WaterModel>, Problems> {
    let ctx = Ctx { progress: &Silent, cancel: &AtomicBool::new(false) };
    Water::run(WaterInput { site: &farm.site, ground: &farm.ground, terrain: &farm.terrain }, params, &ctx)
}

fn found<'a>(outcome: &'a Outcome<WaterModel>, code: &str) -> Option<&'a Finding> {
    outcome.findings.iter().find(|f| f.code == code)
}

fn creek(order: Option<u8>) -> Waterway {
    Waterway {
        id: 1,
        name: "Mill Creek".into(),
        line: LineString(vec![Coord { x: 300.0, y: 490.0 }, Coord { x: 300.0, y: 10.0 }]),
        banks: None,
        order,
        width_m: Some(8.0),
    }
}

fn outlet(x: f64, y: f64, level_m: Option<f64>) -> OutletPoint {
    OutletPoint { name: "South gate".into(), at: Coord { x, y }, level_m, tailwater_m: None }
}

#[test]
fn every_hectare_inside_leaves_by_one_outflow() {
    let params = WaterParams { crossing_min_ha: 0.1, ..WaterParams::default() };
    let outcome = run(&farm(valley, SiteLayers::default(), 0.03), &params).unwrap();
    let water = &outcome.value;
    let total: f64 = water.outflows.iter().map(|o| o.inside_ha).sum();
    assert!((total - 20.0).abs() < 1e-9, "{total}");
    assert_eq!(water.outflow_of.count_valid(), 50_000);
    for crossing in &water.outflows {
        let cells = water.outflow_of.iter().filter(|(_, id)| *id == crossing.id).count();
        assert!((cells as f64 * 4.0 / 10_000.0 - crossing.inside_ha).abs() < 1e-9);
        assert!(crossing.catchment_ha >= crossing.inside_ha - 1e-9);
    }
    // The creek takes nearly all of it out, in the middle of the south side.
    assert!((water.outflows[0].at.x - 300.0).abs() <= 4.0 && (water.outflows[0].at.y - 51.0).abs() < 1e-9);
    // Water runs at 45 degrees to the creek, so of the 50 m north of the property a triangle each side comes in by it.
    let inflow = &water.inflows[0];
    assert!((inflow.at.x - 300.0).abs() <= 4.0 && (inflow.at.y - 451.0).abs() < 1e-9);
    assert!((0.25..=0.9).contains(&inflow.catchment_ha), "{}", inflow.catchment_ha);
    assert!(found(&outcome, "inflow_not_fully_seen").is_some());
}

#[test]
fn lines_are_matched_with_the_map_or_judged_by_the_water_they_bring() {
    let layers = SiteLayers { waterways: vec![creek(Some(3))], ..SiteLayers::default() };
    let mapped = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap().value;
    assert_eq!(mapped.drainage_lines[0].waterway, Some(1));
    assert!(mapped.drainage_lines[0].stays_open);
    let bare = farm(valley, SiteLayers::default(), 0.03);
    let closed = run(&bare, &WaterParams::default()).unwrap();
    assert!(closed.value.drainage_lines.iter().all(|l| !l.stays_open && l.waterway.is_none()));
    assert!(found(&closed, "waterways_not_checked").is_some());
    let wide = WaterParams { open_catchment_ha: 0.2, line_catchment_ha: 1.0, ..WaterParams::default() };
    let open = run(&bare, &wide).unwrap();
    assert!(open.value.drainage_lines[0].stays_open);
    assert!(found(&open, "unmapped_line_kept_open").is_some());
    // 5 m of grass each side of what is open; in the flat bed lines run side by side, and their grass counts once.
    let lines = open.value.drainage_lines.iter().filter(|l| l.stays_open);
    let length_m: f64 = lines.map(|l| geo::Length::length(&geo::Euclidean, &l.line)).sum();
    let kept_m2 = open.value.no_rows.unsigned_area();
    assert!((3_000.0..10.0 * length_m).contains(&kept_m2), "{kept_m2} {length_m}");
}

#[test]
fn buffers_follow_order_and_start_at_the_bank() {
    for (order, width_m) in [(Some(1), 10.0), (Some(2), 10.0), (Some(3), 25.0), (Some(4), 25.0), (Some(6), 50.0)] {
        let layers = SiteLayers { waterways: vec![creek(order)], ..SiteLayers::default() };
        let water = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap().value;
        let buffer = &water.buffers[0];
        assert!((buffer.width_m - width_m).abs() < 1e-12 && !buffer.from_bank);
        // Half the creek's 8 m and the buffer, both sides, along the 400 m inside.
        let expected = 2.0 * (4.0 + width_m) * 400.0;
        assert!((buffer.outline.unsigned_area() - expected).abs() < 2.0, "{order:?}");
    }
    let mut far = creek(None);
    far.line = LineString(vec![Coord { x: 900.0, y: 490.0 }, Coord { x: 900.0, y: 10.0 }]);
    let layers = SiteLayers { waterways: vec![far], ..SiteLayers::default() };
    let outcome = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap();
    assert!(outcome.value.buffers.is_empty() && found(&outcome, "waterway_order_unknown").is_none());
    let mut unknown = creek(None);
    unknown.banks = Some(MultiPolygon(vec![rect(290.0, 0.0, 310.0, 500.0)]));
    let layers = SiteLayers { waterways: vec![unknown], ..SiteLayers::default() };
    let outcome = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap();
    assert!(found(&outcome, "waterway_order_unknown").is_some());
    assert!(outcome.value.buffers[0].from_bank);
    assert!((outcome.value.buffers[0].outline.unsigned_area() - 40.0 * 400.0).abs() < 2.0);
}

#[test]
fn kept_land_tracks_and_lines_come_off_the_plantable_land() {
    let layers = SiteLayers {
        waterways: vec![creek(Some(1))],
        keep_areas: vec![KeepArea {
            outline: MultiPolygon(vec![rect(400.0, 200.0, 440.0, 240.0)]),
            kind: KeepKind::Wetland,
            reason: "lagoon".into(),
        }],
        tracks: vec![ExistingTrack {
            name: "Top road".into(),
            line: LineString(vec![Coord { x: 0.0, y: 400.0 }, Coord { x: 280.0, y: 400.0 }]),
            width_m: Some(6.0),
        }],
        power_lines: vec![PowerLine {
            line: LineString(vec![Coord { x: 0.0, y: 100.0 }, Coord { x: 600.0, y: 100.0 }]),
            clearance_m: Some(7.0),
            easement_m: None,
        }],
        ..SiteLayers::default()
    };
    let farm = farm(valley, layers, 0.03);
    let outcome = run(&farm, &WaterParams::default()).unwrap();
    let water = &outcome.value;
    assert_eq!(found(&outcome, "power_line").unwrap().severity, Severity::Severe);
    // Wetland of 40 m by 40 m with 50 m round it: square, four strips, four quarter discs.
    let wetland = 1_600.0 + 4.0 * 40.0 * 50.0 + std::f64::consts::PI * 2_500.0;
    let track = 6.0 * (236.0 - 1.0);
    let inner = 494.0 * 394.0 - 28.0 * 394.0 - wetland - track;
    let plantable: f64 = water.plantable.iter().map(|p| p.outline.unsigned_area()).sum();
    assert!((plantable - inner).abs() < 60.0, "{plantable} {inner}");
    // North to south by the top of each piece, then west to east.
    assert!(water.plantable.windows(2).all(|w| w[0].id + 1 == w[1].id));
    assert!(water.plantable.iter().all(|p| p.parcel == 1));
    let without = WaterParams { rows_under_power_lines: false, ..WaterParams::default() };
    let cut = run(&farm, &without).unwrap().value;
    let cut_m2: f64 = cut.plantable.iter().map(|p| p.outline.unsigned_area()).sum();
    // The easement is 20 m wide over 494 m less the creek's 28 m.
    assert!((plantable - cut_m2 - 20.0 * 466.0).abs() < 5.0, "{}", plantable - cut_m2);
}

#[test]
fn nothing_to_plant_is_no_design() {
    let keep = KeepArea {
        outline: MultiPolygon(vec![rect(0.0, 0.0, 600.0, 500.0)]),
        kind: KeepKind::Vegetation,
        reason: "forest".into(),
    };
    let layers = SiteLayers { keep_areas: vec![keep], ..SiteLayers::default() };
    let problems = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap_err();
    assert_eq!(problems.0[0].code, "no_plantable_land");
    assert_eq!(problems.0[0].kind, crate::finding::ProblemKind::NoDesign);
}

#[test]
fn outlets_are_assumed_when_none_is_given_and_checked_when_given() {
    let outcome = run(&farm(valley, SiteLayers::default(), 0.03), &WaterParams::default()).unwrap();
    let first = &outcome.value.outlets[0];
    assert!(first.assumed && (first.at.x - 300.0).abs() <= 4.0);
    // Bed of the creek within 10 m: 4 m and the fall of 41 m of valley floor.
    assert!((first.level_m - (4.0 + 0.001 * 41.0)).abs() < 0.01, "{}", first.level_m);
    assert_eq!(found(&outcome, "no_outlet_given").unwrap().severity, Severity::Severe);

    // A pit beside the way out is lower, but no water leaves from it.
    let pitted = |p: Coord<f64>| valley(p) - if (p.x - 305.0).hypot(p.y - 56.0) < 3.0 { 3.0 } else { 0.0 };
    let with_pit = run(&farm(pitted, SiteLayers::default(), 0.03), &WaterParams::default()).unwrap();
    assert!((with_pit.value.outlets[0].level_m - 4.04).abs() < 0.02, "{}", with_pit.value.outlets[0].level_m);

    let mut wet = outlet(300.0, 45.0, Some(4.2));
    wet.tailwater_m = Some(4.5);
    let layers = SiteLayers { outlets: vec![wet, outlet(300.0, -200.0, Some(4.0))], ..SiteLayers::default() };
    let outcome = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap();
    assert_eq!(outcome.value.outlets.len(), 1);
    assert!(!outcome.value.outlets[0].assumed);
    assert!(found(&outcome, "tailwater_above_outlet").is_some() && found(&outcome, "outlet_left_out").is_some());

    let layers = SiteLayers { outlets: vec![outlet(300.0, 52.0, None)], ..SiteLayers::default() };
    let outcome = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap();
    assert!(outcome.value.outlets[0].assumed && found(&outcome, "outlet_level_assumed").is_some());

    let layers = SiteLayers { outlets: vec![outlet(300.0, 52.0, Some(40.0))], ..SiteLayers::default() };
    let outcome = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap();
    assert_eq!(found(&outcome, "outlet_level_doubtful").unwrap().severity, Severity::Severe);

    let layers = SiteLayers { outlets: vec![outlet(300.0, -200.0, Some(4.0))], ..SiteLayers::default() };
    let problems = run(&farm(valley, layers, 0.03), &WaterParams::default()).unwrap_err();
    assert_eq!(problems.0[0].code, "outlet_far_from_boundary");
    assert!(problems.0[0].message.contains("250 m"), "{problems}");
}

#[test]
fn reach_rises_from_the_outlet_at_the_least_fall() {
    let flat = |_: Coord<f64>| 6.0;
    let layers = SiteLayers { outlets: vec![outlet(102.5, 52.5, Some(5.0))], ..SiteLayers::default() };
    let outcome = run(&farm(flat, layers, 0.03), &WaterParams::default()).unwrap();
    let reach = &outcome.value.reach;
    let level = |x: f64, y: f64| f64::from(reach.level.at(Coord { x, y }).unwrap());
    assert!((level(102.5, 52.5) - 5.0).abs() < 1e-6);
    // 400 m east at 0.05 % are 0.20 m; 200 m on the diagonal are 200 * sqrt 2.
    assert!((level(502.5, 52.5) - 5.20).abs() < 1e-5);
    assert!((level(302.5, 252.5) - (5.0 + 0.0005 * 200.0 * std::f64::consts::SQRT_2)).abs() < 1e-5);
    // Never steeper than the least fall between neighbours.
    let spec = reach.level.spec;
    for (cell, z) in reach.level.iter() {
        for (other, steps) in spec.neighbours(cell) {
            if let Some(w) = reach.level.get(other) {
                assert!(f64::from((z - w).abs()) <= 0.0005 * 5.0 * steps + 2e-6);
            }
        }
    }
    assert!(reach.outlet.iter().all(|(_, id)| id == 1));
    assert!(found(&outcome, "cannot_drain").is_none());
    assert!(found(&outcome, "below_tailwater").is_none() && found(&outcome, "outlet_catchment").is_some());
    // Water of a wet week over the whole flat.
    let mut flooded = outlet(102.5, 52.5, Some(5.0));
    flooded.tailwater_m = Some(6.3);
    let layers = SiteLayers { outlets: vec![flooded], ..SiteLayers::default() };
    let drowned = run(&farm(flat, layers, 0.03), &WaterParams::default()).unwrap();
    assert_eq!(found(&drowned, "below_tailwater").unwrap().severity, Severity::Severe);
    // An outlet 0.9 m up leaves all land farther than 200 m of drain below the reach.
    let layers = SiteLayers { outlets: vec![outlet(102.5, 52.5, Some(5.9))], ..SiteLayers::default() };
    let outcome = run(&farm(flat, layers, 0.03), &WaterParams::default()).unwrap();
    assert_eq!(found(&outcome, "cannot_drain").unwrap().severity, Severity::Severe);
}

#[test]
fn drains_may_end_in_the_creek_but_not_cross_it() {
    let layers = SiteLayers {
        waterways: vec![creek(Some(1))],
        outlets: vec![outlet(545.0, 250.0, Some(3.0))],
        ..SiteLayers::default()
    };
    let farm = farm(valley, layers, 0.03);
    let outcome = run(&farm, &WaterParams::default()).unwrap();
    let reach = &outcome.value.reach;
    let west = Coord { x: 200.0, y: 250.0 };
    assert_eq!(reach.outlet.at(west), Some(0));
    // Lowest where the creek leaves: bed 4.05 m, 0.3 m above it, and 240 m of drain beside it (96 m of it slantwise).
    let level = f64::from(reach.level.at(west).unwrap());
    assert!((level - (4.05 + 0.3 + 0.0005 * 240.0)).abs() < 0.02, "{level}");
    assert_eq!(reach.outlet.at(Coord { x: 500.0, y: 250.0 }), Some(1));
    assert!(found(&outcome, "waterway_bed_assumed").is_some());
    // Without the creek the far side hangs on the one outlet.
    let only = WaterParams { drain_into_waterways: false, ..WaterParams::default() };
    assert_eq!(run(&farm, &only).unwrap().value.reach.outlet.at(west), Some(1));
}

#[test]
fn ponds_are_told_only_as_deep_as_the_survey_allows() {
    // A cone 0.5 m deep and 40 m wide: pi 20^2 0.5 / 3 = 209 m3.
    let bowl = |p: Coord<f64>| 6.0 - (0.5 * (1.0 - (p.x - 200.0).hypot(p.y - 250.0) / 20.0)).max(0.0);
    let outcome = run(&farm(bowl, SiteLayers::default(), 0.03), &WaterParams::default()).unwrap();
    assert_eq!(outcome.value.ponds.len(), 1);
    let pond = &outcome.value.ponds[0];
    assert!((pond.volume_m3 / 209.4 - 1.0).abs() < 0.02, "{}", pond.volume_m3);
    assert!((pond.outline.unsigned_area() - pond.area_m2).abs() < 1e-6);
    assert!((pond.spill_level_m - 6.0).abs() < 1e-6);
    let blind = run(&farm(bowl, SiteLayers::default(), 0.3), &WaterParams::default()).unwrap();
    assert!(blind.value.ponds.is_empty());
    assert!(found(&blind, "shallow_ponds_not_told").is_some());
}

#[test]
fn parcels_are_kept_apart_unless_worked_as_one() {
    let mut two = farm(valley, SiteLayers::default(), 0.03);
    let half = |id, x0, x1| Parcel {
        id,
        name: format!("Parcel {id}"),
        outline: MultiPolygon(vec![rect(x0, 50.0, x1, 450.0)]),
    };
    two.site.parcels = vec![half(1, 50.0, 300.0), half(2, 300.0, 550.0)];
    let apart = run(&two, &WaterParams::default()).unwrap().value;
    assert_eq!(apart.plantable.iter().map(|p| p.parcel).collect::<Vec<_>>(), [1, 2]);
    two.site.parcels_worked_as_one = true;
    let one = run(&two, &WaterParams::default()).unwrap().value;
    assert_eq!(one.plantable.len(), 1);
    assert_eq!(one.plantable[0].parcel, 0);
}
