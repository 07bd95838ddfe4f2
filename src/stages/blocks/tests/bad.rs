//! Land nobody would draw: slivers, necks, islands, holes on the edge, doubled vertices.

use super::*;
use geo::LineString;

fn params() -> BlocksParams {
    BlocksParams { form_land: false, max_row_length_m: 2_000.0, ..BlocksParams::default() }
}

fn ring(points: &[(f64, f64)]) -> LineString<f64> {
    points.iter().map(|(x, y)| Coord { x: *x, y: *y }).collect()
}

fn planted_m2(plan: &BlockPlan) -> f64 {
    plan.blocks.iter().map(|b| b.row_metres() * b.row_spacing_m).sum()
}

#[test]
fn a_neck_too_narrow_for_a_row_parts_the_land() {
    // Two fields of 300 x 300 m with a neck 6 m wide and 200 m long between them: headlands of 5 m leave the neck no row.
    let land = ring(&[
        (0.0, 0.0),
        (300.0, 0.0),
        (300.0, 147.0),
        (500.0, 147.0),
        (500.0, 0.0),
        (800.0, 0.0),
        (800.0, 300.0),
        (500.0, 300.0),
        (500.0, 153.0),
        (300.0, 153.0),
        (300.0, 300.0),
        (0.0, 300.0),
    ]);
    let plan = plan(Polygon::new(land, vec![]), &ground(0.001, 0.0), &params());
    let in_neck = |c: Coord<f64>| (301.0..499.0).contains(&c.x);
    let rows = || plan.blocks.iter().flat_map(|b| &b.rows);
    assert!(rows().all(|r| !in_neck(r.high_end()) && !in_neck(r.low_end())));
    assert!(rows().all(|r| r.high_end().x < 400.0 || r.low_end().x > 400.0), "a row runs through the neck");
    // Both fields are planted but for headlands of 8 and 5 m all round.
    assert!(planted_m2(&plan) > 2.0 * 280.0 * 284.0, "{}", planted_m2(&plan));
}

#[test]
fn a_sliver_has_no_room_and_a_field_beside_it_has() {
    // A tail 12 m wide and 400 m long on a field of 400 x 300 m: 5 m headlands leave it 2 m, one row at most.
    let land = ring(&[(0.0, 0.0), (800.0, 0.0), (800.0, 12.0), (400.0, 12.0), (400.0, 300.0), (0.0, 300.0)]);
    let plan = plan(Polygon::new(land, vec![]), &ground(0.001, 0.0), &params());
    let beyond = plan.blocks.iter().flat_map(|b| &b.rows).filter(|r| r.low_end().x.max(r.high_end().x) > 420.0);
    assert!(beyond.count() <= 1);
    assert!(planted_m2(&plan) > 0.9 * 384.0 * 290.0);
}

#[test]
fn land_that_is_too_narrow_is_no_design() {
    for (wide, high) in [(900.0, 8.0), (900.0, 2.0), (55.0, 900.0)] {
        let (site, water, rates) = (site(Vec::new()), water(rectangle(wide, high)), Rates::default());
        let cancel = AtomicBool::new(false);
        let ctx = Ctx { progress: &Silent, cancel: &cancel };
        let ground = ground(0.0, 0.001);
        let input = BlocksInput { site: &site, ground: Some(&ground), water: Some(&water), rates: &rates };
        // Rows across the last one would fit, those along the first two do not.
        let params = BlocksParams { bearing_deg: 90.0, ..BlocksParams::default() };
        let problems = Blocks::run(input, &params, &ctx).unwrap_err();
        assert_eq!(problems.0[0].code, "no_room_for_a_row", "{wide} x {high}");
    }
}

#[test]
fn holes_on_the_edge_and_islands() {
    let square =
        |x: f64, y: f64, side: f64| ring(&[(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)]);
    // One hole shares a stretch of the edge, one touches it in a point, one lies inside, one on another's corner.
    let diamond = ring(&[(300.0, 0.0), (320.0, 20.0), (300.0, 40.0), (280.0, 20.0)]);
    let holes = vec![square(100.0, 0.0, 30.0), diamond, square(200.0, 150.0, 40.0), square(240.0, 190.0, 25.0)];
    let land = Polygon::new(square(0.0, 0.0, 500.0), holes.clone());
    let (site, water, rates) = (site(Vec::new()), water(land), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let ground = ground(0.001, 0.0);
    let input = BlocksInput { site: &site, ground: Some(&ground), water: Some(&water), rates: &rates };
    let plan = Blocks::run(input, &params(), &ctx).unwrap().value;
    for row in plan.blocks.iter().flat_map(|b| &b.rows) {
        for hole in &holes {
            assert!(!row.line.intersects(&Polygon::new(hole.clone(), vec![])), "row {} runs into a hole", row.number);
        }
    }
    assert!(planted_m2(&plan) > 0.85 * 500.0 * 500.0, "{}", planted_m2(&plan));
}

#[test]
fn doubled_and_nearly_doubled_vertices_change_nothing() {
    let corners = [(0.0, 0.0), (600.0, 0.0), (600.0, 250.0), (0.0, 250.0)];
    let mut many = Vec::new();
    for (i, (x, y)) in corners.iter().enumerate() {
        let (x1, y1) = corners[(i + 1) % 4];
        for k in 0..40 {
            let share = f64::from(k) / 40.0;
            let at = (x + share * (x1 - x), y + share * (y1 - y));
            many.extend([at, at, (at.0 + 1e-9, at.1), (at.0, at.1 - 1e-7)]);
        }
    }
    let plain = plan(rectangle(600.0, 250.0), &ground(0.0015, 0.0), &BlocksParams::default());
    let cluttered = plan(Polygon::new(ring(&many), vec![]), &ground(0.0015, 0.0), &BlocksParams::default());
    assert_eq!(plain.blocks.len(), cluttered.blocks.len());
    assert_eq!(plain.blocks[0].rows.len(), cluttered.blocks[0].rows.len());
    assert!((planted_m2(&plain) - planted_m2(&cluttered)).abs() < 1.0);
}

#[test]
fn blocks_cut_along_the_rows_are_whole_traffic_units_wide() {
    let params = BlocksParams { max_block_ha: 10.0, traffic_unit_rows: 4, ..BlocksParams::default() };
    let plan = plan(rectangle(700.0, 500.0), &ground(0.0015, 0.0), &params);
    let mut counts: Vec<usize> = plan.blocks.iter().map(|b| b.rows.len()).collect();
    assert!(counts.len() >= 4, "{counts:?}");
    // All but the last one, which takes what is left.
    counts.retain(|n| n % 4 != 0);
    assert!(counts.len() <= 1, "{counts:?}");
}
