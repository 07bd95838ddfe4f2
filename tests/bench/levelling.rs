//! Speed and memory of the exact levelling engine, with HiGHS simplex in the same run; `cargo bench --bench levelling`.
//!
//! Ground is made here: 5 m cells on a regional fall of 0.6 % along the rows, with value noise of 0.6, 0.3, 0.15 and 0.05 m
//! at 120, 60, 30 and 15 m, and the same three times as high. Rows must fall by 0.1 to 1.0 %, and 0.5 % is allowed across.
//! Times are processor time of the whole process where the system tells it, so that other work on the machine does not
//! count; bytes are the most held at once beyond the fit itself.

#![expect(clippy::print_stdout, reason = "the table is what a bench is for")]

#[path = "../it/highs_fit.rs"]
mod highs_fit;

use highs_fit::{Answer, solve};
use rowfall::methods::optimise::{LatticeFit, Steps, solve_exact, ticks, ticks_inward};
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// Counts what is held and the most that ever was.
struct Counting;

static HELD: AtomicUsize = AtomicUsize::new(0);
static MOST: AtomicUsize = AtomicUsize::new(0);

#[expect(unsafe_code, reason = "an allocator cannot be written without")]
// SAFETY: every call is handed on to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let held = HELD.fetch_add(layout.size(), Ordering::Relaxed) + layout.size();
        MOST.fetch_max(held, Ordering::Relaxed);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Ordering::Relaxed);
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// Sides of the square blocks: 14,400, 99,856 and 250,000 cells.
const SIDES: [usize; 3] = [120, 316, 500];
/// Sides at which HiGHS is tried, in turn, until it takes longer than it may.
const SIDES_OF_HIGHS: [usize; 5] = [60, 120, 170, 240, 316];
/// Time HiGHS is given.
const PATIENCE_S: f64 = 120.0;

fn main() {
    for (name, height) in [("relief to 0.6 m", 1.0), ("relief to 1.8 m", 3.0)] {
        println!("{name}");
        println!("{:>10} {:>9} {:>9} {:>11} {:>10}", "engine", "cells", "seconds", "cells/s", "bytes/cell");
        for side in SIDES {
            exact(&block(side, height));
        }
        let mut last = None;
        for side in SIDES_OF_HIGHS {
            let fit = block(side, height);
            let (start, began) = (processor_s(), Instant::now());
            let Answer::Optimal(heights, cost) = solve(&fit, PATIENCE_S) else { break };
            let seconds = since(start, began);
            line("HiGHS", fit.len(), seconds, None);
            assert_eq!(heights.len(), fit.len());
            let found = solve_exact(&fit).map_or(0, |f| f.certificate.cost);
            assert!((cost - found as f64).abs() < 0.5, "HiGHS {cost}, exact {found}");
            last = Some((fit, seconds));
        }
        if let Some((fit, seconds)) = last {
            let ours = exact(&fit);
            println!("exact is {:.0} times as fast as HiGHS simplex at {} cells\n", seconds / ours, fit.len());
        }
    }
}

/// Solves over and over for half a second and prints the mean; seconds of one.
fn exact(fit: &LatticeFit) -> f64 {
    let held = HELD.load(Ordering::Relaxed);
    MOST.store(held, Ordering::Relaxed);
    let (start, began) = (processor_s(), Instant::now());
    let mut times = 0_u32;
    while times < 3 || since(start, began) < 0.5 {
        let Ok(found) = solve_exact(fit) else { panic!("the block can be levelled") };
        assert_eq!(found.certificate.gap(), 0.0);
        times += 1;
    }
    let seconds = since(start, began) / f64::from(times);
    line("exact", fit.len(), seconds, Some(MOST.load(Ordering::Relaxed) - held));
    seconds
}

fn line(engine: &str, cells: usize, seconds: f64, bytes: Option<usize>) {
    let each = bytes.map_or(String::from("-"), |b| format!("{:.0}", b as f64 / cells as f64));
    println!("{engine:>10} {cells:>9} {seconds:>9.3} {:>11.0} {each:>10}", cells as f64 / seconds);
}

/// Processor time of this process so far, to a hundredth of a second; Linux only.
fn processor_s() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // After the name in brackets: user time is the 12th field, system time the 13th (proc(5)).
    let fields: Vec<&str> = stat.rsplit(')').next()?.split_whitespace().collect();
    let ticks = |i: usize| fields.get(i)?.parse::<f64>().ok();
    Some((ticks(11)? + ticks(12)?) / 100.0)
}

fn since(start: Option<f64>, began: Instant) -> f64 {
    match (start, processor_s()) {
        (Some(start), Some(now)) => (now - start).max(0.01),
        _ => began.elapsed().as_secs_f64(),
    }
}

fn block(side: usize, height: f64) -> LatticeFit {
    const OCTAVES: [(f64, f64); 4] = [(0.6, 120.0), (0.3, 60.0), (0.15, 30.0), (0.05, 15.0)];
    let n = side * side;
    let ground = (0..n).map(|p| {
        let (x, y) = ((p % side) as f64 * 5.0, (p / side) as f64 * 5.0);
        let relief: f64 = OCTAVES.iter().map(|(high, wide)| high * noise(x / wide, y / wide, wide.to_bits())).sum();
        ticks(50.0 - 0.006 * x + height * relief)
    });
    LatticeFit {
        lanes: side,
        stations: side,
        inside: vec![true; n],
        ground: ground.collect(),
        cut_weight: vec![1; n],
        fill_weight: vec![1; n],
        lowest: Vec::new(),
        highest: Vec::new(),
        along: Steps::Alike(ticks_inward(-0.05, -0.005)),
        across: Steps::Alike(ticks_inward(-0.025, 0.025)),
        most_bend: None,
    }
}

/// Value noise from -0.5 to 0.5: hashed corners, smoothly joined.
fn noise(x: f64, y: f64, seed: u64) -> f64 {
    let corner = |i: f64, j: f64| {
        let mut s =
            (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (j as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F) ^ seed;
        for shift in [31, 27, 33] {
            s = (s ^ (s >> shift)).wrapping_mul(0x7FB5_D329_728E_A185);
        }
        (s >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    let (i, j) = (x.floor(), y.floor());
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    let (u, v) = (smooth(x - i), smooth(y - j));
    let near = corner(i, j) * (1.0 - u) + corner(i + 1.0, j) * u;
    let far = corner(i, j + 1.0) * (1.0 - u) + corner(i + 1.0, j + 1.0) * u;
    near * (1.0 - v) + far * v
}
