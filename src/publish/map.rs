//! Maps as SVG: the plan, cut and fill, and water.

use super::drawing::{Drawing, Frame, NAMESPACE};
use super::{Results, sheet, view};
use crate::grid::{Cell, Raster};
use geo::{BoundingRect, Centroid, Coord, LineString};

/// Width of a drawing, in drawing units.
const WIDTH: f64 = 1000.0;
/// At most this many coarse rectangles across a raster drawing.
const COARSE: u32 = 90;

/// The plan as a file of its own.
pub(super) fn plan(results: &Results<'_>) -> String {
    plan_inline(results).replacen("<svg ", &format!("<svg {NAMESPACE} "), 1)
}

fn frame(results: &Results<'_>) -> Option<Frame> {
    results.site.boundary.bounding_rect().map(|r| Frame::around(r, WIDTH))
}

/// The plan, to stand inside a page.
pub(super) fn plan_inline(results: &Results<'_>) -> String {
    let Some(frame) = frame(results) else { return String::new() };
    let mut d = Drawing::new();
    d.raw(
        "<defs><pattern id=\"keep\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><rect width=\"8\" height=\"8\" fill=\"#e3f1ea\"/>\
         <path d=\"M0 0V8\" stroke=\"#00795a\" stroke-width=\"2\"/></pattern>\
         <pattern id=\"dots\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">\
         <rect width=\"7\" height=\"7\" fill=\"#e4f2fb\"/><circle cx=\"2\" cy=\"2\" r=\"1\" fill=\"#0072b2\"/></pattern></defs>",
    );
    let mut key: Vec<(&str, &str)> = Vec::new();
    base(results, &frame, &mut d, &mut key);
    blocks(results, &frame, &mut d, &mut key);
    drains(results, &frame, &mut d, &mut key);
    d.path(&frame.areas(&results.site.boundary), BOUNDARY);
    key.push(("boundary", BOUNDARY));
    let height = margin(results, &frame, &mut d, &key);
    d.finish("plan", &format!("Plan of {}", results.site.name), WIDTH, height)
}

const BOUNDARY: &str = "fill=\"none\" stroke=\"#000\" stroke-width=\"2\" stroke-dasharray=\"12 3 2 3\"";
const CONTOUR: &str = "fill=\"none\" stroke=\"#b9a88c\" stroke-width=\"0.8\"";
const BUFFER: &str = "fill=\"url(#dots)\" stroke=\"#56b4e9\"";
const KEEP: &str = "fill=\"url(#keep)\" stroke=\"#00795a\"";
const WATERWAY: &str = "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"3\"";
const BLOCK: &str = "fill=\"#f6ead0\" stroke=\"#7a5200\" stroke-width=\"1.5\"";
const HEADLAND: &str = "fill=\"#dcdcd6\" stroke=\"none\"";
const ROW: &str = "fill=\"none\" stroke=\"#a8a060\" stroke-width=\"0.7\"";
const DRAIN: &str = "fill=\"none\" stroke=\"#d55e00\" stroke-width=\"3\"";
const TRACK: &str = "fill=\"none\" stroke=\"#6e4628\" stroke-width=\"2\" stroke-dasharray=\"6 4\"";
const POWER: &str = "fill=\"none\" stroke=\"#cc79a7\" stroke-width=\"2.5\" stroke-dasharray=\"2 5\"";
const OUTLET: &str = "fill=\"#fff\" stroke=\"#0072b2\" stroke-width=\"3\"";

fn base<'k>(results: &Results<'_>, f: &Frame, d: &mut Drawing, key: &mut Vec<(&'k str, &'k str)>) {
    let layers = &results.site.layers;
    if let Some(water) = results.water.filter(|w| !w.buffers.is_empty()) {
        water.buffers.iter().for_each(|b| d.path(&f.areas(&b.outline), BUFFER));
        key.push(("strip kept free along water", BUFFER));
    }
    if !layers.keep_areas.is_empty() {
        layers.keep_areas.iter().for_each(|k| d.path(&f.areas(&k.outline), KEEP));
        key.push(("area kept", KEEP));
    }
    if !layers.waterways.is_empty() {
        for w in &layers.waterways {
            d.path(&f.line(&w.line), WATERWAY);
        }
        key.push(("waterway", WATERWAY));
    }
}

