//! Beyond the surface: places for soil, machines, ground that keeps its height, yield at risk.

use super::*;
use crate::land::levelling::{HaulMachine, SoilRisk};
use crate::land::site::{EarthPlace, EarthPlaceKind, ExistingTrack};

fn place(kind: EarthPlaceKind, at: (f64, f64), capacity_m3: Option<f64>, price_per_m3: f64) -> EarthPlace {
    EarthPlace { name: format!("{} 1", kind.word()), kind, at: at.into(), capacity_m3, price_per_m3 }
}

/// Level ground that is raised (or lowered) everywhere to a given surface.
fn raised(by_m: f32, places: Vec<EarthPlace>) -> (LevellingPlan, Vec<crate::finding::Finding>) {
    let (ground, blocks) = farm(|_| 10.0);
    let given = ElevationModel(ground.concept.0.map(|z| z + by_m));
    let mut site = site(1.0);
    site.layers.earth_places = places;
    let (rates, cancel) = (Rates::default(), AtomicBool::new(false));
    let input = LevellingInput {
        site: &site,
        ground: &ground,
        water: None,
        blocks: &blocks,
        given_surface: Some(&given),
        rates: &rates,
        undrained_per_m2: None,
    };
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let outcome = Levelling::run(input, &LevellingParams::default(), &ctx).unwrap();
    (outcome.value, outcome.findings)
}

#[test]
fn soil_comes_from_a_borrow_place_as_far_as_it_reaches() {
    // 280 m x 180 m raised by 0.1 m at 1.25: 6,300 bank m3.
    let (plan, findings) = raised(0.1, vec![place(EarthPlaceKind::Borrow, (150.0, 600.0), Some(4_000.0), 1.5)]);
    let earth = &plan.blocks[0];
    assert!((earth.borrow_m3 - 6_300.0).abs() < 5.0, "{}", earth.borrow_m3);
    let [from] = &earth.places[..] else { panic!("{:?}", earth.places) };
    assert!((from.volume_m3 - 4_000.0).abs() < 0.1 && from.kind == EarthPlaceKind::Borrow);
    assert!((earth.unplaced_m3 - (earth.borrow_m3 - from.volume_m3)).abs() < 0.1);
    let said = findings.iter().find(|f| f.code == "borrow").expect("what is still lacking is said");
    assert!(said.message.contains("2,300 bank m3") && said.message.contains("4,000 m3"), "{}", said.message);
    // The nearest two thirds of the block are served: from 410 m to some 530 m.
    assert!((410.0..560.0).contains(&from.distance_m), "{}", from.distance_m);
    // Price: hauls in bands by their machines, 1.5 at the pit, the rest like a haul of 1,000 m by truck (5 + 10 x 0.2).
    let hauled: f64 = earth.bands.iter().map(|b| b.volume_m3 * b.price_per_m3.likely).sum();
    let smoothing = 180.0 * earth.formed_m2 / 1e4;
    let wanted = smoothing + hauled + 1.5 * from.volume_m3 + 7.0 * earth.unplaced_m3;
    assert!((earth.cost.likely - wanted).abs() < 1.0, "{} against {wanted}", earth.cost.likely);
    assert_eq!(earth.bands.iter().map(|b| b.volume_m3.round()).sum::<f64>(), 4_000.0);
}

#[test]
fn soil_that_is_over_goes_to_a_spoil_place() {
    let none = raised(-0.1, Vec::new());
    assert!((none.0.blocks[0].unplaced_m3 + 5_040.0).abs() < 5.0);
    assert!(none.1.iter().any(|f| f.code == "spoil"));
    let (plan, findings) = raised(-0.1, vec![place(EarthPlaceKind::Spoil, (290.0, 100.0), None, 0.0)]);
    let earth = &plan.blocks[0];
    assert!(earth.unplaced_m3.abs() < 1.0 && earth.places[0].kind == EarthPlaceKind::Spoil);
    assert!(!findings.iter().any(|f| f.code == "spoil"));
    // Mean straight way from a rectangle of 280 m x 180 m to the middle of its short side: 152.9 m (integral worked out by
    // a quadrature); over sixteen directions up to 2.75 % more.
    let mean = earth.places[0].distance_m;
    assert!((152.9 - 3.0..152.9 * 1.0275 + 3.0).contains(&mean), "{mean}");
    // Short ways by dozer, long ones by bucket; every cubic metre has a machine.
    for band in &earth.bands {
        assert!((band.by_machine.iter().map(|m| m.1).sum::<f64>() - band.volume_m3).abs() < 0.5, "{band:?}");
    }
    assert!(earth.bands[0].by_machine.iter().any(|m| m.0 == HaulMachine::Dozer));
    assert_eq!(earth.bands[1].by_machine.len(), 1);
}

