//! Layouts whose answer is known beforehand.

use super::*;
use crate::grid::{GridSpec, Raster};
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::site::SiteLayers;
use crate::land::survey::{AccuracyStatement, ElevationModel};
use crate::stages::Silent;
use crate::units::M2_PER_HA;
use geo::{Coord, Intersects, MultiPolygon, Rect, polygon};
use std::sync::atomic::AtomicBool;

fn site(blocks: Vec<crate::land::site::GivenBlock>) -> Site {
    Site {
        name: "test".to_owned(),
        parcels: Vec::new(),
        boundary: MultiPolygon(Vec::new()),
        parcels_worked_as_one: true,
        layers: SiteLayers { given_blocks: blocks, ..SiteLayers::default() },
        not_given: Vec::new(),
        crs: CrsTag { name: String::new(), epsg: None, wkt: String::new(), vertical_name: None, vertical_epsg: None },
        geodesy: LocalGeodesy::flat(),
    }
}

fn ground(fall_east: f64, fall_north: f64) -> Ground {
    let spec = GridSpec { north_west: Coord { x: -50.0, y: 1_050.0 }, cell_m: 5.0, rows: 220, cols: 300 };
    let mut raster = Raster::filled(spec, 0.0_f32);
    for i in 0..spec.len() {
        let at = spec.centre(spec.cell(i));
        raster.values[i] = (10.0 - fall_east * at.x - fall_north * at.y) as f32;
    }
    ground_of(raster)
}

