//! A small made-up farm with three blocks: everything the documents need, all numbers invented.

use super::farm_drains::drains;
use crate::finding::{Finding, Place, Severity};
use crate::grid::{GridSpec, Raster};
use crate::land::blocks::*;
use crate::land::clearing::*;
use crate::land::costing::*;
use crate::land::drains::DrainPlan;
use crate::land::erosion::*;
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::guidance::*;
use crate::land::levelling::*;
use crate::land::program::*;
use crate::land::set_out::SetOutTable;
use crate::land::site::*;
use crate::land::site_table::SiteTable;
use crate::land::survey::*;
use crate::land::water::*;
use crate::publish::Assumption;
use crate::units::{Bearing, Range, Slope};
use geo::{Coord, LineString, MultiPolygon, Polygon, coord};

/// Owned parts of the results.
pub struct Farm {
    pub table: SiteTable,
    pub site: Site,
    pub set_out: SetOutTable,
    pub ground: Ground,
    pub water: WaterModel,
    pub blocks: BlockPlan,
    pub levelling: LevellingPlan,
    pub drains: DrainPlan,
    pub clearing: ClearingPlan,
    pub erosion: ErosionReport,
    pub program: Program,
    pub costing: Costing,
    pub guidance: GuidancePlan,
    pub findings: Vec<Finding>,
    pub assumptions: Vec<Assumption>,
}

/// Corner of the farm, working metres.
const EAST: f64 = 500_000.0;
const NORTH: f64 = 7_000_000.0;

pub(super) fn at(x: f64, y: f64) -> Coord<f64> {
    coord! { x: EAST + x, y: NORTH + y }
}
pub(super) fn line(points: &[(f64, f64)]) -> LineString<f64> {
    LineString(points.iter().map(|p| at(p.0, p.1)).collect())
}
fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> Polygon<f64> {
    Polygon::new(line(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]), vec![])
}
fn multi(p: Polygon<f64>) -> MultiPolygon<f64> {
    MultiPolygon(vec![p])
}
fn range(x: f64) -> Range {
    Range::new(0.8 * x, x, 1.3 * x)
}
fn raster(f: impl Fn(Coord<f64>) -> Option<f64>) -> Raster<f32> {
    let spec = GridSpec { north_west: at(0.0, 600.0), cell_m: 5.0, rows: 120, cols: 160 };
    let mut r = Raster::empty(spec, 0.0);
    for i in 0..spec.len() {
        let cell = spec.cell(i);
        if let Some(v) = f(spec.centre(cell)) {
            r.set(cell, v as f32);
        }
    }
    r
}
fn height(p: Coord<f64>) -> f64 {
    let (x, y) = (p.x - EAST, p.y - NORTH);
    20.0 + 0.002 * y - 0.0005 * x + 0.25 * (x / 60.0).sin() * (y / 70.0).cos()
}
fn fall(pct: f64, reverse_depth_m: f64) -> RowFall {
    let s = Slope::from_percent(pct);
    RowFall { mean: s, least: s, greatest: s, reverse_depth_m, high_level_m: 21.0, low_level_m: 20.0 }
}

fn block(id: u32, name: &str, x0: f64, x1: f64) -> RowBlock {
    let (y0, y1) = (120.0, 560.0);
    let n = ((x1 - x0 - 12.0) / 1.8).floor() as u32;
    let rows = (0..n)
        .map(|i| {
            let x = x0 + 6.0 + 1.8 * f64::from(i);
            let line = line(&[(x, y1 - 8.0), (x, y0 + 8.0)]);
            Row { number: i + 1, line, length_m: y1 - y0 - 16.0, fall: Some(fall(0.15, 0.04)) }
        })
        .collect();
    let head = |a, b| Headland { kind: HeadlandKind::Turning, outline: rect(x0, a, x1, b), width_m: 8.0 };
    RowBlock {
        id: BlockId(id),
        name: name.to_owned(),
        parcel: "Home".to_owned(),
        outline: rect(x0, y0, x1, y1),
        cropped: multi(rect(x0 + 4.0, y0 + 8.0, x1 - 4.0, y1 - 8.0)),
        bearing: Bearing::from_degrees(180.0),
        row_spacing_m: 1.8,
        rows,
        headlands: vec![head(y0, y0 + 8.0), head(y1 - 8.0, y1)],
        judged: crate::land::blocks::Judged::default(),
        given: false,
        bent: None,
    }
}

