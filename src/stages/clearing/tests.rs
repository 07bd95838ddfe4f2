//! The stage on one made-up block whose windrows can be counted by hand.

use super::*;
use crate::grid::{GridSpec, Raster};
use crate::land::blocks::BlockId;
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::{KeepArea, KeepKind, PowerLine, SiteLayers, Waterway};
use crate::land::water::{DrainReach, DrainageLine};
use crate::stages::Silent;
use geo::{Distance, Euclidean, Intersects, Line, LineString, Point, Polygon};
use std::sync::atomic::AtomicBool;

fn rectangle(west: f64, south: f64, east: f64, north: f64) -> Polygon<f64> {
    let c = |x, y| Coord { x, y };
    Polygon::new(
        LineString(vec![c(west, south), c(east, south), c(east, north), c(west, north), c(west, south)]),
        vec![],
    )
}

/// A block of 300 m by 480 m with rows north to south, 30 m inside its boundary, and a flow line across its middle.
struct Place {
    site: Site,
    water: WaterModel,
    blocks: BlockPlan,
}

fn place() -> Place {
    let boundary = MultiPolygon(vec![rectangle(0.0, 0.0, 360.0, 540.0)]);
    let site = Site {
        name: "Test".to_owned(),
        parcels: Vec::new(),
        boundary,
        parcels_worked_as_one: false,
        layers: SiteLayers::default(),
        not_given: Vec::new(),
        crs: CrsTag { name: "g".to_owned(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None },
        geodesy: LocalGeodesy::flat(),
    };
    let block = RowBlock {
        id: BlockId(1),
        name: "B1".to_owned(),
        parcel: String::new(),
        outline: rectangle(30.0, 30.0, 330.0, 510.0),
        cropped: MultiPolygon(vec![rectangle(30.0, 40.0, 330.0, 500.0)]),
        bearing: Bearing::from_degrees(180.0),
        row_spacing_m: 2.0,
        rows: Vec::new(),
        headlands: Vec::new(),
        judged: crate::land::blocks::Judged::default(),
        given: false,
        bent: None,
    };
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 540.0 }, cell_m: 20.0, rows: 27, cols: 18 };
    let flow = DrainageLine {
        id: 1,
        line: LineString(vec![Coord { x: 0.0, y: 250.0 }, Coord { x: 360.0, y: 290.0 }]),
        order: 1,
        catchment_ha: 5.0,
        waterway: None,
        stays_open: false,
    };
    let water = WaterModel {
        drainage_lines: vec![flow],
        ponds: Vec::new(),
        pond_depth: Raster::empty(spec, 0.0),
        inflows: Vec::new(),
        outflows: Vec::new(),
        outflow_of: Raster::empty(spec, 0),
        outlets: Vec::new(),
        reach: DrainReach { level: Raster::empty(spec, 0.0), outlet: Raster::empty(spec, 0) },
        buffers: Vec::new(),
        no_rows: MultiPolygon(Vec::new()),
        plantable: Vec::new(),
    };
    Place { site, water, blocks: BlockPlan { blocks: vec![block], ..BlockPlan::default() } }
}

fn run(place: &Place, params: &ClearingParams) -> Outcome<ClearingPlan> {
    let cancel = AtomicBool::new(false);
    let rates = Rates::default();
    let input = ClearingInput { site: &place.site, water: &place.water, blocks: &place.blocks, rates: &rates };
    Clearing::run(input, params, &Ctx { progress: &Silent, cancel: &cancel }).unwrap()
}

/// Hand count: 300 m across at 60 m are 5 windrows 30 m in from each side, each cut by the flow line into two and those
/// (about 225 m) by gaps into parts of 70 m; mean push is a quarter of the spacing.
#[test]
fn windrows_lie_along_the_rows() {
    let out = run(&place(), &ClearingParams::default());
    let plan = &out.value;
    let mut easts: Vec<i64> = plan.windrows.iter().map(|w| w.line.0[0].x.round() as i64).collect();
    easts.sort_unstable();
    easts.dedup();
    assert_eq!(easts, vec![60, 120, 180, 240, 300]);
    assert!(plan.windrows.iter().all(|w| (w.line.0[0].x - w.line.0[1].x).abs() < 1e-6));
    assert!(plan.windrows.iter().all(|w| windrows::line_length_m(&w.line) <= 70.0 + 1e-6));
    assert!((plan.mean_push_m - 15.0).abs() < 1e-9);
    assert!((plan.knock_down_bearing.axis_angle_to(plan.rake_bearing) - 90.0).abs() < 1e-9);
    // 300 m x 480 m at 130 t/ha.
    assert!((plan.debris_t - 14.4 * 130.0).abs() < 1e-6);
    let loads: f64 = plan.windrows.iter().map(|w| w.load_t).sum();
    assert!((loads - plan.debris_t).abs() < 1e-6);
}

