//! Checks on synthetic sites: every refusal, the accuracy statement, gridding and the beds.
//!
//! Expected values follow from the formula each ground is made of; limits are those of the parameters.

use super::*;
use crate::grid::{GridSpec, Raster};
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::{ControlPoint, SiteLayers};
use crate::land::survey::{RawElevation, SurveyPoint};
use crate::stages::Silent;
use geo::{Area, Coord, LineString, MultiPolygon, Polygon, polygon};
use std::sync::atomic::AtomicBool;

fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> Polygon<f64> {
    polygon![(x: x0, y: y0), (x: x1, y: y0), (x: x1, y: y1), (x: x0, y: y1)]
}

pub(super) fn heights(cell_m: f64, height: impl Fn(Coord<f64>) -> f64) -> Raster<f32> {
    let n = (300.0 / cell_m) as u32;
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 300.0 }, cell_m, rows: n, cols: n };
    let mut r = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        r.values[i] = height(spec.centre(spec.cell(i))) as f32;
    }
    r
}

pub(super) fn raw(parcels: Vec<Polygon<f64>>, elevation: Option<RawElevation>) -> RawSurvey {
    let crs = CrsTag { name: "plane".into(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None };
    RawSurvey {
        parcels: parcels.into_iter().map(|p| (String::new(), MultiPolygon(vec![p]))).collect(),
        elevation,
        more_elevation: Vec::new(),
        breaklines: Vec::new(),
        layers: SiteLayers::default(),
        not_given: Vec::new(),
        given_surface: None,
        crs,
        geodesy: LocalGeodesy::flat(),
    }
}

pub(super) fn raster(heights: Raster<f32>) -> Option<RawElevation> {
    Some(RawElevation::Raster { heights, handling: "as it is".into() })
}

pub(super) fn plane(p: Coord<f64>) -> f64 {
    12.0 - 0.001 * p.x + 0.0005 * p.y
}

/// Cells the test machine takes: what the largest site here needs, and no more.
const MOST_CELLS: f64 = 1e6;

pub(super) fn run(
    raw: &RawSurvey,
    sigma: Option<f64>,
    params: &SurveyParams,
) -> Result<Outcome<(Site, Option<Ground>)>, Problems> {
    let ctx = Ctx { progress: &Silent, cancel: &AtomicBool::new(false) };
    let input =
        SurveyInput { raw, name: "Test", stated_sigma_m: sigma, parcels_worked_as_one: false, most_cells: MOST_CELLS };
    Survey::run(input, params, &ctx)
}

pub(super) fn codes(problems: &Problems) -> Vec<&str> {
    problems.0.iter().map(|p| p.code.as_str()).collect()
}

pub(super) fn has(outcome: &Outcome<(Site, Option<Ground>)>, code: &str) -> bool {
    outcome.findings.iter().any(|f| f.code == code)
}

pub(super) fn square() -> Vec<Polygon<f64>> {
    vec![rect(50.0, 50.0, 250.0, 250.0)]
}

#[test]
fn plane_comes_through_unchanged_and_the_stated_accuracy_stands() {
    let outcome = run(&raw(square(), raster(heights(1.0, plane))), Some(0.03), &SurveyParams::default()).unwrap();
    let (site, ground) = &outcome.value;
    let ground = ground.as_ref().unwrap();
    assert!((site.boundary.unsigned_area() - 40_000.0).abs() < 1e-6);
    assert_eq!(site.parcels[0].name, "Parcel 1");
    let at = Coord { x: 120.5, y: 99.5 };
    assert!((f64::from(ground.surveyed.0.at(at).unwrap()) - plane(at)).abs() < 1e-5);
    assert!(ground.concept == ground.surveyed);
    assert!(ground.accuracy.known && !ground.accuracy.budget_only());
    assert!((ground.accuracy.band_95_m() - 0.0588).abs() < 1e-12);
    assert!(has(&outcome, "no_control"));
}

#[test]
fn without_elevation_there_is_a_site_and_no_ground() {
    let outcome = run(&raw(square(), None), None, &SurveyParams::default()).unwrap();
    assert!(outcome.value.1.is_none());
}

#[test]
fn unknown_accuracy_is_for_budget_only() {
    let outcome = run(&raw(square(), raster(heights(1.0, plane))), None, &SurveyParams::default()).unwrap();
    let accuracy = &outcome.value.1.as_ref().unwrap().accuracy;
    assert!(!accuracy.known && accuracy.budget_only());
    assert!(has(&outcome, "budget_only"));
}

#[test]
fn fine_cells_are_averaged_to_whole_multiples() {
    let params = SurveyParams { cell_size_m: 2.5, ..SurveyParams::default() };
    let outcome = run(&raw(square(), raster(heights(1.0, plane))), Some(0.03), &params).unwrap();
    let ground = outcome.value.1.as_ref().unwrap().surveyed.0.clone();
    assert!((ground.spec.cell_m - 2.5).abs() < 1e-12);
    assert!((ground.spec.north_west.x / 2.5).fract().abs() < 1e-9);
    // The area mean of a plane is its height at the middle, whatever the share of each fine cell.
    for (cell, z) in ground.iter() {
        let at = ground.spec.centre(cell);
        if (60.0..240.0).contains(&at.x) && (60.0..240.0).contains(&at.y) {
            assert!((f64::from(z) - plane(at)).abs() < 2e-4, "{at:?} {z}");
        }
    }
    assert!(has(&outcome, "elevation_averaged"));
    let coarse = run(&raw(square(), raster(heights(5.0, plane))), Some(0.03), &params).unwrap();
    assert!((coarse.value.1.unwrap().surveyed.0.spec.cell_m - 5.0).abs() < 1e-12);
}

#[test]
fn outlines_that_cannot_be_read_are_refused_with_the_place() {
    let bow_tie = polygon![(x: 50.0, y: 50.0), (x: 250.0, y: 250.0), (x: 250.0, y: 50.0), (x: 50.0, y: 250.0)];
    let problems = run(&raw(vec![bow_tie], None), None, &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&problems), ["boundary_crosses_itself"]);
    assert!(problems.0[0].message.contains("E 150.0 N 150.0"), "{problems}");
    let problems = run(&raw(Vec::new(), None), None, &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&problems), ["boundary_empty"]);
}

