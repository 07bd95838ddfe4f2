//! Charts of the report: works calendar, bearings tried, row lengths and falls, depths of cut and fill.

use super::drawing::Drawing;
use super::maps::{nice, study_chart};
use super::{Results, sheet, view};
use crate::land::typeface::shortened;

/// A chart, its size in millimetres, and words that stand for it.
pub(super) type Chart = (String, (f64, f64), String);

/// Width of a chart.
const WIDTH: f64 = 178.0;
/// Look of what is before the works, and after.
const BEFORE: &str = "fill=\"#d9d9d9\" stroke=\"#555\" stroke-width=\"0.2\"";
const AFTER: &str = "fill=\"#0072b2\" stroke=\"#00324f\" stroke-width=\"0.2\"";

/// The works calendar; steps that cannot be undone have a heavy outline and say so.
pub(super) fn calendar(results: &Results<'_>) -> (String, (f64, f64)) {
    let tasks = results.plan().and_then(|p| p.program).map_or(&[][..], |p| &p.tasks);
    let last = tasks.iter().map(|t| t.end_day).fold(0.0, f64::max);
    if last <= 0.0 {
        return (String::new(), (WIDTH, 1.0));
    }
    let (left, step, long) = (62.0, 5.2, 66.0);
    let mut d = Drawing::new();
    for (i, t) in tasks.iter().enumerate() {
        let y = 2.0 + step * i as f64;
        let (x0, x1) = (left + long * t.start_day / last, left + long * t.end_day / last);
        let look = if t.irreversible {
            "fill=\"#d55e00\" stroke=\"#000\" stroke-width=\"0.4\""
        } else {
            "fill=\"#b3cde3\" stroke=\"#445566\" stroke-width=\"0.2\""
        };
        d.raw(&format!("<rect x=\"{x0:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"3.2\" {look}/>", (x1 - x0).max(0.4)));
        d.text((left - 2.0, y + 2.6), &shortened(&t.name, false, 2.6, left - 4.0), 2.6, "text-anchor=\"end\"");
        let undone = if t.irreversible { ", cannot be undone" } else { "" };
        d.text((x1 + 1.5, y + 2.6), &format!("{} to {}{undone}", t.start_month, t.end_month), 2.3, "fill=\"#444\"");
    }
    let tall = 3.0 + step * tasks.len() as f64;
    (d.finish("calendar", "Works calendar", WIDTH, tall), (WIDTH, tall))
}

/// Yearly cost over bearing, a chart for each of the largest pieces.
pub(super) fn bearing_study(results: &Results<'_>) -> Option<Chart> {
    let plan = results.plan()?.blocks.filter(|b| !b.study.is_empty())?;
    let pieces = super::maps::by_piece(&plan.study);
    if pieces.is_empty() {
        // Blocks that were drawn by hand have no study of whole pieces.
        return None;
    }
    let shown = pieces.len().min(4);
    let (wide, tall) = (0.5 * WIDTH, 52.0);
    let mut d = Drawing::new();
    for (i, (piece, trials)) in pieces.iter().take(shown).enumerate() {
        let at = (wide * (i % 2) as f64, tall * (i / 2) as f64);
        study_chart(&mut d, at, (wide - 3.0, tall - 1.0), *piece, trials, &results.site_table.currency);
    }
    let size = (WIDTH, tall * shown.div_ceil(2) as f64);
    let alt = "Yearly cost a hectare of every bearing tried, piece by piece; the one taken is ringed. The figures stand in the table.";
    Some((d.finish("bearings", "Yearly cost of the bearings tried", size.0, size.1), size, alt.to_owned()))
}

/// Bars of one chart: the words under each bar and its height in each series.
struct Bars<'a> {
    id: &'a str,
    title: String,
    under: String,
    side: &'a str,
    names: Vec<String>,
    series: Vec<(&'a str, Vec<f64>, Vec<&'a str>)>,
}

