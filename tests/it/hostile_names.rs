//! The small farm with names nobody should give and somebody will, run whole, every carrier read back.

use super::program::{root, rowfall, told, with_plan};
use quick_xml::events::Event;
use rowfall::pipeline::starter::{Starter, starter_text};
use rowfall::stages::STAGES;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

/// Markup, quotes, a way out of the folder, a formula, another reading direction, pictures and a line break.
const NAMES: [&str; 8] = [
    "<script>alert(1)</script>",
    "O'Brien \"& Sons\" ]]>, 100 %",
    "../../etc/passwd",
    "=cmd|' /C calc'!A0",
    "\u{202e}\u{645}\u{632}\u{631}\u{639}\u{629} \u{5e9}\u{5d3}\u{5d4}",
    "\u{1f33e} N\u{f6}rdlich \u{1f69c}",
    "line\nbreak\ttab",
    "{% for x in y %}${HOME}`id`",
];

fn place(x: f64, y: f64) -> Value {
    // A share of the way across and up the small farm, in degrees.
    json!([151.778_63 + 0.002_25 * x, -19.783_1 + 0.002_1 * y])
}

fn area(x: (f64, f64), y: (f64, f64)) -> Value {
    let ring = [place(x.0, y.0), place(x.1, y.0), place(x.1, y.1), place(x.0, y.1), place(x.0, y.0)];
    json!({"type": "Polygon", "coordinates": [ring]})
}

fn point(x: f64, y: f64) -> Value {
    json!({"type": "Point", "coordinates": place(x, y)})
}

fn line(points: &[(f64, f64)]) -> Value {
    json!({"type": "LineString", "coordinates": points.iter().map(|p| place(p.0, p.1)).collect::<Vec<_>>()})
}

/// Writes a layer into the folder and gives its path.
fn layer(folder: &Path, file: &str, features: &[(Value, Value)]) -> String {
    let features: Vec<Value> = features
        .iter()
        .map(|(properties, geometry)| json!({"type": "Feature", "properties": properties, "geometry": geometry}))
        .collect();
    let text = json!({"type": "FeatureCollection", "features": features}).to_string();
    std::fs::write(folder.join(file), text).unwrap();
    file.to_owned()
}

/// A run of the farm where everything that has a name is called one of `NAMES` or something 300 letters long.
fn run_folder(long: &str) -> (tempfile::TempDir, BTreeMap<String, Vec<u8>>) {
    let base = root().join("fixtures/bad/base");
    let (folder, plan) = with_plan("");
    let at = folder.path();
    let name = |i: usize| NAMES[i % NAMES.len()];
    let boundary: Value = serde_json::from_slice(&std::fs::read(base.join("boundary.geojson")).unwrap()).unwrap();
    let parcel = boundary["features"][0]["geometry"].clone();
    let blocks: Vec<(Value, Value)> = [name(0), name(3), name(4), name(5), name(6), long]
        .iter()
        .enumerate()
        .map(|(i, n)| {
            let x = 0.06 + 0.15 * i as f64;
            (json!({"name": n, "bearing_deg": 0.0}), area((x, x + 0.13), (0.1, 0.9)))
        })
        .collect();
    let site = vec![
        ("name", format!("{} {}", name(0), name(4))),
        ("boundary", layer(at, "boundary.geojson", &[(json!({"name": name(1)}), parcel)])),
        ("elevation", base.join("ground.tif").display().to_string()),
        ("outlet", layer(at, "outlet.geojson", &[(json!({"name": name(3), "level_m": 1.0}), point(0.5, 0.03))])),
        ("track", layer(at, "track.geojson", &[(json!({"name": long}), line(&[(0.02, 0.95), (0.98, 0.95)]))])),
        ("keep_area", layer(at, "keep.geojson", &[(json!({"reason": name(0)}), area((0.4, 0.45), (0.5, 0.55)))])),
        ("waterway", layer(at, "water.geojson", &[(json!({"name": name(5)}), line(&[(0.0, 0.02), (1.0, 0.02)]))])),
        (
            "control_point",
            layer(at, "control.geojson", &[(json!({"name": name(6), "height_m": 5.0}), point(0.03, 0.5))]),
        ),
        ("prepared_by", name(1).to_owned()),
        ("data_note", format!("{long} {}", name(0))),
    ];
    let text = starter_text(&Starter {
        site,
        given: vec![("blocks", layer(at, "blocks.geojson", &blocks))],
        stages: STAGES.iter().map(|s| s.info.name).collect(),
        set_out_concept: Some(true),
        ..Starter::default()
    });
    let customer = format!("customer = {}", Value::from(name(0)));
    std::fs::write(&plan, text.replace("customer = \"\"", &customer)).unwrap();
    let output = rowfall(at, &["run", "plan.toml"]);
    assert!(matches!(output.status.code(), Some(0 | 4)), "{}", told(at, &output));
    let files = super::runs::files(&at.join("run"));
    (folder, files)
}

