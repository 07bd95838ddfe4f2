//! The report: one page that stands on its own, made for the person who decides.

use super::page_data::{page_map, policy_hash};
use super::pages::cells;
use super::{Results, charts, sheet, tables, view, worth_tables};
use crate::finding::{FindingGroup, Place, Severity, grouped};
use crate::land::blocks::RowBlock;
use crate::land::document::{FieldKind, Table, Value};
use crate::land::drains::OutflowChange;
use crate::units::Range;
use minijinja::{AutoEscape, Environment, Value as Page, context};

use FieldKind::{Real, Text};

const TEMPLATE: &str = include_str!("templates/report.html");
const STYLE: &str = include_str!("templates/report.css");
const SCRIPT: &str = include_str!("templates/report.js");

/// Columns of the table of options that only programs need.
pub(super) const HIDE_OPTIONS: &[&str] = &["description", "rows_not_draining", "rows_cannot_be_told"];
/// Columns of the table of blocks that only programs need.
pub(super) const HIDE_BLOCKS: &[&str] = &[
    "block",
    "area_ellipsoidal_ha",
    "row_spacing_m",
    "layout_earth_m3",
    "layout_earth_gap_pct",
    "yearly_turning",
    "yearly_headland",
    "yearly_drain_land",
    "yearly_drain_digging",
    "yearly_short_rows",
    "yearly_long_rows",
    "yearly_fall",
    "yearly_earth",
    "yearly_crop_haul",
    "yearly_undrained",
    "parcel",
    "cropped_ha",
    "row_metres_m",
    "surface",
    "row_fall_pct",
    "earth_m3",
    "earth_m3_per_ha",
    "haul_mean_m",
    "cost",
    "gap_pct",
];
/// Columns of the table of drains that only programs need.
pub(super) const HIDE_DRAINS: &[&str] =
    &["batter_h_per_v", "rational_m3_s", "coefficient_m3_s", "flow_depth_m", "deficit_m"];
/// Columns of the table of outflows that only programs need.
pub(super) const HIDE_OUTFLOWS: &[&str] = &["easting", "northing"];
/// Columns of the table of program that only programs need.
pub(super) const HIDE_PROGRAM: &[&str] = &["window_from", "window_to", "start_day", "end_day"];
/// Columns of the table of budget that only programs need.
pub(super) const HIDE_BUDGET: &[&str] = &["rate_low", "rate_high", "group"];
/// Columns of the table of cash that only programs need.
pub(super) const HIDE_CASH: &[&str] =
    &["yield_t_low", "yield_t_high", "income_low", "income_high", "outlay_low", "outlay_high"];
/// Columns of the table of study that only programs need.
pub(super) const HIDE_STUDY: &[&str] = &[
    "length_p10_m",
    "once_cost_per_ha",
    "earth_is",
    "earth_gap_pct",
    "lattice_m",
    "falls",
    "turns_per_ha",
    "drain_land_per_ha",
    "drain_digging_per_ha",
    "short_rows_per_ha",
    "long_rows_per_ha",
    "fall_per_ha",
    "crop_haul_per_ha",
    "undrained_per_ha",
];
/// How far the soil-loss figures go.
pub(super) const RUSLE: &str = "The soil-loss equation was made for hillslopes. On flat flood-plain land (under about 0.5 % fall) it leaves out what drains and floods scour: read these figures as a comparison, not as a measured load.";

/// What to mind on the ground, whatever the plan says (common practice, no source).
pub(super) const CAUTIONS: &[&str] = &[
    "Machines: stems under tension whip back at cab and bystanders; keep people and other machines at least 50 m away. Stay off drain edges, where machines roll over.",
    "Overhead power lines: keep the exclusion distance the network owner sets, and use a spotter. Locate buried services before any digging.",
    "Fire: burn heaps only with the permit and in the weather the fire authority allows, never unattended.",
    "Water: new or larger discharge may need the consent of neighbours and the authority; works on a mapped waterway may need fish-passage approval. Do not enter drains in flow.",
    "Collapse: batters and trenches fall in. Deep drains need batters the soil can stand, fencing and a competent person's advice.",
    "Soil: low coastal ground may hold acid sulfate soil; have it tested before cutting. Fill over stump holes settles: survey again before planting.",
    "Chemicals: follow label, permit and buffer distances; do not spray near open water.",
    "Check registers for contamination, unexploded ordnance, heritage and protected vegetation before work starts.",
    "Wash machines down between properties: soil carries disease and weeds.",
    "Heat, dust, snakes and wasps: plan for them before the crew arrives.",
];

