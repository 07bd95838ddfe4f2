//! What the stage has to say about drains, rows and neighbours.

use super::network::Network;
use super::outflow::INSIDE;
use super::params::DrainsParams;
use super::sizing::{Shallow, TOLERANCE_M, WIDEST_BED_M};
use super::spoil_words;
use crate::finding::{Finding, Place, Severity};
use crate::land::drains::{
    AmongRows, Crossing, Drain, DrainKind, DrainPlan, Drains, DrainsTo, GroundState, OutflowChange, RowProof,
};
use crate::methods::hydraulics::{Inverts, Section, manning_discharge_m3_s};
use crate::stages::drains::DrainsInput;
use crate::units::Slope;
use crate::wording::{counted, grouped};
use geo::{Contains, Coord, Point};
use std::collections::{BTreeMap, BTreeSet};

/// A drain deeper than this is a danger to people and machines, metres (common practice, no source).
const DEEP_M: f64 = 1.5;

fn finding(severity: Severity, code: &str, message: String) -> Finding {
    Finding::new(severity, "drains", code, message)
}

fn point(at: Coord<f64>) -> Place {
    Place::Point { east_m: at.x, north_m: at.y }
}

/// All findings, the severe ones first.
#[must_use]
pub fn findings(
    input: &DrainsInput<'_>,
    plan: &DrainPlan,
    net: &Network,
    inverts: &Inverts,
    p: &DrainsParams,
) -> Vec<Finding> {
    let mut all = ends_too_high(input, net, inverts, p);
    all.extend(plan.drains.iter().filter_map(|d| nowhere(input, d)));
    all.extend(plan.drains.iter().flat_map(|d| limits_passed(input, d)));
    all.extend(rows_that_do_not_drain(input, &plan.proofs));
    all.extend(among_rows(input, plan, p));
    all.extend(plan.outflows.iter().filter_map(|o| outflow(o, p)));
    all.extend(plan.drains.iter().flat_map(|d| drain_findings(d, p)));
    all.extend(backwater(input, plan));
    all.extend(crossings(&plan.crossings));
    all.extend(spoil_words::findings(input, plan, p));
    all.extend(storm_note(plan, p));
    all.extend(inflow_note(input));
    all.push(finding(
        Severity::Note,
        "rain_table",
        format!(
            "Peak discharges use the design rain of the pipeline file ({:.0} mm/h in an hour or the nearest given duration). \
             Replace it by the official intensity-duration table of the place and return period before building.",
            nearest_hour(p)
        ),
    ));
    all.sort_by_key(|f| f.severity);
    all
}

fn nearest_hour(p: &DrainsParams) -> f64 {
    let table = p.rain_table();
    let best = table.iter().min_by(|a, b| (a.0 - 60.0).abs().total_cmp(&(b.0 - 60.0).abs()));
    best.map_or(0.0, |entry| entry.1)
}

fn end_name(input: &DrainsInput<'_>, to: &DrainsTo) -> String {
    match to {
        DrainsTo::Outlet(id) => {
            let outlet = input.water.outlets.iter().find(|o| o.id == *id);
            outlet.map_or_else(|| format!("outlet {id}"), |o| o.name.clone())
        }
        DrainsTo::Waterway(id) => {
            let waterway = input.site.layers.waterways.iter().find(|w| w.id == *id);
            waterway.map_or_else(|| format!("waterway {id}"), |w| w.name.clone())
        }
        DrainsTo::Drain(id) => format!("drain {id}"),
        DrainsTo::Nowhere => "nowhere".to_owned(),
    }
}

/// One finding for each end whose level the graded bed undercuts.
fn ends_too_high(input: &DrainsInput<'_>, net: &Network, inverts: &Inverts, p: &DrainsParams) -> Vec<Finding> {
    let short = (0..net.nodes.len()).filter(|n| inverts.deficit_m[*n] > TOLERANCE_M);
    short
        .map(|n| {
            let head = inverts.controlling_head[n];
            let node = &net.nodes[head];
            let drain = &net.drains[node.drain];
            let of_block = drain.block.map(|b| format!(" at the collector of block {}", input.blocks.blocks[b].name));
            let level_m = net.nodes[n].min_invert_m.unwrap_or_default();
            let start_m = inverts.invert_m[head];
            let length_m = path_length_m(net, head);
            let fall = Slope::from_ratio(if length_m > 0.0 { (start_m - level_m) / length_m } else { 0.0 });
            let advice = if fall.ratio() > 0.0 {
                format!("What to do: give it a bed fall of {}, which just reaches; or raise the ground there by that height, agree on a lower outlet, or lead the block elsewhere.", fall.label())
            } else {
                "Even a level bed dug there would not reach it. What to do: do not dig deeper than the level allowed; lead the water over the low ground between banks or on fill, agree with the authority on a lower outlet, or lead the block elsewhere.".to_owned()
            };
            finding(
                Severity::Severe,
                "outlet_too_high",
                format!(
                    "The drain to {} arrives {:.2} m below the lowest bed level allowed there ({level_m:.2} m). It is held down by its \
                     head at E {:.0} N {:.0}{} (ground {:.2} m), {length_m:.0} m upstream at {:.2} % fall. {advice}",
                    end_name(input, &net.drains[net.nodes[n].drain].to),
                    inverts.deficit_m[n],
                    node.at.x,
                    node.at.y,
                    of_block.unwrap_or_default(),
                    node.ground_m,
                    p.min_fall_pct,
                ),
            )
            .at(point(net.nodes[n].at))
        })
        .collect()
}

