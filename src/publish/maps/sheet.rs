//! What stands round a map on a sheet: title block, legend, scale, north, grid ticks, sources, cautions.

use super::canvas::Sample;
use super::{Draft, ink};
use crate::land::paper::GroundFrame;
use crate::land::typeface::{lines, shortened};
use crate::publish::drawing::{Drawing, Frame, standing_alone};
use crate::publish::sheet::{counted, grouped};
use crate::publish::{Results, view};
use geo::Coord;

/// A3, landscape, millimetres.
pub(in crate::publish) const PAPER: (f64, f64) = (420.0, 297.0);
/// Upper left corner of the map.
pub(in crate::publish) const MAP_AT: (f64, f64) = (13.0, 24.0);
/// Width and height of the map.
pub(in crate::publish) const MAP_SIZE: (f64, f64) = (300.0, 252.0);
/// Left edge and width of the column beside the map.
const COLUMN: (f64, f64) = (321.0, 88.0);
/// Lowest line of the column.
const COLUMN_END: f64 = 276.0;

/// What a sheet says beside its map.
#[derive(Debug)]
pub(super) struct Words {
    /// Short name of the file.
    pub file: &'static str,
    /// Title.
    pub title: &'static str,
    /// What can be read off it, a line each.
    pub facts: Vec<String>,
    /// What to mind.
    pub cautions: Vec<&'static str>,
}

/// One finished sheet.
#[derive(Debug, Clone)]
pub(in crate::publish) struct Sheet {
    /// Short name of the file.
    pub file: &'static str,
    /// Title.
    pub title: &'static str,
    /// Words that stand for the picture.
    pub alt: String,
    /// The sheet as SVG.
    pub svg: String,
    /// Where it lies on the ground.
    pub ground: GroundFrame,
}

/// Puts a map on its sheet; `number` of `of`.
pub(super) fn finished(results: &Results<'_>, draft: Draft, number: usize, of: usize) -> Sheet {
    let Draft { maps, words, charts } = draft;
    let mut d = Drawing::new();
    d.raw(&ink::patterns("m"));
    let frame = maps[0].frame;
    let key: Vec<(String, Sample)> = maps[0].key.clone();
    let left_off: usize = maps.iter().map(|m| m.labels.left_off).sum();
    for (i, map) in maps.into_iter().enumerate() {
        let f = map.frame;
        d.raw(&map.into_groups(&format!("m{i}")));
        border(&mut d, &f);
        ticks(&mut d, &f);
    }
    if let Some(charts) = charts {
        d.raw(&charts.into_body());
    }
    let alt = alternative(results, &words, &key);
    heading(results, &mut d, words.title, (number, of));
    let mut y = 30.0;
    y = facts(&mut d, &words.facts, y);
    y = legend(&mut d, &key, y);
    if left_off > 0 {
        d.text(
            (COLUMN.0, y),
            &format!("{} had no room; the tables hold them all.", counted(left_off, "label")),
            2.1,
            "fill=\"#555\"",
        );
        y += 4.0;
    }
    y = scale_and_north(results, &mut d, &frame, y + 2.0);
    y = sources(results, &mut d, y);
    cautions(&mut d, &words.cautions, y);
    footer(results, &mut d);
    let svg =
        d.finish(&format!("sheet-{number}"), &format!("{}: {}", results.site.name, words.title), PAPER.0, PAPER.1);
    let ground = GroundFrame { at: frame.corner, size: frame.size, land: frame.land() };
    Sheet { file: words.file, title: words.title, alt, svg: standing_alone(&svg, PAPER.0, PAPER.1), ground }
}

fn alternative(results: &Results<'_>, words: &Words, key: &[(String, Sample)]) -> String {
    let shown: Vec<&str> = key.iter().map(|(w, _)| w.as_str()).collect();
    format!("Map of {}: {}. Shown: {}. {}", results.site.name, words.title, shown.join(", "), words.facts.join(" "))
}

fn border(d: &mut Drawing, f: &Frame) {
    let ((x, y), (w, h)) = (f.corner, f.size);
    d.raw(&format!(
        "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" fill=\"none\" stroke=\"#222\" stroke-width=\"0.35\"/>"
    ));
}