/// The page as text; an error message in its place would mean a broken template, which a test rules out.
pub(super) fn page(results: &Results<'_>) -> String {
    let mut env = Environment::new();
    env.set_auto_escape_callback(|_| AutoEscape::Html);
    let page = env
        .render_named_str("report.html", TEMPLATE, everything(results))
        .unwrap_or_else(|e| format!("report template: {e}"));
    // Marks that turn the reading order of what follows (Unicode Standard Annex 9): a name must not turn its neighbours.
    page.replace(
        ['\u{202a}', '\u{202b}', '\u{202c}', '\u{202d}', '\u{202e}', '\u{2066}', '\u{2067}', '\u{2068}', '\u{2069}'],
        "",
    )
}

fn everything(results: &Results<'_>) -> Page {
    let site = results.site;
    let table = results.site_table;
    let head = context! {
        name => site.name.clone(), option => results.plan().map(|p| p.name), because => why(results),
        date => table.plan_date.clone(), revision => table.revision.clone(), prepared => table.prepared_by.clone(), checked => table.checked_by.clone(),
        currency => table.currency.clone(), run_id => results.run_id.replacen('-', " ", 1),
        plan_id => results.plan_id.replacen('-', " ", 1), crs => site.crs.name.clone(),
        datum => view::heights(site),
        costs => costs(results), gains => gains(results), irreversible => irreversible(results), next => next(results),
        calendar_svg => charts::calendar(results).0, study_svg => charts::bearing_study(results).map(|c| c.0), lengths_svg => charts::row_lengths(results).map(|c| c.0), falls_svg => charts::row_falls(results).map(|c| c.0), depths_svg => charts::cut_fill(results).map(|c| c.0),
        not_given => site.not_given.clone(), cautions => CAUTIONS.to_vec(),
        citations => results.citations.iter().map(|c| c.reference()).collect::<Vec<_>>(),
    };
    let pages = context! {
        options => grid(&tables::options(results), HIDE_OPTIONS),
        blocks => grid(&tables::block_register(results), HIDE_BLOCKS),
        draining => grid(&draining(results), &[]),
        drains => grid(&drains(results), HIDE_DRAINS),
        outflows => grid(&tables::outflows(results), HIDE_OUTFLOWS),
        earth => grid(&earth(results), &[]),
        earth_balance => grid(&super::earth_balance::table(results), &[]),
        clearing => grid(&clearing(results), &[]),
        soil => grid(&soil(results), &[]),
        indicators => grid(&worth_tables::indicators(results), &[]),
        program => grid(&worth_tables::program(results), HIDE_PROGRAM),
        budget => grid(&worth_tables::budget(results), HIDE_BUDGET),
        worth => grid(&worth(results), &[]),
        cash => grid(&worth_tables::cash_flow(results), HIDE_CASH),
        sensitivity => grid(&sensitivity(results), &[]),
        study => grid(&super::pages::book::cheapest(results), HIDE_STUDY),
        findings => grid(&tables::findings_by_kind(results), &[]),
        assumptions => grid(&tables::assumptions(results), &[]),
    };
    let azimuth = format!("{:+.2}\u{b0}", site.geodesy.grid_north_azimuth_deg).replace('-', "\u{2212}");
    let frame = context! {
        style => STYLE, script => SCRIPT, style_hash => Page::from_safe_string(policy_hash(STYLE)),
        script_hash => Page::from_safe_string(policy_hash(SCRIPT)), rusle => RUSLE, azimuth,
        data_note => table.data_note.clone(),
    };
    context! { ..head, ..pages, ..frame, ..map(results) }
}

/// The map one can work with.
fn map(results: &Results<'_>) -> Page {
    let Some(map) = page_map(results) else { return context! {} };
    let layers: Vec<Page> =
        map.layers.iter().map(|(id, title, shown)| context! { id => *id, title => *title, shown => *shown }).collect();
    context! {
        map_svg => map.svg, map_layers => layers, map_data => map.data, pick_blocks => map.blocks,
        pick_drains => map.drains, rows_left_out => map.rows_left_out,
    }
}

