//! The map of a comparison: where the finished ground is too high, too low, and where water will stand in rows.

use super::drawing::{Drawing, Frame, NAMESPACE};
use geo::{Centroid, Coord, LineString, Polygon, Rect};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// What the map shows.
pub struct Sheet<'a> {
    /// Title.
    pub title: &'a str,
    /// Lines below the title.
    pub lines: &'a [String],
    /// Places with survey less design, metres.
    pub places: &'a [(Coord<f64>, f64)],
    /// Side of what a place stands for; `None` for single points.
    pub cell_m: Option<f64>,
    /// Rows in which water stands too deep.
    pub rows: &'a [LineString<f64>],
    /// Blocks of the plan: name and outline.
    pub blocks: &'a [(&'a str, &'a Polygon<f64>)],
}

/// Upper ends of the classes, millimetres, with colour and name. A pair of ColorBrewer's brown to blue-green; every class
/// has its own sign as well, so the map reads without colour.
const CLASSES: [(f64, &str, &str, &str); 6] = [
    (-50.0, "#01665e", "more than 50 mm too low", "v"),
    (-25.0, "#80cdc1", "25 to 50 mm too low", "-"),
    (25.0, "#f5f5f5", "within 25 mm", ""),
    (50.0, "#dfc27d", "25 to 50 mm too high", "+"),
    (f64::INFINITY, "#8c510a", "more than 50 mm too high", "^"),
    (f64::NAN, "#d55e00", "row in which water stands too deep", ""),
];

const WIDTH: f64 = 1_100.0;
const TOP: f64 = 130.0;
/// Squares across the map: what an eye can tell apart on a printed page.
const SQUARES: f64 = 140.0;

fn class(mm: f64) -> usize {
    // Limits belong to the class nearer to zero, as in the shares of the table.
    match mm {
        x if x < -50.0 => 0,
        x if x < -25.0 => 1,
        x if x <= 25.0 => 2,
        x if x <= 50.0 => 3,
        _ => 4,
    }
}

/// The map as a file of its own.
#[must_use]
pub fn map(sheet: &Sheet<'_>) -> String {
    let (mut low, mut high) =
        (Coord { x: f64::INFINITY, y: f64::INFINITY }, Coord { x: -f64::INFINITY, y: -f64::INFINITY });
    for (at, _) in sheet.places {
        low = Coord { x: low.x.min(at.x), y: low.y.min(at.y) };
        high = Coord { x: high.x.max(at.x), y: high.y.max(at.y) };
    }
    if sheet.places.is_empty() {
        (low, high) = (Coord { x: 0.0, y: 0.0 }, Coord { x: 1.0, y: 1.0 });
    }
    let frame = Frame::around(Rect::new(low, high), WIDTH);
    let mut d = Drawing::new();
    d.label((20.0, 36.0), sheet.title, 22.0, "font-weight=\"600\"");
    for (i, line) in sheet.lines.iter().enumerate() {
        d.label((20.0, 62.0 + 20.0 * i as f64), line, 13.0, "");
    }
    d.raw(&format!("<g transform=\"translate(0 {TOP})\">"));
    match sheet.cell_m {
        Some(cell_m) => squares(&mut d, &frame, sheet, cell_m, (high.x - low.x).max(high.y - low.y)),
        None => points(&mut d, &frame, sheet),
    }
    for row in sheet.rows {
        // Thin enough that the classes beneath are still seen where every row of a block is wrong.
        d.path(&frame.line(row), "fill=\"none\" stroke=\"#d55e00\" stroke-width=\"0.7\" stroke-dasharray=\"6 4\"");
    }
    for (name, outline) in sheet.blocks {
        d.path(&frame.area(outline), "fill=\"none\" stroke=\"#222\" stroke-width=\"1\"");
        if let Some(at) = outline.centroid() {
            let look =
                "text-anchor=\"middle\" font-weight=\"600\" stroke=\"#fff\" stroke-width=\"3\" paint-order=\"stroke\"";
            d.label(frame.at(at.into()), name, 14.0, look);
        }
    }
    d.raw("</g>");
    let bottom = TOP + frame.size.1 + 10.0;
    legend(&mut d, bottom, sheet);
    scale_bar(&mut d, &frame, bottom);
    let height = bottom + 130.0;
    let size = format!("<svg {NAMESPACE} width=\"{WIDTH:.0}\" height=\"{height:.0}\" ");
    d.finish("as-built", sheet.title, WIDTH, height).replacen("<svg ", &size, 1)
}