/// Distance between grid lines: 1, 2 or 5 times a power of ten, lines 30 to 75 mm apart.
fn grid_step_m(f: &Frame) -> f64 {
    let least = 35.0 / f.scale;
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|k| k * power).find(|s| *s >= least).unwrap_or(10.0 * power)
}

/// Ticks and crosses of the working grid, coordinates at the edge.
fn ticks(d: &mut Drawing, f: &Frame) {
    let land = f.land();
    let step = grid_step_m(f);
    let ((x0, y0), (w, h)) = (f.corner, f.size);
    let tick = "fill=\"none\" stroke=\"#222\" stroke-width=\"0.25\"";
    let cross = "fill=\"none\" stroke=\"#333\" stroke-width=\"0.12\"";
    let firsts = |low: f64| (low / step).ceil() * step;
    let mut easts = Vec::new();
    let mut e = firsts(land.min().x);
    while e < land.max().x {
        let (x, _) = f.at(Coord { x: e, y: land.min().y });
        easts.push(x);
        d.path(&format!("M{x:.2} {:.2}v2M{x:.2} {:.2}v-2", y0, y0 + h), tick);
        // A number that would reach beyond the frame runs into what stands beside it.
        if x > x0 + 8.0 && x < x0 + w - 8.0 {
            d.text((x, y0 + h + 3.0), &format!("{} mE", grouped(e)), 2.0, "text-anchor=\"middle\"");
        }
        e += step;
    }
    let mut n = firsts(land.min().y);
    while n < land.max().y {
        let (_, y) = f.at(Coord { x: land.min().x, y: n });
        d.path(&format!("M{:.2} {y:.2}h2M{:.2} {y:.2}h-2", x0, x0 + w), tick);
        let turn = format!("text-anchor=\"middle\" transform=\"rotate(-90 {:.2} {y:.2})\"", x0 - 1.4);
        if y > y0 + 8.0 && y < y0 + h - 8.0 {
            d.text((x0 - 1.4, y), &format!("{} mN", grouped(n)), 2.0, &turn);
        }
        let crosses: String =
            easts.iter().map(|x| format!("M{:.2} {y:.2}h2M{x:.2} {:.2}v2", x - 1.0, y - 1.0)).collect();
        d.path(&crosses, cross);
        n += step;
    }
}

fn heading(results: &Results<'_>, d: &mut Drawing, title: &str, (number, of): (usize, usize)) {
    let bold = "font-weight=\"700\"";
    d.text((13.0, 14.5), &shortened(&results.site.name, true, 7.0, 200.0), 7.0, bold);
    let option = results.plan().map_or_else(String::new, |p| format!(", option \u{201c}{}\u{201d}", p.name));
    d.text(
        (13.0, 20.0),
        &shortened(&format!("First plan for cropping again{option}"), false, 3.2, 200.0),
        3.2,
        "fill=\"#555\"",
    );
    d.text((313.0, 14.5), title, 7.0, "font-weight=\"700\" text-anchor=\"end\"");
    let table = results.site_table;
    let given = |v: &Option<String>| v.clone().unwrap_or_else(|| "not given".to_owned());
    d.path(&format!("M{} 8V276", COLUMN.0 - 4.0), "fill=\"none\" stroke=\"#bbb\" stroke-width=\"0.25\"");
    d.text((COLUMN.0, 12.0), &format!("Sheet {number} of {of}"), 4.0, bold);
    d.text(
        (COLUMN.0 + COLUMN.1, 12.0),
        &results.plan_id.replacen('-', " ", 1),
        2.3,
        "text-anchor=\"end\" fill=\"#555\"",
    );
    let lines = [
        format!("Plan date: {} \u{b7} Revision: {}", given(&table.plan_date), given(&table.revision)),
        format!("Prepared by: {} \u{b7} Checked by: {}", given(&table.prepared_by), given(&table.checked_by)),
    ];
    for (i, line) in lines.iter().enumerate() {
        d.text((COLUMN.0, 16.5 + 3.6 * i as f64), &shortened(line, false, 2.5, COLUMN.1), 2.5, "fill=\"#333\"");
    }
    d.path(&format!("M{} 23H{}", COLUMN.0, COLUMN.0 + COLUMN.1), "fill=\"none\" stroke=\"#222\" stroke-width=\"0.35\"");
}