/// A table for the page, without the columns that only programs need.
fn grid(table: &Table, hidden: &[&str]) -> Page {
    let cells = cells::of(table, hidden);
    let number = |i: usize| cells.numbers[i];
    let heads: Vec<Page> =
        cells.heads.iter().enumerate().map(|(i, h)| context! { name => h.clone(), number => number(i) }).collect();
    let rows: Vec<Vec<Page>> = cells
        .rows
        .iter()
        .map(|r| r.iter().enumerate().map(|(i, t)| context! { text => t.clone(), number => number(i) }).collect())
        .collect();
    context! { title => table.title.clone(), heads, rows }
}

/// Why this option: the program's sentence, with quotation marks people use.
pub(super) fn why(results: &Results<'_>) -> String {
    let mut pieces = results.chosen_because.split('`');
    let mut out = pieces.next().unwrap_or_default().to_owned();
    for (i, piece) in pieces.enumerate() {
        out.push(if i % 2 == 0 { '\u{201c}' } else { '\u{201d}' });
        out.push_str(piece);
    }
    out
}

/// A range of money as it is spoken of: three figures are more than a first plan knows.
fn span(r: Range, unit: &str) -> String {
    let [likely, low, high] = [r.likely, r.low, r.high].map(|x| sheet::grouped(sheet::three_figures(x)));
    format!("{likely} {unit} (from {low} to {high})")
}

/// What it costs, dearest figure first.
pub(super) fn costs(results: &Results<'_>) -> Vec<String> {
    let unit = &results.site_table.currency;
    results.plan().and_then(|p| p.costing).map_or_else(
        || vec!["Not worked out in this run.".to_owned()],
        |c| {
            vec![
                span(c.total, unit),
                format!("{} per cropped hectare", span(c.per_ha, unit)),
                format!("deepest debt {}", span(c.worth.peak_debt, unit)),
            ]
        },
    )
}

/// What it gains, the figure that counts first.
pub(super) fn gains(results: &Results<'_>) -> Vec<String> {
    let Some(plan) = results.plan() else { return vec!["No option was worked out.".to_owned()] };
    let mut out = Vec::new();
    if let Some(c) = plan.costing {
        out.push(format!("net present value {}", span(c.worth.npv, &results.site_table.currency)));
        let [bad, likely, _] = c.worth.payback_years;
        let worst = if bad.is_none() { "; not at all in the bad case" } else { "" };
        out.push(likely.map_or("not paid back within the years reckoned".to_owned(), |y| {
            format!("paid back in {y:.1} years in the likely case{worst}")
        }));
        if let Some(s) = c.sensitivity.first() {
            let [low, high] = [s.npv.0, s.npv.1].map(|x| sheet::grouped(sheet::three_figures(x)));
            out.push(format!("hangs most on {}: {low} to {high}", s.what));
        }
    }
    if let Some(b) = plan.blocks {
        let rows: usize = b.blocks.iter().map(|b| b.rows.len()).sum();
        let metres: f64 = b.blocks.iter().map(RowBlock::row_metres).sum();
        out.push(format!(
            "{} in {}, {} m of row",
            sheet::counted(rows, "row"),
            sheet::counted(b.blocks.len(), "block"),
            sheet::grouped(metres)
        ));
    }
    if plan.drains.is_some() {
        let [yes, no, unknown] = tables::drain_counts(plan);
        out.push(format!(
            "rows that drain: {} before, {} after; {} do not, {} cannot be told",
            sheet::grouped(yes[0] as f64),
            sheet::grouped(yes[1] as f64),
            sheet::grouped(no[1] as f64),
            sheet::grouped(unknown[1] as f64)
        ));
    }
    out
}

/// Steps that cannot be undone.
pub(super) fn irreversible(results: &Results<'_>) -> Vec<String> {
    let tasks = results.plan().and_then(|p| p.program).map_or(&[][..], |p| &p.tasks);
    tasks.iter().filter(|t| t.irreversible).map(|t| format!("{} ({})", t.name, t.start_month)).collect()
}

/// Severe matters named on the decision sheet.
const MOST_CHECKS: usize = 5;

/// The first sentence of a message, full stop included; a point inside a number ends nothing.
fn first_sentence(message: &str) -> &str {
    message.find(". ").map_or(message, |end| &message[..=end])
}

