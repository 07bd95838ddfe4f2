//! Contour lines at a fixed interval.
//!
//! Marching squares between cell centres, with straight interpolation along the sides of the squares. Squares that
//! touch an invalid cell carry no line across the side they share with it, so lines end at holes and at the
//! outermost cell centres instead of running round them.
//!
//! Shapes and units: heights rows x cols, metres; lines in the grid's coordinates (east, north). Levels are whole
//! multiples of the interval, rising. Levels are worked on in parallel, each by itself.
//!
//! Source: marching squares (Lorensen, W. E., Cline, H. E. (1987), Computer Graphics 21, 163-169, in two
//! dimensions), as built in crate `contour`; simplification by Douglas, D. H., Peucker, T. K. (1973), Cartographica
//! 10, 112-122, as built in crate `geo`.
//!
//! How we know: `plane_contours_are_straight`, `cone_contours_are_circles`, `lines_stop_at_holes`.

use crate::grid::{GridSpec, Raster};
use contour::ContourBuilder;
use geo::{Coord, Euclidean, Length, LineString, MultiLineString, Simplify};
use rayon::prelude::*;

/// Why no contours could be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ContourError {
    /// The interval is no positive number.
    #[error("contour interval {0} m is not above zero")]
    Interval(f64),
    /// The tracer refused the grid.
    #[error("contour tracing failed: {0}")]
    Tracing(String),
}

/// Contours at whole multiples of `interval_m`, as (level, lines), lowest first; levels without a line are left
/// out.
///
/// Pieces shorter than `min_length_m` are dropped; points nearer than `simplify_m` to the simplified line are left
/// out (0 keeps all).
///
/// # Errors
/// When the interval is not above zero, or the tracer fails.
pub fn contour_lines(
    elevation: &Raster<f32>,
    interval_m: f64,
    min_length_m: f64,
    simplify_m: f64,
) -> Result<Vec<(f64, MultiLineString<f64>)>, ContourError> {
    if interval_m.is_nan() || interval_m <= 0.0 {
        return Err(ContourError::Interval(interval_m));
    }
    let spec = elevation.spec;
    let heights = elevation.iter().map(|(_, z)| f64::from(z));
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
    if low >= high || spec.rows < 2 || spec.cols < 2 {
        return Ok(Vec::new());
    }
    // A hole is "not a number": every interpolation beside it is marked by it, and cut there.
    let values: Vec<f64> = elevation
        .values
        .iter()
        .zip(&elevation.valid)
        .map(|(z, ok)| if *ok { f64::from(*z) } else { f64::NAN })
        .collect();
    let (first, last) = ((low / interval_m).ceil() as i64, (high / interval_m).floor() as i64);
    let levels: Vec<Result<(f64, MultiLineString<f64>), ContourError>> = (first..=last)
        .into_par_iter()
        .map(|k| {
            let level = k as f64 * interval_m;
            let rings = rings_at(spec, &values, level)?;
            let pieces = rings.iter().flat_map(|ring| open_pieces(spec, ring));
            let kept = pieces
                .filter(|p| p.0.len() > 1 && Euclidean.length(p) >= min_length_m)
                .map(|p| if simplify_m > 0.0 { p.simplify(simplify_m) } else { p })
                .collect();
            Ok((level, MultiLineString::new(kept)))
        })
        .collect();
    let levels = levels.into_iter().collect::<Result<Vec<_>, _>>()?;
    Ok(levels.into_iter().filter(|(_, lines)| !lines.0.is_empty()).collect())
}

/// Closed rings round the cells at or above a level, in units of cells from the north-west corner.
fn rings_at(spec: GridSpec, values: &[f64], level: f64) -> Result<Vec<LineString<f64>>, ContourError> {
    let tracer = ContourBuilder::new(spec.cols as usize, spec.rows as usize, true);
    let lines = tracer.lines(values, &[level]).map_err(|e| ContourError::Tracing(e.to_string()))?;
    Ok(lines.into_iter().flat_map(|l| l.into_inner().0.0).collect())
}

