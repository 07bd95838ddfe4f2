//! Which cells of a grid have their centre inside a polygon.
//!
//! Each edge leaves a mark in every row whose centre line it crosses; the marks of a row, sorted, alternate between
//! entering and leaving (even-odd over all rings, so holes and several pieces need no special case). An edge that
//! ends on a centre line is counted at its lower end only.
//! Shapes and units: metres; the result is row-major, one flag a cell. Complexity: `O(E + X log X + cells marked)`.
//! Source: [`Bibliography::Foley1990`](crate::bibliography::Bibliography::Foley1990), scan-line polygon filling.
//! How we know: hand cases (`square_with_a_hole`), and the area tends to that of a disc (`disc_area`).

use super::frame::Edges;
use crate::grid::GridSpec;

/// One flag per cell: whether its centre lies inside the shape.
#[must_use]
pub fn cells_inside(spec: GridSpec, shape: &impl Edges) -> Vec<bool> {
    let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); spec.rows as usize];
    for edge in shape.edges() {
        // Rows count southward, so the position of a centre line grows as the northing falls.
        let row_of = |y: f64| (spec.north_west.y - y) / spec.cell_m - 0.5;
        let (upper, lower) = if edge.start.y >= edge.end.y { (edge.start, edge.end) } else { (edge.end, edge.start) };
        if upper.y == lower.y {
            continue;
        }
        let (first, last) =
            (clamp_row(row_of(upper.y).ceil(), spec.rows), clamp_row(row_of(lower.y).ceil(), spec.rows));
        for row in first..last {
            let y = spec.north_west.y - (row as f64 + 0.5) * spec.cell_m;
            let x = upper.x + (lower.x - upper.x) * (upper.y - y) / (upper.y - lower.y);
            crossings[row].push(x);
        }
    }
    let cols = spec.cols as usize;
    let mut inside = vec![false; spec.len()];
    for (row, xs) in crossings.iter_mut().enumerate() {
        xs.sort_by(f64::total_cmp);
        for pair in xs.chunks_exact(2) {
            let col_of = |x: f64| clamp_row(((x - spec.north_west.x) / spec.cell_m - 0.5).ceil(), spec.cols);
            let (from, to) = (col_of(pair[0]), col_of(pair[1]));
            inside[row * cols + from..row * cols + to.max(from)].fill(true);
        }
    }
    inside
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid first")]
fn clamp_row(position: f64, count: u32) -> usize {
    position.clamp(0.0, f64::from(count)) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Coord, LineString, Polygon, polygon};

    fn spec(rows: u32, cols: u32, cell_m: f64) -> GridSpec {
        GridSpec { north_west: Coord { x: 0.0, y: f64::from(rows) * cell_m }, cell_m, rows, cols }
    }

    #[test]
    fn square_with_a_hole() {
        let square = polygon!(
            exterior: [(x: 1.0, y: 1.0), (x: 5.0, y: 1.0), (x: 5.0, y: 5.0), (x: 1.0, y: 5.0)],
            interiors: [[(x: 2.0, y: 2.0), (x: 3.0, y: 2.0), (x: 3.0, y: 3.0), (x: 2.0, y: 3.0)]],
        );
        let flags = cells_inside(spec(6, 6, 1.0), &square);
        assert_eq!(flags.iter().filter(|f| **f).count(), 15);
        // Row 3 from the north is the one between y = 2 and y = 3; the hole takes its third cell.
        assert_eq!(&flags[18..24], &[false, true, false, true, true, false]);
    }

    #[test]
    fn disc_area() {
        let ring = (0..720).map(|i| {
            let a = f64::from(i).to_radians() / 2.0;
            Coord { x: 50.0 + 40.0 * a.cos(), y: 50.0 + 40.0 * a.sin() }
        });
        let disc = Polygon::new(LineString(ring.collect()), Vec::new());
        let cells = cells_inside(spec(200, 200, 0.5), &disc).iter().filter(|f| **f).count();
        let area = cells as f64 * 0.25;
        assert!((area / (std::f64::consts::PI * 1600.0) - 1.0).abs() < 2e-3, "{area}");
    }

    #[test]
    fn shapes_beyond_the_grid_are_cut() {
        let big = polygon![(x: -9.0, y: -9.0), (x: 99.0, y: -9.0), (x: 99.0, y: 99.0), (x: -9.0, y: 99.0)];
        assert!(cells_inside(spec(3, 4, 1.0), &big).iter().all(|f| *f));
    }
}
