//! Guidance lines as ISO 11783-10 task data: version 4.3 with guidance patterns, version 3.3 for older terminals.
//!
//! Written against the schema files of the standard, revision of 2018-06-04. Version 3 has no guidance patterns: a line
//! is a line string of type 5 under its field.

use super::guidance_out::{Field, Line, Sheet};
use super::safe_text::short;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, Event};
use std::io::Result;

/// Longest designator, characters (xs:maxLength 32 in the schema).
const DESIGNATOR: usize = 32;
/// Decimals of a degree: the most the schema allows (xs:fractionDigits 9).
const DECIMALS: usize = 9;

/// Which version of the exchange is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Version {
    /// 3.3, lines without patterns.
    Three,
    /// 4.3, guidance patterns.
    Four,
}

type Xml = Writer<Vec<u8>>;

/// The main file of a `TASKDATA` folder.
///
/// # Errors
/// Never in practice: memory takes every write.
pub fn taskdata(sheet: &Sheet, version: Version) -> Result<Vec<u8>> {
    let mut xml = Writer::new_with_indent(Vec::new(), b' ', 1);
    xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let major = if version == Version::Four { "4" } else { "3" };
    open(
        &mut xml,
        "ISO11783_TaskData",
        &[
            ("VersionMajor", major),
            ("VersionMinor", "3"),
            ("ManagementSoftwareManufacturer", "rowfall"),
            ("ManagementSoftwareVersion", env!("CARGO_PKG_VERSION")),
            ("DataTransferOrigin", "1"),
        ],
    )?;
    let customer = short(&sheet.customer, DESIGNATOR);
    let farm = short(&sheet.farm, DESIGNATOR);
    let mut owner: Vec<(&str, &str)> = Vec::new();
    if !customer.is_empty() {
        empty(&mut xml, "CTR", &[("A", "CTR1"), ("B", &customer)])?;
        owner.push(("E", "CTR1"));
    }
    if !farm.is_empty() {
        let mut attributes = vec![("A", "FRM1"), ("B", farm.as_str())];
        attributes.extend((!customer.is_empty()).then_some(("I", "CTR1")));
        empty(&mut xml, "FRM", &attributes)?;
        owner.push(("F", "FRM1"));
    }
    let mut patterns = 0;
    for field in &sheet.fields {
        part_field(&mut xml, field, sheet, &owner, version, &mut patterns)?;
    }
    close(&mut xml, "ISO11783_TaskData")?;
    let mut bytes = xml.into_inner();
    bytes.push(b'\n');
    Ok(bytes)
}

fn part_field(
    xml: &mut Xml,
    field: &Field,
    sheet: &Sheet,
    owner: &[(&str, &str)],
    version: Version,
    patterns: &mut u32,
) -> Result<()> {
    let id = format!("PFD{}", field.block);
    let code = format!("B{}", field.block);
    let name = designator(&field.name, &code);
    let area = format!("{:.0}", field.area_m2.max(0.0));
    let mut attributes = vec![("A", id.as_str()), ("B", &code), ("C", &name), ("D", &area)];
    attributes.extend_from_slice(owner);
    open(xml, "PFD", &attributes)?;
    polygon(xml, "1", &name, Some(&area), &field.rings, version)?;
    for (reason, rings) in &field.keep_outs {
        polygon(xml, "6", &designator(reason, "keep out"), None, rings, version)?;
    }
    let lines: Vec<&Line> = sheet.lines.iter().filter(|l| l.block == field.block).collect();
    match version {
        Version::Three => {
            for line in lines {
                line_string(xml, line, version)?;
            }
        }
        Version::Four if lines.is_empty() => {}
        Version::Four => {
            let group = format!("GGP{}", field.block);
            open(xml, "GGP", &[("A", &group), ("B", &name)])?;
            for line in lines {
                *patterns += 1;
                pattern(xml, line, *patterns, sheet.epsg)?;
            }
            close(xml, "GGP")?;
        }
    }
    close(xml, "PFD")
}

