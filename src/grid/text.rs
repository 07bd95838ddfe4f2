//! Tiny grids written as text, for worked examples and tests.

use super::{GridSpec, Raster};
use geo::Coord;

/// Reads a grid of numbers, one line a row (north first), blanks between numbers, `x` for "no value".
///
/// The grid's north-west corner is `(0, rows * cell_m)`, so its south-west corner is the origin.
///
/// # Panics
/// When lines have different lengths or a word is no number: the text is part of the program.
#[must_use]
#[expect(clippy::panic, clippy::cast_possible_truncation, reason = "the text is part of the program")]
pub fn grid_from_text(text: &str, cell_m: f64) -> Raster<f32> {
    let lines: Vec<Vec<&str>> =
        text.lines().map(|l| l.split_whitespace().collect::<Vec<_>>()).filter(|l| !l.is_empty()).collect();
    let rows = lines.len();
    let cols = lines.first().map_or(0, Vec::len);
    let spec = GridSpec {
        north_west: Coord { x: 0.0, y: rows as f64 * cell_m },
        cell_m,
        rows: rows as u32,
        cols: cols as u32,
    };
    let mut raster = Raster::empty(spec, 0.0);
    for (r, line) in lines.iter().enumerate() {
        assert_eq!(line.len(), cols, "row {r} has another length");
        for (c, word) in line.iter().enumerate() {
            if *word != "x" {
                let i = r * cols + c;
                raster.values[i] = word.parse().unwrap_or_else(|_| panic!("`{word}` is no number"));
                raster.valid[i] = true;
            }
        }
    }
    raster
}
