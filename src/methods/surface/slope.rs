//! Slope and aspect from a 3 x 3 window.
//!
//! Horn weights the three lines of the window 1-2-1, which damps survey noise; Zevenbergen and Thorne take only the
//! middle line, which is closer on smooth ground. A neighbour that is missing (off the grid or invalid) is put in
//! by a straight line from the opposite neighbour through the centre. Where that is missing too, a side is put in
//! as the mean of its two corners (or of the two opposite ones, through the centre), at last as the centre itself,
//! and a corner from the two sides beside it. So planes keep their exact slope up to ragged rims.
//!
//! Shapes and units: heights rows x cols, metres; gradients metres per metre, towards east and towards north (rows
//! grow southward, gradients do not). Results keep the grid and mask. Work is spread by rows; no sums cross rows. Whole windows are worked
//! out in 32-bit numbers, heights subtracted first; windows with a missing cell in 64-bit ones.
//!
//! Source: [`Bibliography::Horn1981`](crate::bibliography::Bibliography::Horn1981) and
//! [`Bibliography::ZevenbergenThorne1987`](crate::bibliography::Bibliography::ZevenbergenThorne1987).
//!
//! How we know: two printed examples (`published_windows`), closed forms (`compass_of_planes`,
//! `what_tells_them_apart`, `gaussian_hill`, `cone`, `rows_on_a_slope`), and planes with ragged rims
//! (`planes_are_exact_up_to_a_ragged_rim`).

use crate::grid::{NEIGHBOURS, Raster};
use crate::methods::flow::frame::{NOWHERE, padded_row};
use rayon::prelude::*;

/// How a gradient is taken from the 3 x 3 window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stencil {
    /// All eight neighbours, lines weighted 1-2-1.
    Horn,
    /// The four neighbours on the sides.
    ZevenbergenThorne,
}

/// Horn's gradient: metres of rise per metre towards east, and towards north.
#[must_use]
pub fn horn_gradient(elevation: &Raster<f32>) -> (Raster<f32>, Raster<f32>) {
    gradient(elevation, Stencil::Horn)
}

/// Zevenbergen and Thorne's gradient: metres of rise per metre towards east, and towards north.
#[must_use]
pub fn zevenbergen_thorne_gradient(elevation: &Raster<f32>) -> (Raster<f32>, Raster<f32>) {
    gradient(elevation, Stencil::ZevenbergenThorne)
}

/// Steepest slope, metres per metre, from a gradient.
#[must_use]
pub fn slope_ratio(dz_east: &Raster<f32>, dz_north: &Raster<f32>) -> Raster<f32> {
    let mut slope = dz_east.clone();
    slope.values.par_iter_mut().zip(&dz_north.values).for_each(|(east, north)| *east = length(*east, *north));
    slope
}

/// Steepest slope, metres per metre, straight from the heights: [`slope_ratio`] of the gradient without keeping it.
#[must_use]
pub fn slope(elevation: &Raster<f32>, stencil: Stencil) -> Raster<f32> {
    let mut slope =
        Raster { spec: elevation.spec, values: vec![0.0; elevation.spec.len()], valid: elevation.valid.clone() };
    let cols = elevation.spec.cols as usize;
    slope.values.par_chunks_mut((ROWS_A_TASK * cols).max(1)).enumerate().for_each(|(task, lines)| {
        let mut rows = Rows::new(elevation, stencil, task * ROWS_A_TASK);
        for line in lines.chunks_mut(cols) {
            rows.take();
            for ((out, east), north) in line.iter_mut().zip(&rows.east).zip(&rows.north) {
                *out = length(*east, *north);
            }
        }
    });
    slope
}

fn length(east: f32, north: f32) -> f32 {
    (east * east + north * north).sqrt()
}

/// Direction in which the ground falls steepest, degrees clockwise from grid north in `[0, 360)`; invalid on level
/// cells.
#[must_use]
pub fn aspect_deg(dz_east: &Raster<f32>, dz_north: &Raster<f32>) -> Raster<f32> {
    let mut aspect = dz_east.clone();
    aspect.values.par_iter_mut().zip(&mut aspect.valid).enumerate().for_each(
        |(i, (value, valid))| match downslope_deg(f64::from(dz_east.values[i]), f64::from(dz_north.values[i])) {
            Some(deg) if *valid => *value = deg,
            _ => *valid = false,
        },
    );
    aspect
}