#[test]
fn windrows_and_heaps_keep_clear_of_everything() {
    let mut at = place();
    let layers = &mut at.site.layers;
    let power = LineString(vec![Coord { x: 0.0, y: 420.0 }, Coord { x: 360.0, y: 400.0 }]);
    layers.power_lines.push(PowerLine { line: power.clone(), clearance_m: None, easement_m: None });
    let creek = LineString(vec![Coord { x: 0.0, y: 60.0 }, Coord { x: 360.0, y: 100.0 }]);
    layers.waterways.push(Waterway {
        id: 1,
        name: "creek".to_owned(),
        line: creek.clone(),
        banks: None,
        order: None,
        width_m: Some(6.0),
    });
    let house = MultiPolygon(vec![rectangle(20.0, 200.0, 40.0, 220.0)]);
    layers.keep_areas.push(KeepArea { outline: house.clone(), kind: KeepKind::Structure, reason: "house".to_owned() });
    let out = run(&at, &ClearingParams::default());
    let plan = &out.value;
    assert!(plan.windrows.len() > 10 && plan.heaps.len() > 5);
    let flow = &at.water.drainage_lines[0].line;
    for windrow in &plan.windrows {
        assert!(!windrow.line.intersects(flow) && Euclidean.distance(&windrow.line, flow) >= 5.0 - 0.01);
        assert!(Euclidean.distance(&windrow.line, &power) >= 30.0 - 0.02);
        assert!(Euclidean.distance(&windrow.line, &creek) >= 33.0 - 0.02);
    }
    let edge = at.site.boundary.0[0].exterior();
    for heap in &plan.heaps {
        let point = Point(heap.at);
        assert!(Euclidean.distance(&point, edge) >= 20.0);
        assert!(Euclidean.distance(&point, &house) >= 100.0);
        assert!(Euclidean.distance(&point, &power) >= 30.0 - 0.02);
        assert!(!heap.nearest.1.is_empty());
    }
    let loads: f64 = plan.heaps.iter().map(|h| h.load_t).sum();
    assert!((loads - plan.debris_t).abs() < 1e-6);
    let codes: Vec<&str> = out.findings.iter().map(|f| f.code.as_str()).collect();
    assert!(codes.contains(&"power_line_near_works") && codes.contains(&"fire_permit"));
}

/// A stand-off wider than the property leaves no place for any heap: said, not hidden.
#[test]
fn heaps_without_place_are_dropped_and_said() {
    let out = run(&place(), &ClearingParams { off_boundary_m: 400.0, ..ClearingParams::default() });
    assert!(out.value.heaps.is_empty());
    let finding = out.findings.iter().find(|f| f.code == "heap_without_place").unwrap();
    assert_eq!(finding.severity, Severity::Severe);
}

/// A creek 50 m west of the block: its stacks stand along the western edge, and nothing is burnt.
#[test]
fn bank_stacks_lie_along_the_edge_at_the_bank() {
    let mut at = place();
    let line = LineString(vec![Coord { x: -15.0, y: 0.0 }, Coord { x: -15.0, y: 540.0 }]);
    at.site.layers.waterways.push(Waterway {
        id: 1,
        name: "creek".to_owned(),
        line,
        banks: None,
        order: None,
        width_m: None,
    });
    let out = run(&at, &ClearingParams { disposal: Disposal::BankStack, ..ClearingParams::default() });
    let plan = &out.value;
    assert!(plan.heaps.is_empty() && !plan.windrows.is_empty());
    assert!(plan.windrows.iter().all(|w| w.stays && w.line.0.iter().all(|c| c.x < 70.0)));
    let west = Line::new(Coord { x: 34.5, y: 0.0 }, Coord { x: 34.5, y: 540.0 });
    assert!(plan.windrows.iter().any(|w| w.line.0.iter().all(|c| Euclidean.distance(&Point(*c), &west) < 0.01)));
    assert!(out.findings.iter().any(|f| f.code == "push_too_long"));
}

/// Arithmetic: with push 0.1 $/t/m, 130 t/ha and 6 $/m of windrow, 2 sqrt(6 / (0.1 x 0.013)) = 135.9 m; capped as given.
#[test]
fn cheapest_spacing_never_exceeds_the_given_one() {
    let p = ClearingParams { spacing: SpacingChoice::Cheapest, ..ClearingParams::default() };
    assert!((windrows::cheapest_spacing_m(&p) - 135.87).abs() < 0.01);
    assert!((windrows::spacing_m(&p) - 60.0).abs() < 1e-12);
    let dear_push = ClearingParams { push_cost_per_t_m: 1.0, ..p };
    assert!((windrows::spacing_m(&dear_push) - 42.97).abs() < 0.01);
}

#[test]
fn contradictory_gaps_are_refused() {
    let at = place();
    let cancel = AtomicBool::new(false);
    let rates = Rates::default();
    let input = ClearingInput { site: &at.site, water: &at.water, blocks: &at.blocks, rates: &rates };
    let p = ClearingParams { gap_m: 80.0, ..ClearingParams::default() };
    let result = Clearing::run(input, &p, &Ctx { progress: &Silent, cancel: &cancel });
    assert_eq!(result.unwrap_err().0[0].code, "windrow_gaps");
}