/// A guidance pattern: type 1 (AB) or 3 (curve); made at a desk (GNSS method 16).
fn pattern(xml: &mut Xml, line: &Line, number: u32, epsg: Option<u32>) -> Result<()> {
    let id = format!("GPN{number}");
    let name = short(&line.name, DESIGNATOR);
    let heading = format!("{:.6}", line.true_bearing_deg);
    let (left, right) = (line.passes.0.to_string(), line.passes.1.to_string());
    let system = epsg.map(|code| code.to_string());
    let curve = line.points.len() > 2;
    // A line for one row is not repeated to its sides (propagation 4); both ends run on for lining up (extension 1).
    let propagation = if line.row.is_some() { "4" } else { "1" };
    let mut attributes = vec![("A", id.as_str()), ("B", &name), ("C", if curve { "3" } else { "1" })];
    attributes.extend([("E", propagation), ("F", "1")]);
    if !curve {
        attributes.push(("G", &heading));
    }
    attributes.push(("I", "16"));
    attributes.extend(system.as_deref().map(|code| ("M", code)));
    attributes.extend([("N", left.as_str()), ("O", &right)]);
    open(xml, "GPN", &attributes)?;
    line_string(xml, line, Version::Four)?;
    close(xml, "GPN")
}

/// The points of a line: reference A (6), guidance points (9), reference B (7); in version 3 "other" (2).
fn line_string(xml: &mut Xml, line: &Line, version: Version) -> Result<()> {
    let name = short(&line.name, DESIGNATOR);
    let width = format!("{:.0}", line.width_m * 1_000.0);
    let length = format!("{:.0}", line.length_m * 1_000.0);
    open(xml, "LSG", &[("A", "5"), ("B", &name), ("C", &width), ("D", &length)])?;
    let last = line.points.len().saturating_sub(1);
    for (i, at) in line.points.iter().enumerate() {
        let (kind, label) = match (version, i) {
            (Version::Four, 0) => ("6", "A"),
            (Version::Four, i) if i == last => ("7", "B"),
            (Version::Four, _) => ("9", ""),
            (Version::Three, 0) => ("2", "A"),
            (Version::Three, i) if i == last => ("2", "B"),
            (Version::Three, _) => ("2", ""),
        };
        point(xml, kind, label, *at)?;
    }
    close(xml, "LSG")
}

/// A polygon with one outer ring and its holes, every ring closed.
fn polygon(
    xml: &mut Xml,
    kind: &str,
    name: &str,
    area: Option<&str>,
    rings: &[Vec<(f64, f64)>],
    version: Version,
) -> Result<()> {
    let mut attributes = vec![("A", kind), ("B", name)];
    attributes.extend(area.map(|a| ("C", a)));
    open(xml, "PLN", &attributes)?;
    let corner = if version == Version::Four { "10" } else { "2" };
    for (i, ring) in rings.iter().enumerate() {
        open(xml, "LSG", &[("A", if i == 0 { "1" } else { "2" })])?;
        for at in ring {
            point(xml, corner, "", *at)?;
        }
        close(xml, "LSG")?;
    }
    close(xml, "PLN")
}

/// No height is written: the standard's is above the ellipsoid in millimetres, ours are above a height datum.
fn point(xml: &mut Xml, kind: &str, label: &str, (lon, lat): (f64, f64)) -> Result<()> {
    let (north, east) = (format!("{lat:.DECIMALS$}"), format!("{lon:.DECIMALS$}"));
    let mut attributes = vec![("A", kind)];
    attributes.extend((!label.is_empty()).then_some(("B", label)));
    attributes.extend([("C", north.as_str()), ("D", &east)]);
    empty(xml, "PNT", &attributes)
}

fn designator(text: &str, otherwise: &str) -> String {
    let name = short(text, DESIGNATOR);
    if name.is_empty() { otherwise.to_owned() } else { name }
}

fn start<'a>(name: &'a str, attributes: &[(&str, &str)]) -> BytesStart<'a> {
    let mut element = BytesStart::new(name);
    for attribute in attributes {
        element.push_attribute(*attribute);
    }
    element
}

fn open(xml: &mut Xml, name: &str, attributes: &[(&str, &str)]) -> Result<()> {
    xml.write_event(Event::Start(start(name, attributes)))
}

fn empty(xml: &mut Xml, name: &str, attributes: &[(&str, &str)]) -> Result<()> {
    xml.write_event(Event::Empty(start(name, attributes)))
}

fn close(xml: &mut Xml, name: &str) -> Result<()> {
    xml.write_event(Event::End(BytesEnd::new(name)))
}