fn layout() -> BlockPlan {
    let trial = |deg: f64, chosen| BearingTrial {
        piece: 1,
        bearing: Bearing::from_degrees(deg),
        reason: "longest edge".into(),
        rows: 330,
        mean_length_m: 424.0,
        median_length_m: 424.0,
        p10_length_m: 400.0,
        turns_per_ha: 12.3,
        headland_ratio: 0.036,
        within_fall_ratio: 0.91,
        earth_m3_per_ha: 180.0,
        block: String::new(),
        earth_gap_ratio: None,
        two_way: false,
        lattice_m: 10.0,
        cost_per_ha: crate::land::blocks::YearlyCost::default(),
        yearly_cost_per_ha: 96.0 + deg / 10.0,
        once_cost_per_ha: 700.0,
        chosen,
    };
    BlockPlan {
        blocks: vec![
            block(1, "River <b>&\"", 30.0, 250.0),
            block(2, "Middle", 270.0, 500.0),
            block(3, "Shed", 520.0, 720.0),
        ],
        tracks: vec![PlannedTrack { id: 1, line: line(&[(260.0, 60.0), (260.0, 570.0)]), width_m: 6.0 }],
        study: vec![trial(0.0, true), trial(45.0, false), trial(90.0, false)],
        left_out: vec![],
        pay_off_per_year: 0.126,
        rows_lower_bound: 320.0,
        yearly_lower_bound: 9_000.0,
        short_row_m: 100.0,
    }
}

fn levelling(blocks: &BlockPlan) -> LevellingPlan {
    let plane = |p: Coord<f64>| 20.0 + 0.002 * (p.y - NORTH) - 0.0005 * (p.x - EAST);
    let inside = |p: Coord<f64>| (120.0..560.0).contains(&(p.y - NORTH)) && (30.0..720.0).contains(&(p.x - EAST));
    let earth = |b: &RowBlock| BlockEarth {
        block: b.id,
        surface: SurfaceKind::Plane,
        row_fall: Slope::from_percent(0.2),
        cross_fall: Slope::from_percent(0.05),
        formed_m2: 90_000.0,
        cut_m3: 4_321.0,
        fill_m3: 3_600.0,
        borrow_m3: 0.0,
        cut_fill_ratio: 1.2,
        max_cut_m: 0.25,
        max_fill_m: 0.24,
        subsoil_m2: 500.0,
        strip_m3: 150.0,
        haul_mean_m: 87.0,
        bands: vec![],
        cost: range(17_000.0),
        binding: vec!["least row fall".into()],
        rows_after: vec![fall(0.2, 0.0); b.rows.len()],
        ..BlockEarth::none(b.id, SurfaceKind::Plane, 1.2)
    };
    LevellingPlan {
        design: DesignSurface(ElevationModel(raster(|p| inside(p).then(|| plane(p))))),
        cut_fill: CutFill(raster(|p| inside(p).then(|| height(p) - plane(p)))),
        blocks: blocks.blocks.iter().map(earth).collect(),
        cut_range_m3: range(12_963.0),
        cost_range: range(51_000.0),
        doubts: vec![],
        topsoil_left: raster(|p| inside(p).then_some(0.2)),
        contours: vec![],
        risk_areas: vec![],
    }
}