fn path_length_m(net: &Network, mut node: usize) -> f64 {
    let mut length_m = 0.0;
    while let Some(down) = net.nodes[node].down {
        length_m += net.nodes[node].length_m;
        node = down;
    }
    length_m
}

fn nowhere(input: &DrainsInput<'_>, drain: &Drain) -> Option<Finding> {
    (drain.to == DrainsTo::Nowhere).then(|| {
        let name = drain.block.and_then(|id| input.blocks.blocks.iter().find(|b| b.id == id)).map(|b| b.name.clone());
        finding(
            Severity::Severe,
            "drain_leads_nowhere",
            format!(
                "Drain DR-{:02} ({}{}) finds no way to an outlet or waterway past kept land. Give an outlet with its level, or open a way.",
                drain.id,
                drain.kind.word(),
                name.map(|n| format!(" of block {n}")).unwrap_or_default()
            ),
        )
        .at(drain.line.0.last().map_or(Place::Property, |c| point(*c)))
    })
}

/// Levels no drain may pass (acid-sulfate or sodic layer, watertable, rock): the worst place of each drain and layer.
fn limits_passed(input: &DrainsInput<'_>, drain: &Drain) -> Vec<Finding> {
    let limits = input.site.layers.level_limits.iter();
    limits
        .filter_map(|limit| {
            let below = drain
                .stations
                .iter()
                .filter(|s| s.invert_m < limit.level_m - TOLERANCE_M && limit.outline.contains(&Point(s.at)));
            let worst = below.min_by(|a, b| a.invert_m.total_cmp(&b.invert_m))?;
            Some(
                finding(
                    Severity::Severe,
                    "level_limit_passed",
                    format!(
                        "Drain DR-{:02} would be cut to {:.2} m, {:.2} m below the limit of {:.2} m ({}). Do not dig: have the soil tested and \
                         the drain made shallower and wider or led elsewhere.",
                        drain.id,
                        worst.invert_m,
                        limit.level_m - worst.invert_m,
                        limit.level_m,
                        limit.reason
                    ),
                )
                .at(point(worst.at)),
            )
        })
        .collect()
}

/// One finding a block: how many rows fail or cannot be told after the works, with the commonest case in words.
fn rows_that_do_not_drain(input: &DrainsInput<'_>, proofs: &[RowProof]) -> Vec<Finding> {
    let mut by_block: BTreeMap<_, Vec<&RowProof>> = BTreeMap::new();
    for proof in proofs {
        by_block.entry(proof.block).or_default().push(proof);
    }
    let mut all = Vec::new();
    for (id, rows) in by_block {
        let name = input.blocks.blocks.iter().find(|b| b.id == id).map_or_else(|| id.to_string(), |b| b.name.clone());
        for (answer, severity, code, words) in [
            (Drains::No, Severity::Severe, "rows_do_not_drain", "do not drain"),
            (Drains::CannotBeTold, Severity::Warning, "rows_cannot_be_told", "cannot be told to drain"),
        ] {
            let hit: Vec<&&RowProof> = rows.iter().filter(|r| r.after == answer).collect();
            let Some(first) = hit.first() else { continue };
            let message = format!(
                "{} of {} rows of block {name} {words} after the works; row {}: {}. Only rows that surely drain count.",
                hit.len(),
                rows.len(),
                first.row,
                first.reason
            );
            all.push(finding(severity, code, message).at(Place::Named(name.clone())));
        }
    }
    all
}