/// Fall along a bearing, metres per metre: positive when the ground falls in that direction.
#[must_use]
pub fn fall_along(dz_east: f64, dz_north: f64, bearing_deg: f64) -> f64 {
    let (east, north) = bearing_deg.to_radians().sin_cos();
    -(dz_east * east + dz_north * north)
}

fn downslope_deg(dz_east: f64, dz_north: f64) -> Option<f32> {
    if dz_east == 0.0 && dz_north == 0.0 {
        return None;
    }
    let deg = (-dz_east).atan2(-dz_north).to_degrees().rem_euclid(360.0) as f32;
    // Rounding to f32 can reach 360 itself.
    Some(if deg >= 360.0 { 0.0 } else { deg })
}

/// Heights round a cell, clockwise from east as in [`NEIGHBOURS`], and the height of the cell.
type Window = ([f64; 8], f64);
const E: usize = 0;
const SE: usize = 1;
const S: usize = 2;
const SW: usize = 3;
const W: usize = 4;
const NW: usize = 5;
const N: usize = 6;
const NE: usize = 7;

fn horn((z, _): &Window, cell_m: f64) -> (f64, f64) {
    let east = (z[NE] + 2.0 * z[E] + z[SE]) - (z[NW] + 2.0 * z[W] + z[SW]);
    let north = (z[NW] + 2.0 * z[N] + z[NE]) - (z[SW] + 2.0 * z[S] + z[SE]);
    (east / (8.0 * cell_m), north / (8.0 * cell_m))
}

fn zevenbergen_thorne((z, _): &Window, cell_m: f64) -> (f64, f64) {
    ((z[E] - z[W]) / (2.0 * cell_m), (z[N] - z[S]) / (2.0 * cell_m))
}

/// Gradient by a stencil: metres of rise per metre towards east, and towards north.
#[must_use]
pub fn gradient(elevation: &Raster<f32>, stencil: Stencil) -> (Raster<f32>, Raster<f32>) {
    let spec = elevation.spec;
    let cols = spec.cols as usize;
    let blank = Raster { spec, values: vec![0.0_f32; spec.len()], valid: elevation.valid.clone() };
    let (mut east, mut north) = (blank.clone(), blank);
    let chunk = (ROWS_A_TASK * cols).max(1);
    east.values.par_chunks_mut(chunk).zip(north.values.par_chunks_mut(chunk)).enumerate().for_each(
        |(task, (east, north))| {
            let mut rows = Rows::new(elevation, stencil, task * ROWS_A_TASK);
            for (east, north) in east.chunks_mut(cols).zip(north.chunks_mut(cols)) {
                rows.take();
                east.copy_from_slice(&rows.east);
                north.copy_from_slice(&rows.north);
            }
        },
    );
    (east, north)
}

/// Rows a thread works on at a time.
const ROWS_A_TASK: usize = 64;

/// Gradients row by row, downwards.
struct Rows<'a> {
    elevation: &'a Raster<f32>,
    stencil: Stencil,
    /// The row [`Rows::take`] works on next.
    next: usize,
    /// The rows above, at and below it, with a margin of one cell.
    around: [Vec<f32>; 3],
    east: Vec<f32>,
    north: Vec<f32>,
}

impl<'a> Rows<'a> {
    fn new(elevation: &'a Raster<f32>, stencil: Stencil, next: usize) -> Self {
        let cols = elevation.spec.cols as usize;
        let blank = || vec![NOWHERE; cols + 2];
        let mut around = [blank(), blank(), blank()];
        padded_row(elevation, next.checked_sub(1), &mut around[0]);
        padded_row(elevation, Some(next), &mut around[1]);
        Self { elevation, stencil, next, around, east: vec![0.0; cols], north: vec![0.0; cols] }
    }