/// A severe matter in a line: what, the worst of its places, and what to do where the message says it.
fn check(group: &FindingGroup<'_>, results: &Results<'_>) -> String {
    let first = group.findings[0];
    let outflows = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.outflows[..]);
    let change = |o: &&OutflowChange| (o.catchment_ha.1 - o.catchment_ha.0).abs();
    if let ("catchment_moved", Some(most)) =
        (first.code.as_str(), outflows.iter().max_by(|a, b| change(a).total_cmp(&change(b))))
    {
        let (before, after) = most.catchment_ha;
        return format!(
            "Water is led to other places than today, most to or from {} (land draining there {before:.1} ha today, \
             {after:.1} ha after; {} in all). Get the written consent of the neighbour and the authority.",
            most.name,
            sheet::counted(group.findings.len(), "place")
        );
    }
    let place = if first.place == Place::Property { String::new() } else { format!("{}: ", first.place) };
    let advice = first.message.find(ADVICE).map_or("", |at| &first.message[at..]);
    let more = match group.findings.len() - 1 {
        0 => String::new(),
        n => format!(" The same at {}.", sheet::counted(n, "more place")),
    };
    format!("{place}{} {advice}", first_sentence(&first.message)).trim_end().to_owned() + &more
}

/// How a message begins what it asks for.
const ADVICE: &str = "What to do: ";

/// What to check next.
pub(super) fn next(results: &Results<'_>) -> Vec<String> {
    let mut out = Vec::new();
    if results.ground.is_some_and(|g| g.accuracy.budget_only()) {
        out.push("Quantities are for budget only; do not build from them. Survey the ground first.".to_owned());
    }
    // One line a matter: what is said of nine places is one thing to check. The budget line above says its own already.
    let groups = grouped(results.findings);
    let severe = groups.iter().filter(|g| g.findings[0].severity == Severity::Severe);
    let said: Vec<String> =
        severe.filter(|g| !g.findings[0].code.contains("budget_only")).map(|g| check(g, results)).collect();
    out.extend(said.iter().take(MOST_CHECKS).map(|s| sheet::with_powers(s)));
    if said.len() > MOST_CHECKS {
        out.push(format!("{} more severe matters in the findings.", said.len() - MOST_CHECKS));
    }
    let assumed = results.water.map_or(0, |w| w.outlets.iter().filter(|o| o.assumed).count());
    if assumed > 0 {
        out.push(format!(
            "Confirm on the ground the place and level of {} the program assumed.",
            sheet::counted(assumed, "outlet")
        ));
    }
    out.push(
        "Go through the findings, what was not checked, and the assumptions marked as starting values.".to_owned(),
    );
    out
}

/// Rows by answer to the question whether they drain.
pub(super) fn draining(results: &Results<'_>) -> Table {
    let rows = results.plan().filter(|p| p.drains.is_some()).map_or_else(Vec::new, |p| {
        let words = ["yes", "no", "cannot be told"];
        let counts = tables::drain_counts(p);
        words.iter().zip(counts).map(|(w, c)| vec![(*w).into(), (c[0] as f64).into(), (c[1] as f64).into()]).collect()
    });
    sheet::table(
        "draining",
        "Rows by answer",
        &[("drains", Text), ("rows_before", Real(0)), ("rows_after", Real(0))],
        rows,
    )
}

/// Drains, the block under its name.
pub(super) fn drains(results: &Results<'_>) -> Table {
    let mut table = tables::drains(results);
    let Some(at) = table.fields.iter().position(|f| f.name == "block") else { return table };
    table.fields[at].kind = Text;
    for row in &mut table.rows {
        if let Value::Integer(id) = row[at] {
            row[at] = block_name(results, id).into();
        }
    }
    table
}

/// The name of a block as it stands on the maps.
fn block_name(results: &Results<'_>, id: i64) -> String {
    let blocks = results.plan().and_then(|p| p.blocks).map_or(&[][..], |b| &b.blocks);
    blocks.iter().find(|b| i64::from(b.id.0) == id).map_or_else(|| id.to_string(), |b| b.name.clone())
}

