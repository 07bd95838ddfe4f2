//! Rows whose low ends lie below the drain reach: lifted where that is worth it.

use super::*;
use crate::land::levelling::SurfaceKind;
use crate::land::water::{DrainReach, WaterModel};

/// Land under the rows of the farm: 17 rows of 264 m, 10 m apart, square metres.
const PLANTED_M2: f64 = 17.0 * 264.0 * 10.0;

/// Water of which nothing is known but the level a drain can have.
fn water(spec: GridSpec, level_m: f32) -> WaterModel {
    let none = GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 1.0, rows: 1, cols: 1 };
    WaterModel {
        drainage_lines: Vec::new(),
        ponds: Vec::new(),
        pond_depth: Raster::empty(none, 0.0),
        inflows: Vec::new(),
        outflows: Vec::new(),
        outflow_of: Raster::empty(none, 0),
        outlets: Vec::new(),
        reach: DrainReach { level: Raster::filled(spec, level_m), outlet: Raster::filled(spec, 1) },
        buffers: Vec::new(),
        no_rows: MultiPolygon(Vec::new()),
        plantable: Vec::new(),
    }
}

/// Ground that falls east by 0.2 % and keeps every limit: low ends at 282 m east lie at 9.436 m, drains reach to 9.6 m.
fn formed(surface: Forming, undrained_per_m2: Option<f64>) -> (BlockEarth, Vec<crate::finding::Finding>) {
    let (ground, blocks) = farm(|at| 10.0 - 0.002 * at.x);
    let water = water(ground.concept.0.spec, 9.6);
    let (site, rates) = (site(0.3), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let input = LevellingInput {
        site: &site,
        ground: &ground,
        water: Some(&water),
        blocks: &blocks,
        given_surface: None,
        rates: &rates,
        undrained_per_m2,
    };
    let params = LevellingParams { max_raise_mm: 300.0, ..params(surface) };
    let mut outcome = Levelling::run(input, &params, &ctx).unwrap();
    (outcome.value.blocks.remove(0), outcome.findings)
}

const KINDS: [Forming; 2] = [Forming::Plane, Forming::GradedRows];

#[test]
fn rows_are_lifted_where_the_crop_is_worth_it() {
    // 100 dollars once a square metre is far above any price of a metre of fill.
    for surface in KINDS {
        let (earth, _) = formed(surface, Some(100.0));
        assert!(earth.not_raised.is_none() && earth.borrow_m3 > 100.0, "{surface:?}: {}", earth.borrow_m3);
        assert!(earth.rows_after.iter().all(|f| f.low_level_m > 9.6 - 0.005), "{surface:?}");
    }
    // A plane 0.174 m higher (9.61 less 9.436) on 280 m x 180 m takes 8,770 m3 of fill.
    let (earth, _) = formed(Forming::Plane, Some(100.0));
    assert!((earth.fill_m3 / (0.174 * 280.0 * 180.0) - 1.0).abs() < 0.03, "{}", earth.fill_m3);
}

#[test]
fn rows_are_left_low_where_lifting_costs_more_than_it_saves() {
    // One cent a square metre: 448.80 dollars for all rows, which buys no 8,770 m3. The ground stays as it is.
    for surface in KINDS {
        let (earth, findings) = formed(surface, Some(0.01));
        let low = earth.not_raised.unwrap();
        assert!((low.area_m2 - PLANTED_M2).abs() < 1e-6 && (low.loss - 448.8).abs() < 1e-6, "{surface:?}: {low:?}");
        assert!(low.raising > low.loss && earth.fill_m3 < 1.0, "{surface:?}: {} m3", earth.fill_m3);
        let said = findings.iter().find(|f| f.code == "not_raised").unwrap();
        assert!(said.message.contains("4.49 ha") && said.message.contains("449"), "{}", said.message);
        assert!(!findings.iter().any(|f| f.code == "below_drain_reach"), "said once");
    }
}

#[test]
fn all_kinds_are_judged_alike() {
    // The ground is a plane within the limits: unlifted, a plane and graded rows both cost nothing but the lost crop.
    let (earth, _) = formed(Forming::GradedRows, Some(0.01));
    for kind in [SurfaceKind::Plane, SurfaceKind::GradedRows] {
        let offer = earth.offers.iter().find(|o| o.surface == kind).unwrap();
        assert!((offer.undrained_loss - 448.8).abs() < 1e-6 && offer.cut_m3 < 1.0, "{offer:?}");
        assert_eq!(offer.limits_broken.len(), 1, "{offer:?}");
        // 9.6 less 9.436 is 164 mm at the ends; the lattice points beside them lie up to 5 m away, on a fall of 2 mm a metre.
        let words = &offer.limits_broken[0];
        assert!(words.contains("17 of 17 low row ends"), "{words}");
        let mm: f64 = words.split("up to ").nth(1).unwrap().trim_end_matches(" mm").parse().unwrap();
        assert!((154.0..=164.5).contains(&mm), "{words}");
    }
    // Lifted, graded rows take less soil than a plane: they may fall steeply to a low end that is just high enough.
    let (earth, _) = formed(Forming::GradedRows, Some(100.0));
    let of = |kind| earth.offers.iter().find(|o| o.surface == kind).unwrap();
    let (graded, plane) = (of(SurfaceKind::GradedRows), of(SurfaceKind::Plane));
    assert!(graded.judged() <= plane.judged(), "{graded:?} {plane:?}");
}

#[test]
fn limits_a_surface_breaks_are_named() {
    // A ridge of 0.5 m takes more cut from a plane than is allowed here; graded rows are held to it.
    let ridge = |at: Coord<f64>| 10.0 - 0.002 * at.x + 0.5 * (-((at.x - 150.0) / 25.0).powi(2)).exp();
    let limits = LevellingParams { max_cut_mm: 250.0, max_fill_mm: 400.0, ..params(Forming::GradedRows) };
    let (plan, _) = run(ridge, &limits, 1.0);
    let of = |kind| plan.blocks[0].offers.iter().find(|o| o.surface == kind).unwrap();
    let plane = of(SurfaceKind::Plane);
    assert!(!plane.keeps_limits() && plane.limits_broken[0].contains("the greatest cut or fill"), "{plane:?}");
    let lies = of(SurfaceKind::AsItLies);
    assert!(lies.limits_broken.iter().any(|b| b.contains("the fall along 17 of 17 rows")), "{lies:?}");
}
