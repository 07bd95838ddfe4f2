//! Checks on surveys made of points: faults put into a clean survey must be told, and only then.
//!
//! The surveys are made here: passes 10 m apart with a point every 2 m, 10 mm of noise, on a known ground. Limits are
//! those of the stage.

use super::tests::{codes, has, heights, plane, raster, raw, run, square};
use super::*;
use crate::finding::Place;
use crate::land::survey::{Breakline, RawElevation, SurveyPoint};
use geo::{Coord, MultiPolygon, Rect};

/// Evenly spread noise of a standard deviation, from a fixed seed.
struct Noise(u64);

impl Noise {
    fn next(&mut self, sd: f64) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) as f64 / (1_u64 << 53) as f64 - 0.5) * sd * 12.0_f64.sqrt()
    }
}

/// Passes to and fro over the square, with cross ties; `fault` is added to the height of pass `k` at a place.
fn driven(
    noise_m: f64,
    ground: impl Fn(Coord<f64>) -> f64,
    fault: impl Fn(usize, Coord<f64>) -> f64,
) -> Vec<SurveyPoint> {
    let mut noise = Noise(0x9E37_79B9_7F4A_7C15);
    let mut points = Vec::new();
    let mut add = |pass: usize, at: Coord<f64>| {
        let height_m = ground(at) + fault(pass, at) + noise.next(noise_m);
        points.push(SurveyPoint { at, height_m, vertical_sigma_m: None, swath: None });
    };
    for pass in 0..27 {
        for k in 0..131 {
            let along = if pass % 2 == 0 { f64::from(k) } else { f64::from(130 - k) };
            add(pass as usize, Coord { x: 20.0 + 10.0 * f64::from(pass), y: 20.0 + 2.0 * along });
        }
    }
    for (tie, y) in [(100, 91.0), (101, 191.0)] {
        for k in 0..131 {
            add(tie, Coord { x: 20.0 + 2.0 * f64::from(k), y });
        }
    }
    points
}

fn swell(p: Coord<f64>) -> f64 {
    plane(p) + 0.1 * (p.x / 60.0).sin() * (p.y / 70.0).cos()
}

fn points(points: Vec<SurveyPoint>) -> RawElevation {
    RawElevation::Points { points, floats: 0, blanks: 0 }
}

fn surveyed(list: Vec<SurveyPoint>) -> Outcome<(Site, Option<Ground>)> {
    run(&raw(square(), Some(points(list))), None, &SurveyParams::default()).unwrap()
}

fn finding<'a>(outcome: &'a Outcome<(Site, Option<Ground>)>, code: &str) -> &'a Finding {
    outcome.findings.iter().find(|f| f.code == code).unwrap_or_else(|| panic!("{code}: {:#?}", outcome.findings))
}

/// The number behind some words of a finding.
fn metres(outcome: &Outcome<(Site, Option<Ground>)>, code: &str, behind: &str) -> f64 {
    let message = &finding(outcome, code).message;
    let rest = message.split(behind).nth(1).unwrap_or_else(|| panic!("{message}"));
    rest.split_whitespace().next().unwrap().trim_end_matches(['.', ',']).parse().unwrap()
}

#[test]
fn a_clean_survey_gets_its_accuracy_by_whole_passes_and_no_blame() {
    let outcome = surveyed(driven(0.01, swell, |_, _| 0.0));
    for code in [
        "swath_step",
        "washboard",
        "track_noise",
        "points_off_surroundings",
        "no_cross_ties",
        "points_patchy",
        "budget_only",
    ] {
        assert!(!has(&outcome, code), "{code}: {}", finding(&outcome, code).message);
    }
    let accuracy = &outcome.value.1.as_ref().unwrap().accuracy;
    assert!(accuracy.known && accuracy.basis.contains("whole passes"), "{}", accuracy.basis);
    // Derived: a point of 10 mm predicted from the passes 10 m to both sides, 20 m apart; the swell bends by at most
    // 0.1 / 60^2 a metre, times 10^2 / 2 between the passes: 1.4 mm.
    assert!((0.009..0.016).contains(&accuracy.vertical_sigma_m), "{}", accuracy.vertical_sigma_m);
    let said = &finding(&outcome, "accuracy_measured").message;
    assert!(said.contains("bias") && said.contains("95 %"), "{said}");
    assert!(has(&outcome, "vertical_datum_unknown") && has(&outcome, "point_density"));
}

