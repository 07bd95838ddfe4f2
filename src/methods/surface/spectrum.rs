//! Finds a regular wave in a surface, such as ridges and furrows: spacing, bearing and height.
//!
//! The surface without its broad relief is cut into square tiles, each tapered (Hann) and brought into its
//! two-dimensional spectrum. A wave stands out as one peak; its place gives spacing and bearing at once, its power the
//! height. Tiles with anything taller than the wave sought (channels, banks) are left out. A wave counts when it stands
//! out in enough of the tiles; the spectra of those are then added up.
//!
//! Shapes and units: heights rows x cols, metres. Bearings of the crests, degrees clockwise from grid north, 0 to 180.
//!
//! Source: [`Bibliography::Perron2008`](crate::bibliography::Bibliography::Perron2008)
//! (two-dimensional spectra of topography); transform by crate `rustfft`.
//!
//! How we know: `spacing_bearing_and_height_come_back`, `noise_and_single_ridges_are_no_wave`.

use super::smooth;
use crate::grid::Raster;
use rayon::prelude::*;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::f64::consts::TAU;
use std::sync::Arc;

/// Side of a tile, metres: about sixteen ridges.
const TILE_M: f64 = 64.0;
/// Relief broader than this is taken out first, metres.
const BROAD_M: f64 = 24.0;
/// Most tiles looked at.
const TILES: usize = 400;
/// Bins to each side of a peak that belong to it; the taper spreads a wave over two.
const PEAK_BINS: i64 = 2;
/// Least share of the power of all spacings sought that the peak must hold; noise spreads over a thousand bins.
const LEAST_SHARE: f64 = 0.2;
/// Least share of the tiles the wave must stand out in, and least number.
const LEAST_TILES: (f64, usize) = (0.3, 3);

/// What wave is sought.
#[derive(Debug, Clone, Copy)]
pub struct Sought {
    /// Shortest and longest spacing, metres.
    pub spacing_m: (f64, f64),
    /// Bearing of the crests and how far off it they may lie, degrees; any when `None`.
    pub bearing_deg: Option<(f64, f64)>,
    /// Least height from trough to crest, metres.
    pub least_height_m: f64,
    /// Departures from the broad relief larger than this belong to no wave, metres.
    pub tallest_m: f64,
}

/// A wave found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wave {
    /// Distance from crest to crest, metres.
    pub spacing_m: f64,
    /// Bearing of the crests, degrees, 0 to 180.
    pub bearing_deg: f64,
    /// Height from trough to crest of the ground wave (without overtones), metres, mean of the tiles it stands out in.
    pub height_m: f64,
    /// Share of the tiles it stands out in.
    pub share: f64,
}

/// The wave that stands out on the cells `inside`; `None` when none does.
#[must_use]
pub fn find_wave(elevation: &Raster<f32>, inside: &[bool], sought: &Sought) -> Option<Wave> {
    let cell_m = elevation.spec.cell_m;
    let side = ((TILE_M / cell_m).round() as usize).next_power_of_two().clamp(16, 512);
    let rough = without_broad_relief(elevation);
    let corners = tiles(elevation, inside, side);
    let sheet = Sheet::new(side, cell_m, sought);
    let seen: Vec<Option<Tile>> =
        corners.par_iter().filter_map(|corner| sheet.tile(&rough, elevation, *corner)).collect();
    let found: Vec<&Tile> = seen.iter().flatten().collect();
    let share = found.len() as f64 / seen.len().max(1) as f64;
    if found.len() < LEAST_TILES.1 || share < LEAST_TILES.0 {
        return None;
    }
    let mut sum = vec![0.0; side * side];
    for tile in &found {
        sum.iter_mut().zip(&tile.power).for_each(|(s, p)| *s += p);
    }
    let (peak, _) = sheet.peak(&sum)?;
    let (kx, ky) = sheet.centre_of(&sum, peak);
    // Rows run southwards, so a growing row is a falling north.
    let (east, north) = (kx, -ky);
    Some(Wave {
        spacing_m: 1.0 / east.hypot(north),
        bearing_deg: (east.atan2(north).to_degrees() + 90.0).rem_euclid(180.0),
        height_m: found.iter().map(|t| t.height_m).sum::<f64>() / found.len() as f64,
        share,
    })
}

fn without_broad_relief(elevation: &Raster<f32>) -> Vec<f32> {
    let broad = smooth(elevation, BROAD_M);
    elevation.values.iter().zip(&broad.values).map(|(z, b)| z - b).collect()
}

/// Upper left corners (row, column) of evenly picked tiles whose middle lies inside.
fn tiles(elevation: &Raster<f32>, inside: &[bool], side: usize) -> Vec<(usize, usize)> {
    let (rows, cols) = (elevation.spec.rows as usize, elevation.spec.cols as usize);
    let mut corners = Vec::new();
    for row in (0..(rows + 1).saturating_sub(side)).step_by(side / 2) {
        for col in (0..(cols + 1).saturating_sub(side)).step_by(side / 2) {
            if inside[(row + side / 2) * cols + col + side / 2] {
                corners.push((row, col));
            }
        }
    }
    let stride = corners.len().div_ceil(TILES).max(1);
    corners.into_iter().step_by(stride).collect()
}

