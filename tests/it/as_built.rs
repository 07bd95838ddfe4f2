//! A finished ground against its design: rows, volumes and the verdict.

use geo::{Coord, LineString};
use rowfall::grid::{Cell, GridSpec, Raster};
use rowfall::land::as_built::Tolerances;
use rowfall::land::geodesy::{CrsTag, LocalGeodesy};
use rowfall::land::site::SiteLayers;
use rowfall::land::survey::{ElevationModel, RawElevation, RawSurvey};
use rowfall::pipeline::compare::compare;

/// Two rows on a made-up finished ground: one falls evenly, one has a hollow of 80 mm (by hand).
#[test]
fn a_hollow_in_a_row_is_found_and_not_accepted() {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 100.0 }, cell_m: 1.0, cols: 100, rows: 100 };
    let flat = |x: f64| 10.0 - 0.002 * x;
    let mut design = Raster::empty(spec, 0.0_f32);
    let mut built = Raster::empty(spec, 0.0_f32);
    for row in 0..100 {
        for col in 0..100 {
            let cell = Cell::new(row, col);
            let at = spec.centre(cell);
            // Ten metres long, 80 mm below the design: water stands nearly that deep at its lower end before it runs on.
            let hollow = if at.y > 60.0 && (45.0..55.0).contains(&at.x) { 0.08 } else { 0.0 };
            design.set(cell, flat(at.x) as f32);
            built.set(cell, (flat(at.x) - hollow) as f32);
        }
    }
    let line = |y: f64| LineString(vec![Coord { x: 2.0, y }, Coord { x: 98.0, y }]);
    let raw = RawSurvey {
        parcels: Vec::new(),
        elevation: Some(RawElevation::Raster { heights: built, handling: String::new() }),
        more_elevation: Vec::new(),
        breaklines: Vec::new(),
        layers: SiteLayers { old_tree_rows: vec![line(30.5), line(80.5)], ..SiteLayers::default() },
        not_given: Vec::new(),
        given_surface: Some(ElevationModel(design)),
        crs: CrsTag { name: String::new(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None },
        geodesy: LocalGeodesy::flat(),
    };
    let limits = Tolerances { within_25_mm_min_pct: 90.0, within_50_mm_min_pct: 90.0, ..Tolerances::default() };
    let found = compare(&raw, &["even".to_owned(), "hollow".to_owned()], &limits).unwrap();
    assert!(!found.accepted);
    let reversed: Vec<(&str, f64)> = found.reversed(&limits).collect();
    assert_eq!(reversed.len(), 1);
    assert_eq!(reversed[0].0, "hollow");
    // Heights are taken every few metres, so the deepest place may be missed by a step of the fall.
    assert!((0.07..=0.08).contains(&reversed[0].1), "{reversed:?}");
    assert!((found.rows[0].fall_mean_pct.unwrap() - 0.2).abs() < 0.01);
    // 40 rows of 10 cells of 10,000 are 80 mm low: 4 %, and 32 m3 to fill.
    assert!((found.difference.within_50_mm_ratio - 0.96).abs() < 1e-9);
    assert!((found.difference.too_low_m3 - 32.0).abs() < 0.1);
    let kind = Tolerances { reverse_max_mm: 100.0, ..limits };
    assert!(compare(&raw, &[], &kind).unwrap().accepted);
}
