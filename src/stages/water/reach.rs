//! How low a drain can be: levels worked up from outlets and waterways at the least fall.

use super::{NAME, WaterInput, WaterParams};
use crate::finding::{Finding, Place, Severity};
use crate::grid::{Cell, GridSpec, Raster};
use crate::land::site::Waterway;
use crate::land::water::{Buffer, DrainReach, Outlet, PlantablePiece};
use crate::methods::flow::{Reach, grow};
use crate::methods::shapes::cells_inside;
use crate::units::M2_PER_HA;
use geo::{BoundingRect, Coord, MultiPolygon, Polygon, Rect};
use std::collections::BTreeMap;

/// A metre of drain through a buffer counts as this many when ways are compared.
const BUFFER_FACTOR: f64 = 3.0;
/// Area below the reach from which it is worth a warning, hectares, and share of the plantable land from which it is severe.
const WARN_HA: f64 = 0.05;
const SEVERE_SHARE: f64 = 0.02;
/// Marks a waterway among the seeds; outlets are numbered from 1.
const WATERWAY: u32 = 0;

/// Grows the reach over the property.
#[expect(clippy::cast_possible_truncation, reason = "levels are kept as f32 throughout")]
pub(super) fn find(
    input: &WaterInput<'_>,
    outlets: &[Outlet],
    buffers: &[Buffer],
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> Option<DrainReach> {
    let spec = reach_grid(input, params)?;
    let water = waterway_levels(input, spec, outlets, params, findings);
    let factor = ways(input, spec, outlets, buffers, &water, params);
    let mut seeds: Vec<(Cell, f64)> = Vec::new();
    let mut owner: BTreeMap<usize, (f64, u32)> = BTreeMap::new();
    let mut add = |cell: Cell, level_m: f64, id: u32| {
        seeds.push((cell, level_m));
        let held = owner.entry(spec.index(cell)).or_insert((level_m, id));
        if level_m < held.0 {
            *held = (level_m, id);
        }
    };
    for outlet in outlets {
        if let Some(cell) = spec.cell_at(outlet.at) {
            add(cell, outlet.level_m, outlet.id);
        }
    }
    for (index, level_m) in &water {
        add(spec.cell(*index), *level_m, WATERWAY);
    }
    let grown = grow(spec, &seeds, &factor, params.drain_min_fall_pct / 100.0);
    let ids = owners(&grown, &owner);
    report_reached(outlets, &ids, findings);
    let valid: Vec<bool> = grown.value.iter().map(|v| v.is_finite()).collect();
    let values = grown.value.iter().map(|v| if v.is_finite() { *v as f32 } else { 0.0 }).collect();
    Some(DrainReach {
        level: Raster { spec, values, valid: valid.clone() },
        outlet: Raster { spec, values: ids.iter().map(|i| i.unwrap_or(0)).collect(), valid },
    })
}

fn reach_grid(input: &WaterInput<'_>, params: &WaterParams) -> Option<GridSpec> {
    let bounds = input.site.boundary.bounding_rect()?;
    let out = params.outlet_max_distance_m + params.reach_cell_m;
    let d = Coord { x: out, y: out };
    Some(GridSpec::covering(Rect::new(bounds.min() - d, bounds.max() + d), params.reach_cell_m))
}

/// Lowest drain bed at each cell of a mapped waterway where drains may end.
fn waterway_levels(
    input: &WaterInput<'_>,
    spec: GridSpec,
    outlets: &[Outlet],
    params: &WaterParams,
    findings: &mut Vec<Finding>,
) -> BTreeMap<usize, f64> {
    let mut levels = BTreeMap::new();
    if !params.drain_into_waterways {
        return levels;
    }
    let inside = cells_inside(spec, &input.site.boundary);
    for waterway in &input.site.layers.waterways {
        let mut beds = bed_levels(input, spec, waterway, params);
        // A given outlet speaks for the water near it: its level binds there, not the bed of the waterway.
        beds.retain(|index, _| {
            let at = spec.centre(spec.cell(*index));
            !outlets.iter().any(|o| !o.assumed && distance(o.at, at) <= params.group_distance_m)
        });
        if beds.keys().any(|i| inside[*i]) {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    NAME,
                    "waterway_bed_assumed",
                    format!(
                        "Drains may end in {} at {:.2} m above its bed; the bed is the lowest surveyed ground across it, which under \
                         water is the water. Survey bed and water level, and ask for the permit.",
                        waterway.name, params.above_waterway_bed_m
                    ),
                )
                .at(Place::Named(waterway.name.clone())),
            );
        }
        for (index, bed_m) in beds {
            let level_m = bed_m + params.above_waterway_bed_m;
            levels.entry(index).and_modify(|l: &mut f64| *l = l.min(level_m)).or_insert(level_m);
        }
    }
    levels
}

