//! Where yield is at risk: topsoil is cut thinner than its reserve, or away.

use crate::grid::{GridSpec, Raster};
use crate::land::blocks::RowBlock;
use crate::land::levelling::{RiskArea, SoilRisk};
use crate::methods::shapes::union_all;
use geo::{Coord, MultiPolygon, Rect};

/// Cuts shallower than this are no cut, metres.
const SHALLOW_M: f64 = 0.02;

/// Areas at risk by block and kind; `owner` says which block (position plus one) a cell belongs to.
pub(super) fn areas(
    cut_fill: &Raster<f32>,
    topsoil_left: &Raster<f32>,
    reserve_m: f64,
    owner: &[u32],
    blocks: &[RowBlock],
) -> Vec<RiskArea> {
    let spec = cut_fill.spec;
    let mut cells: Vec<[Vec<usize>; 2]> = vec![Default::default(); blocks.len()];
    for (cell, depth_m) in cut_fill.iter() {
        let i = spec.index(cell);
        let left_m = f64::from(topsoil_left.values[i]);
        if f64::from(depth_m) > SHALLOW_M
            && left_m < reserve_m
            && let Some(block) = (owner[i] as usize).checked_sub(1)
        {
            cells[block][usize::from(left_m <= 0.0)].push(i);
        }
    }
    let mut list = Vec::new();
    for (block, kinds) in blocks.iter().zip(cells) {
        for (risk, cells) in [SoilRisk::Thin, SoilRisk::Bare].into_iter().zip(kinds).filter(|(_, c)| !c.is_empty()) {
            let left = cells.iter().map(|i| f64::from(topsoil_left.values[*i]));
            list.push(RiskArea {
                block: block.id,
                risk,
                area_m2: cells.len() as f64 * spec.cell_area_m2(),
                least_left_m: left.fold(f64::INFINITY, f64::min),
                outline: outline(spec, &cells),
            });
        }
    }
    list
}

/// Outline of some cells, given row by row.
fn outline(spec: GridSpec, cells: &[usize]) -> MultiPolygon<f64> {
    let half_m = spec.cell_m / 2.0;
    let corner = |cell: usize, sign: f64| {
        let centre = spec.centre(spec.cell(cell));
        Coord { x: centre.x + sign * half_m, y: centre.y + sign * half_m }
    };
    // Cells beside each other in a row are one rectangle.
    let runs = cells.chunk_by(|a, b| a + 1 == *b && spec.cell(*a).row == spec.cell(*b).row);
    let rect = |run: &[usize]| Rect::new(corner(run[0], -1.0), corner(run[run.len() - 1], 1.0)).to_polygon();
    union_all(&runs.map(rect).collect::<Vec<_>>(), 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::Area;

    #[test]
    fn cells_become_one_outline() {
        // An L of three cells of 2 m and one apart: 16 m2, two pieces.
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 10.0 }, cell_m: 2.0, rows: 5, cols: 5 };
        let found = outline(spec, &[0, 1, 5, 24]);
        assert_eq!(found.0.len(), 2);
        assert!((found.unsigned_area() - 16.0).abs() < 1e-9);
        // A ring of cells keeps its hole.
        let ring = outline(spec, &[0, 1, 2, 5, 7, 10, 11, 12]);
        assert_eq!((ring.0.len(), ring.0[0].interiors().len()), (1, 1));
    }
}
