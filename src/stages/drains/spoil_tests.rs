//! Drain spoil: nothing is lost, a case by hand, and what the strips beside drains leave out.

use super::sizing::Dug;
use super::strips::{Stretch, stretches};
use super::test_farm::{Farm, rectangle};
use super::*;
use crate::land::drains::{DrainKind, DrainSection, DrainStation, SpoilTo};
use crate::land::levelling::HaulMachine;
use crate::land::site::{EarthPlace, EarthPlaceKind, KeepArea, KeepKind, Waterway};
use crate::units::Slope;
use geo::{LineString, MultiPolygon};

fn input(farm: &Farm) -> DrainsInput<'_> {
    DrainsInput {
        site: &farm.site,
        ground: &farm.ground,
        terrain: &farm.terrain,
        water: &farm.water,
        blocks: &farm.blocks,
        levelling: farm.levelling.as_ref(),
        rates: &farm.rates,
    }
}

fn spoil_place(at: (f64, f64), capacity_m3: Option<f64>, price_per_m3: f64) -> EarthPlace {
    EarthPlace { name: "pit".to_owned(), kind: EarthPlaceKind::Spoil, at: at.into(), capacity_m3, price_per_m3 }
}

/// A level drain from west to east, 0.5 m deep, 1 m wide, batters 1:4: 1.5 m2 of section, 5 m wide at ground level.
fn straight(north_m: f64, from_m: f64, to_m: f64) -> Dug {
    let station = |x: f64| DrainStation {
        station_m: x - from_m,
        at: Coord { x, y: north_m },
        ground_m: 10.0,
        invert_m: 9.5,
        drop_m: 0.0,
        bottom_m: 1.0,
    };
    let stations = vec![station(from_m), station(to_m)];
    let dug_m3 = 1.5 * (to_m - from_m);
    let drain = Drain {
        id: 1,
        kind: DrainKind::Main,
        block: None,
        line: LineString(stations.iter().map(|s| s.at).collect()),
        stations,
        section: DrainSection { bottom_m: 1.0, batter_h_per_v: 4.0, depth_m: 0.5 },
        grade: Slope::from_ratio(0.0),
        catchment_ha: 1.0,
        rational_m3_s: 0.0,
        coefficient_m3_s: 0.0,
        design_m3_s: 0.0,
        flow_depth_m: 0.0,
        velocity_m_s: 0.0,
        velocity_limit_m_s: 0.7,
        excavation_m3: dug_m3,
        to: DrainsTo::Nowhere,
        deficit_m: 0.0,
    };
    Dug { drain, stretches_m3: vec![dug_m3] }
}

/// 20 m of drain in the middle of a haul cell at 110 m east, 10 m north.
fn stretch(dug_m3: f64, room_m2: f64) -> Stretch {
    let line = geo::Line::new(Coord { x: 100.0, y: 10.0 }, Coord { x: 120.0, y: 10.0 });
    Stretch { drain: 0, line, dug_m3, half_top_m: 1.0, room_m2 }
}

/// No block is spread over.
fn beside_only() -> DrainsParams {
    DrainsParams { spoil_over_block_mm: 0.0, ..DrainsParams::default() }
}

fn by_way(spoil: &[crate::land::drains::Spoil]) -> Vec<(SpoilTo, f64, f64)> {
    spoil.iter().map(|s| (s.to.clone(), s.volume_m3, s.cost.likely)).collect()
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} against {b}");
}

/// What is dug out of each drain is what goes somewhere or stays, whatever takes it.
#[test]
fn dug_is_placed_and_left() {
    let mut farm = Farm::plane(8.8);
    let tight = DrainsParams { spoil_width_m: 3.0, spoil_spread_mm: 50.0, ..beside_only() };
    let none = DrainsParams { spoil_width_m: 0.0, ..beside_only() };
    for (params, places) in [
        (DrainsParams::default(), vec![]),
        (beside_only(), vec![]),
        (tight.clone(), vec![]),
        (tight, vec![spoil_place((300.0, 10.0), Some(77.7), 1.0)]),
        (none.clone(), vec![]),
        (none, vec![spoil_place((20.0, 480.0), None, 0.0)]),
    ] {
        farm.site.layers.earth_places = places;
        let plan = farm.run(&params).value;
        for drain in &plan.drains {
            let gone: f64 = plan.spoil.iter().filter(|s| s.drain == drain.id).map(|s| s.volume_m3).sum();
            assert!(drain.excavation_m3 > 0.0);
            near(gone, drain.excavation_m3, 1e-9 * drain.excavation_m3);
        }
        let told = |to: &SpoilTo| plan.spoil_m3(|t| t == to);
        let taken = plan.spoil_m3(|to| matches!(to, SpoilTo::Place(_)));
        match farm.site.layers.earth_places.first().map(|p| p.capacity_m3) {
            None => assert!(taken == 0.0),
            Some(Some(capacity_m3)) => near(taken, capacity_m3, 1e-2),
            Some(None) => assert!(told(&SpoilTo::Nowhere) < 1e-2 && told(&SpoilTo::Beside) == 0.0),
        }
    }
}