#[test]
fn a_slip_of_the_pen_is_mended_and_said() {
    // A curl of a few square metres at one corner.
    let slip = polygon![
        (x: 50.0, y: 50.0), (x: 250.0, y: 50.0), (x: 250.0, y: 250.0), (x: 52.0, y: 250.0),
        (x: 50.0, y: 252.0), (x: 50.0, y: 250.0), (x: 53.0, y: 252.0), (x: 50.0, y: 248.0)
    ];
    let outcome = run(&raw(vec![slip], None), None, &SurveyParams::default()).unwrap();
    assert!(has(&outcome, "boundary_repaired"));
    assert!((outcome.value.0.boundary.unsigned_area() - 40_000.0).abs() < 20.0);
}

#[test]
fn overlaps_and_sizes_are_checked() {
    let two = vec![rect(0.0, 0.0, 150.0, 100.0), rect(140.0, 0.0, 300.0, 100.0)];
    let problems = run(&raw(two, None), None, &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&problems), ["parcels_overlap"]);
    assert!(problems.0[0].message.contains("1000 m2"), "{problems}");
    // A millimetre of overlap is drawing error.
    let touching = vec![rect(0.0, 0.0, 150.001, 100.0), rect(150.0, 0.0, 300.0, 100.0)];
    assert!(run(&raw(touching, None), None, &SurveyParams::default()).is_ok());
    let small = run(&raw(vec![rect(0.0, 0.0, 70.0, 70.0)], None), None, &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&small), ["boundary_too_small"]);
    let large = vec![rect(0.0, 0.0, 30_000.0, 20_000.0)];
    let large = run(&raw(large, None), None, &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&large), ["boundary_too_large"]);
    assert!(large.0[0].message.contains("60000 ha"));
}

/// A grid the free memory does not take is refused, and the cell named is one that fits.
#[test]
fn a_grid_beyond_the_memory_is_refused() {
    let raw = raw(vec![rect(20.0, 20.0, 280.0, 280.0)], raster(heights(1.0, plane)));
    let ctx = Ctx { progress: &Silent, cancel: &AtomicBool::new(false) };
    let with = |most_cells: f64, params: &SurveyParams| {
        let input =
            SurveyInput { raw: &raw, name: "Test", stated_sigma_m: None, parcels_worked_as_one: false, most_cells };
        Survey::run(input, params, &ctx)
    };
    // 260 m and 20 m of margin on either side: 90,000 cells of 1 m; 2.5 m is the least of tenths that takes 15,000.
    let params = SurveyParams { margin_m: 20.0, ..SurveyParams::default() };
    let refused = with(15_000.0, &params).unwrap_err();
    assert_eq!(codes(&refused), ["grid_too_large"]);
    assert!(refused.0[0].hint.as_deref().is_some_and(|h| h.contains("to 2.5 or more")), "{refused:?}");
    assert!(with(15_000.0, &SurveyParams { cell_size_m: 2.5, ..params.clone() }).is_ok());
    assert!(with(90_000.0, &params).is_ok());
}