/// What a tile shows when the wave stands out in it.
struct Tile {
    power: Vec<f64>,
    height_m: f64,
}

/// A tile size with all that is the same for every tile.
struct Sheet {
    side: usize,
    cell_m: f64,
    sought: Sought,
    taper: Vec<f64>,
    fft: Arc<dyn Fft<f64>>,
    /// Bins a peak may lie in: half of the plane, as the other half mirrors it.
    bins: Vec<usize>,
}

impl Sheet {
    fn new(side: usize, cell_m: f64, sought: &Sought) -> Self {
        let taper = (0..side).map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / side as f64).cos()).collect();
        let mut sheet = Self {
            side,
            cell_m,
            sought: *sought,
            taper,
            fft: FftPlanner::new().plan_fft_forward(side),
            bins: Vec::new(),
        };
        sheet.bins = (0..side * side).filter(|bin| sheet.may_hold(*bin)).collect();
        sheet
    }

    /// Cycles a metre along columns and rows of a bin.
    fn frequency(&self, bin: usize) -> (f64, f64) {
        let signed = |k: usize| if 2 * k > self.side { k as f64 - self.side as f64 } else { k as f64 };
        let per_m = 1.0 / (self.side as f64 * self.cell_m);
        (signed(bin % self.side) * per_m, signed(bin / self.side) * per_m)
    }

    fn may_hold(&self, bin: usize) -> bool {
        let (kx, ky) = self.frequency(bin);
        let k = kx.hypot(ky);
        let half = ky > 0.0 || ky == 0.0 && kx > 0.0;
        half && k >= 1.0 / self.sought.spacing_m.1 && k <= 1.0 / self.sought.spacing_m.0 && self.may_run(kx, ky)
    }

    fn may_run(&self, kx: f64, ky: f64) -> bool {
        let Some((bearing, off)) = self.sought.bearing_deg else { return true };
        let crest = kx.atan2(-ky).to_degrees() + 90.0;
        let difference = (crest - bearing).rem_euclid(180.0);
        difference.min(180.0 - difference) <= off
    }

    /// The spectrum of a tile: outer `None` when it cannot be looked at, inner `None` when no wave stands out in it.
    fn tile(&self, rough: &[f32], elevation: &Raster<f32>, (row, col): (usize, usize)) -> Option<Option<Tile>> {
        let cols = elevation.spec.cols as usize;
        let mut values = Vec::with_capacity(self.side * self.side);
        for r in 0..self.side {
            let from = (row + r) * cols + col;
            for (c, i) in (from..from + self.side).enumerate() {
                let z = f64::from(rough[i]);
                if !elevation.valid[i] || z.abs() > self.sought.tallest_m {
                    return None;
                }
                values.push(Complex::new(z * self.taper[r] * self.taper[c], 0.0));
            }
        }
        self.fft.process(&mut values);
        let mut turned: Vec<Complex<f64>> =
            (0..values.len()).map(|i| values[(i % self.side) * self.side + i / self.side]).collect();
        self.fft.process(&mut turned);
        let power: Vec<f64> =
            (0..turned.len()).map(|i| turned[(i % self.side) * self.side + i / self.side].norm_sqr()).collect();
        let Some((peak, share)) = self.peak(&power) else { return Some(None) };
        // A wave of amplitude a puts a^2 / 4 times the squared taper into each of its two peaks.
        let taper: f64 = self.taper.iter().map(|w| w * w).sum();
        let cells = (self.side * self.side) as f64;
        let height_m = 2.0 * (4.0 * self.power_of(&power, peak) / (cells * taper * taper)).sqrt();
        let stands_out = share >= LEAST_SHARE && height_m >= self.sought.least_height_m;
        Some(stands_out.then_some(Tile { power, height_m }))
    }

    /// The bin of most power and the share of all power sought that lies about it.
    fn peak(&self, power: &[f64]) -> Option<(usize, f64)> {
        let peak = *self.bins.iter().max_by(|a, b| power[**a].total_cmp(&power[**b]).then(b.cmp(a)))?;
        let all: f64 = self.bins.iter().map(|b| power[*b]).sum();
        (all > 0.0).then(|| (peak, self.power_of(power, peak) / all))
    }

    /// Bins about a peak, with their distance from it in columns and rows.
    fn about(&self, peak: usize) -> impl Iterator<Item = (usize, i64, i64)> + '_ {
        let n = self.side as i64;
        let (x, y) = ((peak % self.side) as i64, (peak / self.side) as i64);
        (-PEAK_BINS..=PEAK_BINS).flat_map(move |dy| {
            (-PEAK_BINS..=PEAK_BINS)
                .map(move |dx| (((y + dy).rem_euclid(n) * n + (x + dx).rem_euclid(n)) as usize, dx, dy))
        })
    }

    fn power_of(&self, power: &[f64], peak: usize) -> f64 {
        self.about(peak).map(|(bin, ..)| power[bin]).sum()
    }

    /// Cycles a metre along columns and rows of the middle of a peak.
    fn centre_of(&self, power: &[f64], peak: usize) -> (f64, f64) {
        let (mut dx_sum, mut dy_sum, mut sum) = (0.0, 0.0, 0.0);
        for (bin, dx, dy) in self.about(peak) {
            dx_sum += power[bin] * dx as f64;
            dy_sum += power[bin] * dy as f64;
            sum += power[bin];
        }
        let (kx, ky) = self.frequency(peak);
        let per_m = 1.0 / (self.side as f64 * self.cell_m);
        (kx + dx_sum / sum * per_m, ky + dy_sum / sum * per_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::GridSpec;
    use geo::Coord;

    const ANY: Sought = Sought { spacing_m: (2.4, 8.0), bearing_deg: None, least_height_m: 0.05, tallest_m: 0.6 };

    fn surface(cell_m: f64, f: impl Fn(f64, f64) -> f64) -> Raster<f32> {
        let n = (256.0 / cell_m) as u32;
        let spec = GridSpec { north_west: Coord { x: 0.0, y: 256.0 }, cell_m, rows: n, cols: n };
        let mut raster = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            let c = spec.centre(spec.cell(i));
            raster.values[i] = f(c.x, c.y) as f32;
        }
        raster
    }

    fn found(raster: &Raster<f32>, sought: &Sought) -> Option<Wave> {
        find_wave(raster, &vec![true; raster.spec.len()], sought)
    }

    /// Noise of a standard deviation, the same for the same place.
    fn noise(x: f64, y: f64, sd: f64) -> f64 {
        let mut n = ((x * 8.0) as u64 * 100_003 + (y * 8.0) as u64).wrapping_add(0x9E37_79B9_7F4A_7C15);
        n = (n ^ (n >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        n = (n ^ (n >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((n ^ (n >> 31)) >> 40) as f64 / f64::from(1_u32 << 24) - 0.5) * 12.0_f64.sqrt() * sd
    }

    /// Waves of known spacing, bearing of the crests and height on a hollow slope under noise.
    #[test]
    fn spacing_bearing_and_height_come_back() {
        for (spacing, bearing, height, cell_m) in [
            (4.0, 50.0, 0.2, 1.0),
            (3.1, 0.0, 0.3, 0.5),
            (3.66, 90.0, 0.25, 1.0),
            (5.5, 137.0, 0.15, 1.0),
            (4.0, 178.0, 0.1, 1.0),
        ] {
            let (s, c) = f64::to_radians(bearing).sin_cos();
            let raster = surface(cell_m, |x, y| {
                let across = x * c - y * s;
                20.0 - 0.01 * x
                    + 0.3 * (y / 40.0).cos()
                    + 0.5 * height * (TAU * across / spacing).sin()
                    + noise(x, y, 0.02)
            });
            let wave = found(&raster, &ANY).unwrap_or_else(|| panic!("{spacing} {bearing}"));
            assert!((wave.spacing_m - spacing).abs() < 0.02 * spacing, "{spacing}: {wave:?}");
            let off = (wave.bearing_deg - bearing).rem_euclid(180.0);
            assert!(off.min(180.0 - off) < 1.0, "{bearing}: {wave:?}");
            assert!((wave.height_m - height).abs() < 0.1 * height + 0.005, "{height}: {wave:?}");
            assert!(wave.share > 0.99);
            // Sought along another bearing there is none.
            let across = Sought { bearing_deg: Some((bearing + 90.0, 15.0)), ..ANY };
            assert_eq!(found(&raster, &across), None);
            let along = Sought { bearing_deg: Some((bearing - 5.0, 15.0)), ..ANY };
            assert!(found(&raster, &along).is_some());
        }
    }

    #[test]
    fn noise_and_single_ridges_are_no_wave() {
        assert_eq!(found(&surface(1.0, |x, y| 20.0 + noise(x, y, 0.05)), &ANY), None);
        let ridge = |x: f64, y: f64| 20.0 + 0.4 * (-((x - 128.0 + 0.2 * y) / 2.0).powi(2)).exp();
        assert_eq!(found(&surface(1.0, ridge), &ANY), None);
        // A wave on a tenth of the land is no reason to treat all of it.
        let corner =
            |x: f64, y: f64| if x < 80.0 && y < 80.0 { 0.1 * (TAU * x / 4.0).sin() } else { noise(x, y, 0.02) };
        assert_eq!(found(&surface(1.0, corner), &ANY), None);
        // Below the least height it is survey noise.
        assert_eq!(found(&surface(1.0, |x, _| 0.01 * (TAU * x / 4.0).sin()), &ANY), None);
    }
}