fn ground_of(raster: Raster<f32>) -> Ground {
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

fn water(outline: Polygon<f64>) -> WaterModel {
    let spec = GridSpec { north_west: Coord { x: 0.0, y: 0.0 }, cell_m: 1.0, rows: 1, cols: 1 };
    WaterModel {
        drainage_lines: Vec::new(),
        ponds: Vec::new(),
        pond_depth: Raster::empty(spec, 0.0),
        inflows: Vec::new(),
        outflows: Vec::new(),
        outflow_of: Raster::empty(spec, 0),
        outlets: Vec::new(),
        reach: crate::land::water::DrainReach { level: Raster::empty(spec, 0.0), outlet: Raster::empty(spec, 0) },
        buffers: Vec::new(),
        no_rows: MultiPolygon(Vec::new()),
        plantable: vec![PlantablePiece { id: 1, parcel: 0, outline }],
    }
}

fn plan(outline: Polygon<f64>, ground: &Ground, params: &BlocksParams) -> BlockPlan {
    let (site, water, rates) = (site(Vec::new()), water(outline), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let input = BlocksInput { site: &site, ground: Some(ground), water: Some(&water), rates: &rates };
    let plan = Blocks::run(input, params, &ctx).unwrap().value;
    sound(&plan, &water.plantable[0].outline);
    plan
}

/// No two blocks overlap, every row lies on its block's cropped land, inside the plantable land and out of its holes, rows of
/// a block stand whole spacings apart.
fn sound(plan: &BlockPlan, land: &Polygon<f64>) {
    for (i, a) in plan.blocks.iter().enumerate() {
        for b in &plan.blocks[i + 1..] {
            let shared = crate::methods::shapes::intersection(&a.outline, &b.outline, 1.0).unsigned_area();
            assert!(shared < 1.0, "blocks {} and {} overlap by {shared} m2", a.name, b.name);
        }
        let first = &a.rows[0];
        for row in &a.rows {
            let middle = geo::Point(row.middle());
            assert!(a.cropped.intersects(&middle), "row {} of block {} is off its land", row.number, a.name);
            assert!(geo::Contains::contains(land, &row.line), "row {} of block {} leaves the land", row.number, a.name);
            let frame = crate::stages::row_frame::through(a, first.high_end());
            let across = |row: &crate::land::blocks::Row| frame.enter(row.high_end()).across_m;
            let spacings = (across(row) - across(first)) / a.row_spacing_m;
            let off_m = (spacings - spacings.round()).abs() * a.row_spacing_m;
            assert!(off_m < 1e-3, "row {} of block {} is {off_m} m off its place", row.number, a.name);
        }
    }
}

fn rectangle(width: f64, height: f64) -> Polygon<f64> {
    Rect::new(Coord { x: 0.0, y: 0.0 }, Coord { x: width, y: height }).to_polygon()
}

#[test]
fn rows_follow_the_long_side_when_it_falls() {
    let plan = plan(rectangle(600.0, 250.0), &ground(0.0015, 0.0), &BlocksParams::default());
    assert_eq!(plan.blocks.len(), 1);
    let block = &plan.blocks[0];
    assert!((block.bearing.degrees() - 90.0).abs() < 1.5, "{}", block.bearing.degrees());
    // Rows of 600 m less two turning headlands of 8 m; as many as fit between side headlands of 5 m at 1.83 m.
    assert!(block.rows.iter().all(|r| (r.length_m - 584.0).abs() < 2.0));
    assert!((block.rows.len() as f64 - 240.0 / 1.83).abs() < 2.0);
    let fall = block.rows[0].fall.unwrap();
    assert!((fall.mean.percent() - 0.15).abs() < 0.01 && fall.reverse_depth_m < 1e-3);
    assert!(plan.rows_lower_bound <= block.rows.len() as f64);
}

#[test]
fn rows_run_downhill() {
    let block = &plan(rectangle(600.0, 250.0), &ground(-0.0015, 0.0), &BlocksParams::default()).blocks[0];
    assert!((block.bearing.degrees() - 270.0).abs() < 1.5);
    assert!(block.rows.iter().all(|r| r.high_end().x > r.low_end().x));
}

#[test]
fn an_l_is_cut_into_two_rectangles() {
    // Falls both ways, so that neither leg is bought with earth.
    let l = polygon![(x: 0.0, y: 0.0), (x: 900.0, y: 0.0), (x: 900.0, y: 200.0), (x: 200.0, y: 200.0), (x: 200.0, y: 800.0), (x: 0.0, y: 800.0)];
    let plan = plan(l, &ground(0.0012, 0.0012), &BlocksParams { max_row_length_m: 1_000.0, ..BlocksParams::default() });
    assert!(plan.blocks.len() >= 2, "{} block(s)", plan.blocks.len());
    let mean = plan.blocks.iter().map(RowBlock::row_metres).sum::<f64>()
        / plan.blocks.iter().map(|b| b.rows.len()).sum::<usize>() as f64;
    assert!(mean > 450.0, "mean row {mean}");
}

#[test]
fn long_rows_are_cut() {
    let params = BlocksParams { max_row_length_m: 400.0, ..BlocksParams::default() };
    let plan = plan(rectangle(900.0, 250.0), &ground(0.0015, 0.0), &params);
    assert!(plan.blocks.len() >= 3);
    assert!(plan.blocks.iter().flat_map(|b| &b.rows).all(|r| r.length_m <= 400.0 + 1e-6));
}

#[test]
fn large_blocks_are_cut_along_the_rows() {
    let params = BlocksParams { max_block_ha: 10.0, ..BlocksParams::default() };
    let plan = plan(rectangle(700.0, 500.0), &ground(0.0015, 0.0), &params);
    assert!(plan.blocks.iter().all(|b| b.outline.unsigned_area() <= 10.5 * M2_PER_HA));
    assert!(plan.blocks.iter().all(|b| b.rows[0].length_m > 600.0));
}

#[test]
fn no_room_is_no_design() {
    let (site, water, rates) = (site(Vec::new()), water(rectangle(40.0, 40.0)), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let problems = Blocks::run(
        BlocksInput { site: &site, ground: None, water: Some(&water), rates: &rates },
        &BlocksParams::default(),
        &ctx,
    )
    .unwrap_err();
    assert_eq!((problems.0[0].code.as_str(), problems.0[0].kind), ("no_room_for_a_row", ProblemKind::NoDesign));
}

#[test]
fn given_blocks_are_taken_as_they_are() {
    let given = crate::land::site::GivenBlock {
        name: "12A".to_owned(),
        outline: rectangle(300.0, 200.0),
        bearing_deg: Some(270.0),
    };
    let (site, rates) = (site(vec![given]), Rates::default());
    let cancel = AtomicBool::new(false);
    let ctx = Ctx { progress: &Silent, cancel: &cancel };
    let plan = Blocks::run(
        BlocksInput { site: &site, ground: None, water: None, rates: &rates },
        &BlocksParams::default(),
        &ctx,
    )
    .unwrap()
    .value;
    let block = &plan.blocks[0];
    assert!(block.given && block.name == "12A");
    assert!((block.bearing.degrees() - 270.0).abs() < 1e-9 && block.rows[0].high_end().x > block.rows[0].low_end().x);
    assert_eq!(block.outline, rectangle(300.0, 200.0));
}

mod access;
mod bad;
mod curved;
mod decides;
mod fields;
mod shapes;
mod turned;
