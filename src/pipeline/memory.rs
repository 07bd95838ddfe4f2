//! How large a working grid the memory of the machine takes.
//!
//! Only whether a run is refused hangs on it, never a result.

/// Bytes a cell of the working grid that a whole run holds at its peak: 104 with survey, terrain and water, 33.6
/// million cells (`peak_memory_mb` of `run.json`); what layout and design hold comes on top of less than that.
const BYTES_A_CELL: f64 = 110.0;
/// What a run holds whatever the grid: papers, fonts, the layout of a small property.
const BESIDES_BYTES: f64 = 600e6;
/// Share of the free memory a run may count on.
const SHARE: f64 = 0.85;
/// Cells taken on where the system does not tell what memory is free.
const UNKNOWN_CELLS: f64 = 60e6;
/// Cells are numbered with 32 bits.
const NUMBERED_CELLS: f64 = 4.0e9;

/// Most cells of a working grid with so much free memory.
#[must_use]
pub fn most_cells(free_bytes: Option<u64>) -> f64 {
    let fitting = |free: u64| ((SHARE * free as f64 - BESIDES_BYTES) / BYTES_A_CELL).max(1e6);
    free_bytes.map_or(UNKNOWN_CELLS, fitting).min(NUMBERED_CELLS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_memory_takes_more_cells() {
        // By hand: (0.85 x 8 GiB - 0.6 GB) / 110.
        assert!((most_cells(Some(8 << 30)) - 60.92e6).abs() < 0.05e6, "{}", most_cells(Some(8 << 30)));
        assert!((most_cells(Some(24 << 30)) / 1e6 - 193.7).abs() < 0.1);
        assert!((most_cells(None) - 60e6).abs() < 1.0 && (most_cells(Some(0)) - 1e6).abs() < 1.0);
        assert!(most_cells(Some(u64::MAX)) <= NUMBERED_CELLS);
    }
}
