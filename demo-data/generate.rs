//! Makes the demo property. Run `cargo run --example generate_demo`; it writes beside this file, the same bytes each time.

#[path = "generate/ground.rs"]
mod ground;
#[path = "generate/layout.rs"]
mod layout;
#[path = "generate/random.rs"]
mod random;
#[path = "generate/site.rs"]
mod site;
#[path = "generate/write.rs"]
mod write;

use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Geometry, OGRwkbGeometryType};

use ground::Ground;
use layout::Place;
use random::SplitMix64;
use write::Heights;

/// Everything random comes from this number.
const SEED: u64 = 20_260_314;
/// The date that GeoPackage demands; fixed so that the file does not change.
const DATE: &str = "2026-03-14T00:00:00.000Z";
/// Ground outside the boundary that is surveyed too, so that inflow can be seen.
const MARGIN_M: f64 = 70.0;
/// Standard deviation of a cell's height.
const CELL_NOISE_M: f64 = 0.012;
/// Heights are kept in steps of 1/256 m: a power of two leaves the low bits of a float empty, which packs well.
const STEPS_PER_METRE: f64 = 256.0;

fn main() -> Result<(), Box<dyn Error>> {
    gdal::config::set_config_option("OGR_CURRENT_DATE", DATE)?;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let plan = SpatialRef::from_epsg(7856)?;
    let plan_and_height = SpatialRef::from_definition("EPSG:7856+5711")?;

    let ground = Ground::new(SEED);
    let heights = survey_by_air(&ground);
    write::geotiff(&folder.join("ground.tif"), &plan_and_height, &heights)?;

    let boundary: Vec<Place> = layout::boundary().into_iter().map(layout::to_grid).collect();
    write::geojson_parcel(&folder.join("boundary.geojson"), &plan, "Marlowen Flat", &boundary)?;
    write::geopackage(&folder.join("site.gpkg"), &plan, site::tables(&ground, &heights)?)?;

    let paddock: Vec<Place> = rtk_paddock().into_iter().map(layout::to_grid).collect();
    write::geojson_parcel(&folder.join("rtk_boundary.geojson"), &plan, "Hut corner", &paddock)?;
    fs::write(folder.join("rtk_corner.csv"), survey_by_rtk(&ground)?)?;
    Ok(())
}

/// Heights of the property and its margin on cells of 1 m, with the noise of an airborne survey.
fn survey_by_air(ground: &Ground) -> Heights {
    let corners: Vec<Place> = layout::boundary().into_iter().map(layout::to_grid).collect();
    let edge =
        |pick: fn(&Place) -> f64, better: fn(f64, f64) -> f64| corners.iter().map(pick).reduce(better).unwrap_or(0.0);
    let down = |value: f64| ((value - MARGIN_M) / 10.0).floor() * 10.0;
    let up = |value: f64| ((value + MARGIN_M) / 10.0).ceil() * 10.0;
    let (west, south) = (down(edge(|p| p.0, f64::min)), down(edge(|p| p.1, f64::min)));
    let (east, north) = (up(edge(|p| p.0, f64::max)), up(edge(|p| p.1, f64::max)));
    let (columns, rows) = ((east - west) as usize, (north - south) as usize);

    let mut random = SplitMix64::new(SEED);
    let mut values = Vec::with_capacity(columns * rows);
    for row in 0..rows {
        for column in 0..columns {
            let centre = (west + column as f64 + 0.5, north - row as f64 - 0.5);
            let height_m = ground.height_m(layout::from_grid(centre)) + CELL_NOISE_M * random.normal();
            values.push(((height_m * STEPS_PER_METRE).round() / STEPS_PER_METRE) as f32);
        }
    }
    Heights { west, north, cell_m: 1.0, columns, rows, values }
}

/// The paddock round the old hut that was also surveyed on foot; it runs as a property of its own.
fn rtk_paddock() -> Vec<Place> {
    vec![(1440.0, 640.0), (1690.0, 655.0), (1684.0, 842.0), (1580.0, 856.0), (1446.0, 780.0)]
}

/// A walk over the paddock and 20 m around it: lines about 10 m apart in the hollows between the beds.
fn survey_by_rtk(ground: &Ground) -> Result<String, Box<dyn Error>> {
    let mut random = SplitMix64::new(SEED ^ 0x0712);
    let paddock = rtk_paddock();
    let mut fence = paddock.clone();
    fence.push(paddock[0]);
    let covered = |p: Place| layout::inside(&paddock, p) || layout::nearest(&fence, p).0 < 20.0;

    let frame: Vec<Place> = paddock.iter().map(|&p| layout::bed_frame(p)).collect();
    let least = frame.iter().copied().fold((f64::INFINITY, f64::INFINITY), |a, b| (a.0.min(b.0), a.1.min(b.1)));
    let most = frame.iter().copied().fold((f64::NEG_INFINITY, f64::NEG_INFINITY), |a, b| (a.0.max(b.0), a.1.max(b.1)));

    let mut csv = String::from("point,easting,northing,elevation,code,fix,vrms\n");
    let mut number = 0;
    let mut swath = least.0 - 30.0;
    while swath < most.0 + 30.0 {
        let hollow = ((swath / layout::BED_SPACING_M).floor() + 0.5) * layout::BED_SPACING_M;
        let mut along = least.1 - 30.0;
        while along < most.1 + 30.0 {
            let p = layout::from_bed_frame((hollow + 0.25 * random.normal(), along + random.between(-0.5, 0.5)));
            if covered(p) {
                number += 1;
                let floats = random.uniform() < 0.012;
                let (fix, noise_m) = if floats { ("float", 0.18) } else { ("fixed", 0.015) };
                let vrms_m = noise_m * random.between(0.8, 1.5);
                let height_m = ground.height_m(p) + noise_m * random.normal();
                let (easting, northing) = layout::to_grid(p);
                writeln!(csv, "{number},{easting:.3},{northing:.3},{height_m:.3},ground,{fix},{vrms_m:.3}")?;
            }
            along += 4.6;
        }
        swath += 10.0;
    }
    Ok(csv)
}

/// A closed shape from places in the property's frame.
fn shape(ring: &[Place]) -> Result<Geometry, Box<dyn Error>> {
    let places: Vec<Place> = ring.iter().copied().map(layout::to_grid).collect();
    write::polygon(&places)
}

/// A line from places in the property's frame.
fn path(places: &[Place]) -> Result<Geometry, Box<dyn Error>> {
    let places: Vec<Place> = places.iter().copied().map(layout::to_grid).collect();
    write::line(&places)
}

/// The kinds of geometry that the layers have.
const POINT: OGRwkbGeometryType::Type = OGRwkbGeometryType::wkbPoint;
const LINE: OGRwkbGeometryType::Type = OGRwkbGeometryType::wkbLineString;
const POLYGON: OGRwkbGeometryType::Type = OGRwkbGeometryType::wkbPolygon;