/// Earthworks by block.
pub(super) fn earth(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Text),
        ("surface", Text),
        ("row_fall", Text),
        ("cross_fall", Text),
        ("cut_m3", Real(0)),
        ("fill_m3", Real(0)),
        ("cut_fill_ratio", Real(2)),
        ("borrow_m3", Real(0)),
        ("max_cut_m", Real(2)),
        ("max_fill_m", Real(2)),
        ("subsoil_m2", Real(0)),
        ("haul_mean_m", Real(0)),
        ("cost_likely", Real(0)),
        ("held_back_by", Text),
    ];
    let blocks = results.plan().and_then(|p| p.levelling).map_or(&[][..], |l| &l.blocks);
    let rows = blocks
        .iter()
        .map(|e| {
            vec![
                block_name(results, e.block.0.into()).into(),
                e.surface.words().into(),
                sheet::one_in(e.row_fall).into(),
                sheet::one_in(e.cross_fall).into(),
                e.cut_m3.into(),
                e.fill_m3.into(),
                e.cut_fill_ratio.into(),
                e.borrow_m3.into(),
                e.max_cut_m.into(),
                e.max_fill_m.into(),
                e.subsoil_m2.into(),
                e.haul_mean_m.into(),
                e.cost.likely.into(),
                e.binding.join("; ").into(),
            ]
        })
        .collect();
    sheet::table("earth", "Earthworks by block", columns, rows)
}

/// Clearing steps.
pub(super) fn clearing(results: &Results<'_>) -> Table {
    let columns = &[
        ("step", Text),
        ("area_ha", Real(1)),
        ("hours_likely", Real(0)),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("note", Text),
    ];
    let steps = results.plan().and_then(|p| p.clearing).map_or(&[][..], |c| &c.steps);
    let rows = steps
        .iter()
        .map(|s| {
            vec![
                s.name.as_str().into(),
                s.area_ha.into(),
                s.hours.likely.into(),
                s.cost.low.into(),
                s.cost.likely.into(),
                s.cost.high.into(),
                s.note.as_str().into(),
            ]
        })
        .collect();
    sheet::table("clearing", "Clearing steps", columns, rows)
}

/// Soil loss by block.
pub(super) fn soil(results: &Results<'_>) -> Table {
    let columns = &[
        ("block", Text),
        ("area_ha", Real(2)),
        ("before_t_ha", Real(2)),
        ("bare_year_t_ha", Real(2)),
        ("after_t_ha", Real(2)),
        ("reaches_water_pct", Real(0)),
    ];
    let blocks = results.plan().and_then(|p| p.erosion).map_or(&[][..], |e| &e.blocks);
    let rows = blocks
        .iter()
        .map(|s| {
            vec![
                block_name(results, s.block.0.into()).into(),
                s.area_ha.into(),
                s.before_t_ha.into(),
                s.bare_t_ha.into(),
                s.after_t_ha.into(),
                (100.0 * s.delivery_ratio).into(),
            ]
        })
        .collect();
    sheet::table("soil", "Soil loss by block, tonnes per hectare and year", columns, rows)
}

/// What the money does.
pub(super) fn worth(results: &Results<'_>) -> Table {
    let columns = &[("measure", Text), ("low", Real(1)), ("likely", Real(1)), ("high", Real(1))];
    let rows = results.plan().and_then(|p| p.costing).map_or_else(Vec::new, |c| {
        let w = &c.worth;
        let ranges = [
            ("net present value", w.npv),
            ("deepest debt", w.peak_debt),
            ("equal yearly payment of the same worth", w.yearly_equivalent),
        ];
        let cases = [
            ("payback, years", w.payback_years),
            ("break-even price per tonne", w.break_even_price),
            ("break-even yield, t/ha", w.break_even_yield_t_ha),
        ];
        let wide = ranges.into_iter().map(|(n, r)| (n, [Some(r.low), Some(r.likely), Some(r.high)]));
        wide.chain(cases).map(|(name, v)| vec![name.into(), v[0].into(), v[1].into(), v[2].into()]).collect()
    });
    sheet::table("worth", "Worth, low being the bad end for the grower; empty where there is no answer", columns, rows)
}

/// How the worth answers to one number.
pub(super) fn sensitivity(results: &Results<'_>) -> Table {
    let columns = &[("changed", Text), ("npv_low_setting", Real(0)), ("npv_high_setting", Real(0))];
    let items = results.plan().and_then(|p| p.costing).map_or(&[][..], |c| &c.sensitivity);
    let rows = items.iter().map(|s| vec![s.what.as_str().into(), s.npv.0.into(), s.npv.1.into()]).collect();
    sheet::table("sensitivity", "How the net present value answers to one number, widest swing first", columns, rows)
}