fn blocks<'k>(results: &Results<'_>, f: &Frame, d: &mut Drawing, key: &mut Vec<(&'k str, &'k str)>) {
    let layout = results.plan().and_then(|p| p.blocks);
    let blocks = layout.map_or(&[][..], |b| &b.blocks);
    for b in blocks {
        d.path(&f.area(&b.outline), BLOCK);
        b.headlands.iter().for_each(|h| d.path(&f.area(&h.outline), HEADLAND));
        // Rows closer than about six drawing units run into a tint: draw every n-th.
        let step = (6.0 / (b.row_spacing_m * f.scale).max(0.01)).ceil().clamp(1.0, 500.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 500")]
        b.rows.iter().step_by(step as usize).for_each(|r| d.path(&f.line(&r.line), ROW));
    }
    if !blocks.is_empty() {
        key.extend([("row block", BLOCK), ("headland", HEADLAND), ("row (not every row is drawn)", ROW)]);
    }
    if let Some(terrain) = results.terrain.filter(|t| !t.contours.is_empty()) {
        for line in terrain.contours.iter().flat_map(|c| c.lines.iter()) {
            d.path(&f.line(line), CONTOUR);
        }
        key.push(("contour of the ground", CONTOUR));
    }
    let layers = &results.site.layers;
    let planned = layout.map_or(&[][..], |b| &b.tracks);
    let tracks: Vec<_> = layers.tracks.iter().map(|t| &t.line).chain(planned.iter().map(|t| &t.line)).collect();
    if !tracks.is_empty() {
        tracks.iter().for_each(|t| d.path(&f.line(t), TRACK));
        key.push(("track", TRACK));
    }
    if !layers.power_lines.is_empty() {
        layers.power_lines.iter().for_each(|p| d.path(&f.line(&p.line), POWER));
        key.push(("overhead power line", POWER));
    }
    for b in blocks {
        let at = f.at(b.outline.centroid().map_or_else(Coord::default, Into::into));
        arrow(d, (at.0, at.1 + 26.0), b.bearing.degrees(), 30.0, "#222");
        d.label(at, &b.name, 17.0, "text-anchor=\"middle\" font-weight=\"600\"");
    }
}

fn drains<'k>(results: &Results<'_>, f: &Frame, d: &mut Drawing, key: &mut Vec<(&'k str, &'k str)>) {
    let drains = results.plan().and_then(|p| p.drains).map_or(&[][..], |p| &p.drains);
    for drain in drains {
        d.path(&f.line(&drain.line), DRAIN);
    }
    for drain in drains {
        if let Some((at, deg)) = middle(&drain.line) {
            arrow(d, f.at(at), deg, 18.0, "#d55e00");
            let (x, y) = f.at(at);
            d.label((x - 18.0, y + 18.0), &view::drain_name(drain.id), 13.0, "fill=\"#8a3c00\"");
        }
    }
    if !drains.is_empty() {
        key.push(("drain, arrow with the water", DRAIN));
    }
    let outlets = results.water.map_or(&[][..], |w| &w.outlets);
    for o in outlets {
        let (x, y) = f.at(o.at);
        d.raw(&format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"7\" {OUTLET}/>"));
        let name = if o.assumed { format!("{} (to be confirmed)", o.name) } else { o.name.clone() };
        let look = if x > 0.75 * WIDTH { "text-anchor=\"end\"" } else { "" };
        d.label((if look.is_empty() { x + 11.0 } else { x - 11.0 }, y + 36.0), &name, 13.0, look);
    }
    if !outlets.is_empty() {
        key.push(("outlet", OUTLET));
    }
    for w in &results.site.layers.waterways {
        if let Some((at, _)) = middle(&w.line) {
            d.label(f.at(at), &w.name, 13.0, "fill=\"#004c78\" font-style=\"italic\"");
        }
    }
}

