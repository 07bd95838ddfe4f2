//! Seconds, gap and memory of the fast levelling fit on synthetic ground; run with `cargo bench --bench levelling_fast`.
//!
//! The ground is made here from hashed value noise (a regional fall of 0.6 %, relief of 0.05 to 0.6 m at 15 to 120 m, 5 m
//! cells), so anybody can repeat the figures. Steps along fall 0.1 to 1.0 %, across they stay within 0.5 % either way. Memory is
//! the most the method held at once, counted by the allocator, without the question itself. On a machine shared with
//! others the processor seconds say more than the seconds of the clock.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use rowfall::methods::optimise::{
    LatticeFit, Steps, dead_band, lane_optimum, small_depths, smooth, solve_fast, squared_bends, ticks, ticks_inward,
};
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// Counts what is held.
struct Counting;

static HELD: AtomicUsize = AtomicUsize::new(0);
static MOST_HELD: AtomicUsize = AtomicUsize::new(0);

#[expect(unsafe_code, reason = "an allocator cannot be written without; it hands every call on to the system's")]
// SAFETY: every request goes to the system allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let held = HELD.fetch_add(layout.size(), Ordering::Relaxed) + layout.size();
        MOST_HELD.fetch_max(held, Ordering::Relaxed);
        // SAFETY: the caller's promise is handed on.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller's promise is handed on.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// A number from -0.5 to 0.5 for a point of a noise lattice.
fn hashed(x: i64, y: i64, seed: u64) -> f64 {
    let mut h = (x as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (y as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F) ^ seed;
    h = (h ^ (h >> 31)).wrapping_mul(0x7FB5_D329_728E_A185);
    h = (h ^ (h >> 27)).wrapping_mul(0x81DA_DEF4_BC2D_D44D);
    ((h ^ (h >> 33)) >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
}

/// Value noise with smooth steps between its lattice points.
fn noise(x: f64, y: f64, seed: u64) -> f64 {
    let (i, j) = (x.floor(), y.floor());
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    let (u, v) = (smooth(x - i), smooth(y - j));
    let at = |a: i64, b: i64| hashed(i as i64 + a, j as i64 + b, seed);
    (1.0 - v) * ((1.0 - u) * at(0, 0) + u * at(1, 0)) + v * ((1.0 - u) * at(0, 1) + u * at(1, 1))
}

/// A square of ground with so many cells to a side.
fn ground(side: usize) -> LatticeFit {
    let height = |p: usize| {
        let (x, y) = ((p % side) as f64 * 5.0, (p / side) as f64 * 5.0);
        let fall = 0.005 * x + 0.0033 * y;
        ticks(
            fall + 0.6 * noise(x / 120.0, y / 120.0, 7)
                + 0.25 * noise(x / 45.0, y / 45.0, 8)
                + 0.05 * noise(x / 15.0, y / 15.0, 9),
        )
    };
    let n = side * side;
    LatticeFit {
        lanes: side,
        stations: side,
        inside: vec![true; n],
        ground: (0..n).map(height).collect(),
        cut_weight: vec![1; n],
        fill_weight: vec![1; n],
        lowest: Vec::new(),
        highest: Vec::new(),
        along: Steps::Alike(ticks_inward(0.005, 0.05)),
        across: Steps::Alike(ticks_inward(-0.025, 0.025)),
        most_bend: None,
    }
}

/// The same with a ragged edge, a hole and weights of its own for every point.
fn ragged(mut fit: LatticeFit) -> LatticeFit {
    let side = fit.stations as f64;
    for p in 0..fit.len() {
        let (x, y) = ((p % fit.stations) as f64 / side - 0.5, (p / fit.stations) as f64 / side - 0.5);
        let edge = 0.42 + 0.06 * (5.0 * y.atan2(x)).sin();
        fit.inside[p] = x.hypot(y) < edge && (x - 0.1).hypot(y + 0.1) > 0.05;
        fit.cut_weight[p] = 3 + (p % 4) as i64;
        fit.fill_weight[p] = 4 + (p % 3) as i64;
    }
    fit
}

/// Seconds the processors have worked for this program, where the system tells.
fn processor_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let ticks = after_name.split_whitespace().skip(11).take(2).filter_map(|t| t.parse::<f64>().ok());
    ticks.sum::<f64>() / 100.0
}

/// Times one run and prints its line; the run hands back what to say of its gap.
fn time(what: &str, cells: usize, run: impl FnOnce() -> String) {
    let held = HELD.load(Ordering::Relaxed);
    MOST_HELD.store(held, Ordering::Relaxed);
    let (clock, processor) = (Instant::now(), processor_seconds());
    let said = run();
    let (clock, processor) = (clock.elapsed().as_secs_f64(), processor_seconds() - processor);
    let bytes = (MOST_HELD.load(Ordering::Relaxed) - held) as f64 / cells as f64;
    println!(
        "{cells:>9} cells  {what:<34} {clock:>7.2} s {processor:>7.2} processor s {:>7.2} M cells/s {bytes:>6.1} B/cell  {said}",
        cells as f64 / clock / 1e6
    );
}

/// One run of the fast fit to a gap.
fn fitted(what: &str, fit: &LatticeFit, gap: f64) {
    time(what, fit.len(), || match solve_fast(fit, gap) {
        Ok(found) => format!("gap {:.3} %", 100.0 * found.certificate.gap()),
        Err(refusal) => format!("{refusal:?}"),
    });
}

/// The second passes over a surface fitted to 0.1 %.
fn second_passes(fit: &LatticeFit) {
    let Ok(fitted) = solve_fast(fit, 0.001) else { return };
    let said = |share: f64| format!("{:.2} % over the bound", 100.0 * share);
    let over = |cost: i64| said(cost as f64 / fitted.certificate.bound - 1.0);
    time("smoothed, 1 % dearer", fit.len(), || match smooth(fit, &fitted, 0.01, 0.05) {
        Ok(found) => format!(
            "{}, squared bends {:.3} of the fitted, gap {:.1} %",
            over(found.cost),
            found.squares / squared_bends(fit, &fitted.heights),
            100.0 * found.gap()
        ),
        Err(refusal) => format!("{refusal:?}"),
    });
    time("dead band of 15 mm, 5 % dearer", fit.len(), || {
        let found = dead_band(fit, &fitted, 1_500, 0.05, 0.005);
        let small = |heights: &[i64]| small_depths(fit, heights, 1_500);
        format!(
            "{}, small depths {} -> {}",
            over(found.certificate.cost),
            small(&fitted.heights),
            small(&found.heights)
        )
    });
}

fn main() {
    for side in [316, 500, 1_000] {
        let plain = ground(side);
        time("lanes by themselves", plain.len(), || {
            lane_optimum(&plain).map_or(String::new(), |found| format!("bound {}", found.bound))
        });
        fitted("fast to 0.5 %", &plain, 0.005);
        fitted("fast to 0.1 %", &plain, 0.001);
        fitted("ragged, own weights, to 0.5 %", &ragged(plain.clone()), 0.005);
        second_passes(&plain);
        let mut bent = plain;
        bent.most_bend = Some(500);
        fitted("bends to 0.1 % a cell, to 0.5 %", &bent, 0.005);
    }
}
