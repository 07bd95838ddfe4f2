//! Tables of the run folder: layout, drains, findings and assumptions.

use super::{OptionResult, Results, earth_tables, sheet, terrain_layers, view, worth_tables};
use crate::finding::{Finding, grouped};
use crate::land::document::{FieldKind, Table, Value};
use crate::land::drains::{Drain, Drains};
use std::collections::BTreeMap;

use FieldKind::{Integer, Real, Text};

/// Every table, in a fixed order; a table whose stage did not run keeps its header.
pub(super) fn all(results: &Results<'_>) -> Vec<Table> {
    let mut list = vec![
        terrain_layers::depressions(results),
        terrain_layers::culverts(results),
        block_register(results),
        rows(results),
        bearing_study(results),
        options(results),
        drains(results),
        outflows(results),
        worth_tables::quantities(results),
        worth_tables::budget(results),
        worth_tables::cash_flow(results),
        worth_tables::program(results),
        worth_tables::indicators(results),
        findings(results),
        assumptions(results),
    ];
    list.extend(earth_tables::all(results));
    list
}

/// Row blocks of the chosen plan.
pub(super) fn block_register(results: &Results<'_>) -> Table {
    let plan = results.plan();
    let blocks = plan.and_then(|p| p.blocks).map_or(&[][..], |b| &b.blocks);
    let rows = plan.map_or_else(Vec::new, |p| blocks.iter().map(|b| view::block_values(results, p, b)).collect());
    sheet::table("block_register", "Row blocks", view::BLOCK, rows)
}

fn rows(results: &Results<'_>) -> Table {
    let views = results.plan().map(view::rows).unwrap_or_default();
    let rows = views.iter().map(|v| view::row_values(results, v)).collect();
    sheet::table("rows", "Rows", view::ROW, rows)
}

/// Bearings tried.
pub(super) fn bearing_study(results: &Results<'_>) -> Table {
    let columns = &[
        ("piece", Integer),
        ("block", Text),
        ("bearing_grid_deg", Real(2)),
        ("reason", Text),
        ("rows", Integer),
        ("length_mean_m", Real(1)),
        ("length_median_m", Real(1)),
        ("length_p10_m", Real(1)),
        ("turns_per_ha", Real(2)),
        ("headland_pct", Real(1)),
        ("within_fall_pct", Real(1)),
        ("earth_m3_per_ha", Real(0)),
        ("earth_is", Text),
        ("earth_gap_pct", Real(2)),
        ("lattice_m", Real(1)),
        ("falls", Text),
        ("turning_per_ha", Real(0)),
        ("headland_per_ha", Real(0)),
        ("drain_land_per_ha", Real(0)),
        ("drain_digging_per_ha", Real(0)),
        ("short_rows_per_ha", Real(0)),
        ("long_rows_per_ha", Real(0)),
        ("fall_per_ha", Real(0)),
        ("earth_per_ha", Real(0)),
        ("crop_haul_per_ha", Real(0)),
        ("undrained_per_ha", Real(0)),
        ("yearly_cost_per_ha", Real(0)),
        ("against_taken_per_ha", Real(1)),
        ("once_cost_per_ha", Real(0)),
        ("chosen", Text),
    ];
    let study = results.plan().and_then(|p| p.blocks).map_or(&[][..], |b| &b.study);
    let mut taken: BTreeMap<(u32, &str), f64> = BTreeMap::new();
    for t in study.iter().filter(|t| t.chosen) {
        let least = taken.entry((t.piece, t.block.as_str())).or_insert(f64::INFINITY);
        *least = least.min(t.yearly_cost_per_ha);
    }
    let rows = study
        .iter()
        .map(|t| {
            let mut values: Vec<Value> = vec![
                t.piece.into(),
                t.block.as_str().into(),
                t.bearing.degrees().into(),
                t.reason.as_str().into(),
                t.rows.into(),
                t.mean_length_m.into(),
                t.median_length_m.into(),
                t.p10_length_m.into(),
                t.turns_per_ha.into(),
                (100.0 * t.headland_ratio).into(),
                (100.0 * t.within_fall_ratio).into(),
                t.earth_m3_per_ha.into(),
                (if t.earth_gap_ratio.is_some() { "a surface" } else { "a bound" }).into(),
                t.earth_gap_ratio.map(|g| 100.0 * g).into(),
                t.lattice_m.into(),
                (if t.two_way { "two ways" } else { "one way" }).into(),
            ];
            values.extend(t.cost_per_ha.terms().map(|(_, dollars)| Value::from(dollars)));
            let taken = taken.get(&(t.piece, t.block.as_str()));
            values.extend([
                t.yearly_cost_per_ha.into(),
                taken.map(|cost| t.yearly_cost_per_ha - cost).into(),
                t.once_cost_per_ha.into(),
            ]);
            values.push((if t.chosen { "yes" } else { "no" }).into());
            values
        })
        .collect();
    sheet::table("bearing_study", "Bearings tried", columns, rows)
}

