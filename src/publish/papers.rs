//! Every paper of the run folder: the map set as drawings, pictures and one PDF, and the printed reports.

use super::pages::{book, contractor, grant};
use super::{Results, maps};
use crate::land::document::{Content, Document};
use crate::land::paper::{Mark, Node, NodeKind, Page, Paper, Picture};

/// Pixels across an A3 sheet: 150 a inch.
const SHEET_PX: u32 = 2480;

fn document(path: &str, content: Content) -> Document {
    Document { path: path.to_owned(), content }
}

/// All papers, in a fixed order.
pub(super) fn all(results: &Results<'_>) -> Vec<Document> {
    let mut out = Vec::new();
    if let Some((svg, size)) = maps::overview(results, "plan", 297.0) {
        let svg = super::drawing::standing_alone(&svg, size.0, size.1);
        out.push(document("maps/plan.svg", Content::Text(svg)));
    }
    let sheets = maps::set(results);
    for (i, sheet) in sheets.iter().enumerate() {
        let stem = format!("maps/{:02}_{}", i + 1, sheet.file);
        out.push(document(&format!("{stem}.svg"), Content::Text(sheet.svg.clone())));
        let picture = Picture { svg: sheet.svg.clone(), width_px: SHEET_PX };
        out.push(document(&format!("{stem}.png"), Content::Png(picture)));
    }
    if !sheets.is_empty() {
        let title = format!("{}: map set", results.site.name);
        out.push(document("maps/map_set.pdf", Content::Pdf(map_book(&title, &sheets))));
    }
    out.push(document("report.pdf", Content::Pdf(book::report(results))));
    for (name, paper) in contractor::all(results) {
        out.push(document(&format!("contractors/{name}.pdf"), Content::Pdf(paper)));
    }
    if let Some(paper) = grant::pages(results) {
        out.push(document("grant_pages.pdf", Content::Pdf(paper)));
    }
    out
}

/// Sheets as the pages of one paper.
pub(super) fn map_book(title: &str, sheets: &[maps::Sheet]) -> Paper {
    let mut nodes = Vec::new();
    let mut pages = Vec::new();
    for sheet in sheets {
        let heading = nodes.len();
        nodes.push(Node { kind: NodeKind::Heading(1), parent: None, words: sheet.title.to_owned() });
        nodes.push(Node { kind: NodeKind::Figure, parent: None, words: sheet.alt.clone() });
        let picture = Mark::Picture { node: heading + 1, at: (0.0, 0.0), size: maps::PAPER, svg: sheet.svg.clone() };
        // The title stands in the drawing; a heading too small to see names the page for readers and the outline.
        let named = Mark::Text {
            node: Some(heading),
            at: (13.0, 295.0),
            size: 1.0,
            bold: false,
            colour: [255, 255, 255],
            text: sheet.title.to_owned(),
        };
        pages.push(Page { size: maps::PAPER, marks: vec![named, picture], ground: Some(sheet.ground) });
    }
    let about = "Maps of a first plan for cropping again".to_owned();
    Paper { title: title.to_owned(), about, pages, nodes }
}