/// Middle of a line and the bearing there, degrees.
fn middle(line: &LineString<f64>) -> Option<(Coord<f64>, f64)> {
    let i = line.0.len().checked_sub(2)? / 2;
    let (a, b) = (line.0.get(i)?, line.0.get(i + 1)?);
    Some(((*a + *b) / 2.0, (b.x - a.x).atan2(b.y - a.y).to_degrees()))
}

fn arrow(d: &mut Drawing, (x, y): (f64, f64), deg: f64, size: f64, colour: &str) {
    let h = size / 2.0;
    d.raw(&format!(
        "<path transform=\"translate({x:.1} {y:.1}) rotate({deg:.1})\" d=\"M0 {h:.1}V-{h:.1}M-5 {t:.1}L0 -{h:.1}L5 {t:.1}\" \
         fill=\"none\" stroke=\"{colour}\" stroke-width=\"2.5\"/>",
        t = 8.0 - h
    ));
}

/// Legend, scale bar, north arrow and reference line under the map; gives back the full height.
fn margin(results: &Results<'_>, f: &Frame, d: &mut Drawing, key: &[(&str, &str)]) -> f64 {
    let top = f.height + 16.0;
    for (i, (words, look)) in key.iter().enumerate() {
        let (x, y) = (20.0 + 240.0 * (i % 3) as f64, top + 24.0 * (i / 3) as f64);
        if look.contains("fill=\"none\"") {
            d.path(&format!("M{x} {}h30", y + 8.0), look);
        } else {
            d.raw(&format!("<rect x=\"{x}\" y=\"{y}\" width=\"30\" height=\"15\" {look}/>"));
        }
        d.label((x + 38.0, y + 13.0), words, 13.0, "");
    }
    // The widest of 1, 2, 5 times a power of ten that fits 180 units.
    let most_m = 180.0 / f.scale;
    let power = 10_f64.powf(most_m.log10().floor());
    let bar_m = power
        * if most_m >= 5.0 * power {
            5.0
        } else if most_m >= 2.0 * power {
            2.0
        } else {
            1.0
        };
    let x = 765.0;
    let y = top + 22.0;
    d.path(
        &format!("M{x} {}v6h{:.1}v-6", y - 6.0, bar_m * f.scale),
        "fill=\"none\" stroke=\"#000\" stroke-width=\"2\"",
    );
    d.label((x, y + 16.0), &format!("{bar_m} m"), 13.0, "");
    // Drawn 180 mm wide, the print width of the page.
    let one_in = WIDTH / f.scale / 0.18;
    d.label((x, y + 34.0), &format!("about 1:{} printed 180 mm wide", sheet::grouped(one_in)), 11.0, "");
    arrow(d, (975.0, y), 0.0, 34.0, "#000");
    d.label((975.0, y - 20.0), "N", 13.0, "text-anchor=\"middle\"");
    let height = top + 24.0 * key.len().div_ceil(3).max(3) as f64 + 44.0;
    let site = results.site;
    let datum = site.crs.vertical_name.as_deref().unwrap_or("height datum not stated");
    d.label(
        (20.0, height - 26.0),
        &format!("Grid north up; true bearing = grid bearing {:+.2}\u{b0}", site.geodesy.grid_north_azimuth_deg),
        12.0,
        "",
    );
    d.label((20.0, height - 9.0), &format!("{} \u{b7} {datum} \u{b7} run {}", site.crs.name, results.run_id), 12.0, "");
    height
}

/// Colour and words of a class; the first class whose upper edge is not passed.
type Class = (f32, &'static str, &'static str);

/// Cut and fill, `ColorBrewer` `PuOr`; empty when nothing is formed.
pub(super) fn cut_fill(results: &Results<'_>) -> String {
    const CLASSES: &[Class] = &[
        (-0.3, "#542788", "fill over 0.30 m"),
        (-0.1, "#998ec3", "fill 0.10 to 0.30 m"),
        (-0.02, "#d8daeb", "fill 0.02 to 0.10 m"),
        (0.02, "#f7f7f7", "within 0.02 m"),
        (0.1, "#fee0b6", "cut 0.02 to 0.10 m"),
        (0.3, "#f1a340", "cut 0.10 to 0.30 m"),
        (f32::INFINITY, "#b35806", "cut over 0.30 m"),
    ];
    let raster = results.plan().and_then(|p| p.levelling).map(|l| &l.cut_fill.0);
    raster.map_or_else(String::new, |r| {
        coarse(results, r, CLASSES, "cut", "Cut and fill", &[('\u{2212}', -0.1), ('+', 0.1)])
    })
}