#[test]
fn heights_that_do_not_cover_are_refused() {
    let cases = [
        (vec![rect(1000.0, 1000.0, 1200.0, 1200.0)], "boundary_outside_raster"),
        (vec![rect(100.0, 100.0, 340.0, 200.0)], "boundary_partly_on_raster"),
    ];
    for (parcels, code) in cases {
        let problems =
            run(&raw(parcels, raster(heights(1.0, plane))), Some(0.03), &SurveyParams::default()).unwrap_err();
        assert_eq!(codes(&problems)[0], code);
    }
    let mut shifted = heights(1.0, plane);
    shifted.spec.north_west = Coord { x: 5000.0, y: 300.0 };
    let swapped = vec![rect(50.0, 5050.0, 250.0, 5250.0)];
    let problems = run(&raw(swapped, raster(shifted)), Some(0.03), &SurveyParams::default()).unwrap_err();
    assert!(problems.0[0].hint.as_ref().unwrap().contains("swapped"));
}

#[test]
fn small_holes_are_filled_and_large_ones_refused() {
    let hole = |side: f64| {
        let mut r = heights(1.0, plane);
        for i in 0..r.spec.len() {
            let c = r.spec.centre(r.spec.cell(i));
            if (c.x - 150.0).abs() < side / 2.0 && (c.y - 150.0).abs() < side / 2.0 {
                r.values[i] = f32::NAN;
                r.valid[i] = i % 2 == 0;
            }
        }
        r
    };
    let outcome = run(&raw(square(), raster(hole(10.0))), Some(0.03), &SurveyParams::default()).unwrap();
    assert!(has(&outcome, "voids_filled") && has(&outcome, "impossible_heights"));
    let at = Coord { x: 150.5, y: 149.5 };
    let filled = outcome.value.1.unwrap().surveyed.0.at(at).unwrap();
    assert!((f64::from(filled) - plane(at)).abs() < 1e-3);
    let problems = run(&raw(square(), raster(hole(30.0))), Some(0.03), &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&problems), ["void_too_large"]);
    assert!(problems.0[0].message.contains("900 m2"), "{problems}");
    assert!(problems.0[0].message.contains("E 150 N 150"), "{problems}");
}

#[test]
fn spikes_go_and_absurd_relief_is_refused() {
    let mut r = heights(1.0, plane);
    let i = r.spec.index(r.spec.cell_at(Coord { x: 150.5, y: 150.5 }).unwrap());
    r.values[i] += 18.0;
    let outcome = run(&raw(square(), raster(r)), Some(0.03), &SurveyParams::default()).unwrap();
    assert!(has(&outcome, "spikes_removed"));
    let z = outcome.value.1.unwrap().surveyed.0.at(Coord { x: 150.5, y: 150.5 }).unwrap();
    assert!((f64::from(z) - plane(Coord { x: 150.5, y: 150.5 })).abs() < 1e-3);
    let wall = heights(1.0, |p| if p.x > 150.0 { 4000.0 } else { 0.0 });
    let problems = run(&raw(square(), raster(wall)), Some(0.03), &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&problems), ["absurd_heights"]);
}

#[test]
fn control_points_show_a_shift_that_is_not_applied() {
    let mut given = raw(square(), raster(heights(1.0, plane)));
    for (k, off) in [0.09, 0.10, 0.11].into_iter().enumerate() {
        let at = Coord { x: 80.0 + 50.0 * k as f64, y: 120.0 };
        given.layers.control_points.push(ControlPoint { name: format!("CP{k}"), at, height_m: plane(at) - off });
    }
    let outcome = run(&given, Some(0.03), &SurveyParams::default()).unwrap();
    let ground = outcome.value.1.as_ref().unwrap();
    let (shift, n) = ground.accuracy.control_shift_m.unwrap();
    assert!((shift - 0.10).abs() < 1e-4 && n == 3);
    assert!((ground.accuracy.control_sd_m.unwrap() - 0.01).abs() < 1e-4);
    assert!(has(&outcome, "control_shift"));
    let at = Coord { x: 130.5, y: 120.5 };
    assert!((f64::from(ground.surveyed.0.at(at).unwrap()) - plane(at)).abs() < 1e-5);
}

#[test]
fn points_make_a_ground_with_its_own_accuracy() {
    let mut points = Vec::new();
    for i in 0..30 {
        for j in 0..30 {
            let at = Coord { x: 5.0 + 10.0 * f64::from(i), y: 5.0 + 10.0 * f64::from(j) };
            // A fixed pattern of 20 mm amplitude stands for survey error.
            let error = if (i * 7 + j * 13) % 5 < 2 { 0.02 } else { -0.02 };
            points.push(SurveyPoint { at, height_m: plane(at) + error, vertical_sigma_m: None, swath: None });
        }
    }
    let elevation = Some(RawElevation::Points { points, floats: 4, blanks: 0 });
    let params = SurveyParams { cell_size_m: 5.0, ..SurveyParams::default() };
    let outcome = run(&raw(square(), elevation), None, &params).unwrap();
    let ground = outcome.value.1.as_ref().unwrap();
    assert!(ground.accuracy.known && has(&outcome, "float_fixes_dropped"));
    assert!((0.01..0.05).contains(&ground.accuracy.vertical_sigma_m), "{}", ground.accuracy.vertical_sigma_m);
    let z = ground.surveyed.0.at(Coord { x: 152.0, y: 152.0 }).unwrap();
    assert!((f64::from(z) - plane(Coord { x: 152.5, y: 152.5 })).abs() < 0.021);
    // Nothing beyond the hull of the points.
    assert_eq!(ground.surveyed.0.at(Coord { x: 2.0, y: 150.0 }), None);
}