/// 100 m of drain at 10 m north: on the north rows end within reach, on the south 7.5 m remain between the cut and the
/// boundary. A kept area takes away its half; without row ends both sides count.
#[test]
fn strips_keep_off_rows_boundary_and_kept_land() {
    let mut farm = Farm::plane(8.8);
    let p = DrainsParams::default();
    let room = |farm: &Farm| stretches(&input(farm), &[straight(10.0, 40.0, 140.0)], &p)[0].room_m2;
    // Round each end lies a quarter disc of 14.5 m, cut by the boundary at 10 m.
    let along = 100.0 * 7.5;
    let round = 2.0 * 14.5 * 10.0;
    let south = room(&farm);
    assert!(south > along && south < along + round, "{south}");
    let kept = rectangle(90.0, 0.0, 200.0, 30.0);
    farm.site.layers.keep_areas =
        vec![KeepArea { outline: MultiPolygon(vec![kept]), kind: KeepKind::Vegetation, reason: String::new() }];
    let west = room(&farm);
    assert!(west > 0.45 * south && west < 0.55 * south, "{west} of {south}");
    farm.site.layers.keep_areas.clear();
    farm.blocks.blocks.iter_mut().for_each(|b| b.rows.clear());
    let both = room(&farm);
    assert!(both > south + 0.9 * 100.0 * 12.0, "crop begins 20 m to the north: {both}");
    // Two drains in one headland do not count their land twice.
    let pair = stretches(&input(&farm), &[straight(10.0, 40.0, 140.0), straight(14.0, 40.0, 140.0)], &p);
    let shared: f64 = pair.iter().map(|s| s.room_m2).sum();
    assert!(shared < both + 100.0 * 4.0, "{shared} against {both}");
}

/// By hand. A stretch of 20 m gives 100 m3. Beside it 100 m2 take 100 x 0.1 / 1.25 = 8 m3 for nothing. Block 1 lacks 50 m3,
/// 300 m away: the bucket asks 1.65 + 3 x 0.75 = 3.90 a m3, a soil from a place that is not known would cost 7.00. The pit
/// 200 m away takes 30 m3 at 1.65 + 2 x 0.75 + 0.50 = 3.65. The other 12 m3 go nowhere, at 7.00.
#[test]
fn a_case_by_hand() {
    let mut farm = Farm::lacking(50.0);
    farm.site.layers.earth_places = vec![spoil_place((310.0, 10.0), Some(30.0), 0.5)];
    let p = beside_only();
    let spoil = spoil::plan(&input(&farm), (&[7], &[stretch(100.0, 100.0)]), &p).unwrap();
    assert!(spoil.iter().all(|s| s.drain == 7));
    let ways = by_way(&spoil);
    let expected = [
        (SpoilTo::Beside, 8.0, 0.0),
        (SpoilTo::Block(crate::land::blocks::BlockId(1)), 50.0, 195.0),
        (SpoilTo::Place("pit".to_owned()), 30.0, 109.5),
        (SpoilTo::Nowhere, 12.0, 84.0),
    ];
    assert_eq!(ways.len(), 4);
    for ((to, volume_m3, cost), expected) in ways.iter().zip(&expected) {
        assert_eq!(*to, expected.0);
        near(*volume_m3, expected.1, 1e-9);
        near(*cost, expected.2, 1e-6);
    }
    near(spoil[0].depth_m, 0.1, 1e-9);
    near(spoil[1].distance_m, 300.0, 1e-6);
    near(spoil[1].spares.likely, 350.0, 1e-6);
    assert_eq!(spoil[1].machine, Some(HaulMachine::Bucket));
    // What blocks bring to the pit already is not there for drains.
    let taken = crate::land::levelling::PlaceHaul {
        place: "pit".to_owned(),
        kind: EarthPlaceKind::Spoil,
        volume_m3: 25.0,
        distance_m: 50.0,
        price_per_m3: 0.5,
    };
    farm.levelling.as_mut().unwrap().blocks[0].places.push(taken);
    let spoil = spoil::plan(&input(&farm), (&[7], &[stretch(100.0, 100.0)]), &p).unwrap();
    let place = spoil.iter().find(|s| matches!(s.to, SpoilTo::Place(_))).unwrap();
    near(place.volume_m3, 5.0, 1e-9);
}

