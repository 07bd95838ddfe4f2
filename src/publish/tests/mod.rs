//! The documents of a made-up farm: complete, stable, safe and the same twice.

mod farm;
mod farm_drains;
mod papers;

use super::{OptionResult, Results, documents};
use crate::bibliography::Bibliography;
use crate::land::document::{Content, Document};
use crate::land::set_out::SetOutTable;
use crate::land::site::ControlPoint;
pub(super) use farm::{Farm, farm};

pub(super) fn made(f: &Farm) -> Vec<Document> {
    let options = [OptionResult {
        name: "Levelled",
        description: "planes within limits",
        blocks: Some(&f.blocks),
        levelling: Some(&f.levelling),
        drains: Some(&f.drains),
        clearing: Some(&f.clearing),
        erosion: Some(&f.erosion),
        program: Some(&f.program),
        costing: Some(&f.costing),
        guidance: Some(&f.guidance),
    }];
    documents(&results(f, &options))
}

/// The farm on a ground that may be built from.
pub(super) fn build_ready() -> Farm {
    let mut f = farm();
    f.set_out = SetOutTable { ground_surveyed_after_clearing: true, ..SetOutTable::default() };
    f.ground.accuracy.known = true;
    f.ground.accuracy.vertical_sigma_m = 0.03;
    f.ground.smoothed_over_m = 0.0;
    f.site.crs.vertical_name = Some("AHD height".into());
    f.site.layers.control_points =
        vec![ControlPoint { name: "Steel pin".into(), at: geo::Coord { x: 10.0, y: 20.0 }, height_m: 12.5 }];
    f
}

fn results<'a>(f: &'a Farm, options: &'a [OptionResult<'a>]) -> Results<'a> {
    Results {
        site_table: &f.table,
        site: &f.site,
        ground: Some(&f.ground),
        terrain: None,
        water: Some(&f.water),
        options,
        set_out: Some(&f.set_out),
        chosen: 0,
        chosen_because: "It costs least over the years.",
        findings: &f.findings,
        assumptions: &f.assumptions,
        citations: &[Bibliography::Chow1959],
        run_id: "run-test",
        plan_id: "plan-test",
    }
}

pub(super) fn text<'a>(documents: &'a [Document], path: &str) -> &'a str {
    match documents.iter().find(|d| d.path == path).map(|d| &d.content) {
        Some(Content::Text(t)) => t,
        other => panic!("{path}: {other:?}"),
    }
}

/// Tags nest and close: enough of a parser for markup we write ourselves.
fn assert_well_formed(svg: &str) {
    let mut open = Vec::new();
    for piece in svg.split('<').skip(1) {
        let (tag, after) = piece.split_once('>').expect("a tag ends");
        assert!(!after.contains('>'), "stray bracket after <{tag}>");
        assert_eq!(tag.matches('"').count() % 2, 0, "quotes in <{tag}>");
        let name = tag.trim_start_matches('/').split([' ', '/']).next().unwrap_or_default();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name));
        } else if !tag.ends_with('/') {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "left open: {open:?}");
    assert!(!svg.contains("NaN") && !svg.contains("inf"), "a number is missing");
}

#[test]
fn the_run_folder_is_complete() {
    let made = made(&build_ready());
    let paths: Vec<&str> = made.iter().map(|d| d.path.as_str()).collect();
    for layer in [
        "boundary",
        "keep_out",
        "buffer",
        "waterway",
        "pond",
        "plantable",
        "block",
        "row",
        "headland",
        "track",
        "drain",
        "crossing",
        "windrow",
        "heap",
        "guidance_line",
        "set_out_point",
    ] {
        assert!(paths.contains(&format!("geojson/{layer}.geojson").as_str()), "{layer}");
    }
    for table in [
        "block_register",
        "rows",
        "bearing_study",
        "options",
        "drains",
        "quantities",
        "budget",
        "indicators",
        "findings",
        "assumptions",
        "cash_flow",
        "program",
        "outflows",
    ] {
        assert!(paths.contains(&format!("tables/{table}.csv").as_str()), "{table}");
    }
    for path in [
        "plan.gpkg",
        "rasters/ground.tif",
        "rasters/pond_depth.tif",
        "rasters/design.tif",
        "rasters/cut_fill.tif",
        "guidance",
        "set_out/pegs.csv",
        "set_out/drain_inverts.csv",
        "maps/plan.svg",
        "maps/01_existing.svg",
        "maps/01_existing.png",
        "maps/map_set.pdf",
        "report.pdf",
        "contractors/clearing.pdf",
        "contractors/earthmoving.pdf",
        "contractors/drains.pdf",
        "grant_pages.pdf",
        "report.html",
    ] {
        assert!(paths.contains(&path), "{path}");
    }
}

#[test]
fn headers_and_values_are_stable() {
    let made = made(&build_ready());
    assert!(
        text(&made, "set_out/pegs.csv").starts_with(
            "point,easting,northing,rl_design,rl_existing,cut_fill,code,description,grid,height_datum\nBM1,"
        )
    );
    let rows = text(&made, "tables/rows.csv");
    assert!(rows.starts_with("block,number,length_m,fall_mean_pct_before,fall_min_pct_before,reverse_depth_mm_before,fall_1_in_n_before,fall_mean_pct_after,"));
    // 0.15 % is 1 in 667, 0.20 % is 1 in 500 (arithmetic).
    assert!(rows.contains("1,1,424.0,0.150,0.150,40,1:667,0.200,0.200,0,1:500,no,yes,DR-01,"), "{}", &rows[..400]);
    // 220 m by 440 m is 9.680 ha on the grid, over 0.9996 squared 9.688 ha on the ellipsoid (arithmetic).
    assert!(text(&made, "tables/block_register.csv").contains(",9.680,9.688,"));
    assert!(text(&made, "tables/findings.csv").lines().nth(1).is_some_and(|l| l.starts_with("severe,")));
}

#[test]
fn the_report_stands_on_its_own_and_escapes() {
    let made = made(&farm());
    let page = text(&made, "report.html");
    assert!(!page.starts_with("report template"), "{page}");
    assert!(!page.contains("http:") && !page.contains("https:"), "the page needs nothing from outside");
    assert!(!page.contains(" style=") && !page.contains(" onclick=") && !page.contains("unsafe-inline"));
    assert!(!page.contains("River <b>"), "a name is not escaped");
    assert!(page.contains("River &lt;b&gt;&amp;&quot;") && page.contains("Content-Security-Policy"));
}

#[test]
fn drawings_are_well_formed() {
    let made = made(&farm());
    assert_well_formed(text(&made, "maps/plan.svg"));
    let page = text(&made, "report.html");
    assert_eq!(page.matches("<svg").count(), 6, "plan, calendar, bearings, row lengths, row falls, depths of earth");
    for piece in page.split("<svg").skip(1) {
        assert_well_formed(&format!("<svg{}</svg>", piece.split_once("</svg>").expect("closed").0));
    }
}

#[test]
fn the_same_twice_and_with_nothing_worked_out() {
    let f = farm();
    assert_eq!(made(&f), made(&f));
    let bare = Results { water: None, ground: None, ..results(&f, &[]) };
    let made = documents(&bare);
    assert!(text(&made, "report.html").contains("No option was worked out"));
    assert!(made.iter().all(|d| d.path != "set_out/pegs.csv" && !d.path.starts_with("rasters/")));
}
