//! The guidance folder read back: structure by an XML parser, hostile names, bearings along the geodesic.

use super::outputs::tag;
use crate::formats::DiskStore;
use crate::land::blocks::BlockId;
use crate::land::document::{Content, Document};
use crate::land::guidance::{GuidanceField, GuidanceLine, GuidancePlan};
use crate::land::store::{RenderedFile, Store};
use crate::units::Bearing;
use geo::{Coord, LineString, polygon};
use quick_xml::events::Event;
use std::collections::{BTreeMap, BTreeSet};

/// Names people do give, and names meant to break something.
const HOSTILE: [&str; 8] = [
    "<script>alert('x')</script>",
    "\"; DROP TABLE block; --'",
    "../../etc/passwd",
    "CON",
    "שדה צפון \u{202e}gnp.exe",
    "🌾 Nördlich 🚜",
    "=HYPERLINK(\"http://x\")",
    "line\nbreak\u{0}nul",
];

fn plan(name: &str) -> GuidancePlan {
    let a = Coord { x: 372_010.0, y: 7_812_900.0 };
    let b = Coord { x: 372_210.0, y: 7_812_010.0 };
    let bearing = Bearing::from_east_north(b.x - a.x, b.y - a.y);
    let geodesy = crate::formats::local_geodesy::around(&crate::formats::crs::from_epsg(7856).unwrap(), a).unwrap();
    let line = |points: Vec<Coord<f64>>, row: Option<u32>| GuidanceLine {
        name: format!("F_B_R1.83_{}", row.unwrap_or(0)),
        block: BlockId(1),
        row,
        line: LineString(points),
        grid_bearing: bearing,
        true_bearing: geodesy.true_bearing(a, bearing),
        width_m: 1.83,
        passes: (3, 4),
    };
    let outline = polygon!(
        exterior: [(x: 372_000.0, y: 7_812_000.0), (x: 372_300.0, y: 7_812_000.0), (x: 372_300.0, y: 7_812_950.0), (x: 372_000.0, y: 7_812_950.0)],
        interiors: [[(x: 372_050.0, y: 7_812_050.0), (x: 372_050.0, y: 7_812_090.0), (x: 372_090.0, y: 7_812_090.0)]],
    );
    let kept = polygon![(x: 372_310.0, y: 7_812_000.0), (x: 372_330.0, y: 7_812_000.0), (x: 372_330.0, y: 7_812_020.0)];
    GuidancePlan {
        customer: name.to_owned(),
        farm: name.to_owned(),
        datum: "GDA2020".to_owned(),
        fields: vec![GuidanceField {
            block: BlockId(1),
            name: name.to_owned(),
            outline,
            area_m2: 285_000.0,
            keep_outs: vec![(name.to_owned(), geo::MultiPolygon(vec![kept]))],
        }],
        lines: vec![line(vec![a, b], None), line(vec![a, Coord { x: 372_120.0, y: 7_812_500.0 }, b], Some(7))],
    }
}

fn folder(name: &str) -> Vec<RenderedFile> {
    let place = tempfile::tempdir().unwrap();
    let store = DiskStore::new(place.path(), place.path(), place.path());
    let content = Content::Guidance(Box::new(plan(name)), "run-1".to_owned());
    let document = Document { path: "guidance".to_owned(), content };
    let files = store.render(&document, &tag()).unwrap();
    assert_eq!(files, store.render(&document, &tag()).unwrap(), "two writings differ");
    files
}

fn bytes<'a>(files: &'a [RenderedFile], path: &str) -> &'a str {
    let file = files.iter().find(|f| f.path == path).unwrap_or_else(|| panic!("{path} is missing"));
    std::str::from_utf8(&file.bytes).unwrap()
}

type Element = (String, BTreeMap<String, String>);

/// Every element with its attributes, unescaped; fails on anything that is not well-formed.
fn elements(xml: &str) -> Vec<Element> {
    let mut reader = quick_xml::Reader::from_str(xml);
    reader.config_mut().check_end_names = true;
    let mut all = Vec::new();
    loop {
        match reader.read_event().unwrap() {
            Event::Start(e) | Event::Empty(e) => {
                let attribute = |a: Result<quick_xml::events::attributes::Attribute<'_>, _>| {
                    let a = a.unwrap();
                    let value = quick_xml::escape::unescape(&a.value).unwrap().into_owned();
                    (a.key.as_ref().to_owned(), value)
                };
                all.push((e.name().as_ref().to_owned(), e.attributes().map(attribute).collect()));
            }
            Event::Eof => return all,
            _ => {}
        }
    }
}

fn of<'a>(all: &'a [Element], name: &str) -> Vec<&'a BTreeMap<String, String>> {
    all.iter().filter(|(n, _)| n == name).map(|(_, a)| a).collect()
}

