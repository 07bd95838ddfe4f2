//! The layers that come with the ground: what stands, runs and grows on the demo property.

use std::error::Error;

use gdal::vector::Geometry;

use crate::ground::{Ground, outlet_creek_level_m, outlet_east_level_m};
use crate::layout::{self, Place};
use crate::random::SplitMix64;
use crate::write::{self, Heights, Table, Value, outer_rings, real, text};
use crate::{LINE, POINT, POLYGON, SEED, path, shape};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Every layer, in the order in which they stand in the file.
pub fn tables(ground: &Ground, heights: &Heights) -> Result<Vec<Table>> {
    Ok(vec![
        waterways()?,
        keep_areas()?,
        power_lines()?,
        tracks()?,
        old_tree_rows(ground)?,
        outlets()?,
        topsoil()?,
        control_points(heights)?,
        buried_services()?,
        loading_places()?,
    ])
}

fn waterways() -> Result<Table> {
    let row = |line: Vec<Place>, name, kind, order, width_m, depth_m| -> Result<(Geometry, Vec<Value>)> {
        Ok((path(&line)?, vec![text(name), text(kind), Value::Whole(Some(order)), real(width_m), real(depth_m)]))
    };
    Ok(Table {
        name: "waterway",
        kind: LINE,
        columns: &["name", "kind", "order", "width_m", "depth_m"],
        rows: vec![
            row(layout::creek(), "Quillory Creek", "creek", 3, 15.0, 2.6)?,
            row(layout::tributary(), "Pembrin Gully", "tributary", 2, 9.0, 1.8)?,
        ],
    })
}

fn keep_areas() -> Result<Table> {
    let row = |ring: Vec<Place>, name, reason| -> Result<(Geometry, Vec<Value>)> {
        Ok((shape(&ring)?, vec![text(name), text(reason)]))
    };
    Ok(Table {
        name: "keep_area",
        kind: POLYGON,
        columns: &["name", "reason"],
        rows: vec![
            row(layout::remnant(0.0, 1068.0), "Creek trees west", "remnant vegetation")?,
            row(layout::remnant(1118.0, layout::LENGTH_M), "Creek trees east", "remnant vegetation")?,
            row(layout::lagoon_edge(14.0), "Spoonbill Lagoon", "wetland")?,
            row(layout::heritage(), "Old hut and well", "heritage site")?,
        ],
    })
}

fn power_lines() -> Result<Table> {
    Ok(Table {
        name: "power_line",
        kind: LINE,
        columns: &["name", "voltage_kv", "clearance_height_m", "easement_width_m"],
        rows: vec![(path(&layout::power_line())?, vec![text("Oskerry feeder"), real(66.0), real(7.5), real(30.0)])],
    })
}

fn tracks() -> Result<Table> {
    let columns = |name: &str, kind, surface, width_m| vec![text(name), text(kind), text(surface), real(width_m)];
    let mut rows = vec![(path(&layout::road())?, columns("Oskerry Road", "road", "sealed", 7.0))];
    for (name, width_m, line) in layout::farm_tracks() {
        rows.push((path(&line)?, columns(name, "farm track", "earth", width_m)));
    }
    Ok(Table { name: "track", kind: LINE, columns: &["name", "kind", "surface", "width_m"], rows })
}

/// Every tenth bed, cut where planting stopped; the others lie between at the same spacing.
fn old_tree_rows(ground: &Ground) -> Result<Table> {
    const EVERY: i32 = 10;
    const SHORTEST_M: f64 = 30.0;
    let bearing_deg = layout::AXIS_BEARING_DEG - layout::BED_ANGLE_DEG;
    let mut rows = Vec::new();
    for bed in -100..=90 {
        let across = f64::from(bed * EVERY) * layout::BED_SPACING_M;
        let mut start = None;
        for along in (-400..2200).map(f64::from) {
            match (ground.planted(layout::from_bed_frame((across, along))), start) {
                (true, None) => start = Some(along),
                (false, Some(from)) => {
                    let length_m = along - 1.0 - from;
                    if length_m >= SHORTEST_M {
                        let ends = [(across, from), (across, along - 1.0)].map(layout::from_bed_frame);
                        rows.push((path(&ends)?, vec![real(layout::BED_SPACING_M), real(bearing_deg), real(length_m)]));
                    }
                    start = None;
                }
                _ => {}
            }
        }
    }
    Ok(Table { name: "old_tree_row", kind: LINE, columns: &["spacing_m", "bearing_deg", "length_m"], rows })
}

