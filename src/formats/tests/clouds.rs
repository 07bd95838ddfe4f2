//! Point clouds against what laspy reads from the same files, and broken files that must give a problem.
//!
//! Oracle: `fixtures/clouds/expected.json`, written by laspy 2.7.0 with lazrs 0.8.2 (`fixtures/clouds/make.py`).

use crate::finding::Problem;
use crate::formats::height_units::US_FOOT_M;
use crate::formats::las_in;
use crate::formats::open::Source;
use crate::formats::points_in::Points;
use geo::{Coord, Rect};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/clouds")
}

fn expected(name: &str) -> Value {
    let text = std::fs::read_to_string(folder().join("expected.json")).unwrap();
    serde_json::from_str::<Value>(&text).unwrap()[name].take()
}

fn read(folder: &Path, name: &str, clip: Option<Rect<f64>>) -> Result<Points, Problem> {
    las_in::read(&Source::find(folder, "elevation", name)?, None, None, |_| clip)
}

/// The ground points agree one by one with laspy's, in count, order, place and height (`metres` a unit of height).
fn agrees(points: &Points, want: &Value, metres: f64) {
    assert_eq!(points.points.len() as u64, want["ground"].as_u64().unwrap());
    for sample in want["samples"].as_array().unwrap() {
        let p = &points.points[sample[0].as_u64().unwrap() as usize];
        assert!(
            (p.at.x - sample[1].as_f64().unwrap()).abs() < 1e-6 && (p.at.y - sample[2].as_f64().unwrap()).abs() < 1e-6
        );
        assert!((p.height_m - metres * sample[3].as_f64().unwrap()).abs() < 1e-9, "{p:?} {sample}");
    }
    let mean = points.points.iter().map(|p| p.height_m).sum::<f64>() / points.points.len() as f64;
    assert!((mean - metres * want["mean"][2].as_f64().unwrap()).abs() < 1e-9);
}

#[test]
fn compressed_cloud_with_flags_and_wkt_reads_as_laspy_reads_it() {
    let points = read(&folder(), "modern.laz", None).unwrap();
    agrees(&points, &expected("modern.laz"), 1.0);
    assert_eq!(crate::formats::crs::epsg(&points.crs), Some(7856));
    assert_eq!((points.heights.name.as_deref(), points.heights.epsg), (Some("AHD height"), Some(5711)));
    // What is not ground, or flagged, stands a metre above the plane.
    for p in &points.points {
        let plane = 50.0 + 0.002 * (p.at.x - 372_000.0) - 0.001 * (p.at.y - 7_812_000.0);
        assert!((p.height_m - plane).abs() < 0.0006, "{p:?}");
    }
    assert_eq!(points.points[0].swath, Some(100));
    // Of 900 points 53 carry each flag, whatever their class; see make.py.
    assert!(points.notes.iter().any(|n| n.contains("53 withheld, 53 overlap, 53 synthetic")), "{:?}", points.notes);
}

#[test]
fn old_cloud_with_keys_and_us_feet_reads_as_laspy_reads_it() {
    let points = read(&folder(), "old_feet.las", None).unwrap();
    agrees(&points, &expected("old_feet.las"), US_FOOT_M);
    assert_eq!(crate::formats::crs::epsg(&points.crs), Some(2236));
    assert!(points.notes.iter().any(|n| n.contains("US survey feet")));
}

#[test]
fn only_points_by_the_property_are_kept() {
    let near = Rect::new(Coord { x: 372_000.0, y: 7_812_000.0 }, Coord { x: 372_100.0, y: 7_812_100.0 });
    let points = read(&folder(), "modern.laz", Some(near)).unwrap();
    assert!(points.points.len() > 40 && points.points.iter().all(|p| p.at.x <= 372_100.0 && p.at.y <= 7_812_100.0));
    let far = Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: 1.0, y: 1.0 });
    assert_eq!(read(&folder(), "modern.laz", Some(far)).err().unwrap().code, "points_outside_boundary");
}

