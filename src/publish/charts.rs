//! Charts of the report: the works calendar, and what the bearings tried would cost.

use super::Results;
use super::drawing::Drawing;
use crate::land::blocks::BearingTrial;

const WIDTH: f64 = 1000.0;
/// Left edge of the bars; names stand before it.
const LEFT: f64 = 300.0;
const STEP: f64 = 26.0;

/// Bars with a name before and words behind: start and end as shares of the width.
fn bars(id: &str, title: &str, items: &[(String, f64, f64, String, bool)]) -> String {
    let mut d = Drawing::new();
    for (i, (name, from, to, words, marked)) in items.iter().enumerate() {
        let y = 8.0 + STEP * i as f64;
        let (x0, x1) = (LEFT + 500.0 * from, LEFT + 500.0 * to);
        let look = if *marked {
            "fill=\"#d55e00\" stroke=\"#000\" stroke-width=\"2\""
        } else {
            "fill=\"#b3cde3\" stroke=\"#456\""
        };
        d.raw(&format!("<rect x=\"{x0:.1}\" y=\"{y:.1}\" width=\"{:.1}\" height=\"16\" {look}/>", (x1 - x0).max(2.0)));
        d.label((LEFT - 10.0, y + 13.0), name, 13.0, "text-anchor=\"end\"");
        d.label((x1 + 8.0, y + 13.0), words, 12.0, "");
    }
    d.finish(id, title, WIDTH, 16.0 + STEP * items.len() as f64)
}

/// The works calendar; steps that cannot be undone have a heavy outline and say so.
pub(super) fn calendar(results: &Results<'_>) -> String {
    let tasks = results.plan().and_then(|p| p.program).map_or(&[][..], |p| &p.tasks);
    let last = tasks.iter().map(|t| t.end_day).fold(0.0, f64::max);
    if last <= 0.0 {
        return String::new();
    }
    let items: Vec<_> = tasks
        .iter()
        .map(|t| {
            let undone = if t.irreversible { ", cannot be undone" } else { "" };
            let words = format!("{} to {}{undone}", t.start_month, t.end_month);
            (t.name.clone(), t.start_day / last, t.end_day / last, words, t.irreversible)
        })
        .collect();
    bars("calendar", "Works calendar", &items)
}

/// Yearly cost per hectare of each bearing tried; the one taken has a heavy outline and says so.
pub(super) fn bearings(results: &Results<'_>) -> String {
    // A chart has room for the bearings of whole pieces that were tried for a reason; the table has every degree.
    const MOST_BARS: usize = 24;
    let all = results.plan().and_then(|p| p.blocks).map_or(&[][..], |b| &b.study);
    let told = |t: &&BearingTrial| t.block.is_empty() && (t.chosen || t.reason != "sweep");
    let study: Vec<&BearingTrial> = all.iter().filter(told).take(MOST_BARS).collect();
    let most = study.iter().map(|t| t.yearly_cost_per_ha).fold(0.0, f64::max);
    if most <= 0.0 {
        return String::new();
    }
    let items: Vec<_> = study
        .iter()
        .map(|t| {
            let name = format!("piece {}, {:.1}\u{b0} ({})", t.piece, t.bearing.degrees(), t.reason);
            let taken = if t.chosen { ", taken" } else { "" };
            let words = format!("{:.0} per ha and year{taken}", t.yearly_cost_per_ha);
            (name, 0.0, t.yearly_cost_per_ha.max(0.0) / most, words, t.chosen)
        })
        .collect();
    bars("bearings", "Yearly cost per hectare of the bearings tried", &items)
}
