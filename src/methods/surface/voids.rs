//! Finds holes in a surface where heights are wanted, and fills the small ones.
//!
//! A hole is a connected group (edges and corners) of wanted cells without a height. Small ones are filled by the
//! surface of least bending energy of a stretched skin: every cell becomes the mean of its four neighbours, which
//! neither overshoots the heights round the hole nor makes pits or peaks in it. Neighbours that have no height and
//! are not wanted are left out. Large holes are left as they are for the caller to refuse or report.
//!
//! Shapes and units: heights rows x cols, metres; `wanted` row-major; areas m2. Holes are listed by their first
//! cell, row by row. Relaxation is sequential in that order, so the result does not depend on threads.
//!
//! Source: Laplace's equation by successive over-relaxation (Young, D. M. (1954), Transactions of the American
//! Mathematical Society 76, 92-111).
//!
//! How we know: harmonic functions come back (`harmonic_surfaces_come_back`), heights stay between those of the rim
//! (`stays_between_the_rim`), small and large are told apart (`large_holes_stay`).

use crate::grid::{Cell, NEIGHBOURS, Raster};
use geo::Coord;
use serde::{Deserialize, Serialize};

/// A hole in the wanted area.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Void {
    /// Row-major indices, growing.
    pub cells: Vec<u32>,
    /// Area, square metres.
    pub area_m2: f64,
    /// Mean of the cell centres (east, north); may lie outside a bent hole.
    pub centre: Coord<f64>,
    /// Whether it was filled.
    pub filled: bool,
}

/// A surface with its small holes filled, and the account of all holes.
#[derive(Debug, Clone, PartialEq)]
pub struct VoidFilling {
    /// The surface.
    pub raster: Raster<f32>,
    /// Every hole found, filled or not.
    pub voids: Vec<Void>,
}

/// Fills the holes of at most `max_area_m2` in the wanted cells.
///
/// A hole without any height beside it cannot be filled, however small.
#[must_use]
pub fn fill_voids(elevation: &Raster<f32>, wanted: &[bool], max_area_m2: f64) -> VoidFilling {
    let mut raster = elevation.clone();
    let voids = find(elevation, wanted)
        .into_iter()
        .map(|cells| {
            let area_m2 = cells.len() as f64 * elevation.spec.cell_area_m2();
            let filled = area_m2 <= max_area_m2 && relax(&mut raster, &elevation.valid, &cells);
            Void { area_m2, centre: mean_centre(elevation, &cells), filled, cells }
        })
        .collect();
    VoidFilling { raster, voids }
}

fn find(elevation: &Raster<f32>, wanted: &[bool]) -> Vec<Vec<u32>> {
    let spec = elevation.spec;
    let hole = |i: usize| wanted[i] && !elevation.valid[i];
    let mut seen = vec![false; spec.len()];
    let mut found = Vec::new();
    for start in 0..spec.len() {
        if seen[start] || !hole(start) {
            continue;
        }
        seen[start] = true;
        let mut cells = vec![start as u32];
        let mut next = 0;
        while next < cells.len() {
            let here = spec.cell(cells[next] as usize);
            next += 1;
            for (cell, _) in spec.neighbours(here) {
                let n = spec.index(cell);
                if hole(n) && !seen[n] {
                    seen[n] = true;
                    cells.push(n as u32);
                }
            }
        }
        cells.sort_unstable();
        found.push(cells);
    }
    found
}

fn mean_centre(elevation: &Raster<f32>, cells: &[u32]) -> Coord<f64> {
    let spec = elevation.spec;
    let mut sum = Coord { x: 0.0, y: 0.0 };
    for i in cells {
        sum = sum + spec.centre(spec.cell(*i as usize)) - spec.north_west;
    }
    spec.north_west + sum / cells.len() as f64
}

/// Relaxes one hole; `false` when nothing beside it has a height.
fn relax(raster: &mut Raster<f32>, known: &[bool], cells: &[u32]) -> bool {
    let sides: Vec<[Option<Side>; 4]> = cells.iter().map(|i| sides_of(raster, known, cells, *i)).collect();
    let rim: Vec<f64> = sides.iter().flatten().flatten().filter_map(|s| s.height()).collect();
    if rim.is_empty() {
        return false;
    }
    let mean = rim.iter().sum::<f64>() / rim.len() as f64;
    let mut height = vec![mean; cells.len()];
    // The best factor for a square of that many cells.
    let width = (cells.len() as f64).sqrt() + 1.0;
    let omega = 2.0 / (1.0 + (std::f64::consts::PI / width).sin());
    for _ in 0..20 * cells.len() + 100 {
        let mut change = 0.0_f64;
        for (k, sides) in sides.iter().enumerate() {
            let (mut sum, mut count) = (0.0, 0.0);
            for side in sides.iter().flatten() {
                sum += match side {
                    Side::Known(z) => *z,
                    Side::Hole(j) => height[*j],
                };
                count += 1.0;
            }
            if count > 0.0 {
                let step = omega * (sum / count - height[k]);
                height[k] += step;
                change = change.max(step.abs());
            }
        }
        if change < 1e-6 {
            break;
        }
    }
    let (low, high) = rim.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(*z), h.max(*z)));
    for (i, z) in cells.iter().zip(height) {
        let cell = raster.spec.cell(*i as usize);
        // Over-relaxation may leave a micrometre beyond the heights of the rim.
        raster.set(cell, z.clamp(low, high) as f32);
    }
    true
}

