//! The stage on made-up farms whose answers can be worked out by hand.

use super::test_farm::{EAST_M, Farm};
use super::*;
use crate::land::drains::{DrainKind, Drains, DrainsTo};
use crate::land::site::{BuriedService, ExistingTrack, KeepArea, KeepKind, LevelLimit, PowerLine, Waterway};
use geo::{Area, Contains, Coord, LineString, MultiPolygon, Point};

fn codes(out: &Outcome<DrainPlan>) -> Vec<&str> {
    out.findings.iter().map(|f| f.code.as_str()).collect()
}

/// The plane falls 0.44 m along every row of 440 m and to the south-east; an outlet 1.2 m below the corner takes it all.
#[test]
fn a_farm_with_a_low_outlet_drains_fully() {
    let farm = Farm::plane(8.8);
    let out = farm.run(&DrainsParams::default());
    let plan = &out.value;
    let rows: usize = farm.blocks.blocks.iter().map(|b| b.rows.len()).sum();
    assert_eq!(plan.proofs.len(), rows);
    assert!(plan.proofs.iter().all(|r| r.before == Drains::Yes && r.to == DrainsTo::Outlet(1)), "{:?}", plan.proofs[0]);
    assert_eq!(plan.drains.iter().filter(|d| d.kind == DrainKind::Collector).count(), 2);
    assert!(plan.drains.iter().all(|d| d.deficit_m == 0.0));
    assert!(!codes(&out).contains(&"outlet_too_high"));
}

/// Every bed falls at least 0.05 %, lies its least depth below the ground, and ends where the next drain is no higher.
#[test]
fn beds_fall_and_lie_deep_enough() {
    let plan = Farm::plane(8.8).run(&DrainsParams::default()).value;
    for drain in &plan.drains {
        for pair in drain.stations.windows(2) {
            let (length, fall) = (pair[1].station_m - pair[0].station_m, pair[0].invert_m - pair[1].invert_m);
            assert!(fall >= 0.0005 * length - 1e-9, "drain {} at {}", drain.id, pair[0].station_m);
        }
        assert!(drain.stations.iter().all(|s| s.ground_m - s.invert_m >= 0.3 - 1e-9));
        assert!(drain.flow_depth_m > 0.0 && drain.excavation_m3 > 0.0 && drain.section.depth_m >= 0.3);
    }
}

/// The drains carry the whole land of both blocks: 2 x 180 m x 460 m = 16.56 ha, at 100 mm a day 0.19167 m3/s.
#[test]
fn the_mouth_carries_all_blocks() {
    let plan = Farm::plane(8.8).run(&DrainsParams::default()).value;
    let mouth = plan.drains.iter().find(|d| d.to == DrainsTo::Outlet(1)).unwrap();
    assert!((mouth.catchment_ha - 16.56).abs() < 1e-6, "{}", mouth.catchment_ha);
    assert!((mouth.coefficient_m3_s - 16.56e4 * 0.1 / 86_400.0).abs() < 1e-6);
    assert!(mouth.rational_m3_s > mouth.coefficient_m3_s);
}

/// An outlet at 9.9 m on ground of 10 m: the row ends at the corner lie at 10.03 m and the bed 0.3 m below, so it must
/// undercut the outlet however shallow the main drain is made.
#[test]
fn an_outlet_too_high_is_named_with_its_deficit() {
    let farm = Farm::plane(9.9);
    let out = farm.run(&DrainsParams::default());
    let mouth = out.value.drains.iter().find(|d| d.to == DrainsTo::Outlet(1)).unwrap();
    let bed_m = mouth.stations.last().unwrap().invert_m;
    assert!((mouth.deficit_m - (9.9 - bed_m)).abs() < 1e-9 && mouth.deficit_m > 0.1);
    let finding = out.findings.iter().find(|f| f.code == "outlet_too_high").unwrap();
    assert_eq!(finding.severity, Severity::Severe);
    assert!(finding.message.contains("corner pipe") && finding.message.contains("head at E"));
    assert!(finding.message.contains(&format!("{:.2} m below", mouth.deficit_m)));
}