/// Reads a changed copy of a fixture.
fn changed(name: &str, change: impl FnOnce(&mut Vec<u8>)) -> Result<Points, Problem> {
    let place = tempfile::tempdir().unwrap();
    let mut bytes = std::fs::read(folder().join(name)).unwrap();
    change(&mut bytes);
    std::fs::write(place.path().join(name), bytes).unwrap();
    read(place.path(), name, None)
}

#[test]
fn files_cut_short_are_refused() {
    for name in ["modern.laz", "old_feet.las"] {
        let whole = std::fs::metadata(folder().join(name)).unwrap().len() as usize;
        for keep in [0, 3, 100, 226, 300, whole / 2, whole - 40] {
            let problem = changed(name, |b| b.truncate(keep)).err().unwrap_or_else(|| panic!("{name} cut to {keep}"));
            assert_eq!(problem.code, "file_unreadable", "{name} cut to {keep}: {problem}");
        }
    }
}

#[test]
fn counts_beyond_the_file_are_refused() {
    // Offsets of LAS 1.4 table 3: points 247 (u64), record length 105 (u16), offset to points 96 (u32), extended records
    // 235 (place, u64) and 243 (count, u32); of version 1.2: points 107 (u32).
    let put = |at: usize, value: u64, n: usize| {
        move |b: &mut Vec<u8>| b[at..at + n].copy_from_slice(&value.to_le_bytes()[..n])
    };
    let cases: [(&str, Result<Points, Problem>); 7] = [
        ("points", changed("old_feet.las", put(107, u64::from(u32::MAX), 4))),
        ("one point", changed("old_feet.las", put(107, 101, 4))),
        ("record", changed("old_feet.las", put(105, 65_535, 2))),
        ("start", changed("old_feet.las", put(96, 4_000_000_000, 4))),
        ("header", changed("old_feet.las", put(94, 10, 2))),
        (
            "extended record",
            changed("modern.laz", |b| {
                b[243..247].copy_from_slice(&1_u32.to_le_bytes());
                b[235..243].copy_from_slice(&(1_u64 << 60).to_le_bytes());
            }),
        ),
        ("signature", changed("modern.laz", put(0, 0, 4))),
    ];
    for (what, result) in cases {
        assert_eq!(result.err().unwrap_or_else(|| panic!("{what} was read")).code, "file_unreadable", "{what}");
    }
    // A compressed file that counts more points than it holds breaks off while it is read.
    let problem = changed("modern.laz", put(247, 1 << 50, 8)).err().unwrap();
    assert_eq!(problem.code, "file_unreadable");
}

#[test]
fn no_broken_byte_gets_further_than_a_problem() {
    // Every header byte and every 31st byte behind it, set to two values: read or refused, never a crash.
    for name in ["modern.laz", "old_feet.las"] {
        let len = std::fs::metadata(folder().join(name)).unwrap().len() as usize;
        for at in (0..375).chain((375..len).step_by(31)).filter(|at| *at < len) {
            for value in [0x00, 0xff] {
                if let Ok(points) = changed(name, |b| b[at] = value) {
                    assert!(points.points.iter().all(|p| p.height_m.is_finite() && p.at.x.is_finite()));
                }
            }
        }
    }
}

#[test]
fn a_cloud_without_ground_or_system_is_refused() {
    // The class byte of format 1 lies 15 bytes into a record of 28; all are made "never classified".
    let start = |b: &[u8]| u32::from_le_bytes([b[96], b[97], b[98], b[99]]) as usize;
    let problem = changed("old_feet.las", |b| {
        for at in (start(b) + 15..b.len()).step_by(28) {
            b[at] = 0;
        }
    });
    let problem = problem.err().unwrap();
    assert_eq!(problem.code, "no_ground_points");
    assert!(
        problem.message.contains("99 never classified, 1 withheld") || problem.message.contains("100 never"),
        "{problem}"
    );
    // Without the record of keys (its user id is blanked) the file says nothing about its system.
    let problem = changed("old_feet.las", |b| b[229..245].fill(b'x')).err().unwrap();
    assert_eq!(problem.code, "no_crs");
}