/// By hand: 50 x 25 m in two squares, three points in the western one: 3 / 0.0625 ha, and none.
#[test]
fn density_counts_points_a_hectare() {
    let land = MultiPolygon(vec![Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 50.0, y: 25.0 }).to_polygon()]);
    let points: Vec<SurveyPoint> = [1.0, 2.0, 24.0]
        .map(|x| SurveyPoint { at: Coord { x, y: 9.0 }, height_m: 1.0, vertical_sigma_m: None, swath: None })
        .to_vec();
    let raster = super::points::density(&points, &land, &mut Vec::new()).unwrap();
    let at = |x: f64| raster.at(Coord { x, y: 12.0 });
    assert_eq!((at(12.0), at(37.0)), (Some(48.0), Some(0.0)));
}

#[test]
fn a_pass_with_another_antenna_height_is_named() {
    let outcome = surveyed(driven(0.01, swell, |pass, _| if pass == 11 { 0.08 } else { 0.0 }));
    let step = finding(&outcome, "swath_step");
    assert!(step.message.starts_with("1 of 27") && step.severity == Severity::Severe, "{}", step.message);
    let Place::Point { east_m, .. } = step.place else { panic!("a step has a place") };
    assert!((east_m - 130.0).abs() < 0.1, "{east_m}");
}

#[test]
fn passes_high_and_low_by_turns_are_a_washboard() {
    let outcome = surveyed(driven(0.01, swell, |pass, _| if pass % 2 == 0 { 0.015 } else { -0.015 }));
    // High and low by 15 mm: a step of 30 mm, a little less where the outermost passes have one neighbour only.
    let step_m = metres(&outcome, "washboard", "about ");
    assert!((0.026..0.032).contains(&step_m), "{step_m}");
    // A ground that curves between the passes is none: neighbours err to the same side.
    assert!(!has(&surveyed(driven(0.01, |p| plane(p) + 0.3 * (p.x / 40.0).sin(), |_, _| 0.0)), "washboard"));
}

#[test]
fn lone_points_and_a_bouncing_mast_are_told() {
    let tree = Coord { x: 150.0, y: 120.0 };
    let outcome = surveyed(driven(0.01, swell, |_, at| if at == tree { 0.9 } else { 0.0 }));
    let lone = finding(&outcome, "points_off_surroundings");
    assert!(lone.message.contains("1 high, 0 low") && lone.message.contains("+0.9"), "{}", lone.message);
    assert_eq!(lone.place, Place::Point { east_m: tree.x, north_m: tree.y });
    let outcome = surveyed(driven(0.035, swell, |_, _| 0.0));
    assert!(finding(&outcome, "track_noise").message.contains("0.03"), "{}", finding(&outcome, "track_noise").message);
}

#[test]
fn passes_all_one_way_and_bare_ground_are_told() {
    let mut list = driven(0.01, swell, |_, _| 0.0);
    list.truncate(27 * 131);
    assert!(has(&surveyed(list.clone()), "no_cross_ties"));
    // A fifth of the square left out, in a strip no wider than heights reach.
    list.retain(|p| !(p.at.x > 105.0 && p.at.x < 160.0));
    let outcome = surveyed(list);
    let patchy = finding(&outcome, "points_patchy");
    assert_eq!(patchy.severity, Severity::Warning);
    let Place::Point { east_m, .. } = patchy.place else { panic!("bare ground has a place") };
    assert!((105.0..160.0).contains(&east_m), "{east_m}");
}

/// Lines 30 m wide flown every 20 m, points 2 m apart; line 6 is 80 mm high.
#[test]
fn flown_lines_are_compared_where_they_overlap() {
    let mut noise = Noise(7);
    let mut list = Vec::new();
    for line in 0..13_u32 {
        for k in 0..2_000_u32 {
            let at = Coord { x: 20.0 + 20.0 * f64::from(line) + noise.next(8.6), y: 20.0 + 0.13 * f64::from(k) };
            let height_m = swell(at) + if line == 6 { 0.08 } else { 0.0 } + noise.next(0.01);
            list.push(SurveyPoint { at, height_m, vertical_sigma_m: None, swath: Some(500 + line) });
        }
    }
    // Their order in the file says nothing.
    list.sort_by(|a, b| a.at.y.total_cmp(&b.at.y).then(a.at.x.total_cmp(&b.at.x)));
    let outcome = surveyed(list);
    let step = finding(&outcome, "swath_step");
    assert!(step.message.contains("flight lines"), "{}", step.message);
    assert!((metres(&outcome, "swath_step", "the worst by ") - 0.08).abs() < 0.015, "{}", step.message);
    let Place::Point { east_m, .. } = step.place else { panic!("a step has a place") };
    assert!((east_m - 140.0).abs() < 15.0, "{east_m}");
    // Accuracy is that of blocks, not of ground a whole line away.
    let accuracy = &outcome.value.1.as_ref().unwrap().accuracy;
    assert!(accuracy.basis.contains("blocks") && accuracy.vertical_sigma_m < 0.06, "{accuracy:?}");
}