fn small_heading(d: &mut Drawing, words: &str, y: f64) -> f64 {
    d.text((COLUMN.0, y), words, 3.0, "font-weight=\"700\"");
    y + 4.4
}

fn paragraph(d: &mut Drawing, words: &str, size: f64, left: f64, mut y: f64, look: &str) -> f64 {
    for line in lines(words, false, size, COLUMN.1 - left) {
        d.text((COLUMN.0 + left, y), &line, size, look);
        y += 1.3 * size;
    }
    y
}

fn facts(d: &mut Drawing, facts: &[String], y: f64) -> f64 {
    if facts.is_empty() {
        return y;
    }
    let mut y = small_heading(d, "What it shows", y);
    for fact in facts {
        y = paragraph(d, fact, 2.5, 0.0, y, "") + 0.7;
    }
    y + 2.6
}

fn legend(d: &mut Drawing, key: &[(String, Sample)], y: f64) -> f64 {
    let mut y = small_heading(d, "Legend", y);
    // Two columns when the list is long.
    let columns = if key.len() > 12 { 2 } else { 1 };
    let per = key.len().div_ceil(columns);
    let wide = COLUMN.1 / columns as f64;
    let top = y;
    let mut lowest = y;
    for (i, (words, sample)) in key.iter().enumerate() {
        if i % per.max(1) == 0 {
            y = top;
        }
        let x = COLUMN.0 + wide * (i / per.max(1)) as f64;
        swatch(d, sample, x, y - 2.6);
        let size = 2.4;
        for line in lines(words, false, size, wide - 12.0) {
            d.text((x + 10.5, y), &line, size, "");
            y += 3.1;
        }
        y += 1.4;
        lowest = lowest.max(y);
    }
    lowest + 1.0
}

/// A sample of the legend, 8 by 3.4 mm.
fn swatch(d: &mut Drawing, sample: &Sample, x: f64, y: f64) {
    match sample {
        Sample::Area(look) => {
            // A pattern that lies over a colour is a second box.
            let (base, over) = look
                .split_once(" data-over=\"")
                .map_or((look.as_str(), None), |(a, b)| (a, Some(b.trim_end_matches('"'))));
            d.raw(&format!("<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"8\" height=\"3.4\" {base}/>"));
            if let Some(over) = over {
                d.raw(&format!("<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"8\" height=\"3.4\" fill=\"{over}\"/>"));
            }
        }
        Sample::Line(look) => d.path(&format!("M{x:.2} {:.2}h8", y + 1.7), look),
        Sample::Symbol(drawn) => {
            d.raw(&format!("<g transform=\"translate({:.2} {:.2})\">{drawn}</g>", x + 4.0, y + 1.7))
        }
    }
}

fn scale_and_north(results: &Results<'_>, d: &mut Drawing, f: &Frame, y: f64) -> f64 {
    let black = "fill=\"#222\" stroke=\"#222\" stroke-width=\"0.2\"";
    let white = "fill=\"#fff\" stroke=\"#222\" stroke-width=\"0.2\"";
    // Four parts of 1, 2 or 5 times a power of ten, together at most 52 mm.
    let most = 13.0 / f.scale;
    let power = 10_f64.powf(most.log10().floor());
    let part_m = [5.0, 2.0, 1.0].into_iter().map(|k| k * power).find(|p| *p <= most).unwrap_or(power);
    let part = part_m * f.scale;
    for i in 0..4 {
        let look = if i % 2 == 0 { black } else { white };
        d.raw(&format!(
            "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"{part:.2}\" height=\"1.6\" {look}/>",
            COLUMN.0 + part * f64::from(i),
            y + 3.0
        ));
    }
    for i in [0, 1, 2, 4] {
        let unit = if i == 4 { " m" } else { "" };
        let words = format!("{}{unit}", grouped(part_m * f64::from(i)));
        d.text(
            (COLUMN.0 + part * f64::from(i), y + 1.8),
            &words,
            2.1,
            if i == 0 { "" } else { "text-anchor=\"middle\"" },
        );
    }
    d.text((COLUMN.0, y + 9.4), &format!("1:{} printed on A3", grouped(f.one_in())), 3.2, "font-weight=\"700\"");
    let n = COLUMN.0 + COLUMN.1 - 8.0;
    d.path(&format!("M{n:.2} {:.2}l2.6 9l-2.6 -2.2l-2.6 2.2Z", y - 1.0), "fill=\"#222\"");
    d.text((n, y + 11.4), "grid N", 2.2, "text-anchor=\"middle\"");
    let azimuth = results.site.geodesy.grid_north_azimuth_deg;
    let side = if azimuth >= 0.0 { "east" } else { "west" };
    let words = format!(
        "Grid north lies {:.2}\u{b0} {side} of true north here; true bearing = grid bearing {azimuth:+.2}\u{b0}",
        azimuth.abs()
    );
    paragraph(d, &words.replace('-', "\u{2212}"), 2.1, 0.0, y + 14.6, "fill=\"#333\"") + 2.0
}

