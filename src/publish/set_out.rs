//! Set-out: pegs on a grid over each block, and drain beds by station.

use super::{NOTHING, Results, sheet, view};
use crate::land::document::{FieldKind, Table, Value};
use geo::{BoundingRect, Contains, Coord, Point};

use FieldKind::{Real, Text};

/// Distance between pegs, metres on the grid.
const PEG_GRID_M: f64 = 20.0;

/// Columns of the peg list.
pub(super) const PEG: &[(&str, FieldKind)] = &[
    ("point", Text),
    ("easting", Real(3)),
    ("northing", Real(3)),
    ("rl_design", Real(3)),
    ("rl_existing", Real(3)),
    ("cut_fill", Real(3)),
    ("code", Text),
    ("description", Text),
];

/// The tables of the set-out folder that exist.
pub(super) fn all(results: &Results<'_>) -> Vec<Table> {
    let Some(plan) = results.plan() else { return Vec::new() };
    let mut out = Vec::new();
    if plan.blocks.is_some() {
        let rows = pegs(results).into_iter().map(|p| p.1).collect();
        out.push(sheet::table("pegs", "Pegs", PEG, rows));
    }
    if plan.drains.is_some() {
        out.push(inverts(results));
    }
    out
}

/// Pegs on a 20 m grid (multiples of 20 m) inside each block: by block, north to south, west to east.
pub(super) fn pegs(results: &Results<'_>) -> Vec<(Coord<f64>, Vec<Value>)> {
    let Some(plan) = results.plan() else { return Vec::new() };
    let mut out = Vec::new();
    for block in plan.blocks.map_or(&[][..], |b| &b.blocks) {
        let Some(rect) = block.outline.bounding_rect() else { continue };
        let mut number = 0_u32;
        let mut north = (rect.max().y / PEG_GRID_M).floor() * PEG_GRID_M;
        while north >= rect.min().y {
            let mut east = (rect.min().x / PEG_GRID_M).ceil() * PEG_GRID_M;
            while east <= rect.max().x {
                let at = Coord { x: east, y: north };
                if block.outline.contains(&Point(at)) {
                    number += 1;
                    out.push((at, peg(results, at, &format!("B{}-{number:04}", block.id), &block.name)));
                }
                east += PEG_GRID_M;
            }
            north -= PEG_GRID_M;
        }
    }
    out
}

fn peg(results: &Results<'_>, at: Coord<f64>, point: &str, block: &str) -> Vec<Value> {
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
        code.into(),
        format!("block {block}").into(),
    ]
}

fn inverts(results: &Results<'_>) -> Table {
    let columns = &[
        ("drain", Text),
        ("station_m", Real(1)),
        ("easting", Real(3)),
        ("northing", Real(3)),
        ("rl_ground", Real(3)),
        ("rl_invert", Real(3)),
        ("depth_m", Real(3)),
        ("drop_m", Real(3)),
        ("bottom_m", Real(2)),
        ("batter_h_per_v", Real(2)),
    ];
    let mut rows = Vec::new();
    for d in results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.drains) {
        for s in &d.stations {
            let drop = if s.drop_m > 0.0 { s.drop_m.into() } else { NOTHING };
            rows.push(vec![
                view::drain_name(d.id).into(),
                s.station_m.into(),
                s.at.x.into(),
                s.at.y.into(),
                s.ground_m.into(),
                s.invert_m.into(),
                (s.ground_m - s.invert_m).into(),
                drop,
                d.section.bottom_m.into(),
                d.section.batter_h_per_v.into(),
            ]);
        }
    }
    sheet::table("drain_inverts", "Drain beds", columns, rows)
}
