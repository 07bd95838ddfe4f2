//! The surface to be built: triangles as LandXML and DXF, heights as a raster.

use super::{Heading, Results, document, sheet};
use crate::grid::{Tin, tin_from_raster};
use crate::land::document::{Content, Document, RasterSheet};
use crate::land::drains::DrainPlan;
use crate::land::levelling::LevellingPlan;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};
use std::fmt::Write as _;

/// The date in files that must have one, when the plan has none.
const NO_DATE: &str = "2026-01-01";

pub(super) fn documents(results: &Results<'_>, heading: &Heading<'_>, levelling: &LevellingPlan) -> Vec<Document> {
    let raster = &levelling.design.0.0;
    let tin = tin_from_raster(raster, heading.table.tin_tolerance_mm / 1_000.0);
    if tin.faces.is_empty() {
        return Vec::new();
    }
    let drains = results.plan().and_then(|p| p.drains);
    let description = format!("{}design surface, {}", heading.mark(), heading.lines().join("; "));
    let sheet = RasterSheet { raster: raster.clone(), description, unit: "m".to_owned(), heights: true };
    vec![
        document(
            &heading.path("design_surface.xml"),
            Content::Text(land_xml(results, heading, &tin).unwrap_or_default()),
        ),
        document(&heading.path("design_surface.dxf"), Content::Text(dxf(results, heading, &tin, drains))),
        document(&heading.path("design_surface.tif"), Content::GeoTiff(sheet)),
    ]
}

/// The date of the plan when it is written as `YYYY-MM-DD`, which LandXML asks for.
fn date(results: &Results<'_>) -> String {
    let given = results.site_table.plan_date.as_deref().unwrap_or_default();
    let parts: Vec<&str> = given.split('-').collect();
    let digits = |text: &&str, n: usize| text.len() == n && text.bytes().all(|b| b.is_ascii_digit());
    let iso = matches!(parts.as_slice(), [y, m, d] if digits(y, 4) && digits(m, 2) && digits(d, 2));
    if iso { given.to_owned() } else { NO_DATE.to_owned() }
}

type Xml = Writer<Vec<u8>>;

/// LandXML 1.2: coordinates are northing, easting, level; faces are indices of points counted from 1.
fn land_xml(results: &Results<'_>, heading: &Heading<'_>, tin: &Tin) -> std::io::Result<String> {
    let mut xml = Writer::new_with_indent(Vec::new(), b' ', 1);
    xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let date = date(results);
    let root = [
        ("xmlns", "http://www.landxml.org/schema/LandXML-1.2"),
        ("version", "1.2"),
        ("date", &date),
        ("time", "00:00:00"),
        ("readOnly", "false"),
        ("language", "English"),
    ];
    open(&mut xml, "LandXML", &root)?;
    preamble(&mut xml, results, heading)?;
    surface(&mut xml, heading, tin)?;
    close(&mut xml, "LandXML")?;
    let mut text = String::from_utf8(xml.into_inner()).unwrap_or_default();
    text.push('\n');
    Ok(text)
}

fn preamble(xml: &mut Xml, results: &Results<'_>, heading: &Heading<'_>) -> std::io::Result<()> {
    open(xml, "Units", &[])?;
    let units = [
        ("areaUnit", "squareMeter"),
        ("linearUnit", "meter"),
        ("volumeUnit", "cubicMeter"),
        ("temperatureUnit", "celsius"),
        ("pressureUnit", "milliBars"),
        ("angularUnit", "decimal degrees"),
        ("directionUnit", "decimal degrees"),
    ];
    empty(xml, "Metric", &units)?;
    close(xml, "Units")?;
    let code = results.site.crs.epsg.map(|code| code.to_string());
    let mut system = vec![("name", heading.grid.as_str()), ("verticalDatum", &heading.heights)];
    system.extend(code.as_deref().map(|code| ("epsgCode", code)));
    empty(xml, "CoordinateSystem", &system)?;
    let about = format!("{}{}", heading.mark(), heading.lines().join("; "));
    let name = results.site.name.as_str();
    empty(xml, "Project", &[("name", name), ("desc", &about)])?;
    empty(
        xml,
        "Application",
        &[("name", "rowfall"), ("version", env!("CARGO_PKG_VERSION")), ("desc", results.plan_id)],
    )?;
    if heading.benchmarks.is_empty() {
        return Ok(());
    }
    open(xml, "CgPoints", &[("name", "benchmarks")])?;
    for (i, b) in heading.benchmarks.iter().enumerate() {
        let name = format!("BM{}", i + 1);
        let place = format!("{:.3} {:.3} {:.3}", b.at.y, b.at.x, b.height_m);
        text(xml, "CgPoint", &[("name", &name), ("desc", &b.name)], &place)?;
    }
    close(xml, "CgPoints")
}