fn drawn(bars: &Bars<'_>) -> Chart {
    let (tall, left, top, bottom) = (62.0, 16.0, 12.0, 12.0);
    let (w, h) = (WIDTH - left - 4.0, tall - top - bottom);
    let most = bars.series.iter().flat_map(|s| s.1.iter()).fold(0.0_f64, |a, b| a.max(*b)).max(1e-9);
    let step = nice(most / 4.0);
    let up = (most / step).ceil() * step;
    let mut d = Drawing::new();
    d.text((0.0, 4.2), &bars.title, 3.4, "font-weight=\"700\"");
    d.text((0.0, 9.0), bars.side, 2.4, "fill=\"#555\"");
    let mut v = 0.0;
    while v <= up * 1.0001 {
        let y = top + h * (1.0 - v / up);
        d.path(&format!("M{left} {y:.2}h{w:.2}"), "fill=\"none\" stroke=\"#ddd\" stroke-width=\"0.15\"");
        let words = if step < 1.0 { format!("{v:.1}") } else { sheet::grouped(v) };
        d.text((left - 1.5, y + 0.9), &words, 2.3, "text-anchor=\"end\" fill=\"#444\"");
        v += step;
    }
    let slot = w / bars.names.len().max(1) as f64;
    let bar = 0.82 * slot / bars.series.len().max(1) as f64;
    for (s, (_, values, looks)) in bars.series.iter().enumerate() {
        for (i, value) in values.iter().enumerate() {
            let tall = h * value / up;
            let x = left + slot * (i as f64 + 0.09) + bar * s as f64;
            let look = looks.get(i).or_else(|| looks.first()).copied().unwrap_or(AFTER);
            if *value > 0.0 {
                d.raw(&format!(
                    "<rect x=\"{x:.2}\" y=\"{:.2}\" width=\"{bar:.2}\" height=\"{tall:.2}\" {look}/>",
                    top + h - tall
                ));
            }
        }
    }
    // Under bars that stand close, every second or third name is written; on a screen without our font words are wider.
    let widest = bars.names.iter().map(|n| crate::land::typeface::width(n, false, 2.2)).fold(1.0, f64::max);
    let every = ((1.25 * widest + 1.5) / slot).ceil().max(1.0);
    for (i, name) in bars.names.iter().enumerate().filter(|(i, _)| (*i as f64) % every == 0.0) {
        let x = left + slot * (i as f64 + 0.5);
        d.text((x, top + h + 3.6), name, 2.2, "text-anchor=\"middle\" fill=\"#444\"");
    }
    d.text((left + 0.5 * w, tall - 2.6), &bars.under, 2.4, "text-anchor=\"middle\" fill=\"#555\"");
    let mut x = WIDTH - 4.0;
    for (name, _, looks) in bars.series.iter().rev().filter(|_| bars.series.len() > 1) {
        x -= crate::land::typeface::width(name, false, 2.4);
        d.text((x, 4.2), name, 2.4, "");
        x -= 5.0;
        let look = looks.first().copied().unwrap_or(AFTER);
        d.raw(&format!("<rect x=\"{x:.2}\" y=\"2\" width=\"4\" height=\"2.6\" {look}/>"));
        x -= 4.0;
    }
    let each: Vec<String> = bars.series.iter().map(|(n, v, _)| format!("{n}: {}", listed(&bars.names, v))).collect();
    let alt = format!("{}. {}", bars.title, each.join(". "));
    (d.finish(bars.id, &bars.title, WIDTH, tall), (WIDTH, tall), alt)
}

fn listed(names: &[String], values: &[f64]) -> String {
    let each: Vec<String> =
        names.iter().zip(values).filter(|(_, v)| **v > 0.0).map(|(n, v)| format!("{n} {v:.1}")).collect();
    each.join(", ")
}

/// Counts of values in classes of `step` from `low`, the first and last class open.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the classes")]
fn counted(values: impl Iterator<Item = f64>, low: f64, step: f64, classes: usize) -> Vec<f64> {
    let mut out = vec![0.0; classes];
    for value in values {
        let at = ((value - low) / step).floor().clamp(0.0, (classes - 1) as f64) as usize;
        out[at] += 1.0;
    }
    out
}

