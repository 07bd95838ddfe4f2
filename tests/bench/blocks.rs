//! Seconds and memory of the blocks stage on made properties of 50 to 2,000 ha; `cargo bench --bench blocks`.
//!
//! A property is laid out in pieces of about 50 ha between waterways and roads, with re-entrant corners, ponds that stay and
//! uneven outlines; the ground falls a little to the south-east with swells of 20 cm. The second table has the same land in
//! one single piece. `cargo bench --bench blocks -- 200` runs the properties up to 200 ha only. Bytes are the most held at
//! once while the stage runs.

#![expect(clippy::print_stdout, reason = "the table is what a bench is for")]

use geo::{Area, Coord, LineString, MultiPolygon, Polygon, Rect};
use rowfall::grid::{GridSpec, Raster};
use rowfall::land::geodesy::{CrsTag, LocalGeodesy};
use rowfall::land::rates::Rates;
use rowfall::land::site::{ExistingTrack, Site, SiteLayers};
use rowfall::land::survey::{AccuracyStatement, ElevationModel, Ground};
use rowfall::land::water::{DrainReach, PlantablePiece, WaterModel};
use rowfall::stages::blocks::{Blocks, BlocksInput, BlocksParams};
use rowfall::stages::{Ctx, Silent, Stage};
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
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

/// Sizes of the properties, hectares; and sides of a piece of 50 ha, metres.
const SIZES_HA: [u32; 4] = [50, 200, 500, 2_000];
const PIECE_M: (f64, f64) = (800.0, 625.0);
/// Half the width of the waterways and roads between pieces, metres.
const BETWEEN_M: f64 = 12.0;

fn main() {
    let most = std::env::args().filter_map(|a| a.parse::<u32>().ok()).next().unwrap_or(u32::MAX);
    for (name, one) in [("pieces of about 50 ha", false), ("one single piece", true)] {
        println!("{name}");
        println!("{:>6} {:>7} {:>7} {:>9} {:>8} {:>7}", "ha", "pieces", "blocks", "seconds", "s/100ha", "MiB");
        for ha in SIZES_HA.into_iter().filter(|ha| *ha <= most) {
            measure(ha, one);
        }
    }
}

fn measure(ha: u32, one: bool) {
    let (site, ground, water, rates) = property(ha, one);
    let held = HELD.load(Ordering::Relaxed);
    MOST.store(held, Ordering::Relaxed);
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let began = Instant::now();
    let input = BlocksInput { site: &site, ground: Some(&ground), water: Some(&water), rates: &rates };
    let Ok(outcome) = Blocks::run(input, &BlocksParams::default(), &ctx) else { panic!("the land has room for rows") };
    let seconds = began.elapsed().as_secs_f64();
    let mib = (MOST.load(Ordering::Relaxed) - held) as f64 / f64::from(1 << 20);
    let land_ha = water.plantable.iter().map(|p| p.outline.unsigned_area()).sum::<f64>() / 1e4;
    let (pieces, blocks) = (water.plantable.len(), outcome.value.blocks.len());
    println!("{land_ha:>6.0} {pieces:>7} {blocks:>7} {seconds:>9.2} {:>8.2} {mib:>7.0}", 100.0 * seconds / land_ha);
}

/// The same numbers for ever, between -1 and 1.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// An uneven rectangle with a notch out of one corner and two ponds.
fn piece(low: Coord<f64>, (wide, high): (f64, f64), noise: &mut Noise) -> Polygon<f64> {
    let at = |x: f64, y: f64| Coord { x: low.x + x, y: low.y + y };
    let (notch_x, notch_y) = ((0.55 + 0.15 * noise.next()) * wide, (0.6 + 0.15 * noise.next()) * high);
    let corners = [(0.0, 0.0), (wide, 0.0), (wide, notch_y), (notch_x, notch_y + 20.0), (notch_x, high), (0.0, high)];
    let mut ring = Vec::new();
    for (i, (x, y)) in corners.iter().enumerate() {
        let (x1, y1) = corners[(i + 1) % corners.len()];
        for k in 0..4 {
            let share = f64::from(k) / 4.0;
            // Outlines wander inwards only, so that pieces keep apart.
            let wander = |inward: f64| inward.signum() * 4.0 * (1.0 + noise_of(x + y, k));
            let (px, py) = (x + share * (x1 - x), y + share * (y1 - y));
            ring.push(at(px + wander(wide / 2.0 - px), py + wander(high / 2.0 - py)));
        }
    }
    let mut pond = |x: f64, y: f64| -> LineString<f64> {
        let r = 10.0 + 4.0 * noise.next();
        (0..12)
            .map(|i| f64::from(i) / 12.0 * std::f64::consts::TAU)
            .map(|t| at(x + r * t.cos(), y + r * t.sin()))
            .collect()
    };
    let ponds = vec![pond(0.25 * wide, 0.4 * high), pond(0.7 * wide, 0.2 * high)];
    Polygon::new(LineString(ring), ponds)
}