fn outlets() -> Result<Table> {
    let row = |place: Place, name, receives, level_m: f64, tailwater_m: f64| -> Result<(Geometry, Vec<Value>)> {
        let levels = [level_m, tailwater_m].map(|level| real((level * 100.0).round() / 100.0));
        let [level, tailwater] = levels;
        Ok((write::point(layout::to_grid(place))?, vec![text(name), text(receives), level, tailwater]))
    };
    let (creek_m, east_m) = (outlet_creek_level_m(), outlet_east_level_m());
    Ok(Table {
        name: "outlet",
        kind: POINT,
        columns: &["name", "receives", "level_m", "tailwater_m"],
        rows: vec![
            row(layout::OUTLET_CREEK, "Swale mouth", "Quillory Creek", creek_m, creek_m - 0.35)?,
            row(layout::OUTLET_EAST, "East boundary", "neighbour's drain", east_m, east_m + 0.15)?,
        ],
    })
}

/// Zones that share out the property: each takes what the ones before it have left.
fn topsoil() -> Result<Table> {
    let swale = path(&layout::swale())?.buffer(45.0, 8)?;
    let valley: Vec<Place> = (-2..=40).map(|i| f64::from(i) * 45.0).map(|u| (u, layout::valley_v(u))).collect();
    let levee = path(&valley)?.buffer(115.0, 8)?;
    let scald =
        shape(&[(1290.0, 470.0), (1420.0, 420.0), (1560.0, 455.0), (1600.0, 560.0), (1480.0, 630.0), (1330.0, 590.0)])?;
    let west = shape(&[
        (-50.0, -50.0),
        (1092.0, -50.0),
        (1080.0, 215.0),
        (955.0, 470.0),
        (655.0, 735.0),
        (590.0, 1000.0),
        (-50.0, 1000.0),
    ])?;
    let everything = shape(&[(-200.0, -200.0), (2000.0, -200.0), (2000.0, 1200.0), (-200.0, 1200.0)])?;
    let zones = [
        ("swale clay", 220.0, swale),
        ("levee loam", 350.0, levee),
        ("scald", 150.0, scald),
        ("western flat", 280.0, west),
        ("eastern flat", 240.0, everything),
    ];
    let mut left = shape(&layout::boundary())?;
    let mut rows = Vec::new();
    for (name, depth_mm, zone) in zones {
        let taken = left.intersection(&zone).ok_or("a topsoil zone could not be cut out")?;
        left = left.difference(&zone).ok_or("a topsoil zone could not be taken off")?;
        for ring in outer_rings(&taken, 1.0) {
            rows.push((write::polygon(&ring)?, vec![text(name), real(depth_mm)]));
        }
    }
    Ok(Table { name: "topsoil", kind: POLYGON, columns: &["name", "depth_mm"], rows })
}

/// Marks levelled independently of the air survey: its heights with an error of their own.
fn control_points(heights: &Heights) -> Result<Table> {
    let mut random = SplitMix64::new(SEED ^ 0xC0A7);
    let places = [(905.0, 896.0), (1600.0, 902.0), (352.0, 200.0), (760.0, 700.0), (985.0, 176.0), (1252.0, 690.0)];
    let mut rows = Vec::new();
    for (index, place) in places.into_iter().map(layout::to_grid).enumerate() {
        let height_m = ((heights.at(place) + 0.012 * random.normal()) * 1000.0).round() / 1000.0;
        rows.push((write::point(place)?, vec![text(&format!("MF{}", index + 1)), real(height_m), real(0.01)]));
    }
    Ok(Table { name: "control_point", kind: POINT, columns: &["name", "height_m", "accuracy_m"], rows })
}

fn buried_services() -> Result<Table> {
    Ok(Table {
        name: "buried_service",
        kind: LINE,
        columns: &["name", "kind", "cover_m", "diameter_mm"],
        rows: vec![(
            path(&layout::water_pipe())?,
            vec![text("Trough pipe"), text("water pipe"), real(0.6), real(63.0)],
        )],
    })
}

fn loading_places() -> Result<Table> {
    let row = (write::point(layout::to_grid(layout::LOADING_PLACE))?, vec![text("Oskerry Road pad"), real(0.3)]);
    Ok(Table { name: "loading_place", kind: POINT, columns: &["name", "area_ha"], rows: vec![row] })
}