fn sources(results: &Results<'_>, d: &mut Drawing, y: f64) -> f64 {
    let mut y = small_heading(d, "Data", y + 1.0);
    let table = results.site_table;
    // The file is what a reader can ask for; the folder it lay in says nothing.
    let file = |path: &str| path.rsplit(['/', '\\']).next().unwrap_or_default().to_owned();
    let mut given: Vec<String> = vec![format!("boundary {}", file(&table.boundary))];
    given.extend(table.elevation.as_ref().map(|e| format!("elevation {}", file(e))));
    given.extend(
        table.optional_layers().iter().filter_map(|(k, p)| p.map(|p| format!("{} {}", k.replace('_', " "), file(p)))),
    );
    y = paragraph(d, &shortened(&given.join("; "), false, 2.1, 5.0 * COLUMN.1), 2.1, 0.0, y, "fill=\"#333\"");
    let notes =
        table.data_note.clone().unwrap_or_else(|| "Dates, owners and licences of the data: not given.".to_owned());
    y = paragraph(d, &shortened(&notes, false, 2.1, 5.0 * COLUMN.1), 2.1, 0.0, y, "fill=\"#333\"");
    if let Some(ground) = results.ground {
        let a = &ground.accuracy;
        let words = format!("Heights to {:.3} m (1 sigma), {}.", a.vertical_sigma_m, a.basis);
        y = paragraph(d, &shortened(&words, false, 2.1, 3.0 * COLUMN.1), 2.1, 0.0, y, "fill=\"#333\"");
    }
    y + 2.4
}

fn cautions(d: &mut Drawing, cautions: &[&str], y: f64) {
    let mut y = small_heading(d, "Cautions", y + 1.0);
    for caution in cautions {
        let tall = 1.3 * 2.2 * lines(caution, false, 2.2, COLUMN.1 - 3.0).len() as f64;
        if y + tall > COLUMN_END + 2.0 {
            return;
        }
        d.raw(&format!(
            "<rect x=\"{}\" y=\"{:.2}\" width=\"1\" height=\"{:.2}\" fill=\"#d55e00\"/>",
            COLUMN.0,
            y - 2.0,
            tall - 0.5
        ));
        y = paragraph(d, caution, 2.2, 3.0, y, "") + 0.9;
    }
}

fn footer(results: &Results<'_>, d: &mut Drawing) {
    let site = results.site;
    let code = site.crs.epsg.map_or_else(String::new, |c| format!(" (EPSG:{c})"));
    let heights = view::heights(site);
    let words = format!(
        "{}{code}; {heights}; grid north up, grid in metres. Ground length = grid length / {:.6}.",
        site.crs.name, site.geodesy.scale
    );
    d.text((13.0, 285.5), &shortened(&words, false, 2.4, 300.0), 2.4, "");
    let budget = if results.ground.is_some_and(|g| g.accuracy.budget_only()) {
        "Quantities are for budget only; do not build from this sheet. "
    } else {
        ""
    };
    let words = format!(
        "{budget}A first plan, not an engineer's certificate. Local codes, permits and licensed practice stand above it; permits are the grower's duty."
    );
    d.text((13.0, 289.5), &words, 2.4, "font-weight=\"700\"");
}
