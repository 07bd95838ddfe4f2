//! Ways of the crop out of the blocks, and the widths kept beside drains, fences and power lines.

use super::*;
use crate::finding::Finding;
use crate::land::site::{ExistingTrack, KeepArea, NeighbourDrain, PowerLine};
use geo::{LineString, Translate};

/// A property of 1,000 x 600 m entered at its south-west corner, with two pieces of 400 x 300 m.
fn farm(apart_m: f64) -> (Site, WaterModel) {
    let mut site = site(Vec::new());
    let boundary = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 1_000.0, y: 600.0 }).to_polygon();
    site.boundary = MultiPolygon(vec![boundary]);
    site.layers.loading_place = Some(Coord { x: 5.0, y: 5.0 });
    let first = rectangle(400.0, 300.0).translate(10.0, 10.0);
    let second = first.translate(400.0 + apart_m, 0.0);
    let mut water = water(first);
    water.plantable.push(PlantablePiece { id: 2, parcel: 0, outline: second });
    (site, water)
}

fn laid(site: &Site, water: &WaterModel) -> (BlockPlan, Vec<Finding>) {
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let rates = Rates::default();
    let ground = ground(0.0015, 0.0);
    let input = BlocksInput { site, ground: Some(&ground), water: Some(water), rates: &rates };
    let params = BlocksParams { bearing_deg: 90.0, ..BlocksParams::default() };
    let outcome = Blocks::run(input, &params, &ctx).unwrap();
    (outcome.value, outcome.findings)
}

fn told<'a>(findings: &'a [Finding], code: &str) -> Vec<&'a str> {
    findings.iter().filter(|f| f.code == code).map(|f| f.message.as_str()).collect()
}

/// Metres of a line that lie on the strips rows stand in.
fn over_rows_m(line: &LineString<f64>, plan: &BlockPlan) -> f64 {
    let length = |l: &LineString<f64>| l.lines().map(|e| e.dx().hypot(e.dy())).sum::<f64>();
    let lines = geo::MultiLineString(vec![line.clone()]);
    let over = plan.blocks.iter().map(|b| geo::BooleanOps::clip(&b.cropped, &lines, false));
    over.map(|l| l.0.iter().map(length).sum::<f64>()).sum()
}

#[test]
fn a_block_across_open_land_gets_a_track() {
    let (site, water) = farm(100.0);
    let (plan, findings) = laid(&site, &water);
    assert_eq!(plan.blocks.len(), 2);
    assert!(told(&findings, "no_access").is_empty() && told(&findings, "access_crosses").is_empty());
    // The shortest new track joins the headlands of the two blocks: 100 m, to a cell at either end.
    let length: f64 = plan.tracks.iter().flat_map(|t| t.line.lines()).map(|e| e.dx().hypot(e.dy())).sum();
    assert!((length - 100.0).abs() < 8.0, "{length}");
    assert!(plan.tracks.iter().all(|t| over_rows_m(&t.line, &plan) < 2.5));
}

#[test]
fn neighbours_need_no_track() {
    let (site, water) = farm(6.0);
    let (plan, findings) = laid(&site, &water);
    assert!(plan.tracks.is_empty() && told(&findings, "no_access").is_empty());
}

#[test]
fn a_strip_that_stays_free_is_crossed_with_a_warning() {
    let (site, mut water) = farm(100.0);
    let strip = Rect::new(Coord { x: 450.0, y: 0.0 }, Coord { x: 470.0, y: 600.0 }).to_polygon();
    water.no_rows = MultiPolygon(vec![strip]);
    let (_, findings) = laid(&site, &water);
    let warned = told(&findings, "access_crosses");
    assert_eq!(warned.len(), 1, "{warned:?}");
    assert!(warned[0].contains("over 20 m") || warned[0].contains("over 22 m"), "{}", warned[0]);
}

#[test]
fn a_block_behind_kept_land_cannot_be_reached() {
    let (mut site, water) = farm(100.0);
    let outline = Rect::new(Coord { x: 450.0, y: -10.0 }, Coord { x: 470.0, y: 610.0 }).to_polygon();
    let kind = crate::land::site::KeepKind::Other;
    site.layers.keep_areas.push(KeepArea { outline: MultiPolygon(vec![outline]), kind, reason: String::new() });
    let (plan, findings) = laid(&site, &water);
    let severe = told(&findings, "no_access");
    assert_eq!(severe.len(), 1);
    let far = plan.blocks.iter().find(|b| b.rows[0].high_end().x > 480.0).unwrap();
    assert!(severe[0].contains(&far.name));
}

#[test]
fn tracks_that_are_there_are_used() {
    let (mut site, water) = farm(100.0);
    let line: LineString<f64> = vec![(400.0, 12.0), (520.0, 12.0)].into();
    site.layers.tracks.push(ExistingTrack { name: "Flat".to_owned(), line, width_m: Some(5.0) });
    let (plan, _) = laid(&site, &water);
    assert!(plan.tracks.is_empty(), "{:?}", plan.tracks);
}

#[test]
fn headlands_are_as_wide_as_what_lies_beside_asks() {
    let (mut site, rates) = (site(Vec::new()), Rates::default());
    // The fence runs along the west end, a neighbour's drain along the east end, a power line along the south side.
    let boundary = Rect::new(Coord { x: -1.0, y: -400.0 }, Coord { x: 900.0, y: 800.0 }).to_polygon();
    site.boundary = MultiPolygon(vec![boundary]);
    let upright = |x: f64| -> LineString<f64> { vec![(x, -50.0), (x, 300.0)].into() };
    site.layers.neighbour_drains.push(NeighbourDrain { name: "East".to_owned(), line: upright(605.0), level_m: None });
    let wires: LineString<f64> = vec![(-50.0, -5.0), (590.0, -5.0)].into();
    site.layers.power_lines.push(PowerLine { line: wires, clearance_m: None, easement_m: None });
    let water = water(rectangle(600.0, 250.0));
    let params = BlocksParams { bearing_deg: 90.0, beside_fence_m: 3.0, ..BlocksParams::default() };
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let ground = ground(0.0015, 0.0);
    let input = BlocksInput { site: &site, ground: Some(&ground), water: Some(&water), rates: &rates };
    let plan = Blocks::run(input, &params, &ctx).unwrap().value;
    let rows = || plan.blocks.iter().flat_map(|b| &b.rows);
    // The land is taken half a metre inside its outline, so that nothing kept is touched.
    let (inside, tolerance) = (0.5, 0.02);
    let west = rows().map(|r| r.high_end().x).fold(f64::INFINITY, f64::min);
    assert!((west - (8.0 + 3.0 + inside)).abs() < tolerance, "{west}");
    let east = rows().map(|r| r.low_end().x).fold(0.0, f64::max);
    assert!((east - (600.0 - 8.0 - 2.0 - inside)).abs() < tolerance, "{east}");
    // Side strips: to the outer edge of the first row's own strip.
    let south = rows().map(|r| r.high_end().y).fold(f64::INFINITY, f64::min) - 1.83 / 2.0;
    assert!(south >= 5.0 + 2.0 + inside - tolerance && south < 5.0 + 2.0 + inside + 1.83, "{south}");
    let north = rows().map(|r| r.high_end().y).fold(0.0, f64::max) + 1.83 / 2.0;
    assert!(north <= 250.0 - 5.0 - inside + tolerance && north > 250.0 - 5.0 - inside - 1.83, "{north}");
}
