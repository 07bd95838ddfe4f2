//! Where water crosses the boundary on the ground as it lies.

use super::lines::Upstream;
use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Place, Severity};
use crate::grid::{GridSpec, Raster};
use crate::land::water::BoundaryCrossing;
use crate::methods::flow::{accumulate, receiver};
use crate::wording::counted;
use geo::Coord;

/// Water across the boundary.
pub(super) struct Crossings {
    /// Entering, largest first.
    pub inflows: Vec<BoundaryCrossing>,
    /// Leaving, largest first.
    pub outflows: Vec<BoundaryCrossing>,
    /// Which outflow each cell inside drains to.
    pub outflow_of: Raster<u32>,
}

/// Nothing, in lists of cells.
const NONE: u32 = u32::MAX;

/// Finds, groups and numbers the crossings.
pub(super) fn find(
    input: &WaterInput<'_>,
    inside: &[bool],
    upstream: &Upstream,
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> Crossings {
    let flow = &input.terrain.flow;
    let concept = &input.ground.concept.0;
    let (mut entries, mut exits) = (Vec::new(), Vec::new());
    for i in 0..inside.len() {
        if !concept.valid[i] {
            continue;
        }
        match (inside[i], receiver(flow, i).is_some_and(|r| inside[r])) {
            (true, false) => exits.push(i),
            (false, true) => entries.push(i),
            _ => {}
        }
    }
    let first_exit = first_exits(input, inside);
    let spec = flow.spec;
    let inflow_groups = group(spec, &entries, &upstream.all_ha, params.group_distance_m);
    let (inflows, minor_ha) = inflows(spec, &inflow_groups, upstream, params.crossing_min_ha);
    let mut outflow_groups = group(spec, &exits, &upstream.all_ha, params.group_distance_m);
    merge_small(spec, &mut outflow_groups, &upstream.all_ha, params.crossing_min_ha);
    let (outflows, outflow_of) = outflows(input, inside, &outflow_groups, &first_exit, upstream);
    report(input, &inflows, &inflow_groups, minor_ha, findings);
    Crossings { inflows, outflows, outflow_of }
}

/// For each cell, the first cell downstream (itself included) from which water leaves the property.
#[expect(clippy::cast_possible_truncation, reason = "the flow field itself numbers cells in u32")]
fn first_exits(input: &WaterInput<'_>, inside: &[bool]) -> Vec<u32> {
    let flow = &input.terrain.flow;
    let mut first = vec![NONE; inside.len()];
    for &i in flow.upstream_first.iter().rev() {
        let i = i as usize;
        let next = receiver(flow, i);
        first[i] = match next {
            Some(r) if !inside[i] || inside[r] => first[r],
            _ if inside[i] => i as u32,
            _ => NONE,
        };
    }
    first
}

/// Cells that cross together, the largest first in each group.
type Groups = Vec<Vec<usize>>;

/// Largest first, each crossing takes the free ones within `within_m`.
fn group(spec: GridSpec, cells: &[usize], size: &[f64], within_m: f64) -> Groups {
    let mut order = cells.to_vec();
    order.sort_by(|a, b| size[*b].total_cmp(&size[*a]).then(a.cmp(b)));
    let at: Vec<Coord<f64>> = order.iter().map(|i| spec.centre(spec.cell(*i))).collect();
    let mut taken = vec![false; order.len()];
    let mut groups = Vec::new();
    for k in 0..order.len() {
        if taken[k] {
            continue;
        }
        let mut members = Vec::new();
        for j in k..order.len() {
            if !taken[j] && (at[j].x - at[k].x).hypot(at[j].y - at[k].y) <= within_m {
                taken[j] = true;
                members.push(order[j]);
            }
        }
        groups.push(members);
    }
    groups
}

/// Adds groups below a size to the nearest group above it, so that no water gets lost.
fn merge_small(spec: GridSpec, groups: &mut Groups, size: &[f64], least: f64) {
    let total = |g: &Vec<usize>| g.iter().map(|i| size[*i]).sum::<f64>();
    let (mut large, small): (Groups, Groups) = groups.drain(..).partition(|g| total(g) >= least);
    if large.is_empty() {
        *groups = small;
        return;
    }
    let places: Vec<Coord<f64>> = large.iter().map(|g| spec.centre(spec.cell(g[0]))).collect();
    for group in small {
        let at = spec.centre(spec.cell(group[0]));
        let distance = |p: &Coord<f64>| (p.x - at.x).hypot(p.y - at.y);
        let nearest = (0..places.len()).min_by(|a, b| distance(&places[*a]).total_cmp(&distance(&places[*b])));
        if let Some(nearest) = nearest {
            large[nearest].extend(group);
        }
    }
    *groups = large;
}

/// Inflows above the least size, and the area of the rest.
fn inflows(spec: GridSpec, groups: &Groups, upstream: &Upstream, least_ha: f64) -> (Vec<BoundaryCrossing>, f64) {
    let mut kept = Vec::new();
    let mut minor_ha = 0.0;
    for members in groups {
        let catchment_ha: f64 = members.iter().map(|i| upstream.all_ha[*i]).sum();
        if catchment_ha < least_ha {
            minor_ha += catchment_ha;
            continue;
        }
        let inside_ha = members.iter().map(|i| upstream.inside_ha[*i]).sum();
        kept.push(BoundaryCrossing { id: 0, at: spec.centre(spec.cell(members[0])), catchment_ha, inside_ha });
    }
    number(&mut kept);
    (kept, minor_ha)
}

/// Sorts by catchment and numbers from 1; gives the new place of each old one.
fn number(crossings: &mut [BoundaryCrossing]) {
    crossings.sort_by(|a, b| {
        b.catchment_ha.total_cmp(&a.catchment_ha).then(b.at.y.total_cmp(&a.at.y)).then(a.at.x.total_cmp(&b.at.x))
    });
    for (id, crossing) in (1..).zip(crossings) {
        crossing.id = id;
    }
}

fn outflows(
    input: &WaterInput<'_>,
    inside: &[bool],
    groups: &Groups,
    first_exit: &[u32],
    upstream: &Upstream,
) -> (Vec<BoundaryCrossing>, Raster<u32>) {
    let flow = &input.terrain.flow;
    let spec = flow.spec;
    let mut group_of = vec![NONE; inside.len()];
    for (g, members) in (0_u32..).zip(groups) {
        for i in members {
            group_of[*i] = g;
        }
    }
    let cell_ha = spec.cell_area_m2() / crate::units::M2_PER_HA;
    let mut cells_of = vec![0_u32; groups.len()];
    for i in 0..inside.len() {
        if inside[i] && first_exit[i] != NONE {
            cells_of[group_of[first_exit[i] as usize] as usize] += 1;
        }
    }
    let mut crossings = Vec::new();
    for (g, members) in groups.iter().enumerate() {
        // Water that leaves, comes back and leaves by the same group counts once.
        let again = |i: usize| {
            receiver(flow, i).is_some_and(|r| first_exit[r] != NONE && group_of[first_exit[r] as usize] as usize == g)
        };
        let catchment_ha = members.iter().filter(|i| !again(**i)).map(|i| upstream.all_ha[*i]).sum();
        let at = spec.centre(spec.cell(members[0]));
        let crossing = BoundaryCrossing { id: 0, at, catchment_ha, inside_ha: f64::from(cells_of[g]) * cell_ha };
        crossings.push(crossing);
    }
    let places: Vec<Coord<f64>> = crossings.iter().map(|c| c.at).collect();
    number(&mut crossings);
    // Groups have different first cells, so the place tells which is which.
    let id_of: Vec<u32> = places.iter().map(|p| crossings.iter().find(|c| c.at == *p).map_or(0, |c| c.id)).collect();
    let mut outflow_of = Raster::empty(spec, 0_u32);
    for i in 0..inside.len() {
        if inside[i] && first_exit[i] != NONE {
            outflow_of.values[i] = id_of[group_of[first_exit[i] as usize] as usize];
            outflow_of.valid[i] = true;
        }
    }
    (crossings, outflow_of)
}

/// Says what comes in, and where the ground kept outside is too narrow to see the whole catchment.
fn report(
    input: &WaterInput<'_>,
    inflows: &[BoundaryCrossing],
    groups: &Groups,
    minor_ha: f64,
    findings: &mut Vec<Finding>,
) {
    let spec = input.terrain.flow.spec;
    let rim = accumulate(&input.terrain.flow, &rim_weights(&input.ground.concept.0));
    let cut: Vec<&BoundaryCrossing> = inflows
        .iter()
        .filter(|c| groups.iter().any(|g| spec.centre(spec.cell(g[0])) == c.at && g.iter().any(|i| rim[*i] > 0.0)))
        .collect();
    if let Some(largest) = cut.first() {
        findings.push(
            Finding::new(
                Severity::Warning,
                NAME,
                "inflow_not_fully_seen",
                format!(
                    "Of {} {} (largest {:.1} ha) seen only to the edge of the heights: catchments there are larger than shown. \
                     Give heights farther out (`survey.margin_m`) before sizing anything on them.",
                    counted(inflows.len(), "inflow"),
                    if cut.len() == 1 { "1 is".to_owned() } else { format!("{} are", cut.len()) },
                    largest.catchment_ha
                ),
            )
            .at(Place::Point { east_m: largest.at.x, north_m: largest.at.y }),
        );
    }
    if minor_ha > 0.0 && !inflows.is_empty() {
        findings.push(Finding::new(
            Severity::Note,
            NAME,
            "minor_inflows",
            format!("Another {minor_ha:.1} ha outside drain in over the boundary in small amounts; they are in no listed inflow."),
        ));
    }
}

/// One in every valid cell at the edge of the heights.
fn rim_weights(surface: &Raster<f32>) -> Vec<f64> {
    let spec = surface.spec;
    let (rows, cols) = (spec.rows as usize, spec.cols as usize);
    let mut weights = vec![0.0; spec.len()];
    for r in 0..rows {
        for c in 0..cols {
            let i = r * cols + c;
            let edge = r == 0 || c == 0 || r + 1 == rows || c + 1 == cols;
            if surface.valid[i]
                && (edge
                    || !(surface.valid[i - 1]
                        && surface.valid[i + 1]
                        && surface.valid[i - cols]
                        && surface.valid[i + cols]))
            {
                weights[i] = 1.0;
            }
        }
    }
    weights
}
