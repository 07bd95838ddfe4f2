//! Papers and pictures as bytes: whole, tagged, placed on the Earth, the same twice.

use crate::formats::crs;
use crate::formats::{paper_out, picture_out};
use crate::land::geodesy::CrsTag;
use crate::land::paper::{GroundFrame, Mark, Node, NodeKind, Page, Paper, Picture};
use geo::{Coord, Rect};

const SVG: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"60mm\" height=\"40mm\" viewBox=\"0 0 60 40\" \
    font-family=\"Rowfall Sans\"><rect width=\"60\" height=\"40\" fill=\"#fff\"/><rect width=\"30\" height=\"40\" \
    fill=\"#0072b2\"/><text x=\"32\" y=\"20\" font-size=\"4\">Creek</text></svg>";

fn tag() -> CrsTag {
    crate::formats::gdal_setup::set_up();
    let spatial = crs::from_user("EPSG:7856").unwrap();
    CrsTag {
        name: "GDA2020 / MGA zone 56".to_owned(),
        epsg: Some(7856),
        wkt: spatial.to_wkt().unwrap(),
        vertical_name: None,
        vertical_epsg: None,
    }
}

fn paper(text: &str) -> Paper {
    let node = |kind, words: &str| Node { kind, parent: None, words: words.to_owned() };
    let mark = |node, y, text: &str| Mark::Text {
        node: Some(node),
        at: (20.0, y),
        size: 4.0,
        bold: true,
        colour: [0, 0, 0],
        text: text.to_owned(),
    };
    let land = Rect::new(Coord { x: 368_000.0, y: 7_810_000.0 }, Coord { x: 368_600.0, y: 7_810_400.0 });
    let picture = Mark::Picture { node: 2, at: (20.0, 40.0), size: (60.0, 40.0), svg: SVG.to_owned() };
    Paper {
        title: "Title".to_owned(),
        about: "About".to_owned(),
        nodes: vec![
            node(NodeKind::Heading(1), "Heading"),
            node(NodeKind::Paragraph, ""),
            node(NodeKind::Figure, "A map"),
        ],
        pages: vec![Page {
            size: (210.0, 297.0),
            marks: vec![mark(0, 20.0, "Heading"), mark(1, 30.0, text), picture],
            ground: Some(GroundFrame { at: (20.0, 40.0), size: (60.0, 40.0), land }),
        }],
    }
}

#[test]
fn a_paper_is_tagged_embedded_and_the_same_twice() {
    let tag = tag();
    // Latin, right-to-left and pictographs in one line; what no font has was written by its number before.
    let paper = paper("Plan \u{645}\u{632}\u{631}\u{639}\u{629} \u{5d7}\u{5d5}\u{5d4} \u{1f33e} <b> [U+4E00]");
    let bytes = paper_out::pdf(&paper, &tag).unwrap();
    assert_eq!(bytes, paper_out::pdf(&paper, &tag).unwrap());
    let text = String::from_utf8_lossy(&bytes);
    assert!(text.starts_with("%PDF-1.7") && text.trim_end().ends_with("%%EOF"));
    for needed in ["/StructTreeRoot", "/FontFile2", "/Lang", "pdfuaid:part", "/Outlines"] {
        assert!(text.contains(needed), "{needed}");
    }
    for clock in ["/CreationDate", "/ModDate", "xmp:CreateDate"] {
        assert!(!text.contains(clock), "{clock}");
    }
}

#[test]
fn a_map_page_knows_where_it_lies() {
    let bytes = paper_out::pdf(&paper("Plan"), &tag()).unwrap();
    let text = String::from_utf8_lossy(&bytes);
    let after = |word: &str| text.split_once(word).unwrap_or_else(|| panic!("{word}")).1;
    // 20 mm from the left and 297 - 40 - 40 mm from the bottom, in points of 25.4 / 72 mm (arithmetic).
    assert!(
        after("/Subtype /GEO").len() > 100 && text.contains("/BBox [56.6929 615.1181 226.7717 728.5039]"),
        "{}",
        after("/VP")
    );
    let gpts: Vec<f64> =
        after("/GPTS [").split_once(']').unwrap().0.split_whitespace().map(|n| n.parse().unwrap()).collect();
    // The first corner is E 368000 N 7810000: PROJ (cs2cs EPSG:7856 EPSG:7844) gives 151.7391 E, 19.8001 S to 4 decimals.
    assert_eq!(gpts.len(), 8);
    let inside = |value: f64, low: f64, high: f64| (low..high).contains(&value);
    assert!(inside(gpts[0], -19.81, -19.79) && inside(gpts[1], 151.73, 151.75), "{gpts:?}");
    // 400 m of northing are 0.003612 degrees of latitude there (radius of the meridian 6,342,800 m, GRS 1980).
    assert!((gpts[2] - gpts[0] - 400.0 / 0.9998 / 6_342_800.0_f64.to_radians()).abs() < 2e-6, "{gpts:?}");
    assert!(text.contains("/EPSG 7856") && text.matches("startxref").count() == 2);
}

#[test]
fn a_picture_has_the_colours_and_the_letters_of_its_drawing() {
    let picture = Picture { svg: SVG.to_owned(), width_px: 600 };
    let bytes = picture_out::png(&picture).unwrap();
    assert_eq!(bytes, picture_out::png(&picture).unwrap());
    let pixels = resvg::tiny_skia::Pixmap::decode_png(&bytes).unwrap();
    assert_eq!((pixels.width(), pixels.height()), (600, 400));
    let at = |x, y| pixels.pixel(x, y).map(|p| (p.red(), p.green(), p.blue())).unwrap();
    assert_eq!(at(100, 100), (0, 0x72, 0xb2));
    assert_eq!(at(500, 350), (255, 255, 255));
    let inked = (320..500).flat_map(|x| (150..210).map(move |y| (x, y))).filter(|(x, y)| at(*x, *y).0 < 128).count();
    assert!(inked > 300, "the word is drawn with the built-in font: {inked}");
    assert!(picture_out::png(&Picture { svg: "<svg".to_owned(), width_px: 10 }).is_err());
}