/// Cells averaged to squares, drawn as one path a class.
fn squares(d: &mut Drawing, frame: &Frame, sheet: &Sheet<'_>, cell_m: f64, across_m: f64) {
    let side_m = ((across_m / SQUARES / cell_m).ceil().max(1.0)) * cell_m;
    let mut sums: BTreeMap<(i64, i64), (f64, f64)> = BTreeMap::new();
    for (at, difference) in sheet.places {
        #[expect(clippy::cast_possible_truncation, reason = "counts of squares")]
        let square = ((at.x / side_m).floor() as i64, (at.y / side_m).floor() as i64);
        let sum = sums.entry(square).or_default();
        *sum = (sum.0 + difference, sum.1 + 1.0);
    }
    let size = side_m * frame.scale;
    let mut paths: [String; 5] = Default::default();
    let mut signs = String::new();
    for ((col, row), (sum, n)) in sums {
        let (x, y) = frame.at(Coord { x: col as f64 * side_m, y: (row + 1) as f64 * side_m });
        let class = class(sum / n * 1_000.0);
        let _ = write!(paths[class], "M{x:.1} {y:.1}h{size:.1}v{size:.1}h-{size:.1}Z");
        let sign = CLASSES[class].3;
        if !sign.is_empty() && (col + row).rem_euclid(3) == 0 {
            let (x, y) = (x + size / 2.0, y + size * 0.75);
            let _ = write!(signs, "<text x=\"{x:.1}\" y=\"{y:.1}\">{sign}</text>");
        }
    }
    for (path, (_, colour, ..)) in paths.iter().zip(CLASSES) {
        d.path(path, &format!("fill=\"{colour}\" stroke=\"none\""));
    }
    d.raw(&format!("<g font-size=\"{:.1}\" text-anchor=\"middle\" fill=\"#000\">{signs}</g>", size.clamp(5.0, 12.0)));
}

fn points(d: &mut Drawing, frame: &Frame, sheet: &Sheet<'_>) {
    for (at, difference) in sheet.places {
        let (x, y) = frame.at(*at);
        let (_, colour, _, sign) = CLASSES[class(difference * 1_000.0)];
        d.raw(&format!(
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"{colour}\" stroke=\"#222\" stroke-width=\"0.7\"/>\
             <text x=\"{x:.1}\" y=\"{:.1}\" font-size=\"10\" text-anchor=\"middle\">{sign}</text>",
            y - 5.0
        ));
    }
}

fn legend(d: &mut Drawing, top: f64, sheet: &Sheet<'_>) {
    let shown = if sheet.rows.is_empty() { 5 } else { 6 };
    for (i, (_, colour, name, sign)) in CLASSES.iter().take(shown).enumerate() {
        let (x, y) = (20.0 + 280.0 * (i / 2) as f64, top + 24.0 * (i % 2) as f64 + 10.0);
        if i == 5 {
            let look = "fill=\"none\" stroke=\"#d55e00\" stroke-width=\"2\" stroke-dasharray=\"6 3\"";
            d.path(&format!("M{x} {:.1}h24", y + 7.0), look);
        } else {
            d.path(
                &format!("M{x} {y:.1}h24v14h-24Z"),
                &format!("fill=\"{colour}\" stroke=\"#555\" stroke-width=\"0.7\""),
            );
            d.label((x + 12.0, y + 11.0), sign, 11.0, "text-anchor=\"middle\"");
        }
        d.label((x + 32.0, y + 12.0), name, 13.0, "");
    }
    d.label(
        (20.0, top + 112.0),
        "Measure again where the machine will not go back: the survey itself is good to a few centimetres.",
        12.0,
        "",
    );
}

fn scale_bar(d: &mut Drawing, frame: &Frame, top: f64) {
    let most_m = 220.0 / frame.scale;
    let ten = 10_f64.powf(most_m.log10().floor());
    let bar_m = [5.0, 2.0, 1.0].into_iter().map(|k| k * ten).find(|m| *m <= most_m).unwrap_or(ten);
    let (x, y, wide) = (20.0, top + 76.0, bar_m * frame.scale);
    d.path(&format!("M{x} {y:.1}v-6h{wide:.1}v6"), "fill=\"none\" stroke=\"#222\" stroke-width=\"1.4\"");
    d.label((x + wide + 8.0, y), &format!("{bar_m:.0} m"), 12.0, "");
}