    /// Works out one row. A window with a cell missing gives no finite number; it is done again, slowly.
    fn take(&mut self) {
        padded_row(self.elevation, Some(self.next + 1), &mut self.around[2]);
        let cell_m = self.elevation.spec.cell_m;
        let slow = match self.stencil {
            Stencil::Horn => {
                horn_row(&self.around, (0.125 / cell_m) as f32, &mut self.east, &mut self.north);
                horn
            }
            Stencil::ZevenbergenThorne => {
                zevenbergen_thorne_row(&self.around, (0.5 / cell_m) as f32, &mut self.east, &mut self.north);
                zevenbergen_thorne
            }
        };
        for col in 0..self.east.len() {
            if (self.east[col] + self.north[col]).is_finite() && self.around[1][col + 1] != NOWHERE {
                continue;
            }
            (self.east[col], self.north[col]) = (0.0, 0.0);
            if self.around[1][col + 1] != NOWHERE {
                let (east, north) = slow(&window(self.elevation, self.next, col), cell_m);
                (self.east[col], self.north[col]) = (east as f32, north as f32);
            }
        }
        self.around.rotate_left(1);
        self.next += 1;
    }
}

/// Horn's gradient along a row. Heights are subtracted first, which is exact in 32 bits for heights near each other.
fn horn_row(around: &[Vec<f32>; 3], per_m: f32, east: &mut [f32], north: &mut [f32]) {
    let n = east.len().min(north.len());
    let [a, b, c] = around.each_ref().map(|row| &row[..n + 2]);
    let (east, north) = (&mut east[..n], &mut north[..n]);
    for k in 0..n {
        let (falling, rising) = (c[k + 2] - a[k], a[k + 2] - c[k]);
        east[k] = (falling + rising + 2.0 * (b[k + 2] - b[k])) * per_m;
        north[k] = (rising - falling + 2.0 * (a[k + 1] - c[k + 1])) * per_m;
    }
}

/// Zevenbergen and Thorne's gradient along a row.
fn zevenbergen_thorne_row(around: &[Vec<f32>; 3], per_m: f32, east: &mut [f32], north: &mut [f32]) {
    let n = east.len().min(north.len());
    let [a, b, c] = around.each_ref().map(|row| &row[..n + 2]);
    for k in 0..n {
        east[k] = (b[k + 2] - b[k]) * per_m;
        north[k] = (a[k + 1] - c[k + 1]) * per_m;
    }
}

