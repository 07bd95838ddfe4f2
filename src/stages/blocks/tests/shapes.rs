//! Shapes whose layout is known, turned sites, and bad outlines.

use super::*;
use crate::methods::shapes::{edge_bearings, row_count};
use geo::LineString;
use proptest::prelude::*;

fn flat_params() -> BlocksParams {
    // Level ground that nobody forms: shape alone decides.
    BlocksParams { form_land: false, max_row_length_m: 2_000.0, ..BlocksParams::default() }
}

fn round(centre: Coord<f64>, radius: f64, points: u32) -> LineString<f64> {
    (0..points)
        .map(|i| {
            let t = f64::from(i) / f64::from(points) * std::f64::consts::TAU;
            Coord { x: centre.x + radius * t.cos(), y: centre.y + radius * t.sin() }
        })
        .collect()
}

#[test]
fn a_circle_needs_its_width_in_rows() {
    // Rows of any bearing cover the diameter less what rows below 60 m and headlands leave: known up to the edge effect.
    let (c, r) = (Coord { x: 400.0, y: 400.0 }, 250.0);
    let plan = plan(Polygon::new(round(c, r, 180), vec![]), &ground(0.001, 0.0), &flat_params());
    let rows: usize = plan.blocks.iter().map(|b| b.rows.len()).sum();
    assert_eq!(plan.blocks.len(), 1);
    assert!((rows as f64) < 2.0 * r / 1.83 && rows as f64 > 2.0 * (r - 16.0) / 1.83, "{rows}");
    assert!(plan.rows_lower_bound <= rows as f64);
}

#[test]
fn a_ring_is_planted_round_its_island() {
    let c = Coord { x: 400.0, y: 400.0 };
    let land = Polygon::new(round(c, 350.0, 120), vec![round(c, 120.0, 60)]);
    let area = land.unsigned_area();
    let plan = plan(land, &ground(0.001, 0.0), &flat_params());
    let planted: f64 = plan.blocks.iter().map(RowBlock::row_metres).sum::<f64>() * 1.83;
    // Headlands of at most 8 m along 2 pi (350 + 120) m of edge, and the rows too short at the sides.
    assert!(planted < area && planted > area - 12.0 * 2.0 * std::f64::consts::PI * 470.0, "{planted} of {area}");
}

#[test]
fn a_u_keeps_its_legs_apart() {
    let u = polygon![
        (x: 0.0, y: 0.0), (x: 900.0, y: 0.0), (x: 900.0, y: 900.0), (x: 700.0, y: 900.0),
        (x: 700.0, y: 200.0), (x: 200.0, y: 200.0), (x: 200.0, y: 900.0), (x: 0.0, y: 900.0)
    ];
    let plan = plan(u, &ground(0.001, 0.001), &flat_params());
    let rows: usize = plan.blocks.iter().map(|b| b.rows.len()).sum();
    // Two legs of 200 x 900 m and a foot of 500 x 200 m between them: 3 x 200 m across at 1.83 m, whatever joins them.
    assert!((rows as f64) < 3.2 * 200.0 / 1.83, "{rows}");
}

#[test]
fn many_small_keep_outs_a_neck_and_a_spike() {
    let mut holes = Vec::new();
    for i in 0..200 {
        let at = Coord { x: 60.0 + f64::from(i % 20) * 38.0, y: 60.0 + f64::from(i / 20) * 60.0 };
        holes.push(round(at, 2.0, 8));
    }
    let land: LineString<f64> = [
        (0.0, 0.0),
        (850.0, 0.0),
        (850.0, 340.0),
        (858.0, 341.0),
        (850.0, 342.0),
        (850.0, 700.0),
        (0.0, 700.0),
        (0.0, 400.0),
        (-40.0, 399.9),
        (0.0, 399.8),
    ]
    .into_iter()
    .map(|(x, y)| Coord { x, y })
    .collect();
    let plan = plan(
        Polygon::new(land, holes),
        &ground(0.001, 0.0005),
        &BlocksParams { min_row_length_m: 20.0, ..flat_params() },
    );
    assert!(plan.blocks.iter().map(|b| b.rows.len()).sum::<usize>() > 300);
}

#[test]
fn ten_thousand_vertices() {
    let plan = plan(
        Polygon::new(round(Coord { x: 400.0, y: 400.0 }, 300.0, 10_000), vec![]),
        &ground(0.001, 0.0),
        &flat_params(),
    );
    assert!(!plan.blocks.is_empty());
}

