//! Ground that keeps its height: at fences, tracks and water that stay, and over the roots of trees that stay.

use super::limits::Why;
use super::params::LevellingParams;
use crate::grid::{GridSpec, Raster};
use crate::land::site::{KeepKind, Site};
use crate::methods::shapes::{buffer_lines, buffer_polygon, cells_inside};
use geo::{Coord, LineString, MultiLineString, MultiPolygon};

/// Width of a track that does not say its own, metres (common practice, no source).
const TRACK_M: f64 = 5.0;
/// Width of a waterway that does not say its own, metres (common practice, no source).
const WATERWAY_M: f64 = 3.0;

/// What keeps its height where.
pub(super) struct FixedLevels {
    spec: GridSpec,
    /// By cell.
    kinds: Vec<Option<Why>>,
}

impl FixedLevels {
    pub(super) fn of(spec: GridSpec, site: &Site, params: &LevellingParams) -> Self {
        let mut fixed = Self { spec, kinds: vec![None; spec.len()] };
        let reach_m = params.fixed_reach_m;
        // The harder ones last: they write over the others.
        if reach_m > 0.0 {
            let fences = site.boundary.iter().flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
            fixed.lines(fences.cloned(), reach_m, Why::Fence);
            for drain in &site.layers.neighbour_drains {
                fixed.lines([drain.line.clone()], WATERWAY_M / 2.0 + reach_m, Why::Water);
            }
            for water in &site.layers.waterways {
                match &water.banks {
                    Some(banks) => fixed.areas(&buffer_polygon(banks, reach_m), Why::Water),
                    None => {
                        let half_m = water.width_m.unwrap_or(WATERWAY_M) / 2.0;
                        fixed.lines([water.line.clone()], half_m + reach_m, Why::Water);
                    }
                }
            }
            for track in &site.layers.tracks {
                fixed.lines([track.line.clone()], track.width_m.unwrap_or(TRACK_M) / 2.0 + reach_m, Why::Track);
            }
        }
        if params.root_zone_m > 0.0 {
            for keep in site.layers.keep_areas.iter().filter(|k| k.kind == KeepKind::Vegetation) {
                fixed.areas(&buffer_polygon(&keep.outline, params.root_zone_m), Why::Roots);
            }
        }
        fixed
    }

    fn lines(&mut self, lines: impl IntoIterator<Item = LineString<f64>>, half_width_m: f64, why: Why) {
        self.areas(&buffer_lines(&MultiLineString::from_iter(lines), half_width_m), why);
    }

    fn areas(&mut self, areas: &MultiPolygon<f64>, why: Why) {
        for (kind, inside) in self.kinds.iter_mut().zip(cells_inside(self.spec, areas)) {
            if inside {
                *kind = Some(why);
            }
        }
    }

    /// Why the ground at a place keeps its height, when it does.
    pub(super) fn at(&self, at: Coord<f64>) -> Option<Why> {
        self.kinds[self.spec.index(self.spec.cell_at(at)?)]
    }

    /// The greatest change of height at what keeps its own, by block (position) and kind, metres.
    pub(super) fn changes_m(&self, cut_fill: &Raster<f32>, owner: &[u32], blocks: usize) -> Vec<Vec<(Why, f64)>> {
        let mut worst: Vec<Vec<(Why, f64)>> = vec![Vec::new(); blocks];
        for (cell, depth_m) in cut_fill.iter() {
            let i = self.spec.index(cell);
            let (Some(why), Some(block)) = (self.kinds[i], (owner[i] as usize).checked_sub(1)) else { continue };
            let depth_m = f64::from(depth_m.abs());
            match worst[block].iter_mut().find(|(kind, _)| *kind == why) {
                Some((_, most_m)) => *most_m = most_m.max(depth_m),
                None => worst[block].push((why, depth_m)),
            }
        }
        worst.iter_mut().for_each(|list| list.sort_by_key(|(why, _)| *why));
        worst
    }
}
