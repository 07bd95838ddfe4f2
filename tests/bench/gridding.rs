//! Speed of gridding a survey: one million points to four million cells of 1 m, and the leave-out test beside it.
//!
//! The survey is made here: passes 4 m apart with a point every metre, woven a little, on a smooth ground. divan prints
//! points a second; the three benches together are the whole way from points to a judged grid. The peer is the natural
//! neighbour of crate `startin` on a hundredth of the places.

use divan::counter::ItemsCount;
use geo::Coord;
use rowfall::grid::GridSpec;
use rowfall::methods::surface::{HeightPoint, Interpolant, block_cross_validation, interpolate, merge_duplicates};
use std::sync::OnceLock;

fn main() {
    divan::main();
}

/// Passes and points of each: 2000 m square.
const PASSES: u32 = 500;
const ALONG: u32 = 2_000;

fn survey() -> &'static [HeightPoint] {
    static POINTS: OnceLock<Vec<HeightPoint>> = OnceLock::new();
    POINTS.get_or_init(|| {
        let mut state = 0x2545_F491_4F6C_DD1D_u64;
        let mut noise = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        let mut points = Vec::new();
        for pass in 0..PASSES {
            for k in 0..ALONG {
                let (x, y) = (4.0 * f64::from(pass) + 0.6 * noise() + 2.0, f64::from(k) + 0.2 * noise() + 0.5);
                let swells = 0.3 * (x / 37.0).sin() * (y / 53.0).cos();
                let height_m = 20.0 - 0.0015 * x - 0.0005 * y + swells + 0.02 * noise();
                points.push(HeightPoint { at: Coord { x: 500_000.0 + x, y: 7_000_000.0 + y }, height_m });
            }
        }
        points
    })
}

fn grid(cell_m: f64) -> GridSpec {
    let n = (2_000.0 / cell_m) as u32;
    GridSpec { north_west: Coord { x: 500_000.0, y: 7_002_000.0 }, cell_m, rows: n, cols: n }
}

fn count() -> ItemsCount {
    ItemsCount::new(survey().len())
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn merge(bencher: divan::Bencher) {
    bencher.counter(count()).bench(|| merge_duplicates(survey()));
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn natural_neighbours_4m_cells(bencher: divan::Bencher) {
    bencher.counter(count()).bench(|| interpolate(survey(), grid(1.0), Interpolant::NaturalNeighbour, 30.0));
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn triangles_4m_cells(bencher: divan::Bencher) {
    bencher.counter(count()).bench(|| interpolate(survey(), grid(1.0), Interpolant::Linear, 30.0));
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn leave_out_blocks(bencher: divan::Bencher) {
    bencher.counter(count()).bench(|| block_cross_validation(survey(), 50.0));
}

/// Peer: 40 000 places only.
#[divan::bench(sample_count = 1, sample_size = 1)]
fn startin_40k_cells(bencher: divan::Bencher) {
    use startin::interpolation::{NNI, interpolate};
    let spec = grid(10.0);
    let places: Vec<[f64; 2]> = (0..spec.len()).map(|i| spec.centre(spec.cell(i))).map(|c| [c.x, c.y]).collect();
    bencher.counter(ItemsCount::new(survey().len())).bench(|| {
        let mut mesh = startin::Triangulation::new();
        for p in survey() {
            let _already_there = mesh.insert_one_pt(p.at.x, p.at.y, p.height_m);
        }
        interpolate(&NNI { precompute: false }, &mut mesh, &places)
    });
}