fn text(files: &BTreeMap<String, Vec<u8>>, path: &str) -> String {
    String::from_utf8(files[path].clone()).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Names of elements and all text and attributes of a document an XML parser takes to its end.
fn parsed(path: &str, text: &str) -> (Vec<String>, Vec<String>) {
    let mut reader = quick_xml::Reader::from_str(text);
    let (mut elements, mut words) = (Vec::new(), Vec::new());
    loop {
        match reader.read_event().unwrap_or_else(|e| panic!("{path}: {e}")) {
            Event::Start(e) | Event::Empty(e) => {
                elements.push(e.name().as_ref().to_owned());
                for a in e.attributes() {
                    let a = a.unwrap_or_else(|e| panic!("{path}: {e}"));
                    words.push(quick_xml::escape::unescape(&a.value).unwrap().into_owned());
                }
            }
            Event::Text(t) => words.push(t.to_string()),
            Event::Eof => return (elements, words),
            _ => {}
        }
    }
}

#[test]
fn every_carrier_comes_out_safe_and_readable() {
    let long = "Kurrajong".repeat(34);
    let (folder, files) = run_folder(&long);
    assert!(files.len() > 60, "a whole run: {}", files.len());
    for path in files.keys() {
        let plain = |c: char| c.is_ascii_alphanumeric() || "_-./".contains(c);
        assert!(path.chars().all(plain) && !path.contains("..") && path.len() < 100, "{path}");
    }
    let ending = |end: &'static str| files.keys().filter(move |p| p.ends_with(end));
    for path in ending(".csv") {
        sound_table(path, &files[path]);
    }
    for path in ending(".svg").chain(ending(".kml")).chain(ending(".XML")).chain(ending(".xml")) {
        let (elements, words) = parsed(path, &text(&files, path));
        assert!(!elements.iter().any(|e| e.eq_ignore_ascii_case("script")), "{path}");
        for word in words {
            assert!(!word.contains(|c: char| c.is_control() && c != '\n' && c != '\r'), "{path}: {word:?}");
            assert!(!word.contains('\u{202e}'), "{path}: {word:?}");
        }
    }
    for path in ending(".geojson") {
        let layer: Value = serde_json::from_slice(&files[path]).unwrap();
        assert_eq!(layer["type"], "FeatureCollection", "{path}");
    }
    for path in ending(".pdf") {
        assert!(files[path].starts_with(b"%PDF-1."), "{path}");
        // Glyphs some letters are joined with have no code of their own, so a map that bears them makes no claim to
        // PDF/UA; it is tagged all the same.
        assert!(files[path].windows(14).any(|w| w == b"StructTreeRoot"), "{path}");
    }
    page(&text(&files, "report.html"));
    steering(&files);
    drawing(&text(&files, "set_out/CONCEPT_design_surface.dxf"));
    blocks_keep_their_names(folder.path(), &long);
}

/// Rows of one length, no cell a spreadsheet takes for a formula, nothing that breaks a line.
fn sound_table(path: &str, bytes: &[u8]) {
    let headed = !path.ends_with("pnezd.csv");
    let mut reader = csv::ReaderBuilder::new().has_headers(headed).from_reader(bytes);
    for record in reader.records() {
        let record = record.unwrap_or_else(|e| panic!("{path}: {e}"));
        for cell in &record {
            let formula = cell.starts_with(['=', '+', '-', '@']) && cell.parse::<f64>().is_err();
            assert!(!formula && !cell.contains(char::is_control), "{path}: {cell:?}");
        }
    }
}

/// The page holds the names as words, and no markup of theirs.
fn page(html: &str) {
    let lower = html.to_lowercase();
    assert!(!lower.contains("<script>alert") && !lower.contains('\u{202e}'));
    assert_eq!(lower.matches("</script>").count(), 2, "the data and the program of the page");
    assert!(html.contains("&lt;script&gt;alert(1)") && html.contains('\u{1f33e}'));
}

/// Designators as long as the standard allows, ids once each, coordinates of at most nine decimals.
fn steering(files: &BTreeMap<String, Vec<u8>>) {
    for path in ["guidance/TASKDATA/TASKDATA.XML", "guidance/TASKDATA_v3/TASKDATA/TASKDATA.XML"] {
        let task = text(files, path);
        let mut reader = quick_xml::Reader::from_str(&task);
        let mut ids = std::collections::BTreeSet::new();
        let mut names = Vec::new();
        loop {
            match reader.read_event().unwrap() {
                Event::Start(e) | Event::Empty(e) => {
                    let tag = e.name().as_ref().to_owned();
                    for a in e.attributes() {
                        let a = a.unwrap();
                        let (key, value) =
                            (a.key.as_ref().to_owned(), quick_xml::escape::unescape(&a.value).unwrap().into_owned());
                        if key == "A" && matches!(tag.as_str(), "CTR" | "FRM" | "PFD" | "GGP" | "GPN") {
                            assert!(ids.insert(value.clone()), "{path}: {value} twice");
                        }
                        let named = matches!((tag.as_str(), key.as_str()), ("PFD", "C") | ("CTR" | "FRM" | "GPN", "B"));
                        if named {
                            assert!((1..=32).contains(&value.chars().count()), "{path}: {value:?}");
                            names.push(value);
                        }
                    }
                }
                Event::Eof => break,
                _ => {}
            }
        }
        assert!(names.iter().any(|n| n.starts_with("<script>")), "{path}: the customer is not named");
        let fields: Vec<&String> = names.iter().filter(|n| n.contains("Kurrajong")).collect();
        assert!(!fields.is_empty(), "{path}: {names:?}");
    }
}

/// R12 text: pairs of a number and a value, in ASCII, lines a reader takes whole.
fn drawing(dxf: &str) {
    let lines: Vec<&str> = dxf.lines().collect();
    assert!(dxf.is_ascii() && lines.len().is_multiple_of(2));
    for pair in lines.chunks(2) {
        assert!(pair[0].trim().parse::<u16>().is_ok() && pair[1].len() < 256, "{pair:?}");
    }
}

/// GDAL reads the GeoPackage and finds every block under its name, line breaks and turning marks apart.
fn blocks_keep_their_names(folder: &Path, long: &str) {
    use gdal::vector::LayerAccess;
    let data = gdal::Dataset::open(folder.join("run/plan.gpkg")).unwrap();
    let mut layer = data.layer_by_name("block").unwrap();
    let at = layer.defn().field_index("name").unwrap();
    let names: Vec<String> = layer.features().map(|f| f.field_as_string(at).unwrap().unwrap_or_default()).collect();
    assert_eq!(names.len(), 6);
    for wanted in [NAMES[0], NAMES[3], NAMES[5], long] {
        assert!(names.iter().any(|n| n == wanted || n == &format!("'{wanted}")), "{wanted:?} among {names:?}");
    }
    assert!(names.iter().any(|n| n.contains('\u{645}')), "{names:?}");
    assert!(names.iter().any(|n| n.contains("line") && n.contains("break")), "{names:?}");
}