/// How long the rows are.
pub(super) fn row_lengths(results: &Results<'_>) -> Option<Chart> {
    let plan = results.plan()?.blocks?;
    let lengths: Vec<f64> = plan.blocks.iter().flat_map(|b| b.rows.iter().map(|r| r.length_m)).collect();
    let most = lengths.iter().copied().fold(0.0, f64::max);
    if lengths.is_empty() {
        return None;
    }
    let step = nice(most / 16.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most a few dozen classes")]
    let classes = ((most / step).floor() as usize + 1).max(1);
    let names = (0..classes).map(|i| format!("{:.0}", step * i as f64)).collect();
    Some(drawn(&Bars {
        id: "lengths",
        title: format!("Row lengths, {}", sheet::counted(lengths.len(), "row")),
        under: format!("row length, classes of {step} m, lower edge written"),
        side: "rows",
        names,
        series: vec![("rows", counted(lengths.iter().copied(), 0.0, step, classes), vec![AFTER])],
    }))
}

/// How the rows fall, before and after.
pub(super) fn row_falls(results: &Results<'_>) -> Option<Chart> {
    let views = view::rows(results.plan()?);
    let before: Vec<f64> = views.iter().filter_map(|v| v.row.fall).map(|f| f.mean.percent()).collect();
    let after: Vec<f64> = views.iter().filter_map(|v| v.after).map(|f| f.mean.percent()).collect();
    if before.is_empty() && after.is_empty() {
        return None;
    }
    let (low, step, classes) = (-0.2, 0.05, 18);
    let edge = |i: usize| low + step * i as f64;
    let names = (0..classes)
        .map(|i| match i {
            0 => format!("under {:.2}", edge(1)),
            i if i + 1 == classes => format!("{:.2} up", edge(i)),
            i => format!("{:.2}", edge(i) + 0.0),
        })
        .map(|n| n.replace('-', "\u{2212}"))
        .collect();
    let mut series = vec![("before", counted(before.into_iter(), low, step, classes), vec![BEFORE])];
    if !after.is_empty() {
        series.push(("after", counted(after.into_iter(), low, step, classes), vec![AFTER]));
    }
    Some(drawn(&Bars {
        id: "falls",
        title: "Mean fall of the rows, end to end".to_owned(),
        under: "fall down the row, %, classes of 0.05, lower edge written; below zero is uphill".to_owned(),
        side: "rows",
        names,
        series,
    }))
}

/// How much land is cut and filled how deep.
pub(super) fn cut_fill(results: &Results<'_>) -> Option<Chart> {
    const CUT: &str = "fill=\"#e08214\" stroke=\"#5c2c00\" stroke-width=\"0.2\"";
    const FILL: &str = "fill=\"#8073ac\" stroke=\"#3b2467\" stroke-width=\"0.2\"";
    const LEVEL: &str = "fill=\"#f2f2f2\" stroke=\"#555\" stroke-width=\"0.2\"";
    let raster = &results.plan()?.levelling?.cut_fill.0;
    if raster.count_valid() == 0 {
        return None;
    }
    // Classes 0.04 m wide round zero, so that the middle one is what stays as it is.
    let (step, half) = (0.04, 8_i32);
    let low = -step * (f64::from(half) + 0.5);
    let classes = 17;
    let cells = counted(raster.iter().map(|(_, v)| f64::from(v)), low, step, classes);
    let ha = raster.spec.cell_area_m2() / 1e4;
    let names = (-half..=half)
        .map(|k| match k {
            0 => "as it is".to_owned(),
            k if k > 0 => format!("cut {:.2}", step * f64::from(k)),
            k => format!("fill {:.2}", -step * f64::from(k)),
        })
        .collect();
    let looks = (-half..=half)
        .map(|k| {
            if k == 0 {
                LEVEL
            } else if k > 0 {
                CUT
            } else {
                FILL
            }
        })
        .collect();
    Some(drawn(&Bars {
        id: "depths",
        title: "Depth of cut and fill".to_owned(),
        under: "middle of a class 0.04 m wide, metres; the outermost hold all that is deeper".to_owned(),
        side: "hectares",
        names,
        series: vec![("land", cells.into_iter().map(|c| c * ha).collect(), looks)],
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_is_counted_once() {
        // Classes [0, 10), [10, 20), [20, ...); what lies outside goes to the ends (arithmetic).
        assert_eq!(counted([-5.0, 0.0, 9.9, 10.0, 25.0, 99.0].into_iter(), 0.0, 10.0, 3), [3.0, 1.0, 2.0]);
    }
}
