//! Where heaps are burnt: along the windrows, clear of everything fire or smoke could harm.

use super::params::ClearingParams;
use super::windrows::{BlockWindrows, line_length_m};
use crate::land::clearing::{Heap, Windrow};
use crate::land::site::{KeepKind, Site};
use geo::{Coord, Distance, Euclidean, LineString, MultiPolygon, Point};

/// A heap is moved along its windrows in steps of this length to find a place, metres.
const MOVE_M: f64 = 5.0;

/// The heaps of a block, and how many found no place.
#[must_use]
pub fn heaps(site: &Site, block: &BlockWindrows, area_ha: f64, p: &ClearingParams) -> (Vec<Heap>, u32) {
    let total_m: f64 = block.windrows.iter().map(|w| line_length_m(&w.line)).sum();
    if total_m <= 0.0 {
        return (Vec::new(), 0);
    }
    let count = (area_ha / p.heap_area_ha).ceil().max(1.0);
    let each_m = total_m / count;
    let mut found: Vec<Heap> = Vec::new();
    let mut dropped = 0;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few heaps a hectare")]
    for k in 0..count as u32 {
        let wanted_m = (f64::from(k) + 0.5) * each_m;
        match place(site, &block.windrows, wanted_m, each_m / 2.0, p) {
            Some((at, nearest)) => found.push(Heap { id: 0, at, load_t: 0.0, nearest }),
            None => dropped += 1,
        }
    }
    let load_t = if found.is_empty() { 0.0 } else { block.debris_t / found.len() as f64 };
    for heap in &mut found {
        heap.load_t = load_t;
    }
    (found, dropped)
}

/// The place nearest to `wanted_m` along the windrows, within `reach_m`, that keeps every distance.
fn place(
    site: &Site,
    windrows: &[Windrow],
    wanted_m: f64,
    reach_m: f64,
    p: &ClearingParams,
) -> Option<(Coord<f64>, (f64, String))> {
    let mut moved_m = 0.0;
    while moved_m <= reach_m {
        for at_m in [wanted_m - moved_m, wanted_m + moved_m] {
            let Some(at) = along(windrows, at_m) else { continue };
            let all = distances(site, at, p);
            if all.iter().all(|d| d.is_m >= d.needs_m) {
                let nearest = all.into_iter().min_by(|a, b| a.is_m.total_cmp(&b.is_m));
                return Some((at, nearest.map_or((f64::INFINITY, String::new()), |d| (d.is_m, d.what))));
            }
        }
        moved_m += MOVE_M;
    }
    None
}

/// A point at a distance along all windrow parts put end to end.
fn along(windrows: &[Windrow], mut at_m: f64) -> Option<Coord<f64>> {
    if at_m < 0.0 {
        return None;
    }
    for windrow in windrows {
        for pair in windrow.line.0.windows(2) {
            let step = pair[1] - pair[0];
            let length_m = step.x.hypot(step.y);
            if at_m <= length_m && length_m > 0.0 {
                return Some(pair[0] + step * (at_m / length_m));
            }
            at_m -= length_m;
        }
    }
    None
}

/// Distance from something a heap must stand off from.
struct Standoff {
    is_m: f64,
    needs_m: f64,
    what: String,
}

/// Distances on the ground from a place to everything it must stand off from.
fn distances(site: &Site, at: Coord<f64>, p: &ClearingParams) -> Vec<Standoff> {
    let point = Point(at);
    let scale = site.geodesy.scale_at(at);
    let mut all = Vec::new();
    let mut add = |grid_m: f64, needs_m: f64, what: String| all.push(Standoff { is_m: grid_m / scale, needs_m, what });
    add(to_edge_m(point, &site.boundary), p.off_boundary_m, "boundary".to_owned());
    for line in &site.layers.power_lines {
        add(Euclidean.distance(&point, &line.line), p.off_power_line_m, "power line".to_owned());
    }
    for waterway in &site.layers.waterways {
        let half_m = waterway.width_m.unwrap_or(0.0) / 2.0;
        let centre_m = (Euclidean.distance(&point, &waterway.line) - half_m).max(0.0);
        let bank_m = waterway.banks.as_ref().map_or(centre_m, |b| Euclidean.distance(&point, b).min(centre_m));
        add(bank_m, p.off_waterway_m, waterway.name.clone());
    }
    for keep in &site.layers.keep_areas {
        let building = keep.kind == KeepKind::Structure;
        let needs_m = if building { p.off_building_m } else { p.off_keep_area_m };
        let what = if keep.reason.is_empty() { "kept land".to_owned() } else { keep.reason.clone() };
        add(Euclidean.distance(&point, &keep.outline), needs_m, what);
    }
    all
}

/// Distance to the nearest ring of a shape, from inside or outside.
fn to_edge_m(point: Point<f64>, shape: &MultiPolygon<f64>) -> f64 {
    let rings = shape.0.iter().flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()));
    rings.map(|ring: &LineString<f64>| Euclidean.distance(&point, ring)).fold(f64::INFINITY, f64::min)
}