/// A neighbour of a hole's cell.
#[derive(Debug, Clone, Copy)]
enum Side {
    /// A cell with a surveyed height.
    Known(f64),
    /// Another cell of the hole, by its position in the hole.
    Hole(usize),
}

impl Side {
    const fn height(self) -> Option<f64> {
        match self {
            Self::Known(z) => Some(z),
            Self::Hole(_) => None,
        }
    }
}

/// The four side neighbours; where a cell touches the rest of its hole or the rim over corners only, the corners.
fn sides_of(raster: &Raster<f32>, known: &[bool], cells: &[u32], index: u32) -> [Option<Side>; 4] {
    let here = raster.spec.cell(index as usize);
    let at = |(dr, dc): (i64, i64)| {
        let row = u32::try_from(i64::from(here.row) + dr).ok().filter(|r| *r < raster.spec.rows)?;
        let col = u32::try_from(i64::from(here.col) + dc).ok().filter(|c| *c < raster.spec.cols)?;
        let i = raster.spec.index(Cell::new(row, col));
        if known[i] {
            Some(Side::Known(f64::from(raster.values[i])))
        } else {
            cells.binary_search(&(i as u32)).ok().map(Side::Hole)
        }
    };
    let sides = [NEIGHBOURS[0], NEIGHBOURS[2], NEIGHBOURS[4], NEIGHBOURS[6]].map(at);
    if sides.iter().any(Option::is_some) {
        return sides;
    }
    [NEIGHBOURS[1], NEIGHBOURS[3], NEIGHBOURS[5], NEIGHBOURS[7]].map(at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use proptest::prelude::*;

    fn surface(f: impl Fn(f64, f64) -> f64) -> Raster<f32> {
        let spec = GridSpec { north_west: Coord { x: -20.0, y: 20.0 }, cell_m: 2.0, rows: 20, cols: 20 };
        let values = (0..spec.len())
            .map(|i| {
                let c = spec.centre(spec.cell(i));
                f(c.x, c.y) as f32
            })
            .collect();
        Raster { spec, values, valid: vec![true; spec.len()] }
    }

    fn punch(raster: &mut Raster<f32>, rows: std::ops::Range<usize>, cols: std::ops::Range<usize>) {
        for row in rows {
            for col in cols.clone() {
                raster.valid[row * 20 + col] = false;
                raster.values[row * 20 + col] = -9999.0;
            }
        }
    }

    /// Derived: x2 - y2 and planes satisfy the five-point Laplace equation exactly.
    #[test]
    fn harmonic_surfaces_come_back() {
        for f in [|x: f64, y: f64| 5.0 + 0.1 * x - 0.2 * y, |x: f64, y: f64| 0.01 * (x * x - y * y)] {
            let whole = surface(f);
            let mut holed = whole.clone();
            punch(&mut holed, 4..12, 6..9);
            punch(&mut holed, 10..14, 8..15);
            let out = fill_voids(&holed, &[true; 400], 1e6);
            assert_eq!(out.voids.len(), 1);
            assert!(out.voids[0].filled);
            for (a, b) in whole.values.iter().zip(&out.raster.values) {
                assert!((a - b).abs() < 1e-4, "{a} {b}");
            }
        }
    }

    #[test]
    fn large_holes_stay() {
        let mut holed = surface(|x, _| x);
        punch(&mut holed, 2..4, 2..4);
        punch(&mut holed, 8..14, 8..14);
        punch(&mut holed, 17..19, 2..4);
        let mut wanted = vec![true; 400];
        (340..400).for_each(|i| wanted[i] = false);
        let out = fill_voids(&holed, &wanted, 100.0);
        let account: Vec<(f64, bool)> = out.voids.iter().map(|v| (v.area_m2, v.filled)).collect();
        assert_eq!(account, [(16.0, true), (144.0, false)]);
        assert_eq!(out.voids[0].centre, Coord { x: -14.0, y: 14.0 });
        assert_eq!(out.raster.count_valid(), 400 - 36 - 4);
        let nothing = Raster::empty(holed.spec, 0.0_f32);
        assert!(fill_voids(&nothing, &[true; 400], 1e9).voids.iter().all(|v| !v.filled));
    }

    proptest! {
        #[test]
        fn stays_between_the_rim(
            heights in prop::collection::vec(-5.0_f32..5.0, 400),
            top in 1_usize..10,
            left in 1_usize..10,
        ) {
            let mut holed = surface(|_, _| 0.0);
            holed.values = heights;
            punch(&mut holed, top..top + 6, left..left + 5);
            let out = fill_voids(&holed, &[true; 400], 1e6);
            let known = holed.iter().map(|(_, z)| z);
            let (low, high) = known.fold((f32::MAX, f32::MIN), |(l, h), z| (l.min(z), h.max(z)));
            for i in &out.voids[0].cells {
                let z = out.raster.values[*i as usize];
                prop_assert!(out.raster.valid[*i as usize] && z >= low && z <= high);
            }
        }
    }
}