/// What stands among the rows, what goes over ridges, and the row end that carries most, before and after.
fn among_rows(input: &DrainsInput<'_>, plan: &DrainPlan, p: &DrainsParams) -> Option<Finding> {
    let known: Vec<(&RowProof, AmongRows)> = plan.proofs.iter().filter_map(|r| Some((r, r.among?))).collect();
    let most = known.iter().max_by(|a, b| a.1.end_m3_s.1.total_cmp(&b.1.end_m3_s.1))?;
    let name = |id| input.blocks.blocks.iter().find(|b| b.id == id).map_or_else(String::new, |b| b.name.clone());
    let told = |state, standing_m: &dyn Fn(&AmongRows) -> f64| {
        let spilling: BTreeSet<_> =
            plan.row_spills.iter().filter(|s| s.state == state).map(|s| (s.block, s.from_row)).collect();
        let wet = known.iter().filter(|(_, a)| 1_000.0 * standing_m(a) > p.reverse_tolerance_mm).count();
        let deepest = known.iter().map(|(_, a)| standing_m(a)).fold(0.0, f64::max);
        format!(
            "{} spill over a ridge and {wet} hold more than {:.0} mm, {deepest:.2} m at most",
            counted(spilling.len(), "row"),
            p.reverse_tolerance_mm
        )
    };
    let message = format!(
        "Water among the rows, ridges {:.0} mm high: on the ground as it lies {}; on the design {}. The row end that carries \
         most is that of row {} of block {}: the water of {:.2} ha, {:.0} litres a second at the peak of the design rain.",
        p.ridge_mm,
        told(GroundState::Before, &|a| a.standing_m.0),
        told(GroundState::After, &|a| a.standing_m.1),
        most.0.row,
        name(most.0.block),
        most.1.end_ha.1,
        1_000.0 * most.1.end_m3_s.1
    );
    Some(finding(Severity::Note, "water_among_rows", message))
}

fn outflow(o: &OutflowChange, p: &DrainsParams) -> Option<Finding> {
    if o.name.ends_with(INSIDE) {
        return None;
    }
    let rise = |(before, after): (f64, f64)| after > before * (1.0 + p.outflow_rise_pct / 100.0) + 1e-9;
    let fell = |(before, after): (f64, f64)| after < before * (1.0 - p.outflow_rise_pct / 100.0) - 1e-9;
    let (code, what) = if o.catchment_ha.0 <= 0.0 && o.catchment_ha.1 > 0.0 {
        ("new_outflow", "water would leave at a new place")
    } else if rise(o.catchment_ha) || fell(o.catchment_ha) {
        ("catchment_moved", "land would be led to another place than today")
    } else if rise(o.peak_m3_s) {
        ("outflow_rises", "more water would leave at its peak than today")
    } else {
        return None;
    };
    let message = format!(
        "At {} {what}: catchment {:.1} ha before, {:.1} ha after; peak {:.2} and {:.2} m3/s; storm volume {} and {} m3. \
         The limit is {:.0} %. Keep place, rate and level of discharge, or get the written consent of the neighbour and the \
         authority before any work.",
        o.name,
        o.catchment_ha.0,
        o.catchment_ha.1,
        o.peak_m3_s.0,
        o.peak_m3_s.1,
        grouped(o.volume_m3.0),
        grouped(o.volume_m3.1),
        p.outflow_rise_pct
    );
    Some(finding(Severity::Severe, code, message).at(point(o.at)))
}

fn drain_findings(drain: &Drain, p: &DrainsParams) -> Vec<Finding> {
    let place = || drain.line.0.first().map_or(Place::Property, |c| point(*c));
    let mut all = Vec::new();
    if drain.velocity_m_s > drain.velocity_limit_m_s {
        let message = format!(
            "Drain DR-{:02} runs at {:.2} m/s when new, its bed stands {:.2} m/s. Grass or line it, widen it, or break its fall with drops.",
            drain.id, drain.velocity_m_s, drain.velocity_limit_m_s
        );
        all.push(finding(Severity::Warning, "drain_scours", message).at(place()));
    }
    if drain.section.depth_m > DEEP_M {
        let message = format!(
            "Drain DR-{:02} is up to {:.2} m deep. Sides can collapse on people and machines roll in at the edge: flatten the batters, \
             keep headland traffic clear, follow the local code for excavations and have it designed by a licensed person.",
            drain.id, drain.section.depth_m
        );
        all.push(finding(Severity::Warning, "drain_deep", message).at(place()));
    }
    let drops: Vec<f64> = drain.stations.iter().map(|s| s.drop_m).filter(|d| *d > 0.05).collect();
    if !drops.is_empty() {
        let message = format!(
            "Drain DR-{:02} needs {}, the highest {:.2} m, to keep its bed under {:.2} % fall.",
            drain.id,
            counted(drops.len(), "drop structure"),
            drops.iter().copied().fold(0.0, f64::max),
            p.max_fall_pct
        );
        all.push(finding(Severity::Warning, "drain_drops", message).at(place()));
    }
    all
}