fn costing() -> Costing {
    let budget = |id: &str, group: &str, item: &str, quantity: f64, unit: &str, rate: f64| BudgetLine {
        id: id.into(),
        group: group.into(),
        item: item.into(),
        quantity,
        unit: unit.into(),
        rate: range(rate),
        amount: range(rate * quantity),
        source: "common practice, no source".into(),
    };
    Costing {
        budget: vec![
            budget("LV", "levelling", "Land levelling", 12_963.0, "m³", 4.0),
            budget("DR-01", "drains", "Drain 1", 420.0, "m³", 5.0),
            budget("CN", "contingency", "Contingency", 1.0, "lump", 8_000.0),
        ],
        total: range(62_000.0),
        per_ha: range(2_100.0),
        cash: (0..4)
            .map(|y| CashYear {
                year: y,
                crop: if y == 0 { "works" } else { "crop" }.into(),
                yield_t: range(2_400.0),
                income: range(110_000.0),
                outlay: range(70_000.0),
                net: range(40_000.0),
            })
            .collect(),
        worth: Worth {
            npv: Range::new(-20_000.0, 140_000.0, 260_000.0),
            payback_years: [None, Some(3.4), Some(2.1)],
            peak_debt: range(80_000.0),
            break_even_price: [None, Some(31.0), Some(24.0)],
            break_even_yield_t_ha: [None, Some(61.0), Some(50.0)],
            yearly_equivalent: range(12_000.0),
        },
        sensitivity: vec![Sensitivity { what: "price -20 % / +20 %".into(), npv: (-5_000.0, 285_000.0) }],
        cropped_ha: 28.4,
    }
}

fn site() -> Site {
    let boundary = multi(rect(0.0, 0.0, 780.0, 590.0));
    let keep = KeepArea {
        outline: multi(rect(600.0, 15.0, 760.0, 90.0)),
        kind: KeepKind::Vegetation,
        reason: "native forest".into(),
    };
    Site {
        name: "Example & Sons".into(),
        parcels: vec![Parcel { id: 1, name: "Home".into(), outline: boundary.clone() }],
        boundary,
        parcels_worked_as_one: true,
        layers: SiteLayers {
            keep_areas: vec![keep],
            waterways: vec![Waterway {
                id: 1,
                name: "Stony Creek".into(),
                line: line(&[(0.0, 60.0), (300.0, 30.0), (560.0, 45.0)]),
                banks: None,
                order: Some(2),
                width_m: Some(6.0),
            }],
            ..SiteLayers::default()
        },
        not_given: vec!["power_line".into(), "buried_service".into()],
        crs: CrsTag {
            name: "GDA2020 / MGA zone 56".into(),
            epsg: Some(7856),
            wkt: String::new(),
            vertical_name: Some("AHD".into()),
            vertical_epsg: Some(5711),
        },
        geodesy: LocalGeodesy {
            origin: at(0.0, 0.0),
            scale: 0.9996,
            grid_north_azimuth_deg: -0.42,
            ..LocalGeodesy::flat()
        },
    }
}

fn water() -> WaterModel {
    let depth = |p: Coord<f64>| ((p.x - EAST - 380.0).hypot(p.y - NORTH - 300.0) < 40.0).then_some(0.2);
    WaterModel {
        drainage_lines: vec![],
        ponds: vec![Pond {
            id: 1,
            outline: multi(rect(340.0, 260.0, 420.0, 340.0)),
            area_m2: 5_000.0,
            max_depth_m: 0.2,
            volume_m3: 600.0,
            spill_level_m: 20.4,
        }],
        pond_depth: raster(depth),
        inflows: vec![],
        outflows: vec![],
        outflow_of: raster(|_| None).map(|v| v as u32),
        outlets: vec![Outlet {
            id: 1,
            name: "East gate".into(),
            at: at(775.0, 112.0),
            level_m: 18.9,
            tailwater_m: None,
            assumed: true,
        }],
        reach: DrainReach { level: raster(|_| None), outlet: raster(|_| None).map(|v| v as u32) },
        buffers: vec![Buffer {
            outline: multi(rect(0.0, 15.0, 560.0, 75.0)),
            protects: "Stony Creek".into(),
            width_m: 20.0,
            from_bank: false,
        }],
        no_rows: MultiPolygon(vec![]),
        plantable: vec![PlantablePiece { id: 1, parcel: 0, outline: rect(20.0, 110.0, 730.0, 570.0) }],
    }
}

