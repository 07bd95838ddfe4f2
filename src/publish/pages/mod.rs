//! Printed pages: the report, the sheets each contractor gets, and the pages a grant officer asks for.

pub(super) mod book;
pub(super) mod cells;
pub(super) mod contractor;
pub(super) mod flow;
pub(super) mod grant;

use super::Results;

/// The line at the foot of every page; `id` is that of the run where money stands, else that of the plan.
fn foot(results: &Results<'_>, id: &str) -> String {
    let site = results.site;
    let heights = crate::publish::view::heights(site);
    format!(
        "{} \u{b7} {heights} \u{b7} {} \u{b7} a first plan, not an engineer's certificate",
        site.crs.name,
        id.replacen('-', " ", 1)
    )
}

/// Who made the plan and when, in a line.
fn made(results: &Results<'_>) -> String {
    let table = results.site_table;
    let given = |v: &Option<String>| v.clone().unwrap_or_else(|| "not given".to_owned());
    format!(
        "Plan date {}, revision {}, prepared by {}, checked by {}.",
        given(&table.plan_date),
        given(&table.revision),
        given(&table.prepared_by),
        given(&table.checked_by)
    )
}