fn surface(xml: &mut Xml, heading: &Heading<'_>, tin: &Tin) -> std::io::Result<()> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for p in &tin.points {
        low = low.min(p[2]);
        high = high.max(p[2]);
    }
    open(xml, "Surfaces", &[])?;
    let name = format!("{}DESIGN", heading.prefix());
    let about = format!("{}design surface, height datum {}", heading.mark(), heading.heights);
    open(xml, "Surface", &[("name", &name), ("desc", &about), ("state", "proposed")])?;
    let (area, low, high) = (format!("{:.3}", tin.area_m2()), format!("{low:.3}"), format!("{high:.3}"));
    let size = [("surfType", "TIN"), ("area2DSurf", &area), ("elevMin", &low), ("elevMax", &high)];
    open(xml, "Definition", &size)?;
    open(xml, "Pnts", &[])?;
    for (i, [east, north, level]) in tin.points.iter().enumerate() {
        let id = (i + 1).to_string();
        text(xml, "P", &[("id", id.as_str())], &format!("{north:.3} {east:.3} {level:.3}"))?;
    }
    close(xml, "Pnts")?;
    open(xml, "Faces", &[])?;
    for [a, b, c] in &tin.faces {
        text(xml, "F", &[], &format!("{} {} {}", a + 1, b + 1, c + 1))?;
    }
    for name in ["Faces", "Definition", "Surface", "Surfaces"] {
        close(xml, name)?;
    }
    Ok(())
}

fn start<'a>(name: &'a str, attributes: &[(&str, &str)]) -> BytesStart<'a> {
    let mut element = BytesStart::new(name);
    for attribute in attributes {
        element.push_attribute((attribute.0, sheet::one_line(attribute.1).as_str()));
    }
    element
}
fn open(xml: &mut Xml, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
    xml.write_event(Event::Start(start(name, attributes)))
}
fn empty(xml: &mut Xml, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
    xml.write_event(Event::Empty(start(name, attributes)))
}
fn close(xml: &mut Xml, name: &str) -> std::io::Result<()> {
    xml.write_event(Event::End(BytesEnd::new(name)))
}
fn text(xml: &mut Xml, name: &str, attributes: &[(&str, &str)], text: &str) -> std::io::Result<()> {
    open(xml, name, attributes)?;
    xml.write_event(Event::Text(BytesText::new(text)))?;
    close(xml, name)
}

/// DXF R12: triangles as 3DFACE, drain beds as 3D polylines, datum and benchmarks as text; metres.
fn dxf(results: &Results<'_>, heading: &Heading<'_>, tin: &Tin, drains: Option<&DrainPlan>) -> String {
    let mark = heading.prefix();
    let mut out = String::new();
    let mut notes = vec![format!("{}DESIGN SURFACE {}", heading.mark(), results.site.name), results.plan_id.to_owned()];
    notes.extend(heading.lines());
    for note in &notes {
        pair(&mut out, 999, &ascii(note));
    }
    out.push_str(
        "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n6\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n",
    );
    for face in &tin.faces {
        let _ = write!(out, "0\n3DFACE\n8\n{mark}DESIGN_TIN\n");
        // A fourth corner equal to the third makes it a triangle.
        for (i, corner) in [face[0], face[1], face[2], face[2]].into_iter().enumerate() {
            let [east, north, level] = tin.points[corner as usize];
            let _ = write!(out, "{}\n{east:.3}\n{}\n{north:.3}\n{}\n{level:.3}\n", 10 + i, 20 + i, 30 + i);
        }
    }
    for drain in drains.map_or(&[][..], |d| &d.drains) {
        let _ = write!(out, "0\nPOLYLINE\n8\n{mark}DRAIN_INVERT\n66\n1\n70\n8\n10\n0.0\n20\n0.0\n30\n0.0\n");
        for s in &drain.stations {
            let (x, y, z) = (s.at.x, s.at.y, s.invert_m);
            let _ = write!(out, "0\nVERTEX\n8\n{mark}DRAIN_INVERT\n10\n{x:.3}\n20\n{y:.3}\n30\n{z:.3}\n70\n32\n");
        }
        let _ = write!(out, "0\nSEQEND\n8\n{mark}DRAIN_INVERT\n");
    }
    let corner = tin.points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(w, n), p| (w.min(p[0]), n.max(p[1])));
    for (i, note) in notes.iter().rev().enumerate() {
        label(&mut out, &format!("{mark}NOTES"), (corner.0, corner.1 + 10.0 + 5.0 * i as f64), 3.0, note);
    }
    for (i, b) in heading.benchmarks.iter().enumerate() {
        let note = format!("BM{} {} {:.3}", i + 1, b.name, b.height_m);
        label(&mut out, &format!("{mark}BENCHMARK"), (b.at.x, b.at.y), 2.0, &note);
    }
    out.push_str("0\nENDSEC\n0\nEOF\n");
    out
}

fn pair(out: &mut String, code: u16, value: &str) {
    let _ = write!(out, "{code}\n{value}\n");
}

fn label(out: &mut String, layer: &str, (x, y): (f64, f64), size: f64, note: &str) {
    let _ = write!(out, "0\nTEXT\n8\n{layer}\n10\n{x:.3}\n20\n{y:.3}\n30\n0.0\n40\n{size}\n1\n{}\n", ascii(note));
}

/// R12 knows ASCII only, and a line of at most 255 characters.
fn ascii(text: &str) -> String {
    let plain = text.chars().map(|c| if c.is_ascii() && !c.is_ascii_control() { c } else { '?' });
    plain.take(250).collect()
}