/// An outlet at 9.65 m is too high for a main drain of 0.45 m but not for one as shallow as the collectors.
#[test]
fn a_shallower_main_drain_is_tried() {
    let out = Farm::plane(9.65).run(&DrainsParams::default());
    assert!(codes(&out).contains(&"main_drains_shallow") && !codes(&out).contains(&"outlet_too_high"));
    assert!(out.value.drains.iter().all(|d| d.deficit_m <= 1e-9));
}

/// With the outlet above all row ends no row can drain, whatever its fall.
#[test]
fn rows_below_the_outlet_do_not_drain() {
    let plan = Farm::plane(11.5).run(&DrainsParams::default()).value;
    assert!(plan.proofs.iter().all(|r| r.before == Drains::No && !r.reason.is_empty()));
}

/// A hump of 0.3 m across the lower end of the western block's rows: 0.3 m less the fall over the stretch would stand behind
/// it. That is more than the ridges hold, so the water goes east from row to row until none is left to take it.
#[test]
fn rows_with_back_fall_do_not_drain() {
    let hump = |x: f64, y: f64| if x < 200.0 && (100.0..120.0).contains(&y) { 0.3 } else { 0.0 };
    let farm = Farm::new(|x, y| 10.0 + 0.001 * y + 0.0006 * (EAST_M - x) + hump(x, y), 8.8);
    let out = farm.run(&DrainsParams::default());
    let (west, east): (Vec<_>, Vec<_>) = out.value.proofs.iter().partition(|r| r.block.0 == 1);
    assert!(west.iter().all(|r| r.before == Drains::No));
    let (last, others) = west.split_first().unwrap();
    assert!(last.reason.contains("295 mm of water stands in it"), "{}", last.reason);
    assert!(others.iter().all(|r| r.reason.contains("spills over the ridge")));
    assert!(east.iter().all(|r| r.before == Drains::Yes));
    assert!(codes(&out).contains(&"rows_do_not_drain"));
}

/// The hump is taken off by forming the western block: its rows fail before and drain after.
#[test]
fn forming_makes_rows_drain() {
    let hump = |x: f64, y: f64| if x < 200.0 && (100.0..120.0).contains(&y) { 0.3 } else { 0.0 };
    let mut farm = Farm::new(|x, y| 10.0 + 0.001 * y + 0.0006 * (EAST_M - x) + hump(x, y), 8.8);
    farm.form_first_block();
    let plan = farm.run(&DrainsParams::default()).value;
    let west = || plan.proofs.iter().filter(|r| r.block.0 == 1);
    assert!(west().count() > 50 && west().all(|r| r.before == Drains::No && r.after == Drains::Yes));
}

/// A triangle with a pond in it and rows at 30 degrees: all but a few stray row ends, far from any drain, get one, and what
/// does not is told, not counted.
#[test]
fn ragged_blocks_give_every_row_a_drain() {
    let mut farm = Farm::plane(8.0);
    let c = |x, y| Coord { x, y };
    let outer = LineString(vec![c(20.0, 20.0), c(380.0, 60.0), c(150.0, 480.0), c(20.0, 20.0)]);
    let hole = LineString(vec![c(150.0, 150.0), c(150.0, 200.0), c(200.0, 200.0), c(200.0, 150.0), c(150.0, 150.0)]);
    let shape = geo::Polygon::new(outer, vec![hole]);
    let bearing = crate::units::Bearing::from_degrees(150.0);
    let lines = crate::methods::shapes::parallel_lines(&shape, bearing, 2.0, 1.0);
    let mut block = farm.blocks.blocks[0].clone();
    block.rows = (1..)
        .zip(&lines)
        .map(|(number, l)| crate::land::blocks::Row {
            number,
            line: LineString(vec![l.start, l.end]),
            length_m: l.length_m(),
            fall: None,
        })
        .collect();
    (block.bearing, block.outline, block.cropped) = (bearing, shape.clone(), MultiPolygon(vec![shape]));
    block.headlands.clear();
    farm.blocks.blocks = vec![block];
    let plan = farm.run(&DrainsParams::default()).value;
    assert_eq!(plan.proofs.len(), lines.len());
    let collectors: Vec<_> = plan.drains.iter().filter(|d| d.kind == DrainKind::Collector).collect();
    assert!((2..=4).contains(&collectors.len()), "{}", collectors.len());
    let stray = plan.proofs.iter().filter(|r| r.to != DrainsTo::Outlet(1));
    assert!(stray.clone().count() <= 5 && stray.clone().all(|r| r.after == Drains::No && !r.reason.is_empty()));
    let mouth = plan.drains.iter().find(|d| d.to == DrainsTo::Outlet(1)).unwrap();
    let land_ha = farm.blocks.blocks[0].outline.unsigned_area() / 1e4;
    assert!((mouth.catchment_ha - land_ha).abs() < 1e-6);
}

