//! Takes repeating small relief, such as beds and furrows, out of a surface without bending its falls.
//!
//! Two box means along rows and two along columns make a window of triangular cross-section. A box of width w takes
//! out every wave of length w, w/2, w/3 ... along its direction, so a window of twice the spacing takes regular
//! ridges out. Box widths need not be whole cells: the two end cells count in part. Where the box would leave the
//! valid cells, the mean of the nearest whole box is carried on along the least-squares slope of the nearest four
//! box widths, so that planes pass unchanged up to rims and holes and ridges do not come back there. Holes stop the
//! box; they are not filled. Runs of valid cells shorter than a box become their least-squares line.
//!
//! Shapes and units: heights rows x cols, metres, window in metres. Running sums: cost does not depend on the
//! window. Lines are worked on in parallel, each by itself.
//!
//! Source: repeated running means, arithmetic; least-squares slopes, arithmetic.
//!
//! How we know: `planes_pass_unchanged`, `ridges_of_half_the_window_vanish`, `equals_plain_means_inside`.

use crate::grid::Raster;
use rayon::prelude::*;

/// Box widths over which the slope near a rim is taken. The error a ridge leaves there falls with its square.
const TREND_BOXES: f64 = 4.0;

/// Smooths with a triangular window of `window_m` full width; a window under four cells leaves little changed, one
/// under two cells nothing.
#[must_use]
pub fn smooth(elevation: &Raster<f32>, window_m: f64) -> Raster<f32> {
    let box_cells = window_m / 2.0 / elevation.spec.cell_m;
    if box_cells <= 1.0 || elevation.spec.is_empty() {
        return elevation.clone();
    }
    let (rows, cols) = (elevation.spec.rows as usize, elevation.spec.cols as usize);
    let mut values: Vec<f64> = elevation.values.iter().map(|z| f64::from(*z)).collect();
    let valid_by_column = transposed(&elevation.valid, rows, cols);
    for _ in 0..2 {
        smooth_lines(&mut values, &elevation.valid, cols, box_cells);
        let mut turned = transposed(&values, rows, cols);
        smooth_lines(&mut turned, &valid_by_column, rows, box_cells);
        values = transposed(&turned, cols, rows);
    }
    Raster { spec: elevation.spec, values: values.iter().map(|z| *z as f32).collect(), valid: elevation.valid.clone() }
}

fn transposed<T: Copy>(values: &[T], rows: usize, cols: usize) -> Vec<T> {
    (0..cols).flat_map(|col| (0..rows).map(move |row| values[row * cols + col])).collect()
}

/// Smooths each line of `length` values by itself, run of valid cells by run.
fn smooth_lines(values: &mut [f64], valid: &[bool], length: usize, box_cells: f64) {
    values.par_chunks_mut(length).zip(valid.par_chunks(length)).for_each(|(line, valid)| {
        let mut start = 0;
        while start < length {
            let run = valid[start..].iter().take_while(|v| **v).count();
            if run > 1 {
                smooth_run(&mut line[start..start + run], box_cells);
            }
            start += run.max(1);
        }
    });
}

/// One box pass over a run of values.
fn smooth_run(run: &mut [f64], box_cells: f64) {
    let n = run.len();
    let sums = Sums::new(run);
    let half = (box_cells - 1.0) / 2.0;
    let whole = half.floor() as usize;
    let part = half - whole as f64;
    let reach = whole + usize::from(part > 0.0);
    if n < 2 * reach + 2 {
        let line: Vec<f64> =
            (0..n).map(|i| sums.mean(0, n) + sums.slope(0, n) * (i as f64 - (n - 1) as f64 / 2.0)).collect();
        run.copy_from_slice(&line);
        return;
    }
    let trend_cells = ((TREND_BOXES * box_cells).ceil() as usize).min(n);
    let (first_slope, last_slope) = (sums.slope(0, trend_cells), sums.slope(n - trend_cells, n));
    let (first, last) = (reach, n - 1 - reach);
    let smoothed: Vec<f64> = (0..n)
        .map(|i| {
            let near = i.clamp(first, last);
            let inner = sums.mean(near - whole, near + whole + 1) * (2 * whole + 1) as f64;
            let ends = if part > 0.0 { run[near - reach] + run[near + reach] } else { 0.0 };
            let slope = if i < first { first_slope } else { last_slope };
            (inner + part * ends) / box_cells + slope * (i as f64 - near as f64)
        })
        .collect();
    run.copy_from_slice(&smoothed);
}