/// Where a bed is held at the limit of width and the water rises instead.
#[must_use]
pub fn held_width(net: &Network, drains: &[Drain], shallow: &[Shallow]) -> Vec<Finding> {
    shallow
        .iter()
        .map(|s| {
            let drain = &drains[s.drain];
            let stands = match (s.above_ground_m >= 0.005, drain.kind) {
                (false, _) => "uses up the free height to the top of its sides".to_owned(),
                (true, DrainKind::Collector) => {
                    format!("stands {:.2} m over the ground beside it, on the row ends", s.above_ground_m)
                }
                (true, DrainKind::Main) => {
                    format!("stands {:.2} m over the ground beside it, unless banks hold it", s.above_ground_m)
                }
            };
            let message = format!(
                "Drain DR-{:02} would need a bed {:.1} m wide to hold {:.2} m3/s below low ground; it is kept to {WIDEST_BED_M:.0} m over \
                 {:.0} m of its length, and at that discharge its water {stands}. Fill the low ground, bank a main drain up, \
                 deepen it if the outlet allows, or split its catchment.",
                drain.id, s.wished_m, drain.design_m3_s, s.length_m
            );
            finding(Severity::Warning, "drain_wide", message).at(point(net.nodes[s.node].at))
        })
        .collect()
}

/// Outlets whose wet-week water stands above the mouth of the drain.
fn backwater(input: &DrainsInput<'_>, plan: &DrainPlan) -> Vec<Finding> {
    let ends = plan.drains.iter().filter_map(|drain| match drain.to {
        DrainsTo::Outlet(id) => Some((drain, input.water.outlets.iter().find(|o| o.id == id)?)),
        _ => None,
    });
    ends.filter_map(|(drain, outlet)| {
        let (water_m, mouth) = (outlet.tailwater_m?, drain.stations.last()?);
        (water_m > mouth.invert_m).then(|| {
            let message = format!(
                "In a wet week the water at {} stands {:.2} m above the bed of drain {}: it backs up and the drain carries less than \
                 its section says. Rows lower than {water_m:.2} m will not drain until it falls.",
                outlet.name,
                water_m - mouth.invert_m,
                drain.id
            );
            finding(Severity::Warning, "backwater", message).at(point(outlet.at))
        })
    })
    .collect()
}

fn crossings(crossings: &[Crossing]) -> Vec<Finding> {
    crossings
        .iter()
        .map(|c| {
            let severity = if c.culvert_mm.is_some() { Severity::Note } else { Severity::Warning };
            let code = if c.culvert_mm.is_some() { "track_crossing" } else { "service_crossing" };
            finding(severity, code, format!("Drain DR-{:02} crosses {}: {}.", c.drain, c.crosses, c.needs))
                .at(point(c.at))
        })
        .collect()
}

/// Says how often the peak of the design rain exceeds what the drains hold to the brim.
fn storm_note(plan: &DrainPlan, p: &DrainsParams) -> Option<Finding> {
    let over = plan.drains.iter().filter(|d| d.rational_m3_s > brim_m3_s(d, p)).count();
    (over > 0).then(|| {
        finding(
            Severity::Note,
            "drains_overflow",
            format!(
                "{over} of {} drains overflow at the peak of the design rain, because they are sized by `drains.design_flow`: water \
                 then stands on the low ends of the rows for hours. Collectors fill first.",
                plan.drains.len()
            ),
        )
    })
}

fn brim_m3_s(drain: &Drain, p: &DrainsParams) -> f64 {
    let section = Section::Trapezoid { bottom_m: drain.section.bottom_m, batter_h_per_v: drain.section.batter_h_per_v };
    let depth = drain.stations.iter().map(|s| s.ground_m - s.invert_m).fold(f64::INFINITY, f64::min);
    let depth = if depth.is_finite() { depth.max(0.0) } else { 0.0 };
    manning_discharge_m3_s(&section, depth, p.roughness_grown_n, drain.grade.ratio().max(p.min_fall()))
}

fn inflow_note(input: &DrainsInput<'_>) -> Option<Finding> {
    let outside_ha: f64 = input.water.inflows.iter().map(|c| c.catchment_ha).sum();
    (outside_ha > 0.0).then(|| {
        finding(
            Severity::Note,
            "inflow_not_in_drains",
            format!(
                "Water from {outside_ha:.1} ha outside enters the property along {}. The drains are sized for the blocks alone: \
                 these lines must stay open.",
                counted(input.water.inflows.len(), "line")
            ),
        )
    })
}

/// Says that main drains had to be made shallower than wished.
#[must_use]
pub fn shallow_note(p: &DrainsParams) -> Finding {
    let message = format!(
        "Main drains {:.2} m deep would undercut an outlet, so they are laid at least {:.2} m deep, as the collectors.",
        p.main_depth_m,
        p.collector_depth_m.min(p.main_depth_m)
    );
    finding(Severity::Note, "main_drains_shallow", message)
}
