//! Pages for an application: the map set a grant officer asks for, the works by item, and what changes.

use super::flow::Flow;
use crate::land::paper::{Node, Page, Paper};
use crate::publish::{Results, maps, papers, report, tables, worth_tables};

/// The pages; `None` without any sheet or indicator.
pub(in crate::publish) fn pages(results: &Results<'_>) -> Option<Paper> {
    let sheets = maps::grant_set(results);
    let indicators = worth_tables::indicators(results);
    if sheets.is_empty() || indicators.rows.is_empty() {
        return None;
    }
    let title = format!("{}: maps and figures for an application", results.site.name);
    let mut f =
        Flow::new(&title, "Maps, works by item, and figures before and after", &super::foot(results, results.run_id));
    f.heading(1, &title);
    f.small(&super::made(results));
    f.para(
        "Items carry one id throughout: LV- with the block's name for earthworks, DR- with a number for drains, as on the \
         sheet \u{201c}Works by budget item\u{201d}, in the budget and in the tables. Money asked for is not set here: the \
         share a programme pays is its own rule.",
    );
    f.heading(2, "Before and after");
    f.table(&indicators, &[]);
    f.caution(report::RUSLE);
    f.heading(2, "Water leaving, before and after");
    f.table(&tables::outflows(results), &[]);
    f.heading(2, "Works and budget by item");
    f.table(&worth_tables::budget(results), report::HIDE_BUDGET);
    f.heading(2, "Drains by item");
    f.table(&report::drains(results), report::HIDE_DRAINS);
    f.heading(2, "Blocks");
    f.table(&tables::block_register(results), report::HIDE_BLOCKS);
    f.heading(2, "When");
    f.table(&worth_tables::program(results), report::HIDE_PROGRAM);
    f.heading(2, "What was not checked");
    f.list(&results.site.not_given.iter().map(|n| n.replace('_', " ")).collect::<Vec<_>>());
    f.para("Photo points: choose places where a picture shows the land before and after; mark them on sheet 1 with date and direction.");
    Some(joined(f.finish(), papers::map_book("", &sheets)))
}

/// One paper after another.
fn joined(mut first: Paper, second: Paper) -> Paper {
    let shift = first.nodes.len();
    first.nodes.extend(second.nodes.into_iter().map(|n| Node { parent: n.parent.map(|p| p + shift), ..n }));
    first.pages.extend(
        second.pages.into_iter().map(|p| Page { marks: p.marks.into_iter().map(|m| m.shifted(shift)).collect(), ..p }),
    );
    first
}