fn noise_of(place: f64, k: i32) -> f64 {
    (place * 12.9898 + f64::from(k) * 78.233).sin()
}

fn property(ha: u32, one: bool) -> (Site, Ground, WaterModel, Rates) {
    let count = (ha / 50).max(1);
    let columns = f64::from(count).sqrt().ceil() as u32;
    let mut noise = Noise(0x2545_F491_4F6C_DD1D);
    let (wide, high) = PIECE_M;
    let size = if one { f64::from(ha / 50).sqrt() } else { 1.0 };
    let low = |i: u32| Coord { x: f64::from(i % columns) * wide, y: f64::from(i / columns) * high };
    let within = |c: Coord<f64>| c + Coord { x: BETWEEN_M, y: BETWEEN_M };
    let side = (wide * size - 2.0 * BETWEEN_M, high * size - 2.0 * BETWEEN_M);
    let plantable: Vec<PlantablePiece> = (0..if one { 1 } else { count })
        .map(|i| PlantablePiece { id: i + 1, parcel: 1, outline: piece(within(low(i)), side, &mut noise) })
        .collect();
    let (x, y) = if one {
        (wide * size, high * size)
    } else {
        (f64::from(columns) * wide, f64::from(count.div_ceil(columns)) * high)
    };
    let boundary = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x, y });
    let track = ExistingTrack { name: "Main".to_owned(), line: vec![(0.0, 4.0), (x, 4.0)].into(), width_m: Some(5.0) };
    let site = Site {
        name: "made".to_owned(),
        parcels: Vec::new(),
        boundary: MultiPolygon(vec![boundary.to_polygon()]),
        parcels_worked_as_one: true,
        layers: SiteLayers {
            tracks: vec![track],
            loading_place: Some(Coord { x: 20.0, y: 4.0 }),
            ..SiteLayers::default()
        },
        not_given: Vec::new(),
        crs: CrsTag { name: String::new(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None },
        geodesy: LocalGeodesy::flat(),
    };
    let ground = ground(boundary);
    let water = water(plantable, &ground);
    (site, ground, water, Rates::default())
}

fn ground(boundary: Rect<f64>) -> Ground {
    let around = Coord { x: 30.0, y: 30.0 };
    let spec = GridSpec::covering(Rect::new(boundary.min() - around, boundary.max() + around), 5.0);
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        let c = spec.centre(spec.cell(i));
        let z = 40.0 - 0.0012 * c.x + 0.0009 * c.y + 0.2 * (c.x / 90.0).sin() * (c.y / 110.0).cos();
        raster.values[i] = z as f32;
    }
    let accuracy = AccuracyStatement {
        vertical_sigma_m: 0.02,
        basis: String::new(),
        known: true,
        control_shift_m: None,
        control_sd_m: None,
    };
    let model = ElevationModel(raster);
    Ground {
        surveyed: model.clone(),
        concept: model,
        smoothed_over_m: 0.0,
        beds_mean_m: 0.0,
        accuracy,
        point_density: None,
    }
}

fn water(plantable: Vec<PlantablePiece>, ground: &Ground) -> WaterModel {
    // A drain can be had 60 cm below the ground anywhere.
    let mut level = ground.concept.0.clone();
    level.values.iter_mut().for_each(|z| *z -= 0.6);
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 1.0, rows: 1, cols: 1 };
    WaterModel {
        drainage_lines: Vec::new(),
        ponds: Vec::new(),
        pond_depth: Raster::empty(spec, 0.0),
        inflows: Vec::new(),
        outflows: Vec::new(),
        outflow_of: Raster::empty(spec, 0),
        outlets: Vec::new(),
        reach: DrainReach { level, outlet: Raster::empty(spec, 0) },
        buffers: Vec::new(),
        no_rows: MultiPolygon(Vec::new()),
        plantable,
    }
}
