//! Stored answers of four other engines on a crop of real ground and on rough made-up ground.
//!
//! Engines, versions, commands and licences: `fixtures/reference-terrain/PROVENANCE.md`. Known differences are counted:
//! fewer of them fail the tests as more would.

use super::accumulation::cells_upstream;
use super::direction::{Directions, LEAVES, directions};
use super::frame::Frame;
use super::{fill, stream_orders};
use crate::grid::Raster;
use crate::grid::text::grid_from_text;
use crate::methods::surface::{Stencil, slope};

const SIDE: usize = 48;

macro_rules! stored {
    ($ground:literal, $what:literal) => {
        grid_from_text(include_str!(concat!("../../../fixtures/reference-terrain/", $ground, "_", $what, ".txt")), 1.0)
    };
}

/// One ground with everything that is stored of it.
struct Case {
    ground: Raster<f32>,
    slope_gdal_pct: Raster<f32>,
    slope_richdem: Raster<f32>,
    filled: [Raster<f32>; 3],
    filled_otherwise: Raster<f32>,
    d8_whitebox: Raster<f32>,
    d8_richdem: Raster<f32>,
    d8_pyflwdir: Raster<f32>,
    area_pyflwdir: Raster<f32>,
    order_pyflwdir: Raster<f32>,
}

macro_rules! case {
    ($ground:literal) => {
        Case {
            ground: stored!($ground, "ground"),
            slope_gdal_pct: stored!($ground, "slope_gdal"),
            slope_richdem: stored!($ground, "slope_richdem"),
            filled: [
                stored!($ground, "filled_richdem"),
                stored!($ground, "filled_pyflwdir"),
                stored!($ground, "filled_whitebox_wang_liu"),
            ],
            filled_otherwise: stored!($ground, "filled_whitebox_default"),
            d8_whitebox: stored!($ground, "d8_whitebox"),
            d8_richdem: stored!($ground, "d8_richdem"),
            d8_pyflwdir: stored!($ground, "d8_pyflwdir"),
            area_pyflwdir: stored!($ground, "area_pyflwdir"),
            order_pyflwdir: stored!($ground, "order_pyflwdir"),
        }
    };
}

fn real() -> Case {
    case!("real")
}

fn random() -> Case {
    case!("random")
}

fn inner(i: usize) -> bool {
    let (row, col) = (i / SIDE, i % SIDE);
    row > 0 && col > 0 && row + 1 < SIDE && col + 1 < SIDE
}

fn differing(a: &Raster<f32>, b: &Raster<f32>) -> usize {
    a.values.iter().zip(&b.values).filter(|(a, b)| a != b).count()
}

/// The filled surface of three engines to the bit; the fourth way of filling does not fill everything exactly.
#[test]
fn filled_surfaces() {
    for (case, other) in [(real(), 55), (random(), 193)] {
        let filled = fill(&case.ground);
        for engine in &case.filled {
            assert_eq!(differing(&filled, engine), 0);
        }
        assert_eq!(differing(&filled, &case.filled_otherwise), other, "known difference");
    }
}

/// Horn slope away from the edges, where the engines put missing neighbours in by rules of their own.
#[test]
fn slopes() {
    for case in [real(), random()] {
        let ratio = slope(&case.ground, Stencil::Horn);
        for i in (0..SIDE * SIDE).filter(|i| inner(*i)) {
            // Stored to four and six decimals; 32-bit heights of 400 m hold to 3e-5 m.
            assert!((100.0 * ratio.values[i] - case.slope_gdal_pct.values[i]).abs() < 5e-3, "cell {i}");
            assert!((ratio.values[i] - case.slope_richdem.values[i]).abs() < 5e-5, "cell {i}");
        }
    }
}

/// The two best drops to a neighbour differ by this much where a direction is clear, metres a metre.
const CLEAR: f64 = 1e-4;

/// Direction 0 to 7 of steepest descent, or (without distance) to the lowest neighbour, where it is clear.
fn clear_direction(ground: &Raster<f32>, i: usize, distance_counts: bool) -> Option<usize> {
    let grid = Frame::new(ground);
    let mut drops: Vec<(f64, usize)> = (0..8)
        .filter_map(|dir| grid.step(i, dir).map(|n| (dir, n)))
        .map(|(dir, n)| {
            let distance = if distance_counts && dir % 2 == 1 { std::f64::consts::SQRT_2 } else { 1.0 };
            ((f64::from(ground.values[i]) - f64::from(ground.values[n])) / distance, dir)
        })
        .collect();
    drops.sort_by(|a, b| b.0.total_cmp(&a.0));
    (drops[0].0 > CLEAR && drops[0].0 - drops[1].0 > CLEAR).then_some(drops[0].1)
}

/// Directions away from ties. One engine agrees everywhere; another takes the lowest neighbour however far it is, which
/// is a known difference of definition.
#[test]
fn directions_away_from_ties() {
    for (case, known) in [(real(), 1_372), (random(), 375)] {
        let ours = directions(&case.ground);
        let (mut told, mut unlike_richdem) = (0, 0);
        for i in (0..SIDE * SIDE).filter(|i| inner(*i)) {
            if let Some(dir) = clear_direction(&case.ground, i, true) {
                told += 1;
                assert_eq!(usize::from(ours.codes[i]), dir);
                assert_eq!(case.d8_whitebox.values[i], (1_u32 << dir) as f32, "cell {i}");
                unlike_richdem += usize::from(case.d8_richdem.values[i] != (1_u32 << dir) as f32);
            }
            if let Some(dir) = clear_direction(&case.ground, i, false) {
                assert_eq!(case.d8_richdem.values[i], (1_u32 << dir) as f32, "cell {i} by the lowest neighbour");
            }
        }
        assert!(told > 1_900, "{told}");
        assert_eq!(unlike_richdem, known, "known difference");
    }
}

/// Totals and stream orders along the other engine's own directions, cell by cell.
#[test]
fn area_and_order_along_given_directions() {
    for case in [real(), random()] {
        let code = |v: &f32| if *v == 0.0 { LEAVES } else { (*v as u32).trailing_zeros() as u8 };
        let given = Directions { rows: SIDE, cols: SIDE, codes: case.d8_pyflwdir.values.iter().map(code).collect() };
        let cells = cells_upstream(&given);
        let area: Vec<f32> = cells.iter().map(|c| *c as f32).collect();
        assert_eq!(area, case.area_pyflwdir.values);
        let flow = given.into_flow_field(case.ground.spec);
        let totals: Vec<f64> = cells.iter().map(|c| f64::from(*c)).collect();
        let orders = stream_orders(&flow, &totals, 1.0);
        assert_eq!(orders.iter().map(|o| f32::from(*o)).collect::<Vec<_>>(), case.order_pyflwdir.values);
    }
}
