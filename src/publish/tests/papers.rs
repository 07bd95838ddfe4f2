//! The papers of the made-up farm: whole, safe with any name, the same ids everywhere.

use super::farm::{Farm, farm};
use super::{assert_well_formed, made, results, text};
use crate::land::document::{Content, Document};
use crate::land::paper::{Mark, NodeKind, Paper};
use crate::publish::{OptionResult, documents};

/// Names nobody should give, and somebody will: markup, quotes, length, another reading direction, pictures, no letters.
const HOSTILE: [&str; 5] = [
    "<script>alert(1)</script>",
    "O'Brien \"& Sons\" ]]>",
    "\u{202e}\u{645}\u{632}\u{631}\u{639}\u{629} \u{5d7}\u{5d5}\u{5d4}\u{2066}",
    "\u{1f33e}\u{1f69c}\u{fe0f}\u{4e00}",
    "\u{0}\n\t",
];

fn paper<'a>(documents: &'a [Document], path: &str) -> &'a Paper {
    match documents.iter().find(|d| d.path == path).map(|d| &d.content) {
        Some(Content::Pdf(paper)) => paper,
        other => panic!("{path}: {other:?}"),
    }
}

fn words(paper: &Paper) -> String {
    let marks = paper.pages.iter().flat_map(|p| &p.marks);
    let lines: Vec<&str> = marks
        .filter_map(|m| match m {
            Mark::Text { text, .. } => Some(text.as_str()),
            _ => None,
        })
        .collect();
    lines.join(" ")
}

fn sheets(documents: &[Document]) -> Vec<(&str, &str)> {
    documents
        .iter()
        .filter(|d| d.path.starts_with("maps/") && d.path.ends_with(".svg") && d.path != "maps/plan.svg")
        .map(|d| (d.path.as_str(), text(documents, &d.path)))
        .collect()
}

#[test]
fn every_sheet_says_what_a_map_must_say() {
    let made = made(&farm());
    let sheets = sheets(&made);
    assert!(sheets.len() >= 7, "{}", sheets.len());
    let count = sheets.len();
    for (i, (path, svg)) in sheets.iter().enumerate() {
        assert_well_formed(svg);
        for said in [
            "Legend",
            "printed on A3",
            "grid N",
            "true bearing = grid bearing \u{2212}0.42\u{b0}",
            "GDA2020 / MGA zone 56 (EPSG:7856)",
            "heights AHD",
            "plan test",
            " mE<",
            " mN<",
            "Dates, owners and licences of the data: not given.",
            "Cautions",
            "not an engineer&#39;s certificate",
            "property boundary",
        ] {
            assert!(svg.contains(said) || svg.contains(&said.replace("plan test", "run test")), "{path}: {said}");
        }
        assert!(svg.contains(&format!("Sheet {} of {count}", i + 1)), "{path}");
    }
    assert_eq!(paper(&made, "maps/map_set.pdf").pages.len(), count);
    assert!(paper(&made, "maps/map_set.pdf").pages.iter().all(|p| p.ground.is_some()));
}

#[test]
fn a_legend_names_only_what_is_drawn() {
    let made = made(&farm());
    let layout = sheets(&made).into_iter().find(|(p, _)| p.ends_with("layout.svg")).expect("layout").1;
    assert!(layout.contains("mapped waterway") && layout.contains("row block"));
    for absent in ["overhead power line", "buried pipe", "windrow", "pond"] {
        assert!(!layout.contains(absent), "{absent}");
    }
}

#[test]
fn an_item_has_one_id_on_map_in_budget_and_in_tables() {
    let made = made(&farm());
    let works = sheets(&made).into_iter().find(|(p, _)| p.ends_with("_works.svg")).expect("works").1;
    let pages = words(paper(&made, "grant_pages.pdf"));
    for table in ["tables/budget.csv", "tables/drains.csv"] {
        assert!(text(&made, table).contains("DR-01"), "{table}");
    }
    assert!(works.contains(">DR-01<") && works.contains(">LV-Middle<"), "ids on the map");
    assert!(pages.contains("DR-01"), "ids on the pages");
}

