//! Tables of money, quantities, time and what leaves the land.

use super::{Results, sheet};
use crate::land::costing::Costing;
use crate::land::document::{FieldKind, Table, Value};
use crate::units::Range;

use FieldKind::{Integer, Real, Text};

fn costing<'a>(results: &Results<'a>) -> Option<&'a Costing> {
    results.plan().and_then(|p| p.costing)
}

fn three(range: Range) -> [Value; 3] {
    [range.low.into(), range.likely.into(), range.high.into()]
}

/// Quantities of the works.
pub(super) fn quantities(results: &Results<'_>) -> Table {
    let columns = &[("id", Text), ("group", Text), ("item", Text), ("quantity", Real(2)), ("unit", Text)];
    let rows = costing(results)
        .map_or(&[][..], |c| &c.budget)
        .iter()
        .map(|l| {
            vec![
                l.id.as_str().into(),
                l.group.as_str().into(),
                l.item.as_str().into(),
                l.quantity.into(),
                l.unit.as_str().into(),
            ]
        })
        .collect();
    sheet::table("quantities", "Quantities", columns, rows)
}

/// The budget, its total as last line.
pub(super) fn budget(results: &Results<'_>) -> Table {
    let columns = &[
        ("id", Text),
        ("group", Text),
        ("item", Text),
        ("quantity", Real(2)),
        ("unit", Text),
        ("rate_low", Real(2)),
        ("rate_likely", Real(2)),
        ("rate_high", Real(2)),
        ("amount_low", Real(0)),
        ("amount_likely", Real(0)),
        ("amount_high", Real(0)),
        ("source", Text),
    ];
    let mut rows = Vec::new();
    if let Some(c) = costing(results) {
        for l in &c.budget {
            let mut row: Vec<Value> = vec![
                l.id.as_str().into(),
                l.group.as_str().into(),
                l.item.as_str().into(),
                l.quantity.into(),
                l.unit.as_str().into(),
            ];
            row.extend(three(l.rate));
            row.extend(three(l.amount));
            row.push(l.source.as_str().into());
            rows.push(row);
        }
        let mut total: Vec<Value> = vec!["TOTAL".into(), "total".into(), "Total".into()];
        total.extend(std::iter::repeat_n(Value::Nothing, 5));
        total.extend(three(c.total));
        total.push("".into());
        rows.push(total);
    }
    sheet::table("budget", "Budget", columns, rows)
}

/// Cash by year.
pub(super) fn cash_flow(results: &Results<'_>) -> Table {
    let columns = &[
        ("year", Integer),
        ("crop", Text),
        ("yield_t_low", Real(0)),
        ("yield_t_likely", Real(0)),
        ("yield_t_high", Real(0)),
        ("income_low", Real(0)),
        ("income_likely", Real(0)),
        ("income_high", Real(0)),
        ("outlay_low", Real(0)),
        ("outlay_likely", Real(0)),
        ("outlay_high", Real(0)),
        ("net_low", Real(0)),
        ("net_likely", Real(0)),
        ("net_high", Real(0)),
    ];
    let rows = costing(results)
        .map_or(&[][..], |c| &c.cash)
        .iter()
        .map(|y| {
            let mut row: Vec<Value> = vec![y.year.into(), y.crop.as_str().into()];
            for range in [y.yield_t, y.income, y.outlay, y.net] {
                row.extend(three(range));
            }
            row
        })
        .collect();
    sheet::table("cash_flow", "Cash flow", columns, rows)
}

/// The works calendar.
pub(super) fn program(results: &Results<'_>) -> Table {
    let columns = &[
        ("number", Integer),
        ("step", Text),
        ("after", Text),
        ("window_from", Integer),
        ("window_to", Integer),
        ("days", Real(1)),
        ("start_day", Real(1)),
        ("end_day", Real(1)),
        ("start_month", Text),
        ("end_month", Text),
        ("irreversible", Text),
        ("hold_point", Text),
        ("note", Text),
    ];
    let rows = results
        .plan()
        .and_then(|p| p.program)
        .map_or(&[][..], |p| &p.tasks)
        .iter()
        .map(|t| {
            let after: Vec<String> = t.after.iter().map(u32::to_string).collect();
            vec![
                t.id.into(),
                t.name.as_str().into(),
                after.join(" ").into(),
                u32::from(t.window_from).into(),
                u32::from(t.window_to).into(),
                t.days.into(),
                t.start_day.into(),
                t.end_day.into(),
                t.start_month.as_str().into(),
                t.end_month.as_str().into(),
                (if t.irreversible { "yes" } else { "no" }).into(),
                t.hold_point.as_str().into(),
                t.note.as_str().into(),
            ]
        })
        .collect();
    sheet::table("program", "Works calendar", columns, rows)
}

/// What leaves the land, before and after.
pub(super) fn indicators(results: &Results<'_>) -> Table {
    let columns = &[
        ("indicator", Text),
        ("unit", Text),
        ("before", Real(3)),
        ("after", Real(3)),
        ("method", Text),
        ("confidence", Text),
    ];
    let rows = results
        .plan()
        .and_then(|p| p.erosion)
        .map_or(&[][..], |e| &e.indicators)
        .iter()
        .map(|i| {
            vec![
                i.name.as_str().into(),
                i.unit.as_str().into(),
                i.before.into(),
                i.after.into(),
                i.method.as_str().into(),
                i.confidence.as_str().into(),
            ]
        })
        .collect();
    sheet::table("indicators", "Indicators, before and after", columns, rows)
}
