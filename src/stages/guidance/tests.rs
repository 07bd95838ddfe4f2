//! Guidance lines of small blocks worked out by hand.

use super::*;
use crate::land::blocks::BlockId;
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::SiteLayers;
use crate::stages::Silent;
use geo::{Coord, LineString, MultiPolygon, Polygon};
use std::sync::atomic::AtomicBool;

fn site(name: &str) -> Site {
    Site {
        name: name.to_owned(),
        parcels: Vec::new(),
        boundary: MultiPolygon(Vec::new()),
        parcels_worked_as_one: false,
        layers: SiteLayers::default(),
        not_given: Vec::new(),
        crs: CrsTag {
            name: "test grid".to_owned(),
            epsg: None,
            wkt: "PROJCS[\"t\",GEOGCS[\"GDA2020\",DATUM[\"GDA2020\",SPHEROID[\"GRS 1980\",6378137,298.257]]]]"
                .to_owned(),
            vertical_name: None,
            vertical_epsg: None,
        },
        geodesy: LocalGeodesy { scale: 0.9996, grid_north_azimuth_deg: 1.25, ..LocalGeodesy::flat() },
    }
}

/// `count` rows along a bearing of 30 degrees, 1.83 m apart on the ground, every third one drawn the other way.
fn block(id: u32, name: &str, count: u32, scale: f64) -> RowBlock {
    let frame = Frame::new(Bearing::from_degrees(30.0), Coord { x: 500.0, y: 900.0 });
    let rows = (0..count)
        .map(|i| {
            let across = f64::from(i) * 1.83 * scale;
            let ends = [frame.leave(across, f64::from(i)), frame.leave(across, 300.0 - f64::from(i))];
            let line = if i % 3 == 1 { vec![ends[1], ends[0]] } else { ends.to_vec() };
            Row { number: i + 1, line: LineString(line), length_m: 300.0, fall: None }
        })
        .collect();
    RowBlock {
        id: BlockId(id),
        name: name.to_owned(),
        parcel: String::new(),
        outline: Polygon::new(LineString(Vec::new()), Vec::new()),
        cropped: MultiPolygon(Vec::new()),
        bearing: Bearing::from_degrees(30.0),
        row_spacing_m: 1.83,
        rows,
        headlands: Vec::new(),
        judged: crate::land::blocks::Judged::default(),
        given: false,
        bent: None,
    }
}

fn run(site: &Site, blocks: Vec<RowBlock>, params: &GuidanceParams) -> Outcome<GuidancePlan> {
    let plan = BlockPlan { blocks, ..BlockPlan::default() };
    let cancel = AtomicBool::new(false);
    Guidance::run(GuidanceInput { site, blocks: &plan }, params, &Ctx { progress: &Silent, cancel: &cancel }).unwrap()
}

/// Hand count: 11 rows, the sixth is the middle one, five to each side; single rows a pass.
#[test]
fn passes_hit_the_rows() {
    let s = site("Flat Farm");
    let b = block(1, "North", 11, 0.9996);
    let out = run(&s, vec![b.clone()], &GuidanceParams::default());
    let line = &out.value.lines[0];
    assert_eq!(line.passes, (5, 5));
    assert_eq!(line.name, "Flat-Farm_North_R1.83_AB1");
    assert!((line.true_bearing.degrees() - line.grid_bearing.degrees() - 1.25).abs() < 1e-9);
    assert!((line.width_m - 1.83).abs() < 1e-12);
    let frame = Frame::new(line.grid_bearing, line.a());
    for row in &b.rows {
        for end in [row.high_end(), row.low_end()] {
            let place = frame.enter(end);
            let pass = place.across_m / (line.width_m * 0.9996);
            assert!((pass - pass.round()).abs() * line.width_m < 0.02);
        }
    }
    // A machine can stand on A and on B: they are the ends of a row.
    let sixth = &b.rows[5];
    for (end, of_row) in [(line.a(), sixth.high_end()), (line.b(), sixth.low_end())] {
        assert!((end.x - of_row.x).hypot(end.y - of_row.y) < 1e-6);
    }
    assert!(out.findings.iter().all(|f| f.severity == Severity::Note));
}