#[test]
fn contractors_get_one_page_a_block() {
    let f = farm();
    let made = made(&f);
    for (name, said) in [("clearing", "Lay the trees"), ("earthmoving", "Benchmark"), ("drains", "Set-out")] {
        let paper = paper(&made, &format!("contractors/{name}.pdf"));
        assert_eq!(paper.pages.len(), f.blocks.blocks.len(), "{name}");
        assert!(words(paper).contains(said), "{name}");
    }
}

#[test]
fn the_decision_stands_on_the_first_page_and_parts_are_named() {
    let made = made(&farm());
    let paper = paper(&made, "report.pdf");
    let first = Paper { pages: vec![paper.pages[0].clone()], ..paper.clone() };
    let first = words(&first);
    for said in ["What it costs", "What it gains", "What cannot be undone", "What to check next"] {
        assert!(first.contains(said), "{said}");
    }
    for kind in [NodeKind::Heading(1), NodeKind::Table, NodeKind::HeadCell, NodeKind::Item, NodeKind::Figure] {
        assert!(paper.nodes.iter().any(|n| n.kind == kind), "{kind:?}");
    }
    let unspoken = paper.nodes.iter().filter(|n| n.kind == NodeKind::Figure && n.words.is_empty()).count();
    assert_eq!(unspoken, 0, "every figure has words");
}

/// The farm with one name in every place a name can stand.
fn renamed(name: &str) -> Farm {
    let mut f = farm();
    f.site.name = name.to_owned();
    f.site.parcels[0].name = name.to_owned();
    f.site.layers.waterways[0].name = name.to_owned();
    f.site.layers.keep_areas[0].reason = name.to_owned();
    for block in &mut f.blocks.blocks {
        block.name = name.to_owned();
    }
    for outlet in &mut f.water.outlets {
        outlet.name = name.to_owned();
    }
    for option in &mut f.findings {
        option.message = name.to_owned();
    }
    f
}

#[test]
fn any_name_comes_out_safe_and_readable() {
    let long = "Wide-".repeat(60);
    for name in HOSTILE.into_iter().chain([long.as_str()]) {
        let made = made(&renamed(name));
        for (path, svg) in sheets(&made) {
            assert_well_formed(svg);
            assert!(!svg.contains("<script") && !svg.contains('\u{202e}') && !svg.contains('\u{0}'), "{path} {name}");
        }
        let page = text(&made, "report.html");
        assert!(!page.contains("<script>alert") && !page.contains('\u{202e}'), "{name}");
        // One block of data and one script of our own, whatever the names.
        assert_eq!(page.matches("<script").count(), 2, "{name}");
        assert_eq!(page.matches("</script>").count(), 2, "{name}");
        let papers = made.iter().filter_map(|d| match &d.content {
            Content::Pdf(paper) => Some(paper),
            _ => None,
        });
        for mark in papers.flat_map(|p| &p.pages).flat_map(|p| &p.marks) {
            let Mark::Text { at, size, bold, text, .. } = mark else { continue };
            let right = at.0 + crate::land::typeface::width(text, *bold, *size);
            assert!(right <= 420.0 && !text.contains('\u{202e}'), "{text}");
        }
    }
}

#[test]
fn papers_do_not_need_what_was_not_worked_out() {
    let f = farm();
    let nothing = [OptionResult { name: "Nothing", ..OptionResult::default() }];
    let bare = crate::publish::Results { water: None, ground: None, ..results(&f, &nothing) };
    let made = documents(&bare);
    assert_eq!(sheets(&made).len(), 1, "the place itself can always be drawn");
    assert!(made.iter().all(|d| !d.path.starts_with("contractors/") && d.path != "grant_pages.pdf"));
    assert!(words(paper(&made, "report.pdf")).contains("What to check next"));
}
