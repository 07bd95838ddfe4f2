//! Speed of hauls on a grid of 14,400 cells; run with `cargo bench --bench haul`.
//!
//! The earth is made here (swells and noise from a fixed seed, balanced), so anybody can repeat the figures. divan prints
//! seconds and cells a second.

use divan::counter::ItemsCount;
use geo::Coord;
use rowfall::grid::GridSpec;
use rowfall::methods::earthwork::haul_grid::{GridEarth, HaulGround, haul_over_grid};

fn main() {
    divan::main();
}

/// Cells along a side: 14,400 cells, and a quarter of that.
const SIDES: [u32; 2] = [60, 120];

fn spec(side: u32) -> GridSpec {
    GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 15.0, rows: side, cols: side }
}

/// Swells of tens of metres with noise, summing to nothing.
fn earth(side: u32) -> GridEarth {
    let spec = spec(side);
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut net_m3: Vec<f64> = (0..spec.len())
        .map(|i| {
            let at = spec.centre(spec.cell(i));
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let noise = (state >> 40) as f64 / f64::from(1_u32 << 24) - 0.5;
            20.0 * (at.x / 170.0).sin() * (at.y / 230.0).cos() + 10.0 * noise
        })
        .collect();
    let mean = net_m3.iter().sum::<f64>() / net_m3.len() as f64;
    net_m3.iter_mut().for_each(|v| *v -= mean);
    GridEarth { net_m3, on_the_spot_m3: 0.0 }
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn open_ground(bencher: divan::Bencher<'_, '_>, side: u32) {
    let (ground, earth) = (HaulGround::open(spec(side)), earth(side));
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| haul_over_grid(&ground, &earth, &[]));
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn with_obstacles(bencher: divan::Bencher<'_, '_>, side: u32) {
    let mut ground = HaulGround::open(spec(side));
    // Every seventh row is a fence with a gate every twentieth cell.
    for (i, passable) in ground.passable.iter_mut().enumerate() {
        let cell = ground.spec.cell(i);
        *passable = cell.row % 7 != 3 || cell.col % 20 == 5;
    }
    let earth = earth(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| haul_over_grid(&ground, &earth, &[]));
}