/// Rows that drain, do not, cannot be told: before and after.
pub(super) fn drain_counts(option: &OptionResult<'_>) -> [[usize; 2]; 3] {
    let proofs = option.drains.map_or(&[][..], |d| &d.proofs);
    [Drains::Yes, Drains::No, Drains::CannotBeTold].map(|kind| {
        [proofs.iter().filter(|p| p.before == kind).count(), proofs.iter().filter(|p| p.after == kind).count()]
    })
}

/// Options side by side.
pub(super) fn options(results: &Results<'_>) -> Table {
    let columns = &[
        ("option", Text),
        ("description", Text),
        ("blocks", Integer),
        ("rows", Integer),
        ("length_mean_m", Real(1)),
        ("earth_m3", Real(0)),
        ("drain_m", Real(0)),
        ("rows_draining", Integer),
        ("rows_not_draining", Integer),
        ("rows_cannot_be_told", Integer),
        ("cost_low", Real(0)),
        ("cost_likely", Real(0)),
        ("cost_high", Real(0)),
        ("npv_low", Real(0)),
        ("npv_likely", Real(0)),
        ("npv_high", Real(0)),
        ("chosen", Text),
    ];
    let rows = results.options.iter().enumerate().map(|(i, o)| option_values(o, i == results.chosen)).collect();
    sheet::table("options", "Options side by side", columns, rows)
}

fn option_values(o: &OptionResult<'_>, chosen: bool) -> Vec<Value> {
    let rows = o.blocks.map(|b| b.blocks.iter().map(|b| b.rows.len()).sum::<usize>());
    let metres: Option<f64> = o.blocks.map(|b| b.blocks.iter().map(crate::land::blocks::RowBlock::row_metres).sum());
    let counts = o.drains.map(|_| drain_counts(o).map(|c| c[1]));
    let total = o.costing.map(|c| c.total);
    let npv = o.costing.map(|c| c.worth.npv);
    vec![
        o.name.into(),
        o.description.into(),
        count(o.blocks.map(|b| b.blocks.len())),
        count(rows),
        metres.zip(rows).map(|(m, n)| m / n.max(1) as f64).into(),
        o.levelling.map(|l| l.blocks.iter().map(|b| b.cut_m3).sum::<f64>()).into(),
        o.drains.map(|d| d.drains.iter().map(length_m).sum::<f64>()).into(),
        count(counts.map(|c| c[0])),
        count(counts.map(|c| c[1])),
        count(counts.map(|c| c[2])),
        total.map(|t| t.low).into(),
        total.map(|t| t.likely).into(),
        total.map(|t| t.high).into(),
        npv.map(|t| t.low).into(),
        npv.map(|t| t.likely).into(),
        npv.map(|t| t.high).into(),
        (if chosen { "yes" } else { "no" }).into(),
    ]
}

fn count(n: Option<usize>) -> Value {
    n.and_then(|n| i64::try_from(n).ok()).map_or(Value::Nothing, Value::Integer)
}

/// Length of a drain on the ground, metres.
pub(super) fn length_m(d: &Drain) -> f64 {
    d.stations.last().map_or(0.0, |s| s.station_m)
}

/// Columns of a drain, the same in layer and table.
pub(super) const DRAIN: &[(&str, FieldKind)] = &[
    ("drain", Text),
    ("kind", Text),
    ("block", Integer),
    ("length_m", Real(0)),
    ("grade_pct", Real(3)),
    ("grade_1_in_n", Text),
    ("bottom_m", Real(2)),
    ("batter_h_per_v", Real(2)),
    ("depth_m", Real(2)),
    ("catchment_ha", Real(2)),
    ("rational_m3_s", Real(3)),
    ("coefficient_m3_s", Real(3)),
    ("design_m3_s", Real(3)),
    ("flow_depth_m", Real(2)),
    ("velocity_m_s", Real(2)),
    ("velocity_limit_m_s", Real(2)),
    ("excavation_m3", Real(0)),
    ("drains_to", Text),
    ("deficit_m", Real(2)),
];