fn distance(a: Coord<f64>, b: Coord<f64>) -> f64 {
    (a.x - b.x).hypot(a.y - b.y)
}

/// Lowest ground across the waterway, for every cell of the reach grid it covers.
fn bed_levels(
    input: &WaterInput<'_>,
    spec: GridSpec,
    waterway: &Waterway,
    params: &WaterParams,
) -> BTreeMap<usize, f64> {
    let ground = &input.ground.surveyed.0;
    let half_m = (waterway.width_m.unwrap_or(params.waterway_width_m) / 2.0).max(ground.spec.cell_m);
    let across = (half_m / ground.spec.cell_m).ceil().max(1.0);
    let mut beds: BTreeMap<usize, f64> = BTreeMap::new();
    for part in waterway.line.lines() {
        let length_m = part.dx().hypot(part.dy());
        let stations = (length_m / (0.5 * spec.cell_m)).ceil().max(1.0);
        let (ux, uy) = if length_m > 0.0 { (part.dx() / length_m, part.dy() / length_m) } else { (0.0, 0.0) };
        let mut k = 0.0;
        while k <= stations {
            let on = Coord { x: part.start.x + part.dx() * k / stations, y: part.start.y + part.dy() * k / stations };
            let mut places = Vec::new();
            let mut s = -across;
            while s <= across {
                let off_m = half_m * s / across;
                places.push(Coord { x: on.x - uy * off_m, y: on.y + ux * off_m });
                s += 1.0;
            }
            let bed = places.iter().filter_map(|p| ground.at(*p)).min_by(f32::total_cmp);
            if let Some(bed) = bed {
                for index in places.iter().filter_map(|p| spec.cell_at(*p)).map(|c| spec.index(c)) {
                    let held = beds.entry(index).or_insert(f64::from(bed));
                    *held = held.min(f64::from(bed));
                }
            }
            k += 1.0;
        }
    }
    fill_banks(ground, spec, waterway.banks.as_ref(), &mut beds);
    beds
}

/// Cells between mapped banks the centre line does not touch take the lowest ground in them.
fn fill_banks(
    ground: &Raster<f32>,
    spec: GridSpec,
    banks: Option<&MultiPolygon<f64>>,
    beds: &mut BTreeMap<usize, f64>,
) {
    let Some(banks) = banks else { return };
    for (index, inside) in cells_inside(spec, banks).into_iter().enumerate() {
        if !inside || beds.contains_key(&index) {
            continue;
        }
        let c = spec.centre(spec.cell(index));
        let q = 0.25 * spec.cell_m;
        let lowest = [(0.0, 0.0), (-q, -q), (q, -q), (-q, q), (q, q)]
            .into_iter()
            .filter_map(|(dx, dy)| ground.at(Coord { x: c.x + dx, y: c.y + dy }))
            .min_by(f32::total_cmp);
        if let Some(z) = lowest {
            beds.insert(index, f64::from(z));
        }
    }
}

/// What a metre of drain counts in each cell; infinite where no drain may go.
fn ways(
    input: &WaterInput<'_>,
    spec: GridSpec,
    outlets: &[Outlet],
    buffers: &[Buffer],
    water: &BTreeMap<usize, f64>,
    params: &WaterParams,
) -> Vec<f64> {
    let mut factor: Vec<f64> = cells_inside(spec, &input.site.boundary)
        .into_iter()
        .enumerate()
        .map(|(i, inside)| {
            let at = spec.centre(spec.cell(i));
            // Outside, only the last way to an outlet is open.
            let near = || outlets.iter().any(|o| distance(o.at, at) <= params.outlet_max_distance_m);
            if inside || near() { 1.0 } else { f64::INFINITY }
        })
        .collect();
    for buffer in buffers {
        raise(&mut factor, &cells_inside(spec, &buffer.outline), BUFFER_FACTOR);
    }
    for area in &input.site.layers.keep_areas {
        raise(&mut factor, &cells_inside(spec, &area.outline), f64::INFINITY);
    }
    // No drain crosses a waterway: it ends there.
    for index in water.keys() {
        factor[*index] = f64::INFINITY;
    }
    factor
}

fn raise(factor: &mut [f64], cells: &[bool], to: f64) {
    for (f, cell) in factor.iter_mut().zip(cells) {
        if *cell {
            *f = f.max(to);
        }
    }
}

