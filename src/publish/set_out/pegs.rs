//! Pegs on a grid over each block.

use super::{Heading, NOTHING, Results, sheet};
use crate::land::document::{FieldKind, Table, Value};
use crate::land::site::ControlPoint;
use geo::{BoundingRect, Contains, Coord, Point};

use FieldKind::{Real, Text};

/// Columns of the peg list.
pub(in crate::publish) const PEG: &[(&str, FieldKind)] = &[
    ("point", Text),
    ("easting", Real(3)),
    ("northing", Real(3)),
    ("rl_design", Real(3)),
    ("rl_existing", Real(3)),
    ("cut_fill", Real(3)),
    ("code", Text),
    ("description", Text),
    ("grid", Text),
    ("height_datum", Text),
];

/// Benchmarks, then pegs on a grid (multiples of the spacing) inside each block: by block, north to south, west to east.
pub(in crate::publish) fn pegs(results: &Results<'_>) -> Vec<(Coord<f64>, Vec<Value>)> {
    let (Some(plan), Some(heading)) = (results.plan(), Heading::of(results)) else { return Vec::new() };
    let spacing_m = heading.table.peg_spacing_m.max(1.0);
    let mut out = benchmarks(&heading);
    for block in plan.blocks.map_or(&[][..], |b| &b.blocks) {
        let Some(rect) = block.outline.bounding_rect() else { continue };
        let mut number = 0_u32;
        let mut north = (rect.max().y / spacing_m).floor() * spacing_m;
        while north >= rect.min().y {
            let mut east = (rect.min().x / spacing_m).ceil() * spacing_m;
            while east <= rect.max().x {
                let at = Coord { x: east, y: north };
                if block.outline.contains(&Point(at)) {
                    number += 1;
                    let point = format!("B{}-{number:04}", block.id);
                    out.push((at, peg(results, &heading, at, &point, &block.name)));
                }
                east += spacing_m;
            }
            north -= spacing_m;
        }
    }
    out
}

fn benchmarks(heading: &Heading<'_>) -> Vec<(Coord<f64>, Vec<Value>)> {
    let row = |(i, b): (usize, &ControlPoint)| {
        let mut values: Vec<Value> = vec![format!("BM{}", i + 1).into(), b.at.x.into(), b.at.y.into()];
        values.extend([NOTHING, b.height_m.into(), NOTHING, "BM".into()]);
        values
            .extend([format!("benchmark {}", b.name), heading.grid.clone(), heading.heights.clone()].map(Value::from));
        (b.at, values)
    };
    heading.benchmarks.iter().enumerate().map(row).collect()
}

/// The peg list with a header, and the plain one: number, northing, easting, height, code; ASCII, no header.
pub(super) fn lists(results: &Results<'_>, heading: &Heading<'_>) -> (Table, String) {
    let rows: Vec<Vec<Value>> = pegs(results).into_iter().map(|p| p.1).collect();
    let mut plain = String::new();
    for row in &rows {
        let [Value::Text(point), Value::Real(east), Value::Real(north), design, existing, cut, Value::Text(code), ..] =
            row.as_slice()
        else {
            continue;
        };
        // The height to build to, else the one that is there; a point without either is no use to a rover.
        let Some(level) =
            [design, existing].into_iter().find_map(|v| if let Value::Real(z) = v { Some(*z) } else { None })
        else {
            continue;
        };
        let depth = if let Value::Real(cut) = cut { format!(" {:.2}", cut.abs()) } else { String::new() };
        plain.push_str(&format!("{point},{north:.3},{east:.3},{level:.3},{code}{depth}\n"));
    }
    (sheet::table("pegs", &format!("{}Pegs", heading.mark()), PEG, rows), plain)
}

fn peg(results: &Results<'_>, heading: &Heading<'_>, at: Coord<f64>, point: &str, block: &str) -> Vec<Value> {
    let existing = results.ground.and_then(|g| g.surveyed.0.bilinear(at));
    let design = results.plan().and_then(|p| p.levelling).and_then(|l| l.design.0.0.bilinear(at));
    // Cut is positive, as everywhere; a peg outside the formed area has neither cut nor fill.
    let cut = existing.zip(design).map(|(e, d)| sheet::round(e, 3) - sheet::round(d, 3));
    let code = match cut {
        None => "ASIS",
        Some(c) if c > 0.0005 => "CUT",
        Some(c) if c < -0.0005 => "FILL",
        Some(_) => "GRADE",
    };
    vec![
        point.into(),
        at.x.into(),
        at.y.into(),
        design.into(),
        existing.into(),
        cut.into(),
        format!("{}{code}", heading.mark()).into(),
        format!("{}block {block}", heading.mark()).into(),
        heading.grid.as_str().into(),
        heading.heights.as_str().into(),
    ]
}