/// The same farm surveyed to 0.3 m only: its 0.44 m of fall lies inside the 95 % band of 0.59 m.
#[test]
fn a_poor_survey_cannot_tell() {
    let mut farm = Farm::plane(8.8);
    farm.ground.accuracy.vertical_sigma_m = 0.3;
    let plan = farm.run(&DrainsParams::default()).value;
    assert!(plan.proofs.iter().all(|r| r.before == Drains::CannotBeTold));
}

/// Land does not get lost: 10 ha + 10 ha before, as much after; the western block's 8.28 ha move to the outlet.
#[test]
fn catchments_are_conserved_and_moves_are_severe() {
    let out = Farm::plane(8.8).run(&DrainsParams::default());
    let sum = |f: fn(&(f64, f64)) -> f64| out.value.outflows.iter().map(|o| f(&o.catchment_ha)).sum::<f64>();
    assert!((sum(|c| c.0) - sum(|c| c.1)).abs() < 1e-9);
    let outlet = out.value.outflows.iter().find(|o| o.name == "corner pipe").unwrap();
    assert!((outlet.catchment_ha.1 - 18.28).abs() < 0.01, "{:?}", outlet.catchment_ha);
    let moved: Vec<_> = out.findings.iter().filter(|f| f.code == "catchment_moved").collect();
    assert!(moved.len() == 2 && moved.iter().all(|f| f.severity == Severity::Severe));
}

/// An outlet 100 m inside: it is listed with its own catchment, and the crossing below takes the same water.
#[test]
fn an_inner_outlet_is_listed_too() {
    let mut farm = Farm::plane(8.8);
    farm.water.outlets[0].at = Coord { x: 300.0, y: 8.0 };
    let out = farm.run(&DrainsParams::default());
    let inner = out.value.outflows.iter().find(|o| o.name == "corner pipe (inside the property)").unwrap();
    let crossing = out.value.outflows.iter().find(|o| o.name == "boundary crossing 2").unwrap();
    assert!(inner.catchment_ha.1 >= 16.56 - 1e-6 && inner.catchment_ha.0 < 5.0, "{inner:?}");
    assert!((crossing.catchment_ha.1 - 18.28).abs() < 0.01);
}

/// A kept wood across the direct way: no drain passes through it.
#[test]
fn drains_keep_out_of_kept_land() {
    let mut farm = Farm::plane(8.5);
    let wood = MultiPolygon(vec![super::test_farm::rectangle(230.0, -1.0, 260.0, 18.0)]);
    farm.site.layers.keep_areas.push(KeepArea {
        outline: wood.clone(),
        kind: KeepKind::Vegetation,
        reason: "wood".to_owned(),
    });
    let plan = farm.run(&DrainsParams::default()).value;
    let stations = plan.drains.iter().flat_map(|d| &d.stations);
    assert!(stations.clone().count() > 10 && stations.into_iter().all(|s| !wood.contains(&Point(s.at))));
}

/// Without outlet and waterway there is no place to drain to.
#[test]
fn no_outlet_no_drainage() {
    let mut farm = Farm::plane(8.8);
    farm.water.outlets.clear();
    let out = farm.run(&DrainsParams::default());
    assert!(out.value.proofs.iter().all(|r| r.after == Drains::No && r.to == DrainsTo::Nowhere));
    assert!(codes(&out).contains(&"drain_leads_nowhere"));
}

