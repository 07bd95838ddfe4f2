//! What no straight layout can beat: fewest rows for as much planted land, least money for the whole land.

use super::judge::Judge;
use crate::methods::shapes::longest_chords;
use geo::{Area, Polygon};

/// Cells the longest rows are looked for through, and their least side in metres.
const CELLS: f64 = 6_000.0;
const LEAST_CELL_M: f64 = 4.0;

/// Bounds of one piece of land.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Bounds {
    /// Rows of any straight layout that plants as much of the piece.
    pub(super) rows: f64,
    /// Turning and lost land of any straight layout of the piece, dollars a year.
    pub(super) yearly: f64,
}

/// Every square metre of a row of length `l` stands for `1 / (spacing * l)` rows, and no row through a cell is longer
/// than the cell's longest chord: summed over the cells with the longest chords that hold the planted area, fewer rows
/// cannot plant as much. In money each cell is planted at the turning its longest row would cost it, or given up,
/// whichever is cheaper; land no row can reach is lost. Every other term of the cost is at least zero.
pub(super) fn bounds(judge: &Judge<'_>, piece: &Polygon<f64>, planted_m2: f64) -> Bounds {
    let p = judge.params;
    let area_m2 = piece.unsigned_area();
    let cell_m = (area_m2 / CELLS).sqrt().max(LEAST_CELL_M);
    // Blocks may be cut anywhere, but along the piece's own outline every row keeps the lesser of the two widths.
    let inset = p.turning_headland_m.min(p.side_headland_m) * judge.scale;
    let (spacing, longest) = (p.row_spacing_m * judge.scale, p.longest_row_m() * judge.scale);
    let mut cells = longest_chords(piece, cell_m, inset, spacing, longest);
    cells.sort_by(|a, b| {
        b.chord_m.total_cmp(&a.chord_m).then(a.at.x.total_cmp(&b.at.x)).then(a.at.y.total_cmp(&b.at.y))
    });
    let mut left_m2 = planted_m2 * judge.scale * judge.scale;
    let (mut rows, mut yearly, mut reached_m2) = (0.0, 0.0, 0.0);
    for cell in &cells {
        let rows_per_m2 = 1.0 / (spacing * cell.chord_m.max(1e-9));
        let taken = cell.area_m2.min(left_m2).max(0.0);
        left_m2 -= taken;
        rows += taken * rows_per_m2;
        // Cells reach over the outline: of the land there is, the cheapest is counted.
        let counted = cell.area_m2.min(area_m2 - reached_m2).max(0.0);
        reached_m2 += counted;
        let grass = judge.grass_per_m2() / (judge.scale * judge.scale);
        yearly += counted * (judge.turn_cost() * rows_per_m2).min(grass);
    }
    yearly += (area_m2 - reached_m2).max(0.0) * judge.grass_per_m2() / (judge.scale * judge.scale);
    Bounds { rows, yearly }
}
