//! Speed and memory of the heavy methods on a synthetic farm; run with `make bench`.
//!
//! The terrain is made here (a falling plain, swells, beds and millimetre noise from a fixed seed), so anybody can repeat
//! the figures. divan prints cells a second; bytes a cell are the sizes of the arrays a method allocates and hands back.

use divan::counter::ItemsCount;
use geo::Coord;
use rowfall::grid::{GridSpec, Raster};
use rowfall::methods::{flow, surface};
use std::sync::OnceLock;

fn main() {
    divan::main();
}

/// Side lengths benched: 1 and 4 million cells.
const SIDES: [u32; 2] = [1_000, 2_000];

fn farm(side: u32) -> Raster<f32> {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: f64::from(side) }, cell_m: 1.0, rows: side, cols: side };
    let mut raster = Raster::filled(spec, 0.0_f32);
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    for (i, value) in raster.values.iter_mut().enumerate() {
        let at = spec.centre(spec.cell(i));
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let noise = (state >> 40) as f64 / f64::from(1_u32 << 24) - 0.5;
        let swells = 0.3 * (at.x / 37.0).sin() * (at.y / 53.0).cos() + 0.1 * (at.x / 9.0 + at.y / 14.0).sin();
        *value = (20.0 - 0.0015 * at.x - 0.0005 * at.y + swells + 0.02 * noise) as f32;
    }
    raster
}

fn ground(side: u32) -> &'static Raster<f32> {
    static FARMS: OnceLock<Vec<(u32, Raster<f32>)>> = OnceLock::new();
    let farms = FARMS.get_or_init(|| SIDES.iter().map(|side| (*side, farm(*side))).collect());
    &farms[SIDES.iter().position(|s| *s == side).unwrap_or(0)].1
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn horn_slope(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| {
        let (east, north) = surface::horn_gradient(ground);
        surface::slope_ratio(&east, &north)
    });
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn fill_depressions(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| flow::fill(ground));
}

#[divan::bench(args = SIDES, sample_count = 5)]
fn fill_route_accumulate(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    let weights = vec![1.0; ground.spec.len()];
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| {
        let filled = flow::fill(ground);
        flow::accumulate(&flow::route(&filled), &weights)
    });
}