/// With room for all beside the drain a block is filled as long as the haul costs less than the 7.00 a m3 it saves: 3.90
/// over 300 m; with a creek between, worth 500 m, 6.60 by truck; with two of them 7.60, and nothing is hauled.
#[test]
fn a_block_is_filled_only_when_that_is_cheaper() {
    let mut farm = Farm::lacking(50.0);
    let p = beside_only();
    let filled = |farm: &Farm| {
        let spoil = spoil::plan(&input(farm), (&[1], &[stretch(100.0, 5_000.0)]), &p).unwrap();
        near(spoil.iter().map(|s| s.volume_m3).sum(), 100.0, 1e-9);
        spoil.iter().filter(|s| matches!(s.to, SpoilTo::Block(_))).map(|s| s.volume_m3).sum::<f64>()
    };
    near(filled(&farm), 50.0, 1e-9);
    let creek = |north_m: f64| Waterway {
        id: 1,
        name: "creek".to_owned(),
        line: LineString(vec![Coord { x: -500.0, y: north_m }, Coord { x: 900.0, y: north_m }]),
        banks: None,
        order: None,
        width_m: None,
    };
    farm.site.layers.waterways = vec![creek(100.0)];
    near(filled(&farm), 50.0, 1e-9);
    farm.site.layers.waterways = vec![creek(100.0), creek(200.0)];
    near(filled(&farm), 0.0, 1e-9);
}

/// US Army FM 5-434, table 1-1 (from memory): 1,000 bank m3 of loam make 1,250 loose, and 900 compacted.
#[test]
fn loose_soil_takes_more_room() {
    let farm = Farm::plane(8.8);
    let p = DrainsParams { spoil_swell_ratio: 1.25, spoil_spread_mm: 100.0, ..beside_only() };
    for (room_m2, beside_m3, depth_m) in [(12_500.0, 1_000.0, 0.1), (25_000.0, 1_000.0, 0.05), (5_000.0, 400.0, 0.1)] {
        let spoil = spoil::plan(&input(&farm), (&[1], &[stretch(1_000.0, room_m2)]), &p).unwrap();
        near(spoil[0].volume_m3, beside_m3, 1e-9);
        near(spoil[0].depth_m, depth_m, 1e-9);
        near(spoil.iter().map(|s| s.volume_m3).sum(), 1_000.0, 1e-9);
    }
}

/// By hand: with no room beside the drain, 1,000 bank m3 make 1,250 loose and lie evenly over the nearest block; with room
/// for half of it there at the wished depth, the rest goes to the next block.
#[test]
fn what_is_over_is_spread_over_whole_blocks() {
    let farm = Farm::plane(8.8);
    let spread = |mm: f64| {
        let p = DrainsParams { spoil_over_block_mm: mm, ..DrainsParams::default() };
        let spoil = spoil::plan(&input(&farm), (&[1], &[stretch(1_000.0, 0.0)]), &p).unwrap();
        near(spoil.iter().map(|s| s.volume_m3).sum(), 1_000.0, 1e-9);
        spoil
    };
    let area_m2 = |k: usize| geo::Area::unsigned_area(&farm.blocks.blocks[k].cropped);
    let all = spread(100.0);
    let SpoilTo::Over(block) = all[0].to else { panic!("{all:?}") };
    let nearest = farm.blocks.blocks.iter().position(|b| b.id == block).unwrap();
    near(all[0].depth_m, 1_250.0 / area_m2(nearest), 1e-9);
    assert!(all.len() == 1 && all[0].cost.likely > 0.0 && all[0].machine.is_some());
    let half_mm = 1_000.0 * 625.0 / area_m2(nearest);
    let half = spread(half_mm);
    let told: Vec<(SpoilTo, bool)> = half.iter().map(|s| (s.to.clone(), s.depth_m > 0.0)).collect();
    assert!(told.contains(&(SpoilTo::Over(block), true)) && half.len() > 1, "{told:?}");
    near(half.iter().find(|s| s.to == SpoilTo::Over(block)).unwrap().volume_m3, 500.0, 1e-6);
}
