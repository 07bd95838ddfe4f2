//! Speed of hauls on a grid of 14,400 cells, and of priced pairs on a quarter of it; run with `cargo bench --bench haul`.
//!
//! The earth is made here (swells and noise from a fixed seed, balanced), so anybody can repeat the figures. divan prints
//! seconds and cells a second.

use divan::counter::ItemsCount;
use geo::Coord;
use rowfall::grid::GridSpec;
use rowfall::methods::earthwork::haul_grid::{GridEarth, HaulGround, haul_over_grid};
use rowfall::methods::earthwork::haul_price::{MachinePrice, MachinePrices, priced_hauls_over_grid};

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

/// Machines that change with distance: all pairs of about 1800 by 1800 cells, distances over the ground included.
#[divan::bench(sample_count = 3)]
fn priced_by_machine(bencher: divan::Bencher<'_, '_>) {
    let (ground, earth) = (HaulGround::open(spec(60)), earth(60));
    let machine = |fixed_per_m3, per_m3_m, reach_m| MachinePrice { fixed_per_m3, per_m3_m, reach_m };
    let prices =
        MachinePrices::new(&[machine(0.6, 0.03, Some(100.0)), machine(1.8, 0.007, None), machine(4.5, 0.002, None)])
            .expect("sound prices");
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| {
        let found = priced_hauls_over_grid(&ground, &earth, &[], &prices).expect("sound input");
        assert!(found.plan.is_proven);
        found
    });
}
