//! Checks of the plane fits against worked grids and brute force.

use super::*;
use crate::methods::earthwork::balance::{balance_offset, cut_fill_at};
use proptest::prelude::*;

/// Twenty stakes at 20 m (own heights), each in the middle of its square, first line y = 10 m.
pub const GRID: [[f64; 5]; 4] = [
    [10.12, 10.05, 9.98, 9.93, 9.82],
    [10.08, 10.10, 9.91, 9.85, 9.80],
    [10.02, 9.97, 9.95, 9.81, 9.70],
    [9.94, 9.96, 9.83, 9.78, 9.61],
];

fn stakes() -> Vec<(f64, f64, f64, f64)> {
    let mut out = Vec::new();
    for (row, y) in GRID.iter().zip([10.0, 30.0, 50.0, 70.0]) {
        for (z, x) in row.iter().zip([10.0, 30.0, 50.0, 70.0, 90.0]) {
            out.push((x, y, *z, 1.0));
        }
    }
    out
}

fn deg(d: f64) -> Bearing {
    Bearing::from_degrees(d)
}

#[test]
fn exact_plane_is_recovered() {
    // Any least-squares fit of points on a plane is that plane (identity).
    let points = stakes().into_iter().map(|(x, y, _, w)| (x, y, 100.0 - 0.002 * x - 0.001 * y, w));
    let p = fit_plane(points).expect("twenty points");
    assert!((p.height_at_origin_m() - 100.0).abs() < 1e-12);
    assert!((p.slope_x + 0.002).abs() < 1e-12 && (p.slope_y + 0.001).abs() < 1e-12);
    let depth = |s: (f64, f64, f64, f64)| 100.0 - 0.002 * s.0 - 0.001 * s.1 - p.height_m(s.0, s.1);
    assert!(stakes().into_iter().all(|s| depth(s).abs() < 1e-12), "nothing is cut or filled");
}

/// Cut (+) and fill (-) of the grid against its free plane, metres to four places (arithmetic).
const DEPTHS: [[f64; 5]; 4] = [
    [-0.0279, -0.0186, -0.0094, 0.0198, -0.0109],
    [-0.0153, 0.0840, -0.0268, -0.0076, 0.0217],
    [-0.0227, 0.0066, 0.0658, 0.0050, -0.0257],
    [-0.0501, 0.0492, -0.0016, 0.0276, -0.0631],
];

#[test]
fn depths_at_every_stake() {
    let p = fit_plane(stakes()).expect("twenty points");
    for (stake, expected) in stakes().iter().zip(DEPTHS.as_flattened()) {
        let depth_m = stake.2 - p.height_m(stake.0, stake.1);
        assert!((depth_m - expected).abs() < 5.1e-5, "{stake:?}: {depth_m} against {expected}");
    }
}

#[test]
fn free_plane_of_the_grid() {
    // Formula: Walker 1989 (FAO Irrigation and Drainage Paper 45, sec. 6.3), Scaloppi and Willardson 1986; own heights, recomputed by hand.
    let p = fit_plane(stakes()).expect("twenty points");
    assert!((p.x0_m - 50.0).abs() < 1e-9 && (p.y0_m - 40.0).abs() < 1e-9 && (p.z0_m - 9.9105).abs() < 1e-9);
    assert!((p.slope_x + 0.003_962_5).abs() < 1e-9 && (p.slope_y + 0.002_63).abs() < 1e-9);
    assert!((p.height_at_origin_m() - 10.213_825).abs() < 1e-9);
    let dz: Vec<(f64, f64)> = stakes().iter().map(|s| (s.2 - p.height_m(s.0, s.1), 1.0)).collect();
    let sums = cut_fill_at(&dz, 0.0);
    assert!((sums.cut_m3 - 0.2797).abs() < 1e-9 && (sums.fill_m3 - 0.2797).abs() < 1e-9);
    let largest = dz.iter().map(|d| d.0).fold(f64::MIN, f64::max);
    let least = dz.iter().map(|d| d.0).fold(f64::MAX, f64::min);
    assert!((largest - 0.083_95).abs() < 1e-9 && (least + 0.063_1).abs() < 1e-9);
    let misfit = Moments::of(stakes()).squared_misfit(p.slope_x, p.slope_y);
    assert!((misfit - 0.025_503_5).abs() < 1e-9, "{misfit}");
}

