//! Where water stands: connected pools between a ground and its filled surface.
//!
//! All cells of a pool stand at one level: were two touching cells filled to different levels, the higher
//! would spill into the lower. Small and shallow pools are mostly survey noise, so the caller names the least
//! depth and area worth telling.
//!
//! Shapes and units: two rasters of the same grid, metres; areas m2, volumes m3. Pools touch over edges and
//! corners. Order: by their first cell, row by row from the north-west.
//!
//! Source: [`Bibliography::Barnes2014`](crate::bibliography::Bibliography::Barnes2014) for the filled surface; the
//! volume is depth times cell area.
//!
//! How we know: a published lake (`lake_volume`) and the volumes of a cone and a paraboloid (`analytic_pits`).

use super::frame::Frame;
use crate::grid::{Cell, Raster};
use serde::{Deserialize, Serialize};

/// A pool of standing water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pond {
    /// Row-major indices of the wet cells, growing.
    pub cells: Vec<u32>,
    /// Wet area, square metres.
    pub area_m2: f64,
    /// Volume held, cubic metres.
    pub volume_m3: f64,
    /// Greatest depth, metres.
    pub max_depth_m: f64,
    /// Level at which the pool spills, metres.
    pub level_m: f64,
    /// The dry cell it spills over.
    pub spill: Cell,
}

/// The pools of at least `min_depth_m` greatest depth and `min_area_m2` wet area.
///
/// `filled` is [`fill`](super::fill) of `ground`.
#[must_use]
pub fn ponds(ground: &Raster<f32>, filled: &Raster<f32>, min_depth_m: f64, min_area_m2: f64) -> Vec<Pond> {
    let grid = Frame::new(ground);
    let wet = |i: usize| ground.valid[i] && filled.valid[i] && filled.values[i] > ground.values[i];
    let mut seen = vec![false; grid.len];
    let mut found = Vec::new();
    for start in 0..grid.len {
        if seen[start] || !wet(start) {
            continue;
        }
        seen[start] = true;
        let mut cells = vec![start as u32];
        let mut next = 0;
        while next < cells.len() {
            let here = cells[next] as usize;
            next += 1;
            for n in grid.neighbours(here).filter(|n| wet(*n)) {
                if !seen[n] {
                    seen[n] = true;
                    cells.push(n as u32);
                }
            }
        }
        cells.sort_unstable();
        let pond = measure(ground, filled, cells);
        if pond.max_depth_m >= min_depth_m && pond.area_m2 >= min_area_m2 {
            found.push(pond);
        }
    }
    found
}

fn measure(ground: &Raster<f32>, filled: &Raster<f32>, cells: Vec<u32>) -> Pond {
    let cell_area = ground.spec.cell_area_m2();
    let mut depth_sum = 0.0;
    let mut deepest = 0.0_f64;
    for i in cells.iter().map(|i| *i as usize) {
        let depth = f64::from(filled.values[i]) - f64::from(ground.values[i]);
        depth_sum += depth;
        deepest = deepest.max(depth);
    }
    Pond {
        area_m2: cells.len() as f64 * cell_area,
        volume_m3: depth_sum * cell_area,
        max_depth_m: deepest,
        level_m: f64::from(filled.values[cells[0] as usize]),
        spill: ground.spec.cell(spill_cell(filled, ground, &cells)),
        cells,
    }
}

/// The first dry neighbour at pool level from which water goes on down or off the grid; else the first dry
/// neighbour at pool level.
fn spill_cell(filled: &Raster<f32>, ground: &Raster<f32>, cells: &[u32]) -> usize {
    let grid = Frame::new(filled);
    let level = filled.values[cells[0] as usize];
    let mut rim: Vec<usize> = cells
        .iter()
        .flat_map(|i| grid.neighbours(*i as usize))
        .filter(|n| filled.valid[*n] && filled.values[*n] == level && ground.values[*n] == level)
        .collect();
    rim.sort_unstable();
    rim.dedup();
    let goes_on = |i: usize| {
        grid.is_rim(i, &filled.valid) || grid.neighbours(i).any(|n| filled.valid[n] && filled.values[n] < level)
    };
    rim.iter().copied().find(|i| goes_on(*i)).or(rim.first().copied()).unwrap_or(cells[0] as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::fill;
    use geo::Coord;

    /// Grid `sink_grid1` of the landlab test-suite (tests/components/sink_fill/conftest.py): a lake of six
    /// cells, 0.3 m deep at most, 1.1 m3.
    #[test]
    fn lake_volume() {
        let ground = grid_from_text(
            "0 0 0 0 0 0 0
             0 2 2 2 2 2 0
             0 2 1.6 1.5 1.6 2 0
             0 2 1.7 1.6 1.7 2 0
             0 2 1.8 2 2 2 0
             0 1 .6 1 1 1 0
             0 0 -.5 0 0 0 0",
            1.0,
        );
        let filled = fill(&ground);
        let found = ponds(&ground, &filled, 0.01, 0.0);
        assert_eq!(found.len(), 1);
        let lake = &found[0];
        assert_eq!(lake.area_m2, 6.0);
        assert!((lake.volume_m3 - 1.1).abs() < 1e-6);
        assert!((lake.max_depth_m - 0.3).abs() < 1e-6);
        assert!((lake.level_m - 1.8).abs() < 1e-6);
        assert_eq!(lake.spill, Cell::new(4, 2));
        assert!(ponds(&ground, &filled, 0.31, 0.0).is_empty());
        assert!(ponds(&ground, &filled, 0.0, 6.5).is_empty());
    }

    /// Derived: cone pi R^2 d / 3 and paraboloid pi R^2 d / 2, with R = 80 m, d = 2 m, on 2 m cells.
    #[test]
    fn analytic_pits() {
        let spec = GridSpec { north_west: Coord { x: -100.0, y: 100.0 }, cell_m: 2.0, rows: 100, cols: 100 };
        let pit = |depth: fn(f64) -> f64| {
            let mut ground = Raster::filled(spec, 2.0_f32);
            for i in 0..spec.len() {
                let c = spec.centre(spec.cell(i));
                let share = c.x.hypot(c.y) / 80.0;
                if share < 1.0 {
                    ground.values[i] = (2.0 - depth(share)) as f32;
                }
            }
            let found = ponds(&ground, &fill(&ground), 0.05, 100.0);
            assert_eq!(found.len(), 1);
            found[0].volume_m3
        };
        let (cone, bowl) = (pit(|s| 2.0 * (1.0 - s)), pit(|s| 2.0 * (1.0 - s * s)));
        let unit = std::f64::consts::PI * 80.0 * 80.0 * 2.0;
        assert!((cone / (unit / 3.0) - 1.0).abs() < 1e-4, "{cone}");
        assert!((bowl / (unit / 2.0) - 1.0).abs() < 1e-4, "{bowl}");
    }
}