/// Running sums of a run, so that the mean and slope of any stretch cost the same.
struct Sums {
    base: f64,
    /// Sum of the heights above the first one, before each cell.
    height: Vec<f64>,
    /// Sum of position times height above the first one, before each cell.
    moment: Vec<f64>,
}

impl Sums {
    fn new(run: &[f64]) -> Self {
        let base = run.first().copied().unwrap_or(0.0);
        let (mut height, mut moment) = (vec![0.0], vec![0.0]);
        let (mut h, mut m) = (0.0, 0.0);
        for (i, z) in run.iter().enumerate() {
            h += z - base;
            m += (z - base) * i as f64;
            height.push(h);
            moment.push(m);
        }
        Self { base, height, moment }
    }
    /// Mean of the cells `from..to`.
    fn mean(&self, from: usize, to: usize) -> f64 {
        self.base + (self.height[to] - self.height[from]) / (to - from) as f64
    }
    /// Least-squares slope per cell of the cells `from..to`.
    fn slope(&self, from: usize, to: usize) -> f64 {
        let count = (to - from) as f64;
        let middle = (from + to - 1) as f64 / 2.0;
        let spread = count * (count * count - 1.0) / 12.0;
        let moment = self.moment[to] - self.moment[from] - middle * (self.height[to] - self.height[from]);
        if spread > 0.0 { moment / spread } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use geo::Coord;

    fn raster(rows: u32, cols: u32, f: impl Fn(f64, f64) -> f64) -> Raster<f32> {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: f64::from(rows) }, cell_m: 1.0, rows, cols };
        let values = (0..spec.len())
            .map(|i| {
                let c = spec.centre(spec.cell(i));
                f(c.x, c.y) as f32
            })
            .collect();
        Raster { spec, values, valid: vec![true; spec.len()] }
    }

    /// Derived: least-squares lines and symmetric means reproduce straight lines.
    #[test]
    fn planes_pass_unchanged() {
        let mut plane = raster(30, 40, |x, y| 20.0 + 0.02 * x - 0.01 * y);
        for i in [405, 406, 446, 900] {
            plane.valid[i] = false;
            plane.values[i] = f32::NAN;
        }
        let out = smooth(&plane, 11.0);
        assert_eq!(out.valid, plane.valid);
        for ((_, a), (_, b)) in plane.iter().zip(out.iter()) {
            assert!((a - b).abs() < 5e-6, "{a} {b}");
        }
    }

    /// Derived: the mean over a whole wave is zero. Ridges 4 m apart on a slope, window 8 m.
    #[test]
    fn ridges_of_half_the_window_vanish() {
        let slope = raster(30, 60, |x, _| 10.0 - 0.001 * x);
        let ridged = raster(30, 60, |x, _| 10.0 - 0.001 * x + 0.15 * (std::f64::consts::TAU * x / 4.0).sin());
        let out = smooth(&ridged, 8.0);
        for ((cell, a), (_, b)) in slope.iter().zip(out.iter()) {
            // Near the east and west rims the carried slope leaves a tenth of the ridges' 0.15 m.
            let limit = if cell.col < 4 || cell.col >= 56 { 0.015 } else { 5e-6 };
            assert!((a - b).abs() < limit, "{cell:?}: {a} {b}");
        }
    }

    /// Oracle: the same window as a plain weighted mean, away from the rim.
    #[test]
    fn equals_plain_means_inside() {
        let rough = raster(16, 16, |x, y| ((x * 7.3 + y * 3.1).sin() * 43.7).fract());
        let out = smooth(&rough, 6.0);
        // A box of three cells twice: weights 1 2 3 2 1 over 9 in each direction.
        let weights = [1.0, 2.0, 3.0, 2.0, 1.0];
        for row in 4..12 {
            for col in 4..12 {
                let mut mean = 0.0;
                for (a, wa) in weights.iter().enumerate() {
                    for (b, wb) in weights.iter().enumerate() {
                        mean += wa * wb / 81.0 * f64::from(rough.values[(row + a - 2) * 16 + col + b - 2]);
                    }
                }
                assert!((mean - f64::from(out.values[row * 16 + col])).abs() < 1e-6);
            }
        }
    }
}
