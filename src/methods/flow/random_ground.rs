//! Random small grounds for property tests: stepped heights, so that flats and ties are common.

use crate::grid::{GridSpec, Raster};
use geo::Coord;
use proptest::prelude::*;

/// Quarter-metre heights on up to 12 x 12 cells, every cell valid.
pub(super) fn any_ground() -> impl Strategy<Value = Raster<f32>> {
    (1_u32..12, 1_u32..12).prop_flat_map(|(rows, cols)| {
        prop::collection::vec(0_u8..12, (rows * cols) as usize).prop_map(move |steps| {
            let spec = GridSpec { north_west: Coord { x: 0.0, y: f64::from(rows) * 5.0 }, cell_m: 5.0, rows, cols };
            let values = steps.iter().map(|s| f32::from(*s) * 0.25).collect();
            Raster { spec, values, valid: vec![true; spec.len()] }
        })
    })
}

/// As [`any_ground`], with about one cell in six invalid.
pub(super) fn ground_with_holes() -> impl Strategy<Value = Raster<f32>> {
    any_ground().prop_flat_map(|ground| {
        prop::collection::vec(0_u8..6, ground.spec.len()).prop_map(move |dice| {
            let mut ground = ground.clone();
            ground.valid = dice.iter().map(|d| *d != 0).collect();
            ground
        })
    })
}