/// The farm.
pub fn farm() -> Farm {
    let blocks = layout();
    let task = |id: u32, name: &str, irreversible| Task {
        id,
        name: name.into(),
        after: vec![],
        window_from: 5,
        window_to: 10,
        days: 12.0,
        start_day: 12.0 * f64::from(id),
        end_day: 12.0 * f64::from(id + 1),
        start_month: format!("2027-0{}", id + 4),
        end_month: format!("2027-0{}", id + 4),
        irreversible,
        hold_point: if irreversible { "permit seen".into() } else { String::new() },
        note: String::new(),
    };
    Farm {
        set_out: SetOutTable::default(),
        table: SiteTable {
            currency: "AUD".into(),
            boundary: "b.gpkg".into(),
            plan_date: Some("2027-01-15".into()),
            ..SiteTable::default()
        },
        site: site(),
        ground: Ground {
            surveyed: ElevationModel(raster(|p| Some(height(p)))),
            concept: ElevationModel(raster(|p| Some(height(p)))),
            point_density: None,
            smoothed_over_m: 0.0,
            beds_mean_m: 0.0,
            accuracy: AccuracyStatement {
                vertical_sigma_m: 0.1,
                basis: "assumed".into(),
                known: false,
                control_shift_m: None,
                control_sd_m: None,
            },
        },
        water: water(),
        levelling: levelling(&blocks),
        drains: drains(&blocks),
        clearing: ClearingPlan {
            knock_down_bearing: Bearing::from_degrees(0.0),
            rake_bearing: Bearing::from_degrees(90.0),
            windrows: vec![Windrow {
                id: 1,
                line: line(&[(40.0, 500.0), (240.0, 500.0)]),
                width_m: 6.0,
                load_t: 80.0,
                stays: false,
            }],
            heaps: vec![Heap { id: 1, at: at(140.0, 480.0), load_t: 80.0, nearest: (120.0, "boundary".into()) }],
            steps: vec![ClearingStep {
                name: "Knock down".into(),
                area_ha: 30.0,
                hours: range(60.0),
                cost: range(15_000.0),
                note: "stems under tension".into(),
            }],
            cleared_ha: 30.0,
            mean_push_m: 25.0,
            debris_t: 900.0,
        },
        erosion: ErosionReport {
            blocks: vec![BlockSoilLoss {
                block: BlockId(1),
                area_ha: 9.7,
                ls: (0.2, 0.18),
                slope_ratio: (0.002, 0.002),
                before_t_ha: 0.4,
                bare_t_ha: 9.0,
                after_t_ha: 1.1,
                delivery_ratio: 0.2,
            }],
            erosivity_share: vec![],
            indicators: vec![Indicator {
                name: "rows that drain".into(),
                unit: "rows".into(),
                before: Some(210.0),
                after: Some(330.0),
                method: "row proof".into(),
                confidence: "medium".into(),
            }],
        },
        program: Program {
            tasks: vec![task(1, "Clearing", true), task(2, "Land levelling", true), task(3, "Planting", false)],
        },
        costing: costing(),
        guidance: GuidancePlan {
            customer: String::new(),
            farm: "F".into(),
            datum: "GDA2020".into(),
            fields: Vec::new(),
            lines: vec![GuidanceLine {
                name: "B1".into(),
                block: BlockId(1),
                row: None,
                line: geo::LineString(vec![at(36.0, 552.0), at(36.0, 128.0)]),
                grid_bearing: Bearing::from_degrees(180.0),
                true_bearing: Bearing::from_degrees(179.58),
                width_m: 1.8,
                passes: (115, 0),
            }],
        },
        findings: vec![
            Finding::new(
                Severity::Note,
                "survey",
                "assumed",
                "The accuracy of the heights is not known; 0.10 m was assumed.",
            ),
            Finding::new(
                Severity::Severe,
                "drains",
                "outflow",
                "Peak flow grows by 28 % against a limit of 5 %; get the neighbour's consent.",
            )
            .at(Place::Named("East gate".into())),
        ],
        assumptions: vec![Assumption {
            table: "drains".into(),
            key: "least_grade_pct".into(),
            value: "0.1".into(),
            unit: "%".into(),
            source: "common practice, no source".into(),
            origin: "starting value".into(),
            meaning: "Least bed fall".into(),
        }],
        blocks,
    }
}