/// A creek 3 m below the land along the southern boundary takes both blocks.
#[test]
fn a_mapped_waterway_takes_drains() {
    let mut farm = Farm::new(|x, y| if y < 10.0 { 7.0 } else { 10.0 + 0.001 * y + 0.0006 * (EAST_M - x) }, 8.8);
    farm.water.outlets.clear();
    let line = LineString(vec![Coord { x: 1.0, y: 5.0 }, Coord { x: 399.0, y: 5.0 }]);
    farm.site.layers.waterways.push(Waterway {
        id: 7,
        name: "creek".to_owned(),
        line,
        banks: None,
        order: None,
        width_m: None,
    });
    let plan = farm.run(&DrainsParams::default()).value;
    assert!(plan.proofs.iter().all(|r| r.to == DrainsTo::Waterway(7) && r.before == Drains::Yes));
}

#[test]
fn level_limits_and_crossings_are_found() {
    let mut farm = Farm::plane(8.8);
    let across = LineString(vec![Coord { x: 300.0, y: -10.0 }, Coord { x: 300.0, y: 600.0 }]);
    let whole = MultiPolygon(vec![super::test_farm::rectangle(0.0, 0.0, 400.0, 500.0)]);
    let layers = &mut farm.site.layers;
    layers.level_limits.push(LevelLimit { outline: whole, level_m: 9.95, reason: "acid sulfate layer".to_owned() });
    layers.tracks.push(ExistingTrack { name: "mill".to_owned(), line: across.clone(), width_m: Some(5.0) });
    layers.power_lines.push(PowerLine { line: across.clone(), clearance_m: Some(7.0), easement_m: None });
    layers.buried_services.push(BuriedService { kind: "water main".to_owned(), line: across, cover_m: None });
    let out = farm.run(&DrainsParams::default());
    assert!(out.findings.iter().any(|f| f.code == "level_limit_passed" && f.message.contains("acid sulfate")));
    let crossings = &out.value.crossings;
    assert!(crossings.iter().any(|c| c.crosses == "track mill" && c.culvert_mm.is_some()));
    assert!(crossings.iter().any(|c| c.crosses == "power line" && c.needs.contains("spotter")));
    assert!(crossings.iter().any(|c| c.crosses == "water main" && c.needs.contains("before digging")));
}

/// FHWA HDS-5 outlet control, hand-computed: 600 mm, n 0.013, 12 m, Ke 0.5, head 0.5 m passes 0.6262 m3/s; so 0.62 m3/s
/// needs 600 mm and 0.63 m3/s the next size.
#[test]
fn culverts_by_outlet_control() {
    let p = DrainsParams { culvert_head_m: 0.5, ..DrainsParams::default() };
    assert_eq!(super::crossing::culvert(0.62, 12.0, &p), (600.0, 1));
    assert_eq!(super::crossing::culvert(0.63, 12.0, &p), (675.0, 1));
    assert!(super::crossing::culvert(50.0, 12.0, &p).1 > 1);
}

#[test]
fn a_broken_rain_table_is_refused() {
    let farm = Farm::plane(8.8);
    let p = DrainsParams { rain_intensity_mm_h: vec![10.0], ..DrainsParams::default() };
    let cancel = std::sync::atomic::AtomicBool::new(false);
    let input = DrainsInput {
        site: &farm.site,
        ground: &farm.ground,
        terrain: &farm.terrain,
        water: &farm.water,
        blocks: &farm.blocks,
        levelling: None,
        rates: &farm.rates,
    };
    let result = DrainsStage::run(input, &p, &Ctx { progress: &crate::stages::Silent, cancel: &cancel });
    assert_eq!(result.unwrap_err().0[0].code, "rain_table");
}

/// The same land gives the same plan again.
#[test]
fn two_runs_are_alike() {
    let farm = Farm::plane(9.0);
    let p = DrainsParams::default();
    assert_eq!(farm.run(&p), farm.run(&p));
}