/// Rows bent round one centre (arcs of 400 m and more, drawn a point a metre): every row becomes a curve from its high
/// end to its low end, with points only where 20 mm ask for them. An arc of radius r under chords of sagitta s has chords of
/// length 2 sqrt(2 r s) (geometry of the circle): 8 m here, so 200 m take 25 chords or a few more.
#[test]
fn bent_rows_become_curves() {
    let mut b = block(1, "B", 7, 0.9996);
    for (i, row) in b.rows.iter_mut().enumerate() {
        let radius = 400.0 + 1.83 * 0.9996 * i as f64;
        let point = |k: i32| {
            let turn = f64::from(k) / radius;
            Coord { x: 500.0 + radius * turn.sin(), y: 900.0 + radius * turn.cos() }
        };
        row.line = (0..=200).map(point).collect();
    }
    let out = run(&site("F"), vec![b.clone()], &GuidanceParams::default());
    assert!(out.findings.iter().any(|f| f.code == "row_off_pass"), "one straight line does not serve bent rows");
    assert_eq!(out.value.lines.len(), 7);
    for (line, row) in out.value.lines.iter().zip(&b.rows) {
        assert!(line.is_curve() && (20..60).contains(&line.line.0.len()), "{}", line.line.0.len());
        assert_eq!((line.a(), line.b()), (row.high_end(), row.low_end()));
        for p in &row.line.0 {
            use geo::{Distance, Euclidean, Point};
            assert!(Euclidean.distance(&Point::from(*p), &line.line) <= CURVE_TOLERANCE_M + 1e-9);
        }
    }
}

/// Hand count: 10 rows two at a time from between rows 6 and 7: rows 5..10 in passes 0 to 2 right, 1..4 two left.
#[test]
fn two_rows_a_pass_are_straddled() {
    let out =
        run(&site("F"), vec![block(1, "B", 10, 0.9996)], &GuidanceParams { pass_rows: 2, ..GuidanceParams::default() });
    let line = &out.value.lines[0];
    // Row 6 lies half a spacing left of the line, so the pass on the line takes rows 6 and 7.
    let frame = Frame::new(line.grid_bearing, line.a());
    let b = block(1, "B", 10, 0.9996);
    let spacings = frame.enter(b.rows[5].high_end()).across_m.abs() / (1.83 * 0.9996);
    assert!((spacings - 0.5).abs() < 1e-6);
    assert_eq!(line.passes.0 + line.passes.1 + 1, 6);
}

#[test]
fn a_row_off_the_passes_is_reported() {
    let mut b = block(1, "B", 9, 0.9996);
    for point in &mut b.rows[2].line.0 {
        point.x += 0.2;
    }
    let out = run(&site("F"), vec![b], &GuidanceParams::default());
    assert!(out.findings.iter().any(|f| f.code == "row_off_pass"));
}

#[test]
fn names_are_short_plain_and_unique() {
    let blocks = vec![block(1, "Süd", 3, 1.0), block(2, "Sd", 3, 1.0), block(3, "", 3, 1.0)];
    let out = run(&site("A property with a very long name indeed, Queensland"), blocks, &GuidanceParams::default());
    let names: BTreeSet<&str> = out.value.lines.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names.len(), 3);
    assert!(names.iter().all(|n| n.len() <= 32 && n.is_ascii()), "{names:?}");
}

/// A row 0.2 m off its place gives every row of the block a line of its own.
#[test]
fn rows_off_the_passes_get_their_own_lines() {
    let mut b = block(1, "B", 9, 0.9996);
    // Bent in the middle by 0.5 m: a curve of three points.
    let (a, z) = (b.rows[2].high_end(), b.rows[2].low_end());
    b.rows[2].line.0.insert(1, Coord { x: (a.x + z.x) / 2.0 + 0.5, y: (a.y + z.y) / 2.0 });
    let out = run(&site("F"), vec![b], &GuidanceParams::default());
    assert!(out.findings.iter().any(|f| f.code == "row_off_pass"));
    assert_eq!(out.value.lines.len(), 9);
    assert_eq!(out.value.lines.iter().filter(|l| l.is_curve()).count(), 1);
    assert_eq!(out.value.lines[2].line.0.len(), 3);
    assert_eq!(out.value.lines[4].name, "F_B_R1.83_5");
}

#[test]
fn a_datum_without_a_name_is_refused() {
    let mut s = site("F");
    for wkt in ["", "PROJCS[\"x\",GEOGCS[\"x\",DATUM[\"Unknown_based_on_GRS80_ellipsoid\",SPHEROID[]]]]"] {
        wkt.clone_into(&mut s.crs.wkt);
        let plan = BlockPlan { blocks: vec![block(1, "B", 3, 1.0)], ..BlockPlan::default() };
        let cancel = AtomicBool::new(false);
        let ctx = Ctx { progress: &Silent, cancel: &cancel };
        let refused = Guidance::run(GuidanceInput { site: &s, blocks: &plan }, &GuidanceParams::default(), &ctx);
        assert_eq!(refused.unwrap_err().0[0].code, "datum_not_named");
    }
}
