//! The terrain methods as whole processes, to be timed beside other engines on the same files (see `.ci/bench-peers`).
//!
//! `terrain_bench make SIDE OUT.tif` writes the synthetic farm; `terrain_bench slope|fill|d8acc|dinf IN.tif OUT.tif` works
//! on an uncompressed GeoTIFF and prints the time of the method alone, the CPU time of the process, and the peak of
//! memory per cell beyond the input.
#![expect(clippy::print_stdout, reason = "the figures are what is asked for")]

mod plain_tif;
mod synthetic_farm;

use geo::Coord;
use plain_tif::{PlainOut, PlainTif};
use rayon::prelude::*;
use rowfall::grid::{GridSpec, Raster};
use rowfall::methods::{flow, surface};
use std::error::Error;
use std::time::Instant;

/// Rows read, worked on and written at a time.
const BAND: usize = 64;

type Done = Result<(), Box<dyn Error>>;

fn main() -> Done {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["make", side, out] => make(side.parse()?, out),
        ["slope", input, out] => slope(&PlainTif::open(input)?, out),
        ["fill", input, out] => whole(&PlainTif::open(input)?, out, |ground| Ok((flow::fill(&ground).values, 3))),
        ["d8acc", input, out] => whole(&PlainTif::open(input)?, out, |ground| {
            let directions = flow::directions(&flow::fill(&ground));
            Ok((flow::cells_upstream(&directions).into_iter().map(f32::from_bits).collect(), 1))
        }),
        ["dinf", input, out] => whole(&PlainTif::open(input)?, out, |ground| {
            let cell_m = ground.spec.cell_m;
            let filled = flow::fill(&ground);
            drop(ground);
            let directions = flow::directions(&filled);
            let split = flow::split_directions(&filled, directions);
            drop(filled);
            Ok((flow::specific_catchment_area(&split, cell_m).into_iter().map(|a| a as f32).collect(), 3))
        }),
        _ => Err("terrain_bench make SIDE OUT | slope|fill|d8acc|dinf IN OUT".into()),
    }
}

fn make(side: usize, out: &str) -> Done {
    // Scale, tie point, and "projected, WGS 84 / UTM zone 56S, pixel is area" as the GeoTIFF keys say it.
    let doubles = |v: &[f64]| v.iter().flat_map(|v| v.to_le_bytes()).collect::<Vec<u8>>();
    let keys: Vec<u8> = [1_u16, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32_756]
        .iter()
        .flat_map(|k| k.to_le_bytes())
        .collect();
    let tags = [
        (33_550, 12, 3, doubles(&[1.0, 1.0, 0.0])),
        (33_922, 12, 6, doubles(&[0.0, 0.0, 0.0, 500_000.0, 7_000_000.0, 0.0])),
        (34_735, 3, 16, keys),
        (42_113, 2, 6, b"-9999\0".to_vec()),
    ];
    let file = PlainOut::create(out, side, side, 3, &tags)?;
    (0..side.div_ceil(BAND)).into_par_iter().try_for_each(|band| -> std::io::Result<()> {
        let rows = band * BAND..((band + 1) * BAND).min(side);
        let heights: Vec<f32> = rows.clone().flat_map(|row| synthetic_farm::row(side, row)).collect();
        file.write_rows(rows.start, &bytes(&heights))
    })?;
    Ok(())
}

fn bytes(values: &[f32]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

fn raster(tif: &PlainTif, rows: usize, values: Vec<f32>) -> Raster<f32> {
    let spec =
        GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: tif.cell_m, rows: rows as u32, cols: tif.cols as u32 };
    let valid = match tif.nodata {
        Some(nodata) => values.iter().map(|z| *z != nodata && z.is_finite()).collect(),
        None => vec![true; values.len()],
    };
    Raster { spec, values, valid }
}

/// Slope in per cent, band by band with a row of margin, so that nothing but bands is held.
fn slope(tif: &PlainTif, out: &str) -> Done {
    let start = Instant::now();
    let file = tif.create_like(out, 3)?;
    let nodata = tif.nodata.unwrap_or(-9999.0);
    (0..tif.rows.div_ceil(BAND)).into_par_iter().try_for_each(|band| -> std::io::Result<()> {
        let (first, last) = (band * BAND, ((band + 1) * BAND).min(tif.rows));
        let (from, to) = (first.saturating_sub(1), (last + 1).min(tif.rows));
        let ground = raster(tif, to - from, tif.read_rows(from, to - from)?);
        let mut slope = surface::slope(&ground, surface::Stencil::Horn);
        slope.values.iter_mut().zip(&slope.valid).for_each(|(v, ok)| *v = if *ok { 100.0 * *v } else { nodata });
        file.write_rows(first, &bytes(&slope.values[(first - from) * tif.cols..(last - from) * tif.cols]))
    })?;
    report(start, tif, 0.0);
    Ok(())
}

/// A method that needs the whole ground.
fn whole(
    tif: &PlainTif,
    out: &str,
    method: impl FnOnce(Raster<f32>) -> Result<(Vec<f32>, u16), Box<dyn Error>>,
) -> Done {
    let ground = raster(tif, tif.rows, tif.read_rows(0, tif.rows)?);
    let before = status_kb("VmRSS");
    let start = Instant::now();
    let (values, sample_format) = method(ground)?;
    report(start, tif, before);
    let file = tif.create_like(out, sample_format)?;
    values
        .par_chunks(BAND * tif.cols)
        .enumerate()
        .try_for_each(|(band, rows)| file.write_rows(band * BAND, &bytes(rows)))?;
    Ok(())
}

fn report(start: Instant, tif: &PlainTif, before_kb: f64) {
    let wall = start.elapsed().as_secs_f64();
    let cells = (tif.rows * tif.cols) as f64;
    println!(
        "KERNEL {wall:.4} CPU {:.4} BYTES_PER_CELL {:.1}",
        cpu_s(),
        (status_kb("VmHWM") - before_kb).max(0.0) * 1024.0 / cells
    );
}

/// A line of the kernel's account of this process, kB.
fn status_kb(name: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with(name)).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kb| kb.parse().ok()).unwrap_or(f64::NAN)
}

/// CPU time of the process so far, seconds (100 ticks a second, as Linux reports it).
fn cpu_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> =
        stat.rsplit(')').next().unwrap_or_default().split_whitespace().map(|f| f.parse().unwrap_or(0.0)).collect();
    fields.get(11..13).map_or(f64::NAN, |ticks| (ticks[0] + ticks[1]) / 100.0)
}