/// Values of a drain, in the order of [`DRAIN`].
pub(super) fn drain_values(results: &Results<'_>, d: &Drain) -> Vec<Value> {
    vec![
        view::drain_name(d.id).into(),
        d.kind.word().into(),
        d.block.map(|b| b.0).into(),
        length_m(d).into(),
        d.grade.percent().into(),
        sheet::one_in(d.grade).into(),
        d.section.bottom_m.into(),
        d.section.batter_h_per_v.into(),
        d.section.depth_m.into(),
        d.catchment_ha.into(),
        d.rational_m3_s.into(),
        d.coefficient_m3_s.into(),
        d.design_m3_s.into(),
        d.flow_depth_m.into(),
        d.velocity_m_s.into(),
        d.velocity_limit_m_s.into(),
        d.excavation_m3.into(),
        view::drains_to(results, &d.to).into(),
        d.deficit_m.into(),
    ]
}

/// Drains of the chosen plan.
pub(super) fn drains(results: &Results<'_>) -> Table {
    let drains = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.drains);
    sheet::table("drains", "Drains", DRAIN, drains.iter().map(|d| drain_values(results, d)).collect())
}

/// Water leaving, before and after.
pub(super) fn outflows(results: &Results<'_>) -> Table {
    let columns = &[
        ("place", Text),
        ("easting", Real(1)),
        ("northing", Real(1)),
        ("catchment_ha_before", Real(2)),
        ("catchment_ha_after", Real(2)),
        ("peak_m3_s_before", Real(3)),
        ("peak_m3_s_after", Real(3)),
        ("volume_m3_before", Real(0)),
        ("volume_m3_after", Real(0)),
    ];
    let changes = results.plan().and_then(|p| p.drains).map_or(&[][..], |d| &d.outflows);
    let rows = changes
        .iter()
        .map(|o| {
            let (a, p, v) = (o.catchment_ha, o.peak_m3_s, o.volume_m3);
            let mut values: Vec<Value> = vec![o.name.as_str().into()];
            values.extend([o.at.x, o.at.y, a.0, a.1, p.0, p.1, v.0, v.1].map(Value::from));
            values
        })
        .collect();
    sheet::table("outflows", "Water leaving, before and after", columns, rows)
}

/// Findings by severity, then stage, code and place.
pub(super) fn findings(results: &Results<'_>) -> Table {
    let columns = &[("severity", Text), ("stage", Text), ("code", Text), ("place", Text), ("message", Text)];
    let mut sorted: Vec<&Finding> = results.findings.iter().collect();
    sorted.sort_by_key(|f| (f.severity, f.stage.clone(), f.code.clone(), f.place.to_string(), f.message.clone()));
    let rows = sorted
        .iter()
        .map(|f| {
            vec![
                f.severity.word().into(),
                f.stage.as_str().into(),
                f.code.as_str().into(),
                f.place.to_string().into(),
                f.message.as_str().into(),
            ]
        })
        .collect();
    sheet::table("findings", "Findings", columns, rows)
}

/// Findings as the papers show them: one entry a kind, its places below, what is common said once. What was not given has
/// a chapter of its own.
pub(super) fn findings_by_kind(results: &Results<'_>) -> Table {
    let columns = &[("severity", Text), ("place", Text), ("message", Text)];
    let mut rows: Vec<Vec<Value>> = Vec::new();
    for group in grouped(results.findings).iter().filter(|g| g.findings[0].code != "not_given") {
        let severity = group.findings[0].severity.word();
        if let [only] = group.findings[..] {
            rows.push(vec![severity.into(), only.place.to_string().into(), only.message.as_str().into()]);
            continue;
        }
        let kind = group.kind();
        let kind = format!("{}{}.", kind[..1].to_uppercase(), &kind[1..]);
        let places = sheet::counted(group.findings.len(), "place");
        rows.push(vec![severity.into(), places.into(), format!("{kind} {}", group.common).trim_end().into()]);
        let each = group.findings.iter().zip(&group.own);
        rows.extend(each.map(|(f, own)| vec![severity.into(), f.place.to_string().into(), own.as_str().into()]));
    }
    sheet::table("findings", "Findings", columns, rows)
}

/// Every number the plan rests on, in the order of the pipeline file.
pub(super) fn assumptions(results: &Results<'_>) -> Table {
    let columns = &[
        ("table", Text),
        ("key", Text),
        ("value", Text),
        ("unit", Text),
        ("origin", Text),
        ("source", Text),
        ("meaning", Text),
    ];
    let rows = results
        .assumptions
        .iter()
        .map(|a| {
            [&a.table, &a.key, &a.value, &a.unit, &a.origin, &a.source, &a.meaning].map(|t| t.as_str().into()).to_vec()
        })
        .collect();
    sheet::table("assumptions", "Assumptions", columns, rows)
}
