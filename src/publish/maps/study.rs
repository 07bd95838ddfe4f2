//! The bearing study: which way the rows could run, and what each way would cost, piece by piece.

use super::canvas::{Canvas, Layer};
use super::sheet::{MAP_AT, MAP_SIZE, Words};
use super::{Draft, design, extent, ground};
use crate::land::blocks::BearingTrial;
use crate::publish::Results;
use crate::publish::drawing::{Drawing, Frame};
use crate::publish::labels::Type;
use crate::publish::sheet::{self as cells, grouped};
use geo::Centroid;

/// Charts on a sheet: two columns of four.
const MOST: usize = 8;
/// Width of the charts together, millimetres.
const CHARTS: f64 = 142.0;

/// The sheet.
pub(super) fn sheet(results: &Results<'_>) -> Option<Draft> {
    let plan = results.plan()?.blocks.filter(|b| !b.study.is_empty())?;
    let frame = Frame::round_scale(extent(results)?, MAP_AT, (MAP_SIZE.0 - CHARTS - 4.0, MAP_SIZE.1));
    let mut c = Canvas::new(frame);
    design::row_arrows(&mut c, results);
    pieces(&mut c, results);
    design::outlines(&mut c, results);
    ground::waterways(&mut c, results, false);
    ground::boundary(&mut c, results, false);
    let mut shown = by_piece(&plan.study);
    let all = shown.len();
    if all == 0 {
        return None;
    }
    // The pieces with most rows at stake.
    shown.sort_by_key(|(piece, trials)| (std::cmp::Reverse(trials.iter().map(|t| t.rows).max()), *piece));
    shown.truncate(MOST);
    shown.sort_by_key(|(piece, _)| *piece);
    let mut d = Drawing::new();
    let (left, top) = (MAP_AT.0 + MAP_SIZE.0 - CHARTS, MAP_AT.1);
    // Few pieces get wide charts under one another, many stand two abreast.
    let abreast = if shown.len() > 4 { 2 } else { 1 };
    let (wide, tall) = (CHARTS / abreast as f64, MAP_SIZE.1 / (shown.len().div_ceil(abreast).max(3)) as f64);
    for (i, (piece, trials)) in shown.iter().enumerate() {
        let at = (left + wide * (i % abreast) as f64, top + tall * (i / abreast) as f64);
        chart(&mut d, at, (wide - 3.0, tall - 3.0), *piece, trials, &results.site_table.currency);
    }
    let taken: Vec<&BearingTrial> = plan.study.iter().filter(|t| t.chosen).collect();
    let mut facts = vec![
        format!("{} bearings were tried on {} of land and their blocks; {} were taken.", plan.study.len(), cells::counted(all, "piece"), taken.len()),
        format!("Yearly cost holds turning, land under headlands, short rows and the yearly share of the earth, in {} a hectare.", results.site_table.currency),
        "Each dot is one bearing, 0\u{b0} being grid north; the ringed square is the one taken. All of it: table of the bearing study.".to_owned(),
    ];
    if all > MOST {
        facts.push(format!("Charts: the {MOST} pieces with most rows."));
    }
    let words = Words {
        file: "bearing_study",
        title: "Bearing study",
        facts,
        cautions: vec!["Do not rank layouts on turning cost alone: a lower outlet or a wet corner can outweigh it."],
    };
    Some(Draft { maps: vec![c], words, charts: Some(d) })
}

fn pieces(c: &mut Canvas, results: &Results<'_>) {
    for piece in results.water.map_or(&[][..], |w| &w.plantable) {
        let path = c.frame.area(&piece.outline);
        c.on(Layer::Keep).path(&path, PIECE);
        if let Some(at) = piece.outline.centroid() {
            let at = c.frame.at(at.into());
            let kind = Type { size: 3.2, bold: true, look: "fill=\"#222\"" };
            c.labels.on(Layer::Blocks as usize, &[&format!("piece {}", piece.id)], kind, (at.0, at.1 + 5.0), 12.0);
        }
    }
    c.key_area("piece of plantable land", PIECE);
}

