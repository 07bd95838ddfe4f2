//! What the interactive map of the page knows: numbers of blocks, rows and drains, in the units of its drawing.

use super::drawing::Frame;
use super::pages::cells::head;
use super::{Results, maps, sheet, tables, view};
use crate::land::document::{Field, Table, Value};
use base64::Engine;
use geo::LineString;
use serde_json::{Value as Json, json};
use sha2::{Digest, Sha256};

/// Rows beyond this many are left to the table: the page would get slow.
const MOST_ROWS: usize = 12_000;
/// Layers that are switched off to begin with: they would hide the plan.
const OFF: [&str; 2] = ["bands", "debris"];

/// The map of the page with everything it needs.
pub(super) struct PageMap {
    /// The drawing.
    pub svg: String,
    /// Layers: id, title, whether it is shown to begin with.
    pub layers: Vec<(&'static str, &'static str, bool)>,
    /// Numbers as JSON that may stand inside a page.
    pub data: String,
    /// Names of the blocks, in the order of the data.
    pub blocks: Vec<String>,
    /// Names of the drains, in the order of the data.
    pub drains: Vec<String>,
    /// Whether the rows were too many.
    pub rows_left_out: bool,
}

/// The map of the page; `None` without land.
pub(super) fn page_map(results: &Results<'_>) -> Option<PageMap> {
    let (svg, used, frame) = maps::page_map(results)?;
    let option = results.plan().copied().unwrap_or_default();
    let blocks = option.blocks.map_or(&[][..], |b| &b.blocks);
    let drains = option.drains.map_or(&[][..], |d| &d.drains);
    let count: usize = blocks.iter().map(|b| b.rows.len()).sum();
    let rows_left_out = count > MOST_ROWS;
    let register = tables::block_register(results);
    let drain_table = tables::drains(results);
    let row_fields = sheet::fields(view::ROW);
    let views = if rows_left_out { Vec::new() } else { view::rows(&option) };
    let block_data: Vec<Json> = blocks
        .iter()
        .zip(&register.rows)
        .map(|(b, numbers)| {
            let mine = views.iter().filter(|v| v.block.id == b.id);
            let (rows, cells): (Vec<Json>, Vec<Json>) = mine
                .map(|v| {
                    let values = sheet::rounded(&row_fields, view::row_values(results, v));
                    // The block is known already.
                    (points(&frame, &v.row.line), Json::from(texts(&row_fields[1..], &values[1..])))
                })
                .unzip();
            json!({
                "id": b.id.to_string(), "name": b.name, "outline": frame.area(&b.outline),
                "numbers": texts(&register.fields, numbers), "rows": rows, "cells": cells,
            })
        })
        .collect();
    let drain_data: Vec<Json> = drains
        .iter()
        .zip(&drain_table.rows)
        .map(|(d, numbers)| {
            json!({
                "id": d.id.to_string(), "name": view::drain_name(d.id), "line": frame.line(&d.line),
                "numbers": texts(&drain_table.fields, numbers),
            })
        })
        .collect();
    let data = json!({
        "block_heads": heads(&register), "row_heads": row_fields[1..].iter().map(|f| head(&f.name)).collect::<Vec<_>>(),
        "drain_heads": heads(&drain_table), "blocks": block_data, "drains": drain_data,
    });
    Some(PageMap {
        svg,
        layers: used.into_iter().map(|(id, title)| (id, title, !OFF.contains(&id))).collect(),
        data: inside_a_page(&data),
        blocks: blocks.iter().map(|b| b.name.clone()).collect(),
        drains: drains.iter().map(|d| view::drain_name(d.id)).collect(),
        rows_left_out,
    })
}

fn heads(table: &Table) -> Vec<String> {
    table.fields.iter().map(|f| head(&f.name)).collect()
}

fn texts(fields: &[Field], values: &[Value]) -> Vec<String> {
    values.iter().zip(fields).map(|(v, f)| sheet::text(v, f.kind)).collect()
}

fn points(frame: &Frame, line: &LineString<f64>) -> Json {
    let places = line.0.iter().map(|p| {
        let (x, y) = frame.at(*p);
        json!([sheet::round(x, 2), sheet::round(y, 2)])
    });
    places.collect()
}

/// JSON that cannot end the element it stands in.
fn inside_a_page(data: &Json) -> String {
    data.to_string().replace('<', "\\u003c").replace('>', "\\u003e").replace('&', "\\u0026")
}

/// The source expression of a content security policy that allows exactly this text (CSP level 3, 2.3.1).
pub(super) fn policy_hash(text: &str) -> String {
    format!("'sha256-{}'", base64::engine::general_purpose::STANDARD.encode(Sha256::digest(text.as_bytes())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_is_the_one_of_the_standard() {
        // CSP level 3, section 8.4 (hash usage for script-src): the hash of `alert('Hello, world.');`.
        assert_eq!(policy_hash("alert('Hello, world.');"), "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='");
    }

    #[test]
    fn data_cannot_close_its_element() {
        let text = inside_a_page(&json!({"name": "</script><script>alert(1)</script>"}));
        assert!(!text.contains('<') && !text.contains('>'));
        let back: Json = serde_json::from_str(&text).unwrap();
        assert_eq!(back["name"], "</script><script>alert(1)</script>");
    }
}