/// Depth of standing water, `ColorBrewer` `Blues`; empty without a pond.
pub(super) fn ponds(results: &Results<'_>) -> String {
    const CLASSES: &[Class] = &[
        (0.1, "#c6dbef", "up to 0.10 m"),
        (0.3, "#6baed6", "0.10 to 0.30 m"),
        (f32::INFINITY, "#08519c", "over 0.30 m"),
    ];
    let raster = results.water.filter(|w| !w.ponds.is_empty()).map(|w| &w.pond_depth);
    raster.map_or_else(String::new, |r| {
        coarse(results, r, CLASSES, "pond", "Depth of standing water, ground as it lies", &[])
    })
}

/// Means over square groups of cells, drawn in classes, with a mark where a threshold is passed.
fn coarse(
    results: &Results<'_>,
    raster: &Raster<f32>,
    classes: &[Class],
    id: &str,
    title: &str,
    marks: &[(char, f32)],
) -> String {
    let Some(f) = frame(results) else { return String::new() };
    let spec = raster.spec;
    let n = spec.cols.max(spec.rows).div_ceil(COARSE).max(1);
    let mut d = Drawing::new();
    let size = f64::from(n) * spec.cell_m * f.scale;
    for row in (0..spec.rows).step_by(n as usize) {
        for col in (0..spec.cols).step_by(n as usize) {
            let Some(mean) = group_mean(raster, row, col, n) else { continue };
            let Some(class) = classes.iter().find(|c| mean <= c.0) else { continue };
            let (x, y) = f.at(Coord {
                x: spec.north_west.x + f64::from(col) * spec.cell_m,
                y: spec.north_west.y - f64::from(row) * spec.cell_m,
            });
            d.raw(&format!(
                "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{size:.1}\" height=\"{size:.1}\" fill=\"{}\"/>",
                class.1
            ));
            // Never colour alone: every third group carries its sign where it is well past level.
            if (row / n).is_multiple_of(3) && (col / n).is_multiple_of(3) {
                for (mark, edge) in marks.iter().filter(|m| m.1 * mean > m.1 * m.1) {
                    let _ = edge;
                    d.label((x + size / 2.0, y + size), &mark.to_string(), 12.0, "text-anchor=\"middle\"");
                }
            }
        }
    }
    for w in &results.site.layers.waterways {
        d.path(&f.line(&w.line), WATERWAY);
    }
    for b in results.plan().and_then(|p| p.blocks).map_or(&[][..], |b| &b.blocks) {
        d.path(&f.area(&b.outline), "fill=\"none\" stroke=\"#555\"");
    }
    d.path(&f.areas(&results.site.boundary), BOUNDARY);
    for (i, (_, colour, words)) in classes.iter().enumerate() {
        let (x, y) = (20.0 + 240.0 * (i % 4) as f64, f.height + 10.0 + 24.0 * (i / 4) as f64);
        d.raw(&format!("<rect x=\"{x}\" y=\"{y}\" width=\"30\" height=\"15\" fill=\"{colour}\" stroke=\"#777\"/>"));
        d.label((x + 38.0, y + 13.0), words, 13.0, "");
    }
    d.finish(id, title, WIDTH, f.height + 20.0 + 24.0 * classes.len().div_ceil(4) as f64)
}

fn group_mean(raster: &Raster<f32>, row: u32, col: u32, n: u32) -> Option<f32> {
    let spec = raster.spec;
    let mut sum = (0.0_f32, 0_u32);
    for r in row..(row + n).min(spec.rows) {
        for c in col..(col + n).min(spec.cols) {
            if let Some(v) = raster.get(Cell::new(r, c)) {
                sum = (sum.0 + v, sum.1 + 1);
            }
        }
    }
    (sum.1 > 0).then(|| sum.0 / sum.1 as f32)
}