fn window(elevation: &Raster<f32>, row: usize, col: usize) -> Window {
    let spec = elevation.spec;
    let centre = f64::from(elevation.values[row * spec.cols as usize + col]);
    let around: [Option<f64>; 8] = NEIGHBOURS.map(|(dr, dc)| {
        let (r, c) = (row as i64 + dr, col as i64 + dc);
        let inside = r >= 0 && c >= 0 && r < i64::from(spec.rows) && c < i64::from(spec.cols);
        let i = (r * i64::from(spec.cols) + c) as usize;
        (inside && elevation.valid[i]).then(|| f64::from(elevation.values[i]))
    });
    let opposite = |dir: usize| around[(dir + 4) % 8].map(|z| 2.0 * centre - z);
    let corners = |dir: usize| Some((around[(dir + 7) % 8]? + around[(dir + 1) % 8]?) / 2.0);
    let far_corners = |dir: usize| corners((dir + 4) % 8).map(|z| 2.0 * centre - z);
    let mut z = [centre; 8];
    for dir in [E, S, W, N] {
        let found = around[dir].or_else(|| opposite(dir));
        z[dir] = found.or_else(|| corners(dir)).or_else(|| far_corners(dir)).unwrap_or(centre);
    }
    for dir in [SE, SW, NW, NE] {
        let beside = z[(dir + 7) % 8] + z[(dir + 1) % 8] - centre;
        z[dir] = around[dir].or_else(|| opposite(dir)).unwrap_or(beside);
    }
    (z, centre)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use crate::grid::text::grid_from_text;
    use geo::Coord;

    /// Window of a function of (east, north) round a point.
    fn window_of(f: impl Fn(f64, f64) -> f64, x: f64, y: f64, h: f64) -> Window {
        (NEIGHBOURS.map(|(dr, dc)| f(x + h * dc as f64, y - h * dr as f64)), f(x, y))
    }
    fn downslope(g: (f64, f64)) -> f64 {
        (-g.0).atan2(-g.1).to_degrees().rem_euclid(360.0)
    }
    fn near(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() <= tolerance, "{a} against {b}");
    }

    /// Esri, "How Slope works" (3 x 3 example, cell 5) and "How Aspect works" (cell 1; printed 92.64).
    #[test]
    fn published_windows() {
        let grid = grid_from_text("50 45 50\n30 30 30\n8 10 10", 5.0);
        let w = window(&grid, 1, 1);
        let g = horn(&w, 5.0);
        near(g.0, 0.05, 1e-12);
        near(g.1, 3.8, 1e-12);
        near(g.0.hypot(g.1).atan().to_degrees(), 75.257_658, 1e-5);
        near(downslope(g), 180.753_85, 1e-5);
        let g = zevenbergen_thorne(&w, 5.0);
        near(g.0.hypot(g.1).atan().to_degrees(), 74.054_604, 1e-5);
        near(downslope(g), 180.0, 1e-9);
        let (east, north) = horn_gradient(&grid);
        near(f64::from(slope_ratio(&east, &north).values[4]), 3.800_328_93, 1e-6);

        let grid = grid_from_text("101 92 85\n101 92 85\n101 91 84", 1.0);
        let w = window(&grid, 1, 1);
        near(downslope(horn(&w, 1.0)), 92.642_545, 1e-5);
        near(downslope(zevenbergen_thorne(&w, 1.0)), 93.576_334, 1e-5);
        let (east, north) = horn_gradient(&grid);
        near(f64::from(aspect_deg(&east, &north).values[4]), 92.642_545, 1e-4);
    }

    /// Derived: planes of 5 % in the four quarters, and level ground.
    #[test]
    fn compass_of_planes() {
        let table = [
            (0.03, 0.04, 216.869_898),
            (-0.03, 0.04, 143.130_102),
            (-0.03, -0.04, 36.869_898),
            (0.03, -0.04, 323.130_102),
        ];
        for (a, b, aspect) in table {
            for method in [horn, zevenbergen_thorne] {
                let g = method(&window_of(|x, y| a * x + b * y, 0.0, 0.0, 10.0), 10.0);
                near(downslope(g), aspect, 1e-6);
                near(g.0.hypot(g.1), 0.05, 1e-12);
            }
        }
        let (east, north) = horn_gradient(&grid_from_text("3 3 3\n3 3 3\n3 3 3", 1.0));
        assert_eq!(aspect_deg(&east, &north).count_valid(), 0);
    }

    /// Derived: cubic surfaces on which the two methods differ, and a quadratic on which both are exact.
    #[test]
    fn what_tells_them_apart() {
        let w = window_of(|x, y| x * y * y, 0.0, 0.0, 1.0);
        near(horn(&w, 1.0).0, 0.5, 1e-12);
        near(zevenbergen_thorne(&w, 1.0).0, 0.0, 1e-12);
        let w = window_of(|x, _| x * x * x, 0.0, 0.0, 1.0);
        near(horn(&w, 1.0).0, 1.0, 1e-12);
        near(zevenbergen_thorne(&w, 1.0).0, 1.0, 1e-12);
        let f = |x: f64, y: f64| 2.0 + 0.3 * x - 0.4 * y + 0.05 * x * x - 0.02 * y * y + 0.03 * x * y;
        for method in [horn, zevenbergen_thorne] {
            let g = method(&window_of(f, 0.0, 0.0, 1.0), 1.0);
            near(g.0, 0.3, 1e-12);
            near(g.1, -0.4, 1e-12);
        }
    }

    /// Derived: z = 10 exp(-r2 / (2 100 2)), cell 5 m; steepest slope 10 / (100 sqrt e) at r = 100.
    #[test]
    fn gaussian_hill() {
        let f = |x: f64, y: f64| 10.0 * (-(x * x + y * y) / 20_000.0).exp();
        let table = [
            (100.0, 0.0, 0.060_564_69, 0.060_602_54, 0.060_653_07, 90.0),
            (50.0, 50.0, 0.054_980_69, 0.055_006_47, 0.055_069_53, 45.0),
            (30.0, 80.0, 0.059_221_05, 0.059_252_22, 0.059_312_19, 20.556_045),
        ];
        for (x, y, by_horn, by_zt, exact, aspect) in table {
            let w = window_of(f, x, y, 5.0);
            let (h, zt) = (horn(&w, 5.0), zevenbergen_thorne(&w, 5.0));
            near(h.0.hypot(h.1), by_horn, 1e-8);
            near(zt.0.hypot(zt.1), by_zt, 1e-8);
            near(h.0.hypot(h.1), exact, 2e-3 * exact);
            // The window is not round, so the aspect off the axes differs a little from the true one.
            near(downslope(h), aspect, 2e-2);
        }
    }

    /// Rows worked out together agree with windows worked out one by one, on rough ground 3,000 m up.
    #[test]
    fn rows_agree_with_windows() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 0.5, rows: 70, cols: 23 };
        let mut rough = Raster::filled(spec, 0.0_f32);
        for (i, z) in rough.values.iter_mut().enumerate() {
            *z = (3_000.0 + ((i * 7_919) % 104_729) as f64 / 104_729.0) as f32;
        }
        for (stencil, slow) in
            [(Stencil::Horn, horn as fn(&Window, f64) -> (f64, f64)), (Stencil::ZevenbergenThorne, zevenbergen_thorne)]
        {
            let (east, north) = gradient(&rough, stencil);
            for i in 0..spec.len() {
                let exact = slow(&window(&rough, i / 23, i % 23), 0.5);
                near(f64::from(east.values[i]), exact.0, 3e-7);
                near(f64::from(north.values[i]), exact.1, 3e-7);
            }
        }
    }

    /// Derived: a cone of slope 0.05, cell 1 m.
    #[test]
    fn cone() {
        let f = |x: f64, y: f64| -0.05 * x.hypot(y);
        let g = horn(&window_of(f, 100.0, 0.0, 1.0), 1.0);
        near(g.0.hypot(g.1), 0.049_998_75, 1e-8);
        let g = zevenbergen_thorne(&window_of(f, 100.0, 0.0, 1.0), 1.0);
        near(g.0.hypot(g.1), 0.05, 1e-8);
        let g = horn(&window_of(f, 60.0, 80.0, 1.0), 1.0);
        near(g.0.hypot(g.1), 0.049_999_33, 1e-8);
        near(downslope(g), 36.8701, 1e-4);
    }

    /// Derived: fall down a row is s cos(bearing - aspect), cross fall s sin(bearing - aspect).
    #[test]
    fn rows_on_a_slope() {
        // 2 % falling due east.
        let (gx, gy) = (-0.02, 0.0);
        near(fall_along(gx, gy, 60.0), 0.017_320_508, 1e-9);
        near(-fall_along(gx, gy, 60.0 + 90.0), -0.01, 1e-9);
        near(fall_along(gx, gy, 180.0), 0.0, 1e-12);
        near(-fall_along(gx, gy, 180.0 + 90.0), 0.02, 1e-9);
        for bearing in [165.522_488, 14.477_512] {
            near(fall_along(gx, gy, bearing), 0.005, 1e-9);
        }
        near(fall_along(0.03, 0.04, 210.0), 0.049_641_0, 1e-7);
    }

    #[test]
    fn planes_are_exact_up_to_a_ragged_rim() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 60.0 }, cell_m: 10.0, rows: 6, cols: 7 };
        let mut plane = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            let c = spec.centre(spec.cell(i));
            plane.values[i] = (0.25 * c.x - 0.5 * c.y) as f32;
        }
        for i in [10, 24, 41] {
            plane.valid[i] = false;
            plane.values[i] = -9999.0;
        }
        let (east, north) = horn_gradient(&plane);
        assert_eq!(east.count_valid(), 39);
        assert_eq!(slope(&plane, Stencil::Horn), slope_ratio(&east, &north));
        let (zt_east, zt_north) = zevenbergen_thorne_gradient(&plane);
        assert_eq!(slope(&plane, Stencil::ZevenbergenThorne), slope_ratio(&zt_east, &zt_north));
        for ((_, e), (_, n)) in east.iter().zip(north.iter()) {
            near(f64::from(e), 0.25, 1e-6);
            near(f64::from(n), -0.5, 1e-6);
        }
    }
}