#[test]
fn hauls_are_proven_cheapest() {
    let earth = &run(wavy, &params(Forming::GradedRows), 0.3).0.blocks[0];
    assert!(earth.hauls_cheapest && earth.haul_mean_m > 15.0);
    let price: f64 = earth.bands.iter().map(|b| b.volume_m3 * b.price_per_m3.likely).sum();
    // No cubic metre costs less than a push by dozer within its own cell (0.9 + 0.03 x 15), none more than by bucket.
    assert!(price > 1.35 * 0.99 * earth.cut_m3);
    for band in &earth.bands {
        assert!(band.price_per_m3.likely <= 1.65 + 0.0075 * band.up_to_m, "{band:?}");
    }
}

/// Greatest depth of cut or fill within a distance of the south edge of the block (y = 10 m), metres.
fn depth_at_the_edge_m(plan: &LevellingPlan, within_m: f64) -> f64 {
    let raster = &plan.cut_fill.0;
    let near = raster.iter().filter(|(cell, _)| raster.spec.centre(*cell).y < 10.0 + within_m);
    near.map(|(_, depth)| f64::from(depth.abs())).fold(0.0, f64::max)
}

#[test]
fn ground_keeps_its_height_along_a_track_that_stays() {
    // A bank of 0.3 m beside the track: within the cross-fall filling the low strip is the least earth.
    let (ground, blocks) = farm(|at| 10.0 - 0.002 * at.x + 0.3 * ((at.y - 20.0) / 10.0).clamp(0.0, 1.0));
    let mut site = site(1.0);
    let line = LineString(vec![Coord { x: 0.0, y: 9.0 }, Coord { x: 300.0, y: 9.0 }]);
    site.layers.tracks = vec![ExistingTrack { name: String::new(), line, width_m: Some(4.0) }];
    let rates = Rates::default();
    let run = |params: LevellingParams| {
        let cancel = AtomicBool::new(false);
        let input = LevellingInput {
            site: &site,
            ground: &ground,
            water: None,
            blocks: &blocks,
            given_surface: None,
            rates: &rates,
            undrained_per_m2: None,
        };
        let outcome = Levelling::run(input, &params, &Ctx { progress: &Silent, cancel: &cancel }).unwrap();
        (outcome.value, outcome.findings)
    };
    let said = |findings: &[crate::finding::Finding]| findings.iter().any(|f| f.code == "fixed_level_changed");
    let kept = LevellingParams { fixed_level_mm: 30.0, fixed_reach_m: 4.0, ..params(Forming::GradedRows) };
    let (free, _) = run(LevellingParams { fixed_reach_m: 0.0, ..kept.clone() });
    let (plan, findings) = run(kept.clone());
    // A lane of 5 m between points may stand a little higher than both.
    assert!(plan.blocks[0].given_up.is_empty(), "{:?}", plan.blocks[0].given_up);
    let (kept_m, free_m) = (depth_at_the_edge_m(&plan, 3.0), depth_at_the_edge_m(&free, 3.0));
    assert!(kept_m < 0.03 + 0.015 && free_m > 0.07, "{kept_m} {free_m}");
    assert!(!said(&findings));
    // A plane cannot follow; it says so.
    let (_, findings) = run(LevellingParams { surface: Forming::Plane, ..kept.clone() });
    assert!(said(&findings));
    // Rows that must fall against the track's own fall cannot keep to it: the chain is named.
    let (ground, blocks) = farm(|at| 10.0 + 0.002 * at.x);
    let cancel = AtomicBool::new(false);
    let input = LevellingInput {
        site: &site,
        ground: &ground,
        water: None,
        blocks: &blocks,
        given_surface: None,
        rates: &rates,
        undrained_per_m2: None,
    };
    let outcome = Levelling::run(input, &kept, &Ctx { progress: &Silent, cancel: &cancel }).unwrap();
    let given_up = &outcome.value.blocks[0].given_up;
    assert!(given_up.iter().any(|g| g.contains("a track that stays")), "{given_up:?}");
}

#[test]
fn areas_at_risk_add_up_to_what_is_cut_too_deep() {
    let (plan, _) = run(wavy, &params(Forming::Plane), 0.12);
    let sum: f64 = plan.risk_areas.iter().map(|a| a.area_m2).sum();
    assert!(sum > 0.0 && (sum - plan.blocks[0].subsoil_m2).abs() < 1e-6, "{sum} {}", plan.blocks[0].subsoil_m2);
    let bare = plan.risk_areas.iter().find(|a| a.risk == SoilRisk::Bare).expect("cuts of more than 120 mm");
    assert!(bare.least_left_m <= 0.0);
    // Float depths: the outline is that of whole cells.
    for area in &plan.risk_areas {
        assert!((geo::Area::unsigned_area(&area.outline) - area.area_m2).abs() < 1e-3 * area.area_m2);
    }
    assert!(run(wavy, &params(Forming::Plane), 1.0).0.risk_areas.is_empty());
}