#[test]
fn rows_follow_a_named_track() {
    let mut site = site(Vec::new());
    let line: LineString<f64> = vec![(0.0, 0.0), (100.0, 50.0), (400.0, 200.0)].into();
    site.layers.tracks.push(crate::land::site::ExistingTrack { name: "Ridge".to_owned(), line, width_m: None });
    let params = BlocksParams { rows_along: "Ridge".to_owned(), ..BlocksParams::default() };
    let bearing = wishes::bearing(&params, &site).unwrap().unwrap();
    assert!((bearing.degrees() - 2.0_f64.atan().to_degrees()).abs() < 1e-6);
    let unknown = BlocksParams { rows_along: "Gully".to_owned(), ..params };
    assert_eq!(wishes::bearing(&unknown, &site).unwrap_err().0[0].code, "no_such_line");
}

#[test]
fn a_wish_is_answered_with_its_cost_and_names_are_kept() {
    let (mut site, water, rates) = (site(Vec::new()), water(rectangle(600.0, 250.0)), Rates::default());
    let old =
        crate::land::site::GivenBlock { name: "12A".to_owned(), outline: rectangle(500.0, 250.0), bearing_deg: None };
    site.layers.previous_blocks.push(old);
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let params = BlocksParams { bearing_deg: 0.0, ..BlocksParams::default() };
    let ground = ground(0.0015, 0.0015);
    let input = BlocksInput { site: &site, ground: Some(&ground), water: Some(&water), rates: &rates };
    let outcome = Blocks::run(input, &params, &ctx).unwrap();
    assert_eq!(outcome.value.blocks[0].name, "12A");
    let told = outcome.findings.iter().find(|f| f.code == "cost_of_the_wish").unwrap();
    assert!(
        told.message.contains("mean row of 233 m") && told.message.contains("mean row of 583 m"),
        "{}",
        told.message
    );
}

#[test]
fn furrow_reach() {
    // Recomputed by hand from Manning's formula: a parabola 1.0 x 0.15 m, 100 mm/h of which 0.8 run off, rows 1.8 m apart.
    let p = BlocksParams { row_spacing_m: 1.8, ..BlocksParams::default() };
    for (fall, n, reach) in [(0.001, 0.03, 545.0), (0.001, 0.04, 409.0), (0.002, 0.06, 385.0), (0.005, 0.1, 366.0)] {
        let found = BlocksParams { furrow_n: n, ..p.clone() }.furrow_reach_m(fall);
        assert!((found / reach - 1.0).abs() < 0.01, "{fall} {n}: {found}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn edge_azimuths_beat_a_fine_sweep(radii in prop::collection::vec(60.0..300.0f64, 4..10)) {
        let n = radii.len() as f64;
        let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
            let t = i as f64 / n * std::f64::consts::TAU;
            Coord { x: r * t.cos(), y: r * t.sin() }
        }).collect();
        let p = Polygon::new(ring, vec![]);
        let best = edge_bearings(&p).into_iter().map(|b| row_count(&p, b, 1.83)).fold(f64::INFINITY, f64::min);
        // Edges within 0.1 degree share a candidate: no more than the perimeter, turned by that much, may be lost.
        let merged = p.exterior().lines().map(|e| e.dx().hypot(e.dy())).sum::<f64>() * 0.1_f64.to_radians() / (2.0 * 1.83);
        for tenth in 0..1800 {
            prop_assert!(row_count(&p, Bearing::from_degrees(f64::from(tenth) / 10.0), 1.83) > best - merged);
        }
    }

    #[test]
    fn rows_fill_random_land(radii in prop::collection::vec(150.0..380.0f64, 4..9)) {
        let n = radii.len() as f64;
        let ring: LineString<f64> = radii.iter().enumerate().map(|(i, r)| {
            let t = i as f64 / n * std::f64::consts::TAU;
            Coord { x: 400.0 + r * t.cos(), y: 400.0 + r * t.sin() }
        }).collect();
        let land = Polygon::new(ring, vec![]);
        let plan = plan(land.clone(), &ground(0.001, 0.0005), &flat_params());
        for b in &plan.blocks {
            // Area over spacing, within one spacing along the sides and a row too short at either side.
            let planted = b.row_metres() * b.row_spacing_m;
            let edge = b.cropped.unsigned_area() - planted;
            prop_assert!(edge > -1.0 && edge < 0.12 * b.cropped.unsigned_area() + 3_000.0, "{} of {}", planted, b.cropped.unsigned_area());
        }
        let rows: usize = plan.blocks.iter().map(|b| b.rows.len()).sum();
        prop_assert!(plan.rows_lower_bound <= rows as f64);
    }
}
