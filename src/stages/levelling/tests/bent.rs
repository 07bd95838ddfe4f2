//! Blocks whose rows bend.

use super::*;
use crate::land::blocks::Bend;
use crate::land::levelling::SurfaceKind;

const CENTRE: Coord<f64> = Coord { x: 150.0, y: -130.0 };
const HALF_RAD: f64 = 0.42;

fn arc(radius_m: f64) -> LineString<f64> {
    let at = |k: i32| {
        let t = HALF_RAD * f64::from(k) / 60.0;
        CENTRE + Coord { x: radius_m * t.sin(), y: radius_m * t.cos() }
    };
    (-60..=60).map(at).collect()
}

/// Rows along circles of 160 to 310 m, from west over north to east, on the ground of the straight farm.
fn ring(height: impl Fn(Coord<f64>) -> f64) -> (Ground, BlockPlan) {
    let (ground, mut plan) = farm(height);
    let block = &mut plan.blocks[0];
    let (inner, outer) = (arc(150.0), arc(320.0));
    let outline = geo::Polygon::new(outer.0.into_iter().chain(inner.0.into_iter().rev()).collect(), vec![]);
    block.rows = (1..=16)
        .map(|number| {
            let radius_m = 320.0 - 10.0 * f64::from(number);
            Row { number, line: arc(radius_m), length_m: 2.0 * HALF_RAD * radius_m, fall: None }
        })
        .collect();
    block.cropped = MultiPolygon(vec![outline.clone()]);
    block.outline = outline;
    let lead_m = 235.0;
    block.bent = Some(Bend {
        start: arc(lead_m).0[0],
        heading_rad: std::f64::consts::FRAC_PI_2 - HALF_RAD,
        pieces: vec![(2.0 * HALF_RAD * lead_m, 1.0 / lead_m)],
    });
    (ground, plan)
}

fn formed(height: impl Fn(Coord<f64>) -> f64, params: &LevellingParams) -> BlockEarth {
    let (ground, blocks) = ring(height);
    let (site, rates) = (site(0.3), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let (water, given_surface) = (None, None);
    let input = LevellingInput {
        site: &site,
        ground: &ground,
        water,
        blocks: &blocks,
        given_surface,
        rates: &rates,
        undrained_per_m2: None,
    };
    Levelling::run(input, params, &ctx).unwrap().value.blocks.remove(0)
}

#[test]
fn every_bent_row_falls_within_limits_along_its_own_way() {
    // Level ground gets its least fall along every row, the inner ones of 134 m and the outer ones of 260 m alike: steps
    // told along the leading line alone would leave the outer rows a quarter too flat.
    let p = params(Forming::GradedRows);
    let earth = formed(|_| 10.0, &p);
    assert_eq!(earth.rows_after.len(), 16);
    for fall in &earth.rows_after {
        assert!(fall.mean.percent() > p.min_fall_pct * 0.97, "{}", fall.mean.percent());
        assert!(fall.mean.percent() < p.min_fall_pct * 1.10, "{}", fall.mean.percent());
        assert!(fall.reverse_depth_m < 1e-3);
    }
    // A wedge of a fall s over a row of length l moves l s / 8 on its land, cut and fill alike (arithmetic).
    let by_hand: f64 =
        (1..=16).map(|n| 2.0 * HALF_RAD * (320.0 - 10.0 * f64::from(n))).map(|l| l * 0.0008 / 8.0 * l * 10.6).sum();
    assert!((earth.cut_m3 / by_hand - 1.0).abs() < 0.25, "{} m3 against {by_hand} m3", earth.cut_m3);
}

#[test]
fn a_plane_is_no_surface_for_bent_rows() {
    let earth = formed(wavy, &params(Forming::Plane));
    assert_eq!(earth.surface, SurfaceKind::GradedRows);
    assert!(earth.binding.iter().any(|b| b.contains("bend")), "{:?}", earth.binding);
    let plane = earth.offers.iter().find(|o| o.surface == SurfaceKind::Plane).unwrap();
    assert!(!plane.keeps_limits() && plane.remarks.iter().any(|r| r.contains("no such surface")));
}

#[test]
fn bent_rows_part_their_water_at_a_crest() {
    let p = params(Forming::CrestedRows);
    let earth = formed(|at| 10.0 - 0.0015 * (at.x - 150.0).abs(), &p);
    for fall in &earth.rows_after {
        assert!(fall.least.percent() > p.min_fall_pct * 0.5, "{}", fall.least.percent());
        assert!(fall.reverse_depth_m < 5e-3, "{}", fall.reverse_depth_m);
    }
}
