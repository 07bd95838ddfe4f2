//! Where a grid lies and how large it is.

use super::Cell;
use geo::{Coord, Rect};
use serde::{Deserialize, Serialize};

/// Position and size of a north-up grid of square cells in working metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GridSpec {
    /// Outer north-west corner (east, north), metres: the corner of the first cell, not its centre.
    pub north_west: Coord<f64>,
    /// Side of a cell, metres.
    pub cell_m: f64,
    /// Number of rows, north to south.
    pub rows: u32,
    /// Number of columns, west to east.
    pub cols: u32,
}

impl GridSpec {
    /// Number of cells.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.rows as usize * self.cols as usize
    }
    /// Whether the grid has no cell.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len() == 0
    }
    /// Area of a cell, square metres.
    #[must_use]
    pub fn cell_area_m2(&self) -> f64 {
        self.cell_m * self.cell_m
    }
    /// Position of a cell in row-major storage.
    #[must_use]
    pub const fn index(&self, cell: Cell) -> usize {
        cell.row as usize * self.cols as usize + cell.col as usize
    }
    /// The cell at a row-major position.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "rows and columns are u32")]
    pub const fn cell(&self, index: usize) -> Cell {
        Cell::new((index / self.cols as usize) as u32, (index % self.cols as usize) as u32)
    }
    /// Centre of a cell (east, north).
    #[must_use]
    pub fn centre(&self, cell: Cell) -> Coord<f64> {
        Coord {
            x: self.north_west.x + (f64::from(cell.col) + 0.5) * self.cell_m,
            y: self.north_west.y - (f64::from(cell.row) + 0.5) * self.cell_m,
        }
    }
    /// The cell that holds a point; `None` outside the grid. Points on a shared edge belong to the cell
    /// east and south of it.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked against the grid first")]
    pub fn cell_at(&self, point: Coord<f64>) -> Option<Cell> {
        let col = ((point.x - self.north_west.x) / self.cell_m).floor();
        let row = ((self.north_west.y - point.y) / self.cell_m).floor();
        let inside = col >= 0.0 && row >= 0.0 && col < f64::from(self.cols) && row < f64::from(self.rows);
        inside.then(|| Cell::new(row as u32, col as u32))
    }
    /// Outer rectangle of the grid.
    #[must_use]
    pub fn extent(&self) -> Rect<f64> {
        Rect::new(
            self.north_west,
            Coord {
                x: self.north_west.x + f64::from(self.cols) * self.cell_m,
                y: self.north_west.y - f64::from(self.rows) * self.cell_m,
            },
        )
    }
    /// The smallest grid of `cell_m` cells, aligned to whole multiples of `cell_m`, that covers `rect`.
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "callers keep extents within what memory can hold"
    )]
    pub fn covering(rect: Rect<f64>, cell_m: f64) -> Self {
        let west = (rect.min().x / cell_m).floor() * cell_m;
        let north = (rect.max().y / cell_m).ceil() * cell_m;
        let cols = ((rect.max().x - west) / cell_m).ceil().max(1.0) as u32;
        let rows = ((north - rect.min().y) / cell_m).ceil().max(1.0) as u32;
        Self { north_west: Coord { x: west, y: north }, cell_m, rows, cols }
    }
    /// The up to eight neighbours of a cell with their distance in cells, clockwise from east.
    pub fn neighbours(&self, cell: Cell) -> impl Iterator<Item = (Cell, f64)> + use<> {
        let (rows, cols) = (i64::from(self.rows), i64::from(self.cols));
        NEIGHBOURS.into_iter().filter_map(move |(dr, dc)| {
            let row = i64::from(cell.row) + dr;
            let col = i64::from(cell.col) + dc;
            let inside = row >= 0 && col >= 0 && row < rows && col < cols;
            let distance = if dr != 0 && dc != 0 { std::f64::consts::SQRT_2 } else { 1.0 };
            inside.then(|| {
                (Cell::new(u32::try_from(row).unwrap_or_default(), u32::try_from(col).unwrap_or_default()), distance)
            })
        })
    }
}

/// Row and column steps to the eight neighbours, clockwise from east: E, SE, S, SW, W, NW, N, NE.
pub const NEIGHBOURS: [(i64, i64); 8] = [(0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1)];

#[cfg(test)]
mod tests {
    use super::*;

    fn spec() -> GridSpec {
        GridSpec { north_west: Coord { x: 100.0, y: 200.0 }, cell_m: 10.0, rows: 3, cols: 4 }
    }

    #[test]
    fn centres_and_cells_agree() {
        let s = spec();
        for i in 0..s.len() {
            let cell = s.cell(i);
            assert_eq!(s.cell_at(s.centre(cell)), Some(cell));
            assert_eq!(s.index(cell), i);
        }
        assert_eq!(s.cell_at(Coord { x: 99.9, y: 195.0 }), None);
        assert_eq!(s.cell_at(Coord { x: 140.0, y: 195.0 }), None);
    }

    #[test]
    fn covering_grid_holds_the_rectangle() {
        let rect = Rect::new(Coord { x: 101.3, y: 55.2 }, Coord { x: 133.9, y: 91.0 });
        let s = GridSpec::covering(rect, 5.0);
        let e = s.extent();
        assert!(e.min().x <= 101.3 && e.max().x >= 133.9 && e.min().y <= 55.2 && e.max().y >= 91.0);
    }

    #[test]
    fn corners_have_three_neighbours() {
        assert_eq!(spec().neighbours(Cell::new(0, 0)).count(), 3);
        assert_eq!(spec().neighbours(Cell::new(1, 1)).count(), 8);
    }
}