/// Every tenth pass, shifted: what a second crew measured, `off` metres high.
fn second(off: f64) -> Vec<SurveyPoint> {
    let mut list = driven(0.01, swell, |_, _| off);
    list.retain(|p| p.at.x > 60.0 && p.at.x < 100.0);
    list.iter_mut().for_each(|p| p.at.x += 3.0);
    list.iter_mut().for_each(|p| p.height_m += swell(p.at) - swell(Coord { x: p.at.x - 3.0, y: p.at.y }));
    list
}

#[test]
fn sources_are_compared_before_they_are_used_together() {
    let with = |first: RawElevation, more: RawElevation| {
        let mut given = raw(square(), Some(first));
        given.more_elevation = vec![("second.csv".to_owned(), more)];
        run(&given, None, &SurveyParams::default())
    };
    let first = || points(driven(0.01, swell, |_, _| 0.0));
    let agreed = with(first(), points(second(0.0))).unwrap();
    assert!(finding(&agreed, "sources_agree").message.contains("`second.csv` lies"));
    let differ = with(first(), points(second(0.08))).unwrap();
    assert_eq!(finding(&differ, "sources_differ").severity, Severity::Severe);
    assert!((metres(&differ, "sources_differ", " lies ") - 0.08).abs() < 0.005);
    let problems = with(first(), points(second(0.4))).unwrap_err();
    assert_eq!(codes(&problems), ["sources_disagree"]);
    assert!(problems.0[0].message.contains("second.csv"), "{problems}");
    // A raster against points, in either order: the sign follows the order.
    let high = || raster(heights(1.0, |p| swell(p) + 0.08)).unwrap();
    let said = with(first(), high()).unwrap();
    assert!((metres(&said, "sources_differ", " lies ") - 0.08).abs() < 0.005);
    let said = with(high(), first()).unwrap();
    assert!((metres(&said, "sources_differ", " lies ") + 0.08).abs() < 0.005);
    // Far apart they cannot be compared, and that is said.
    let corner = second(0.0)
        .into_iter()
        .filter(|p| p.at.y < 45.0)
        .map(|p| SurveyPoint { at: Coord { x: p.at.x, y: p.at.y - 45.0 }, ..p });
    assert!(has(&with(first(), points(corner.collect())).unwrap(), "source_untied"));
}

#[test]
fn what_one_source_leaves_out_the_next_fills_in() {
    let mut part = heights(1.0, swell);
    for i in 0..part.spec.len() {
        part.valid[i] = part.spec.centre(part.spec.cell(i)).x < 150.0;
    }
    let mut given = raw(square(), raster(part));
    given.more_elevation = vec![("rtk.csv".to_owned(), points(driven(0.0, swell, |_, _| 0.0)))];
    let outcome = run(&given, Some(0.03), &SurveyParams::default()).unwrap();
    let ground = &outcome.value.1.as_ref().unwrap().surveyed.0;
    for x in [100.5, 200.5] {
        let at = Coord { x, y: 149.5 };
        assert!((f64::from(ground.at(at).unwrap()) - swell(at)).abs() < 0.002, "{x}");
    }
}

#[test]
fn breaklines_keep_the_edge_of_a_bank_sharp() {
    let bank = |p: Coord<f64>| plane(p) + if p.x < 152.0 { 0.0 } else { 1.0 };
    let list: Vec<SurveyPoint> = driven(0.0, bank, |_, _| 0.0);
    let along = |x: f64, up: f64| {
        let at = |k: i32| Coord { x, y: 20.0 + 26.0 * f64::from(k) };
        Breakline { vertices: (0..11).map(at).map(|p| (p, plane(p) + up)).collect() }
    };
    // The cross ties run over the bank; their points beyond the toe line stand on the top.
    let mut given = raw(square(), Some(points(list)));
    given.breaklines = vec![along(151.9, 0.0), along(152.0, 1.0)];
    let outcome = run(&given, Some(0.03), &SurveyParams::default()).unwrap();
    let ground = &outcome.value.1.as_ref().unwrap().surveyed.0;
    for (x, up) in [(146.5, 0.0), (151.5, 0.0), (152.5, 1.0), (157.5, 1.0)] {
        let at = Coord { x, y: 140.5 };
        assert!((f64::from(ground.at(at).unwrap()) - plane(at) - up).abs() < 1e-4, "{x}");
    }
    given.breaklines.clear();
    let blunt = run(&given, Some(0.03), &SurveyParams::default()).unwrap();
    let z = blunt.value.1.as_ref().unwrap().surveyed.0.at(Coord { x: 151.5, y: 140.5 }).unwrap();
    assert!((f64::from(z) - plane(Coord { x: 151.5, y: 140.5 })).abs() > 0.05);
    assert!(!has(&outcome, "breaklines_cross"));
}