/// Attribute limits of the schema of ISO 11783-10, revision 2018-06-04 (designators 32 characters, degrees 9 decimals,
/// pattern types 1 AB and 3 curve, points 6 A, 7 B, 9 between, 10 field corner).
#[test]
fn task_data_keeps_to_the_schema_whatever_the_names() {
    for name in HOSTILE.into_iter().map(str::to_owned).chain(["x".repeat(300), String::new()]) {
        let files = folder(&name);
        let four = elements(bytes(&files, "guidance/TASKDATA/TASKDATA.XML"));
        let mut ids = BTreeSet::new();
        for (element, attributes) in &four {
            for (key, value) in attributes {
                assert!(!value.chars().any(char::is_control), "{name:?}: {element}@{key}");
                if key == "B" && !matches!(element.as_str(), "ISO11783_TaskData") {
                    assert!(value.chars().count() <= 32, "{name:?}: {element}@{key} {value}");
                }
            }
            if matches!(element.as_str(), "CTR" | "FRM" | "PFD" | "GGP" | "GPN") {
                assert!(ids.insert(attributes["A"].clone()), "{} twice", attributes["A"]);
            }
        }
        let patterns = of(&four, "GPN");
        assert_eq!(patterns.iter().map(|p| p["C"].as_str()).collect::<Vec<_>>(), ["1", "3"]);
        assert_eq!((patterns[0]["N"].as_str(), patterns[0]["O"].as_str()), ("3", "4"));
        assert_eq!(patterns[1]["E"], "4");
        assert!(!patterns[1].contains_key("G") && patterns[0]["M"] == "7856");
        let points: Vec<&str> = of(&four, "PNT").iter().map(|p| p["A"].as_str()).collect();
        assert!(points.ends_with(&["6", "7", "6", "9", "7"]));
        for point in of(&four, "PNT") {
            assert!(point["C"].split('.').nth(1).unwrap().len() <= 9 && !point.contains_key("E"));
        }
        // Outline with a hole, and the kept area.
        assert_eq!(of(&four, "PLN").iter().map(|p| p["A"].as_str()).collect::<Vec<_>>(), ["1", "6"]);
        let three = elements(bytes(&files, "guidance/TASKDATA_v3/TASKDATA/TASKDATA.XML"));
        assert_eq!(three[0].1["VersionMajor"], "3");
        assert!(of(&three, "GPN").is_empty() && of(&three, "GGP").is_empty());
        assert_eq!(of(&three, "LSG").iter().filter(|l| l["A"] == "5").count(), 2);
        assert!(of(&three, "PNT").iter().all(|p| p["A"] == "2"));
    }
}

#[test]
fn hostile_names_stay_inside_and_readable() {
    for name in HOSTILE {
        let files = folder(name);
        for file in &files {
            assert!(file.path.starts_with("guidance/") && !file.path.contains("..") && file.path.is_ascii());
        }
        let field: serde_json::Value =
            serde_json::from_str(bytes(&files, "guidance/geojson/field_boundaries.geojson")).unwrap();
        let found = field["features"][0]["properties"]["name"].as_str().unwrap();
        assert_eq!(found, crate::formats::safe_text::clean(name));
        let kml = bytes(&files, "guidance/kml/field_boundaries.kml");
        assert!(!kml.contains("<script>") && !elements(kml).is_empty());
    }
    let kept = folder("🌾 Nördlich 🚜");
    let four = elements(bytes(&kept, "guidance/TASKDATA/TASKDATA.XML"));
    assert_eq!(of(&four, "PFD")[0]["C"], "🌾 Nördlich 🚜");
}

/// The written heading is the geodesic's; the stage's linear model of the grid agrees within half a second of arc.
#[test]
fn bearings_are_along_the_geodesic_and_the_datum_is_said() {
    let files = folder("F");
    let csv = bytes(&files, "guidance/guidance_lines.csv");
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let headers = reader.headers().unwrap().clone();
    let row = reader.records().next().unwrap().unwrap();
    let value = |name: &str| row.get(headers.iter().position(|h| h == name).unwrap()).unwrap().to_owned();
    let expected = plan("F").lines[0].true_bearing.degrees();
    let found: f64 = value("true_deg").parse().unwrap();
    assert!((found - expected).abs() < 0.5 / 3_600.0, "{found} {expected}");
    assert_eq!(value("datum"), "GDA2020");
    assert_eq!(value("a_lat_deg").split('.').nth(1).unwrap().len(), 8);
    // Grid length over the scale factor is the length on the ellipsoid (912.19 m on the grid).
    let grid_m = (200.0_f64.powi(2) + 890.0_f64.powi(2)).sqrt();
    let length: f64 = value("length_m").parse().unwrap();
    assert!((length / grid_m - 1.0).abs() < 1e-3 && (length - grid_m).abs() > 0.01, "{length} {grid_m}");
    assert!(bytes(&files, "guidance/READ_ME.txt").contains("GDA2020"));
}
