//! Values on a grid.

use super::{Cell, GridSpec};
use geo::Coord;
use serde::{Deserialize, Serialize};

/// One value per cell, with a mask of the cells that hold one. No special number means "nothing".
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Raster<T> {
    /// Where the grid lies.
    pub spec: GridSpec,
    /// Row-major values, `spec.len()` of them. What stands in an invalid cell means nothing.
    pub values: Vec<T>,
    /// Row-major: whether the cell holds a value.
    pub valid: Vec<bool>,
}

impl<T: Copy> Raster<T> {
    /// Every cell valid and equal.
    #[must_use]
    pub fn filled(spec: GridSpec, value: T) -> Self {
        Self { spec, values: vec![value; spec.len()], valid: vec![true; spec.len()] }
    }
    /// No cell valid; `blank` stands in the storage.
    #[must_use]
    pub fn empty(spec: GridSpec, blank: T) -> Self {
        Self { spec, values: vec![blank; spec.len()], valid: vec![false; spec.len()] }
    }
    /// The value of a cell, if it has one.
    #[must_use]
    pub fn get(&self, cell: Cell) -> Option<T> {
        let i = self.spec.index(cell);
        self.valid[i].then(|| self.values[i])
    }
    /// Gives a cell a value.
    pub fn set(&mut self, cell: Cell, value: T) {
        let i = self.spec.index(cell);
        self.values[i] = value;
        self.valid[i] = true;
    }
    /// The value of the cell a point lies in.
    #[must_use]
    pub fn at(&self, point: Coord<f64>) -> Option<T> {
        self.spec.cell_at(point).and_then(|c| self.get(c))
    }
    /// The valid cells with their values, row by row.
    pub fn iter(&self) -> impl Iterator<Item = (Cell, T)> + '_ {
        self.values
            .iter()
            .zip(&self.valid)
            .enumerate()
            .filter(|(_, (_, valid))| **valid)
            .map(|(i, (value, _))| (self.spec.cell(i), *value))
    }
    /// Number of valid cells.
    #[must_use]
    pub fn count_valid(&self) -> usize {
        self.valid.iter().filter(|v| **v).count()
    }
    /// The same grid and mask with other values.
    #[must_use]
    pub fn map<U>(&self, f: impl Fn(T) -> U) -> Raster<U> {
        Raster { spec: self.spec, values: self.values.iter().map(|v| f(*v)).collect(), valid: self.valid.clone() }
    }
}

impl Raster<f32> {
    /// Height at a point by bilinear interpolation between the four nearest cell centres.
    ///
    /// `None` when none of the four is valid; invalid ones are left out and the weights rescaled, so
    /// values next to a hole or the rim stay usable.
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "positions are checked against the grid"
    )]
    pub fn bilinear(&self, point: Coord<f64>) -> Option<f64> {
        let x = (point.x - self.spec.north_west.x) / self.spec.cell_m - 0.5;
        let y = (self.spec.north_west.y - point.y) / self.spec.cell_m - 0.5;
        let (rows, cols) = (f64::from(self.spec.rows), f64::from(self.spec.cols));
        if x < -0.5 || y < -0.5 || x > cols - 0.5 || y > rows - 0.5 {
            return None;
        }
        let (col, row) = (x.floor(), y.floor());
        let (fx, fy) = (x - col, y - row);
        let mut sum = 0.0;
        let mut weight = 0.0;
        for (dr, dc, w) in [
            (0.0, 0.0, (1.0 - fx) * (1.0 - fy)),
            (0.0, 1.0, fx * (1.0 - fy)),
            (1.0, 0.0, (1.0 - fx) * fy),
            (1.0, 1.0, fx * fy),
        ] {
            let (r, c) = (row + dr, col + dc);
            if r < 0.0 || c < 0.0 || r >= rows || c >= cols {
                continue;
            }
            let i = self.spec.index(Cell::new(r as u32, c as u32));
            if self.valid[i] {
                sum += w * f64::from(self.values[i]);
                weight += w;
            }
        }
        (weight > 1e-9).then(|| sum / weight)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bilinear_is_exact_on_a_plane_inside_the_centres() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 40.0 }, cell_m: 10.0, rows: 4, cols: 5 };
        let mut r = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            let p = spec.centre(spec.cell(i));
            r.set(spec.cell(i), (0.5 * p.x - 0.25 * p.y) as f32);
        }
        let z = r.bilinear(Coord { x: 17.0, y: 22.0 }).unwrap();
        assert!((z - (0.5 * 17.0 - 0.25 * 22.0)).abs() < 1e-5);
        assert_eq!(r.bilinear(Coord { x: -20.0, y: 22.0 }), None);
    }

    #[test]
    fn bilinear_leaves_holes_out() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 20.0 }, cell_m: 10.0, rows: 2, cols: 2 };
        let mut r = Raster::filled(spec, 3.0_f32);
        r.valid[0] = false;
        r.values[0] = -9999.0;
        let z = r.bilinear(Coord { x: 9.0, y: 11.0 }).unwrap();
        assert!((z - 3.0).abs() < 1e-6);
    }
}