#[test]
fn weighted_stakes() {
    // Weights of the FAO 45 sec. 6.3.5 example (border stakes stand for 500 m2, one corner for 375 m2 of 400 m2) on the same own heights.
    let mut s = stakes();
    for row in 0..3 {
        s[row * 5 + 4].3 = 1.25;
    }
    s[19].3 = 0.9375;
    let m = Moments::of(s);
    assert!((m.weight - 20.6875).abs() < 1e-12);
    let p = fit_plane_of(&m).expect("twenty points");
    assert!((p.x0_m - 51.329_305_1).abs() < 1e-7 && (p.y0_m - 39.546_827_8).abs() < 1e-7);
    assert!((p.z0_m - 9.906_435_05).abs() < 1e-8);
    // The coupled fit, not the regression of row and column means (-0.00388083, -0.00248509).
    assert!((p.slope_x + 0.003_961_833_89).abs() < 1e-7 && (p.slope_y + 0.002_621_981_68).abs() < 1e-7);
    assert!((p.height_at_origin_m() - 10.213_483_4).abs() < 1e-6);
    // It passes through the weighted centroid.
    assert!((p.height_m(m.mean_x_m, m.mean_y_m) - m.mean_z_m).abs() < 1e-12);
}

#[test]
fn irregular_field() {
    // The last two rows of the last two columns removed: an L, for which uncoupled regression is wrong.
    let l = stakes().into_iter().filter(|s| !(s.0 > 60.0 && s.1 > 40.0));
    let m = Moments::of(l);
    assert!((m.sxx - 11_100.0).abs() < 1e-8 && (m.syy - 7_600.0).abs() < 1e-8 && (m.sxy + 3_000.0).abs() < 1e-8);
    assert!(
        (m.mean_x_m - 42.5).abs() < 1e-9 && (m.mean_y_m - 35.0).abs() < 1e-9 && (m.mean_z_m - 9.956_875).abs() < 1e-9
    );
    assert!((m.sxz + 32.775).abs() < 1e-9 && (m.syz + 6.55).abs() < 1e-9);
    let p = fit_plane_of(&m).expect("sixteen points");
    let uncoupled = (m.sxz / m.sxx, m.syz / m.syy);
    assert!(
        (uncoupled.0 + 0.002_952_70).abs() < 1e-8 && (uncoupled.1 + 0.000_861_84).abs() < 1e-8,
        "what it must not be"
    );
    assert!((p.slope_x + 0.003_566_082_80).abs() < 1e-10 && (p.slope_y + 0.002_269_506_37).abs() < 1e-10);
    assert!((p.height_at_origin_m() - 10.187_866_2).abs() < 1e-7);
}

#[test]
fn any_plane_through_the_centroid_balances() {
    // Also before/after volumes: mean design height = mean ground height gives cut = fill (Easa 1989, from memory).
    let m = Moments::of(stakes());
    for (sx, sy) in [(0.01, -0.02), (-0.5, 0.3), (0.0, 0.0)] {
        let p = through_mean(&m, sx, sy);
        let dz: Vec<_> = stakes().iter().map(|s| (s.2 - p.height_m(s.0, s.1), 1.0)).collect();
        let sums = cut_fill_at(&dz, 0.0);
        assert!((sums.cut_m3 - sums.fill_m3).abs() < 1e-9);
        assert!(balance_offset(&dz, 1.0).abs() < 1e-9);
    }
}

#[test]
fn points_on_a_line_or_none() {
    assert!(fit_plane(std::iter::empty()).is_none());
    let p = fit_plane((0..5).map(f64::from).map(|t| (t, t, 3.0 + 0.2 * t, 1.0))).expect("five points");
    assert!((p.slope_x - 0.1).abs() < 1e-12 && (p.slope_y - 0.1).abs() < 1e-12, "level across the line");
    let one = fit_plane([(5.0, 6.0, 7.0, 2.0)]).expect("one point");
    assert!((one.height_m(99.0, 99.0) - 7.0).abs() < 1e-12);
}

fn limits(bearing: f64, min_fall: f64, max_fall: f64, cross: f64, sense: FallSense) -> PlaneLimits {
    PlaneLimits { bearing: deg(bearing), min_fall, max_fall, max_cross_fall: cross, sense }
}