/// The outlet at the end of each cell's way.
fn owners(grown: &Reach, owner: &BTreeMap<usize, (f64, u32)>) -> Vec<Option<u32>> {
    let mut ids: Vec<Option<u32>> = vec![None; grown.value.len()];
    for start in 0..ids.len() {
        if ids[start].is_some() || !grown.value[start].is_finite() {
            continue;
        }
        let mut way = vec![start];
        let id = loop {
            let here = way[way.len() - 1];
            if let Some(known) = ids[here] {
                break Some(known);
            }
            match grown.toward[here] {
                u32::MAX => break owner.get(&here).map(|o| o.1),
                next => way.push(next as usize),
            }
        };
        for cell in way {
            ids[cell] = id;
        }
    }
    ids
}

fn report_reached(outlets: &[Outlet], ids: &[Option<u32>], findings: &mut Vec<Finding>) {
    for outlet in outlets {
        if !ids.contains(&Some(outlet.id)) {
            let message =
                format!("{} stands inside kept land or off the reach grid: no drain can end there.", outlet.name);
            let finding = Finding::new(Severity::Warning, NAME, "outlet_shut_off", message);
            findings.push(finding.at(Place::Named(outlet.name.clone())));
        } else if ids.iter().filter(|i| **i == Some(outlet.id)).count() == 1 {
            findings.push(
                Finding::new(
                    Severity::Note,
                    NAME,
                    "outlet_never_lowest",
                    format!(
                        "No place has its lowest possible drain from {}: other outlets or waterways are lower. Drains near it may still \
                         end there; sending its water elsewhere would move a catchment.",
                        outlet.name
                    ),
                )
                .at(Place::Named(outlet.name.clone())),
            );
        }
    }
}

/// Says how much plantable land lies below the reach or is not reached at all.
pub(super) fn report(
    input: &WaterInput<'_>,
    reach: &DrainReach,
    outlets: &[Outlet],
    plantable: &[PlantablePiece],
    findings: &mut Vec<Finding>,
) {
    let spec = reach.level.spec;
    let concept = &input.ground.concept.0;
    let pieces: Vec<Polygon<f64>> = plantable.iter().map(|p| p.outline.clone()).collect();
    let land = cells_inside(spec, &MultiPolygon(pieces));
    let cell_ha = spec.cell_area_m2() / M2_PER_HA;
    let (mut low, mut drowned, mut unreached, mut all) = (Patch::default(), Patch::default(), Patch::default(), 0.0);
    let tailwater_m = |id: u32| outlets.iter().find(|o| o.id == id).and_then(|o| o.tailwater_m);
    for i in (0..land.len()).filter(|i| land[*i]) {
        let at = spec.centre(spec.cell(i));
        all += cell_ha;
        if !reach.level.valid[i] {
            unreached.add(cell_ha, 0.0, at);
        } else if let Some(ground_m) = concept.bilinear(at) {
            let below_m = f64::from(reach.level.values[i]) - ground_m;
            let under_m = tailwater_m(reach.outlet.values[i]).map_or(f64::NEG_INFINITY, |t| t - ground_m);
            if below_m > 0.0 {
                low.add(cell_ha, below_m, at);
            } else if under_m > 0.0 {
                drowned.add(cell_ha, under_m, at);
            }
        }
    }
    let mut say = |patch: &Patch, code: &str, message: String| {
        let severity = if patch.area_ha > SEVERE_SHARE * all { Severity::Severe } else { Severity::Warning };
        let place = Place::Point { east_m: patch.at.x, north_m: patch.at.y };
        findings.push(Finding::new(severity, NAME, code, message).at(place));
    };
    if low.area_ha > WARN_HA {
        say(
            &low,
            "cannot_drain",
            format!(
                "{:.2} ha of plantable land lie below the lowest level a drain can have there, by up to {:.2} m: it cannot drain by \
                 gravity. Fill it, leave it out, or find a lower outlet.",
                low.area_ha, low.worst_m
            ),
        );
    }
    if drowned.area_ha > WARN_HA {
        say(
            &drowned,
            "below_tailwater",
            format!(
                "{:.2} ha of plantable land lie below the water level of a wet week at their outlet, by up to {:.2} m: they cannot drain \
                 until it falls. Bank and pump, leave them out, or find another outlet.",
                drowned.area_ha, drowned.worst_m
            ),
        );
    }
    if unreached.area_ha > WARN_HA {
        say(
            &unreached,
            "not_reached",
            format!(
                "{:.2} ha of plantable land are cut off from every outlet by kept land or waterways: no drain can reach them.",
                unreached.area_ha
            ),
        );
    }
}

/// Land in one kind of trouble.
#[derive(Default)]
struct Patch {
    area_ha: f64,
    worst_m: f64,
    at: Coord<f64>,
}

impl Patch {
    fn add(&mut self, area_ha: f64, by_m: f64, at: Coord<f64>) {
        if self.area_ha == 0.0 || by_m > self.worst_m {
            self.worst_m = by_m;
            self.at = at;
        }
        self.area_ha += area_ha;
    }
}