/// A plantable piece.
const PIECE: &str = "fill=\"#f3f0e6\" stroke=\"#999\" stroke-width=\"0.2\"";

/// Trials of each piece, pieces in order.
pub(in crate::publish) fn by_piece(study: &[BearingTrial]) -> Vec<(u32, Vec<&BearingTrial>)> {
    let mut out: std::collections::BTreeMap<u32, Vec<&BearingTrial>> = std::collections::BTreeMap::new();
    for trial in study.iter().filter(|t| t.block.is_empty()) {
        out.entry(trial.piece).or_default().push(trial);
    }
    out.into_iter().collect()
}

/// Yearly cost over bearing.
pub(in crate::publish) fn chart(
    d: &mut Drawing,
    at: (f64, f64),
    size: (f64, f64),
    piece: u32,
    trials: &[&BearingTrial],
    currency: &str,
) {
    let (x0, y0, w, h) = (at.0 + 11.0, at.1 + 8.5, size.0 - 13.0, size.1 - 17.0);
    d.text((at.0 + 1.0, at.1 + 3.6), &format!("Piece {piece}"), 3.0, "font-weight=\"700\"");
    if let Some(t) = trials.iter().find(|t| t.chosen) {
        let words = format!(
            "{:.1}\u{b0}, {:.0} m rows, {:.0} m\u{b3}/ha",
            t.bearing.degrees(),
            t.mean_length_m,
            t.earth_m3_per_ha
        );
        d.text((at.0 + size.0 - 1.0, at.1 + 3.6), &words, 2.2, "text-anchor=\"end\"");
    }
    let most = trials.iter().map(|t| t.yearly_cost_per_ha).fold(1.0, f64::max);
    let step = nice(most / 4.0);
    let top = (most / step).ceil() * step;
    let place =
        |t: &BearingTrial| (x0 + w * t.bearing.degrees() / 180.0, y0 + h * (1.0 - t.yearly_cost_per_ha.max(0.0) / top));
    let mut v = 0.0;
    while v <= top * 1.0001 {
        let y = y0 + h * (1.0 - v / top);
        d.path(&format!("M{x0:.2} {y:.2}h{w:.2}"), "fill=\"none\" stroke=\"#ddd\" stroke-width=\"0.15\"");
        d.text((x0 - 1.0, y + 0.7), &grouped(v), 1.9, "text-anchor=\"end\" fill=\"#444\"");
        v += step;
    }
    for deg in [0.0, 45.0, 90.0, 135.0, 180.0] {
        let x = x0 + w * deg / 180.0;
        d.path(&format!("M{x:.2} {:.2}v1.2", y0 + h), "fill=\"none\" stroke=\"#444\" stroke-width=\"0.2\"");
        d.text((x, y0 + h + 3.6), &format!("{deg:.0}\u{b0}"), 1.9, "text-anchor=\"middle\" fill=\"#444\"");
    }
    d.text((x0, at.1 + 6.9), &format!("{currency} a hectare and year, over grid bearing"), 1.8, "fill=\"#555\"");
    for t in trials {
        let (x, y) = place(t);
        d.raw(&format!(
            "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"0.85\" fill=\"#56b4e9\" stroke=\"#24466b\" stroke-width=\"0.2\"/>"
        ));
    }
    for t in trials.iter().filter(|t| t.chosen) {
        let (x, y) = place(t);
        d.raw(&format!(
            "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"2.4\" height=\"2.4\" fill=\"#d55e00\" stroke=\"#000\" stroke-width=\"0.4\"/>\
             <circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"2.3\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.25\"/>",
            x - 1.2,
            y - 1.2
        ));
    }
}

/// The next of 1, 2, 5 times a power of ten.
pub(in crate::publish) fn nice(x: f64) -> f64 {
    let power = 10_f64.powf(x.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|k| k * power).find(|v| *v >= x).unwrap_or(10.0 * power)
}