/// Cuts a ring where it runs along the rim or a hole, and carries the pieces into the grid's coordinates.
fn open_pieces(spec: GridSpec, ring: &LineString<f64>) -> Vec<LineString<f64>> {
    let (east, south) = (f64::from(spec.cols) - 0.5, f64::from(spec.rows) - 0.5);
    // Points of real contours lie between cell centres; written so that "not a number" is no real contour.
    let real = |p: &Coord<f64>| p.x >= 0.5 && p.x <= east && p.y >= 0.5 && p.y <= south;
    let points = ring.0.strip_suffix(&ring.0[..1.min(ring.0.len())]).unwrap_or(&ring.0);
    let n = points.len();
    let world =
        |p: &Coord<f64>| Coord { x: spec.north_west.x + p.x * spec.cell_m, y: spec.north_west.y - p.y * spec.cell_m };
    let Some(cut) = points.iter().position(|p| !real(p)) else {
        let mut closed: Vec<Coord<f64>> = points.iter().chain(points.first()).map(world).collect();
        closed.dedup();
        return vec![LineString::new(closed)];
    };
    let mut pieces = vec![Vec::new()];
    for p in (0..n).map(|k| &points[(cut + k) % n]) {
        if !real(p) {
            pieces.push(Vec::new());
        } else if let Some(piece) = pieces.last_mut() {
            piece.push(world(p));
        }
    }
    pieces.iter_mut().for_each(Vec::dedup);
    pieces.into_iter().filter(|p| p.len() > 1).map(LineString::new).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn surface(f: impl Fn(f64, f64) -> f64) -> Raster<f32> {
        let spec = GridSpec { north_west: Coord { x: 500.0, y: 1200.0 }, cell_m: 5.0, rows: 40, cols: 50 };
        let values = (0..spec.len())
            .map(|i| {
                let c = spec.centre(spec.cell(i));
                f(c.x - 500.0, c.y - 1000.0) as f32
            })
            .collect();
        Raster { spec, values, valid: vec![true; spec.len()] }
    }

    /// Derived: a plane's contours are straight, at the right place, from rim to rim of the cell centres.
    #[test]
    fn plane_contours_are_straight() {
        let plane = surface(|x, _| 0.01 * x);
        let found = contour_lines(&plane, 0.5, 0.0, 0.0).unwrap();
        assert_eq!(found.iter().map(|(l, _)| *l).collect::<Vec<_>>(), [0.5, 1.0, 1.5, 2.0]);
        for (level, lines) in &found {
            assert_eq!(lines.0.len(), 1);
            assert!((Euclidean.length(&lines.0[0]) - 195.0).abs() < 1e-6);
            for p in &lines.0[0].0 {
                // f32 heights over a slope of 1 %.
                assert!((p.x - 500.0 - level / 0.01).abs() < 1e-4, "{p:?}");
            }
        }
        let simple = contour_lines(&plane, 0.5, 0.0, 0.1).unwrap();
        assert!(simple.iter().all(|(_, lines)| lines.0[0].0.len() == 2));
        assert!(contour_lines(&plane, 0.5, 196.0, 0.0).unwrap().is_empty());
        assert_eq!(contour_lines(&plane, 0.0, 0.0, 0.0), Err(ContourError::Interval(0.0)));
    }

    /// Derived: a cone's contours are circles: closed, of the right radius.
    #[test]
    fn cone_contours_are_circles() {
        let cone = surface(|x, y| 10.0 - 0.05 * (x - 125.0).hypot(y - 100.0));
        let found = contour_lines(&cone, 1.0, 20.0, 0.0).unwrap();
        let ring = &found.iter().find(|(l, _)| *l == 6.0).unwrap().1.0[0];
        assert!(ring.is_closed());
        for p in &ring.0 {
            let r = (p.x - 625.0).hypot(p.y - 1100.0);
            // Straight interpolation across a 5 m cell of a circle of 80 m: h2 / (8 r).
            assert!((r - 80.0).abs() < 0.08, "{r}");
        }
        assert!((Euclidean.length(ring) / (std::f64::consts::TAU * 80.0) - 1.0).abs() < 2e-3);
    }

    #[test]
    fn lines_stop_at_holes() {
        let mut plane = surface(|x, _| 0.01 * x);
        for row in 10..20 {
            for col in 15..25 {
                plane.valid[row * 50 + col] = false;
                plane.values[row * 50 + col] = -9999.0;
            }
        }
        let found = contour_lines(&plane, 0.5, 0.0, 0.0).unwrap();
        assert_eq!(found.iter().map(|(_, l)| l.0.len()).collect::<Vec<_>>(), [1, 2, 1, 1]);
        for p in found.iter().flat_map(|(_, l)| &l.0).flat_map(|l| &l.0) {
            let (col, row) = ((p.x - 500.0) / 5.0, (1200.0 - p.y) / 5.0);
            assert!(!(col > 15.0 && col < 25.0 && row > 10.0 && row < 20.0), "{p:?} in the hole");
        }
    }
}