#[test]
fn points_that_leave_ground_out_are_refused() {
    let corner =
        |x: f64, y: f64| SurveyPoint { at: Coord { x, y }, height_m: 3.0, vertical_sigma_m: None, swath: None };
    let points = vec![corner(60.0, 60.0), corner(90.0, 60.0), corner(60.0, 90.0), corner(90.0, 90.0)];
    let elevation = Some(RawElevation::Points { points, floats: 0, blanks: 0 });
    let problems = run(&raw(square(), elevation), None, &SurveyParams::default()).unwrap_err();
    assert_eq!(codes(&problems), ["void_too_large"]);
}

/// Beds of 4 m at 50 degrees and 0.1 m amplitude on a plane, with a channel 2 m deep.
fn bedded(p: Coord<f64>) -> f64 {
    let across = p.x * 50.0_f64.to_radians().cos() - p.y * 50.0_f64.to_radians().sin();
    let channel = if (p.x - 200.0).abs() < 4.0 { -2.0 } else { 0.0 };
    plane(p) + 0.1 * (across * std::f64::consts::TAU / 4.0).sin() + channel
}

#[test]
fn beds_are_found_and_smoothed_and_channels_kept() {
    let mut given = raw(square(), raster(heights(1.0, bedded)));
    let (s, c) = 50.0_f64.to_radians().sin_cos();
    for with_rows in [false, true] {
        if with_rows {
            // Every tenth bed is drawn, as maps often do: the spacing still comes from the ground.
            given.layers.old_tree_rows = (0..3)
                .map(|k| {
                    let x = 60.0 + 40.0 * f64::from(k) / c;
                    LineString(vec![Coord { x, y: 60.0 }, Coord { x: x + 150.0 * s, y: 60.0 + 150.0 * c }])
                })
                .collect();
        }
        let outcome = run(&given, Some(0.03), &SurveyParams::default()).unwrap();
        let said = &outcome.findings.iter().find(|f| f.code == "beds_smoothed").unwrap().message;
        assert!(said.contains("along bearing 50 degrees"), "{said}");
        let effect = &outcome.findings.iter().find(|f| f.code == "beds_effect").unwrap().message;
        // Waves of 0.1 m and 4 m slope by 0.1 * (2 pi / 4) * 2 / pi = 10 % on average; cells of 1 m see two thirds of
        // that (sin(kh) / kh). What is left without them is the plane (0.1 %) and the banks of the channel.
        let (_, slopes) = effect.split_once("cells from ").unwrap();
        let percent: Vec<f64> = slopes.split(' ').filter_map(|t| t.parse().ok()).take(2).collect();
        assert!(percent[0] > 5.0 && percent[0] < 12.0 && percent[1] < 0.5 * percent[0], "{effect}");
        let ground = outcome.value.1.unwrap();
        assert!((ground.smoothed_over_m - 8.0).abs() < 0.3, "{}", ground.smoothed_over_m);
        // Mean of |0.1 sin| is 0.0637.
        assert!((ground.beds_mean_m - 0.0637).abs() < 0.02, "{}", ground.beds_mean_m);
        let far = Coord { x: 100.5, y: 150.5 };
        assert!((f64::from(ground.concept.0.at(far).unwrap()) - plane(far)).abs() < 0.01);
        let bed = Coord { x: 200.5, y: 150.5 };
        assert_eq!(ground.concept.0.at(bed), ground.surveyed.0.at(bed));
    }
}

#[test]
fn noise_makes_no_beds() {
    let hash = |p: Coord<f64>| {
        let mut n = (p.x as u64 * 1000 + p.y as u64).wrapping_add(0x9E37_79B9_7F4A_7C15);
        n = (n ^ (n >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        n = (n ^ (n >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((n ^ (n >> 31)) >> 40) as f64 / f64::from(1_u32 << 24) - 0.5
    };
    let outcome =
        run(&raw(square(), raster(heights(1.0, |p| plane(p) + 0.2 * hash(p)))), Some(0.03), &SurveyParams::default())
            .unwrap();
    assert!(!has(&outcome, "beds_smoothed"));
}
