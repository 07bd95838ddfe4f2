//! The report on paper: the same content as the page on screen, the decision sheet first.

use super::flow::Flow;
use crate::land::blocks::BearingTrial;
use crate::land::document::Table;
use crate::land::paper::Paper;
use crate::publish::{Results, charts, maps, report, tables, worth_tables};

/// The report.
pub(in crate::publish) fn report(results: &Results<'_>) -> Paper {
    let title = format!("{}: plan for cropping again", results.site.name);
    let mut f = Flow::new(&title, "First plan for cropping a property again", &super::foot(results, results.run_id));
    decision(results, &mut f, &title);
    f.new_page();
    plan(results, &mut f);
    water_and_earth(results, &mut f);
    works(results, &mut f);
    money(results, &mut f);
    basis(results, &mut f);
    f.finish()
}

/// One page: what it costs, what it gains, what cannot be undone, what to check next.
pub(super) fn decision(results: &Results<'_>, f: &mut Flow, title: &str) {
    f.heading(1, title);
    let option = results.plan().map_or_else(String::new, |p| format!("Option \u{201c}{}\u{201d}. ", p.name));
    f.small(&format!("{option}{}", super::made(results)));
    f.para(&report::why(results));
    let mut irreversible = report::irreversible(results);
    if irreversible.is_empty() {
        irreversible.push("Not worked out in this run. Clearing and earthworks cannot be undone.".to_owned());
    }
    f.cards(&[
        ("What it costs", &report::costs(results), true),
        ("What it gains", &report::gains(results), true),
        ("What cannot be undone", &irreversible, false),
        ("What to check next", &report::next(results), false),
    ]);
    // The map takes what is left of the page.
    let room = (f.left() - 22.0).clamp(0.0, 150.0);
    if let Some((svg, size)) = maps::overview(results, "decision", Flow::across()).filter(|(_, s)| 0.45 * s.1 < room) {
        let shrink = (room / size.1).min(1.0);
        f.figure(
            &svg,
            (size.0 * shrink, size.1 * shrink),
            "The plan at a glance: blocks, rows, drains, water, areas kept.",
        );
    }
    f.caution(
        "A first-cut plan is not an engineer\u{2019}s certificate. Local codes, permits and licensed practice stand above it; \
         obtaining permits is the grower\u{2019}s duty.",
    );
}

fn plan(results: &Results<'_>, f: &mut Flow) {
    f.heading(2, "Options side by side");
    f.table(&tables::options(results), report::HIDE_OPTIONS);
    f.heading(2, "Row blocks");
    f.table(&tables::block_register(results), report::HIDE_BLOCKS);
    for (svg, size, alt) in [charts::row_lengths(results), charts::row_falls(results)].into_iter().flatten() {
        f.figure(&svg, size, &alt);
    }
    f.heading(2, "Bearings tried");
    if let Some((svg, size, alt)) = charts::bearing_study(results) {
        f.figure(&svg, size, &alt);
    }
    f.table(&cheapest(results), report::HIDE_STUDY);
    f.heading(2, "Does every row drain?");
    f.table(&report::draining(results), &[]);
    f.para("\u{201c}Cannot be told\u{201d} means the difference lies inside the 95 % band of the survey. Row by row: tables/rows.csv.");
}

/// The bearing study without what no one would choose: the eight cheapest bearings of each whole piece
/// and the three cheapest of each block, each ranked among its own.
pub(in crate::publish) fn cheapest(results: &Results<'_>) -> Table {
    let mut table = tables::bearing_study(results);
    let study = results.plan().and_then(|p| p.blocks).map_or(&[][..], |b| &b.study);
    let better = |t: &BearingTrial| {
        let cheaper =
            |o: &&BearingTrial| o.piece == t.piece && o.block == t.block && o.yearly_cost_per_ha < t.yearly_cost_per_ha;
        study.iter().filter(cheaper).count()
    };
    let keep: Vec<bool> =
        study.iter().map(|t| t.chosen || better(t) < if t.block.is_empty() { 8 } else { 3 }).collect();
    let mut each = keep.into_iter();
    table.rows.retain(|_| each.next().unwrap_or(true));
    table.title = "Bearings tried: the eight cheapest of each piece, the three cheapest of each block; all of them: tables/bearing_study.csv".to_owned();
    table
}

fn water_and_earth(results: &Results<'_>, f: &mut Flow) {
    f.heading(2, "Drains");
    f.table(&report::drains(results), report::HIDE_DRAINS);
    f.table(&tables::outflows(results), report::HIDE_OUTFLOWS);
    f.heading(2, "Earthworks");
    f.table(&report::earth(results), &[]);
    if let Some((svg, size, alt)) = charts::cut_fill(results) {
        f.figure(&svg, size, &alt);
    }
    f.small("Maps of slope, water, layout, earthworks, drains, debris and soil loss: maps/map_set.pdf.");
}

fn works(results: &Results<'_>, f: &mut Flow) {
    f.heading(2, "Clearing");
    f.table(&report::clearing(results), &[]);
    f.heading(2, "Soil loss");
    f.table(&report::soil(results), &[]);
    f.table(&worth_tables::indicators(results), &[]);
    f.caution(report::RUSLE);
    let calendar = charts::calendar(results);
    f.heading_before(2, "Works calendar", calendar.1);
    f.figure(
        &calendar.0,
        calendar.1,
        "Works calendar: bars from start to end of each step; what cannot be undone is marked.",
    );
    f.table(&worth_tables::program(results), report::HIDE_PROGRAM);
}

fn money(results: &Results<'_>, f: &mut Flow) {
    f.heading(2, "Budget");
    f.para(&format!("All money in {}. The contingency is a line of its own.", results.site_table.currency));
    f.table(&worth_tables::budget(results), report::HIDE_BUDGET);
    f.heading(2, "Cash flow and worth");
    f.table(&report::worth(results), &[]);
    f.table(&worth_tables::cash_flow(results), report::HIDE_CASH);
    f.table(&report::sensitivity(results), &[]);
}

fn basis(results: &Results<'_>, f: &mut Flow) {
    f.heading(2, "Findings");
    f.table(&tables::findings_by_kind(results), &[]);
    f.heading(2, "What was not checked");
    if results.site.not_given.is_empty() {
        f.para("Every optional input was given.");
    } else {
        f.para("These inputs were not given, so nothing in this plan was checked against them:");
        f.list(&results.site.not_given.iter().map(|n| n.replace('_', " ")).collect::<Vec<_>>());
    }
    f.heading(2, "Cautions");
    f.list(report::CAUTIONS);
    f.heading(2, "Assumptions");
    f.para("Every number the plan rests on, whether it was given or is a starting value, and where a starting value comes from.");
    f.table(&tables::assumptions(results), &["meaning"]);
    f.heading(2, "Works cited");
    f.list(&results.citations.iter().map(|c| c.reference()).collect::<Vec<_>>());
}
