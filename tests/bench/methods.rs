//! Speed and memory of the heavy methods on a synthetic farm; run with `make bench`.
//!
//! The terrain is made here from a fixed seed (see `terrain/synthetic_farm.rs`), so anybody can repeat the figures. divan
//! prints cells a second; bytes a cell stand in the output of `.ci/bench-peers`, measured on whole processes.

use divan::counter::ItemsCount;
use geo::Coord;
use rowfall::grid::{GridSpec, Raster};
use rowfall::methods::{flow, surface};
use std::sync::OnceLock;

fn main() {
    divan::main();
}

#[path = "terrain/synthetic_farm.rs"]
mod synthetic_farm;

/// Side lengths benched: 4 and 25 million cells.
const SIDES: [u32; 2] = [2_000, 5_000];

fn farm(side: u32) -> Raster<f32> {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: f64::from(side) }, cell_m: 1.0, rows: side, cols: side };
    let values = (0..side as usize).flat_map(|row| synthetic_farm::row(side as usize, row)).collect();
    Raster { spec, values, valid: vec![true; spec.len()] }
}

fn ground(side: u32) -> &'static Raster<f32> {
    static FARMS: OnceLock<Vec<(u32, Raster<f32>)>> = OnceLock::new();
    let farms = FARMS.get_or_init(|| SIDES.iter().map(|side| (*side, farm(*side))).collect());
    &farms[SIDES.iter().position(|s| *s == side).unwrap_or(0)].1
}

#[divan::bench(args = SIDES, sample_count = 3)]
fn horn_slope(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| surface::slope(ground, surface::Stencil::Horn));
}

#[divan::bench(args = SIDES, sample_count = 3)]
fn fill_depressions(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| flow::fill(ground));
}

#[divan::bench(args = SIDES, sample_count = 3)]
fn fill_direct_and_count(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| {
        let filled = flow::fill(ground);
        flow::cells_upstream(&flow::directions(&filled))
    });
}

#[divan::bench(args = SIDES, sample_count = 3)]
fn fill_and_route(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| flow::route(&flow::fill(ground)));
}

#[divan::bench(args = SIDES, sample_count = 3)]
fn fill_and_d_infinity(bencher: divan::Bencher<'_, '_>, side: u32) {
    let ground = ground(side);
    bencher.counter(ItemsCount::new(ground.spec.len())).bench(|| {
        let filled = flow::fill(ground);
        let split = flow::split_directions(&filled, flow::directions(&filled));
        flow::specific_catchment_area(&split, ground.spec.cell_m)
    });
}
