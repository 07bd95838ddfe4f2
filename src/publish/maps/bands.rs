//! Rasters as smooth bands: closed lines of one value, filled from the lowest up.

use super::canvas::{Canvas, Layer};
use super::ink::Class;
use crate::grid::{Cell, Raster};
use crate::publish::drawing::Frame;
use contour::ContourBuilder;
use geo::{Coord, LineString, Simplify};

/// Side of the squares the raster is averaged over, millimetres on paper: finer detail would not be seen.
const FINE_MM: f64 = 0.8;

/// Draws the classes of a raster, `sign` times its value; classes that occur go into the legend.
pub(super) fn draw(canvas: &mut Canvas, raster: &Raster<f32>, sign: f64, classes: &[Class], prefix: &str) {
    let coarse = averaged(raster, &canvas.frame);
    for class in classes {
        let path = at_least(&coarse, &canvas.frame, sign, class.from);
        if path.is_empty() {
            continue;
        }
        let layer = canvas.on(Layer::Bands);
        layer.path(&path, &format!("fill=\"{}\" fill-rule=\"evenodd\"", class.colour));
        let mut look = format!("fill=\"{}\" stroke=\"#777\" stroke-width=\"0.15\"", class.colour);
        if !class.pattern.is_empty() {
            layer.path(&path, &format!("fill=\"url(#{prefix}-{})\" fill-rule=\"evenodd\"", class.pattern));
            look = format!("{look} data-over=\"url(#{prefix}-{})\"", class.pattern);
        }
        canvas.key_area(class.words, &look);
    }
}

/// Means over squares of cells, with one empty square all round.
struct Coarse {
    rows: usize,
    cols: usize,
    values: Vec<Option<f64>>,
    north_west: Coord<f64>,
    step_m: f64,
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small positive number of cells")]
fn averaged(raster: &Raster<f32>, frame: &Frame) -> Coarse {
    let spec = raster.spec;
    let n = ((FINE_MM / (spec.cell_m * frame.scale)).round().max(1.0)) as u32;
    let (rows, cols) = (spec.rows.div_ceil(n) as usize + 2, spec.cols.div_ceil(n) as usize + 2);
    let mut values = vec![None; rows * cols];
    for row in 0..rows - 2 {
        for col in 0..cols - 2 {
            values[(row + 1) * cols + col + 1] = mean(raster, row as u32 * n, col as u32 * n, n);
        }
    }
    let step_m = f64::from(n) * spec.cell_m;
    let north_west = Coord { x: spec.north_west.x - step_m, y: spec.north_west.y + step_m };
    Coarse { rows, cols, values, north_west, step_m }
}

fn mean(raster: &Raster<f32>, row: u32, col: u32, n: u32) -> Option<f64> {
    let spec = raster.spec;
    let mut sum = (0.0_f64, 0_u32);
    for r in row..(row + n).min(spec.rows) {
        for c in col..(col + n).min(spec.cols) {
            if let Some(v) = raster.get(Cell::new(r, c)) {
                sum = (sum.0 + f64::from(v), sum.1 + 1);
            }
        }
    }
    (sum.1 > 0).then(|| sum.0 / f64::from(sum.1))
}

/// Path of the land where `sign` times the value is at least `edge`.
fn at_least(coarse: &Coarse, frame: &Frame, sign: f64, edge: f64) -> String {
    // Far below every class, so that a band ends half a square beyond the last one that has a value.
    let none = edge - 1e6 * (edge.abs() + 1.0);
    let values: Vec<f64> = coarse.values.iter().map(|v| v.map_or(none, |v| sign * v)).collect();
    if !values.iter().any(|v| *v >= edge) {
        return String::new();
    }
    // Slightly under the edge, so a raster that lies exactly on it is drawn.
    let edge = edge - 1e-9 * (edge.abs() + 1.0);
    let tracer = ContourBuilder::new(coarse.cols, coarse.rows, true);
    let Ok(lines) = tracer.lines(&values, &[edge]) else { return String::new() };
    let place = |p: &Coord<f64>| Coord {
        x: coarse.north_west.x + p.x * coarse.step_m,
        y: coarse.north_west.y - p.y * coarse.step_m,
    };
    let tolerance_m = 0.06 / frame.scale;
    lines
        .into_iter()
        .flat_map(|l| l.into_inner().0.0)
        .map(|ring| {
            let ring: LineString<f64> = ring.0.iter().map(place).collect();
            let path = frame.line(&ring.simplify(tolerance_m));
            if path.matches('L').count() < 2 { String::new() } else { path + "Z" }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use geo::{Area, Rect};

    #[test]
    fn a_band_has_the_area_of_its_cells() {
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 100.0 }, cell_m: 1.0, rows: 100, cols: 100 };
        let mut raster = Raster::empty(spec, 0.0_f32);
        for row in 20..60 {
            for col in 30..80 {
                raster.set(Cell::new(row, col), 0.3);
            }
        }
        let land = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 100.0, y: 100.0 });
        let frame = Frame::fitted(land, (0.0, 0.0), (100.0, 100.0));
        let path = at_least(&averaged(&raster, &frame), &frame, 1.0, 0.2);
        let ring: LineString<f64> = path
            .trim_matches(['M', 'Z'])
            .split('L')
            .map(|p| p.split_once(' ').map(|(x, y)| (x.parse::<f64>().unwrap(), y.parse::<f64>().unwrap())).unwrap())
            .collect();
        // 50 by 40 cells at 0.94 mm a metre, the band ending between the last cell and the next: within a cell all round.
        let area = geo::Polygon::new(ring, vec![]).unsigned_area() / (0.94 * 0.94);
        assert!((49.0 * 39.0..51.0 * 41.0).contains(&area), "{area}");
        assert!(at_least(&averaged(&raster, &frame), &frame, -1.0, 0.2).is_empty(), "no fill here");
    }
}