#[test]
fn limits_that_do_not_bind_change_nothing() {
    let m = Moments::of(stakes());
    let free = fit_plane_of(&m).expect("twenty points");
    let f = fit_plane_limited(&m, &limits(90.0, 0.001, 0.01, 0.01, FallSense::Along)).expect("consistent limits");
    assert_eq!((f.along, f.across), (Binding::Free, Binding::Free));
    assert!((f.plane.slope_x - free.slope_x).abs() < 1e-12 && (f.plane.slope_y - free.slope_y).abs() < 1e-12);
    assert!((f.fall_along - 0.003_962_5).abs() < 1e-9, "falls to the east");
    assert!((f.fall_right + 0.002_63).abs() < 1e-9, "and to the north, the left of an eastward bearing");
}

#[test]
fn binding_limits_are_named() {
    let m = Moments::of(stakes());
    let steep = fit_plane_limited(&m, &limits(90.0, 0.005, 0.01, 0.001, FallSense::Along)).expect("consistent limits");
    assert_eq!((steep.along, steep.across), (Binding::AtLeast, Binding::AtMost));
    assert!((steep.fall_along - 0.005).abs() < 1e-12 && (steep.fall_right + 0.001).abs() < 1e-12);
    // Read westwards the same ground falls against the bearing, and the least fall still binds.
    let west = fit_plane_limited(&m, &limits(270.0, 0.005, 0.01, 0.001, FallSense::Either)).expect("consistent limits");
    assert_eq!(west.along, Binding::AtLeast);
    assert!((west.fall_along + 0.005).abs() < 1e-12);
    assert!((west.plane.slope_x - steep.plane.slope_x).abs() < 1e-12);
    let forced = fit_plane_limited(&m, &limits(270.0, 0.001, 0.01, 0.01, FallSense::Along)).expect("consistent limits");
    assert!((forced.fall_along - 0.001).abs() < 1e-12 && forced.squared_misfit > west.squared_misfit);
    assert!(fit_plane_limited(&m, &limits(0.0, 0.02, 0.01, 0.01, FallSense::Either)).is_none());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn plane_passes_through_the_centroid(points in prop::collection::vec((0.0..500.0f64, 0.0..500.0f64, 0.0..9.0f64, 0.1..3.0f64), 1..40)) {
        let p = fit_plane(points.iter().map(|q| (q.0 + 5e5, q.1 + 7e6, q.2, q.3))).expect("a point at least");
        let net: f64 = points.iter().map(|q| q.3 * (q.2 - p.height_m(q.0 + 5e5, q.1 + 7e6))).sum();
        prop_assert!(net.abs() < 1e-6);
    }

    #[test]
    fn random_planes_through_the_centroid_balance(
        points in prop::collection::vec((0.0..500.0f64, 0.0..500.0f64, 0.0..9.0f64, 0.1..3.0f64), 1..40),
        sx in -0.05..0.05f64, sy in -0.05..0.05f64,
    ) {
        // The plane method: any plane at mean height over the centroid cuts as much as it fills (identity).
        let p = through_mean(&Moments::of(points.iter().copied()), sx, sy);
        let dz: Vec<_> = points.iter().map(|q| (q.2 - p.height_m(q.0, q.1), q.3)).collect();
        let sums = cut_fill_at(&dz, 0.0);
        prop_assert!((sums.cut_m3 - sums.fill_m3).abs() < 1e-9 * (1.0 + sums.cut_m3));
    }

    #[test]
    fn limited_fit_is_the_best_of_a_fine_grid(
        points in prop::collection::vec((0.0..100.0f64, 0.0..60.0f64, 0.0..1.0f64), 3..12),
        bearing in 0.0..360.0f64, lo in 0.0..0.004f64, wide in 0.0..0.01f64, cross in 0.0..0.01f64,
    ) {
        let m = Moments::of(points.iter().map(|q| (q.0, q.1, q.2, 1.0)));
        let fit = fit_plane_limited(&m, &limits(bearing, lo, lo + wide, cross, FallSense::Either)).expect("consistent limits");
        let (e, n) = deg(bearing).east_north();
        let eps = 1e-12;
        prop_assert!(fit.fall_along.abs() >= lo - eps && fit.fall_along.abs() <= lo + wide + eps && fit.fall_right.abs() <= cross + eps);
        prop_assert!((fit.plane.fall_along(deg(bearing)) - fit.fall_along).abs() < 1e-12);
        for i in 0..=20 {
            for j in 0..=20 {
                for sign in [1.0, -1.0] {
                    let u = sign * (lo + wide * f64::from(i) / 20.0);
                    let v = cross * (f64::from(j) / 10.0 - 1.0);
                    let other = m.squared_misfit(-(u * e + v * n), -(u * n - v * e));
                    prop_assert!(fit.squared_misfit <= other + 1e-9);
                }
            }
        }
    }
}
