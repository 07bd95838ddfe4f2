//! A small made-up farm for tests: two blocks of rows on a plane, a headland between them, one outlet.
//!
//! Ground falls to the south along the rows and to the east across them. Rows run north to south.

use super::*;
use crate::grid::{FlowField, GridSpec, Raster};
use crate::land::blocks::{BlockId, Headland, HeadlandKind, Row, RowBlock, RowFall};
use crate::land::geodesy::{CrsTag, LocalGeodesy};
use crate::land::levelling::{BlockEarth, CutFill, DesignSurface, SurfaceKind};
use crate::land::site::{Parcel, SiteLayers};
use crate::land::survey::{AccuracyStatement, ElevationModel};
use crate::land::terrain::{AccumulationMap, AspectMap, SlopeMap};
use crate::land::water::{BoundaryCrossing, DrainReach, Outlet};
use crate::stages::Silent;
use crate::units::{Bearing, Range, Slope};
use geo::{Coord, LineString, MultiPolygon, Polygon};
use std::sync::atomic::AtomicBool;

/// Everything a run needs, owned.
pub struct Farm {
    pub site: Site,
    pub ground: Ground,
    pub terrain: TerrainModel,
    pub water: WaterModel,
    pub blocks: BlockPlan,
    pub levelling: Option<LevellingPlan>,
    pub rates: Rates,
}

/// Size of the farm, metres.
pub const EAST_M: f64 = 400.0;
pub const NORTH_M: f64 = 500.0;
const CELL_M: f64 = 5.0;

pub fn rectangle(west: f64, south: f64, east: f64, north: f64) -> Polygon<f64> {
    let c = |x, y| Coord { x, y };
    Polygon::new(
        LineString(vec![c(west, south), c(east, south), c(east, north), c(west, north), c(west, south)]),
        vec![],
    )
}

/// One block of north-south rows 2 m apart between headlands of 10 m.
pub fn block(id: u32, west: f64, east: f64) -> RowBlock {
    let (south, north) = (20.0, 480.0);
    let (first, last) = (south + 10.0, north - 10.0);
    let count = ((east - west) / 2.0) as u32 - 5;
    let rows = (0..count)
        .map(|i| {
            let x = east - 5.0 - 2.0 * f64::from(i);
            Row {
                number: i + 1,
                line: LineString(vec![Coord { x, y: last }, Coord { x, y: first }]),
                length_m: last - first,
                fall: None,
            }
        })
        .collect();
    let turning = |a, b| Headland { kind: HeadlandKind::Turning, outline: rectangle(west, a, east, b), width_m: 10.0 };
    RowBlock {
        id: BlockId(id),
        name: format!("B{id}"),
        parcel: String::new(),
        outline: rectangle(west, south, east, north),
        cropped: MultiPolygon(vec![rectangle(west + 4.0, first, east - 4.0, last)]),
        bearing: Bearing::from_degrees(180.0),
        row_spacing_m: 2.0,
        rows,
        headlands: vec![turning(south, first), turning(last, north)],
        judged: crate::land::blocks::Judged::default(),
        given: false,
        bent: None,
    }
}

impl Farm {
    /// A farm with heights by place; the outlet stands at the south-east corner at `outlet_m`.
    pub fn new(height_m: impl Fn(f64, f64) -> f64, outlet_m: f64) -> Self {
        let spec = GridSpec {
            north_west: Coord { x: -20.0, y: NORTH_M + 20.0 },
            cell_m: CELL_M,
            rows: ((NORTH_M + 40.0) / CELL_M) as u32,
            cols: ((EAST_M + 40.0) / CELL_M) as u32,
        };
        let mut heights = Raster::filled(spec, 0.0_f32);
        for i in 0..spec.len() {
            let at = spec.centre(spec.cell(i));
            heights.set(spec.cell(i), height_m(at.x, at.y) as f32);
        }
        let model = ElevationModel(heights);
        let boundary = MultiPolygon(vec![rectangle(0.0, 0.0, EAST_M, NORTH_M)]);
        let corner = Coord { x: EAST_M - 2.0, y: 2.0 };
        Self {
            site: site(boundary.clone()),
            ground: ground(model.clone()),
            terrain: terrain(model, spec),
            water: water(spec, &boundary, corner, outlet_m),
            blocks: BlockPlan { blocks: vec![block(1, 15.0, 195.0), block(2, 205.0, 385.0)], ..BlockPlan::default() },
            levelling: None,
            rates: Rates::default(),
        }
    }
    /// 0.1 % to the south, 0.06 % to the east, 10 m high in the south-east corner.
    pub fn plane(outlet_m: f64) -> Self {
        Self::new(|x, y| 10.0 + 0.001 * y + 0.0006 * (EAST_M - x), outlet_m)
    }
    /// Forms block 1 to the plane of [`Self::plane`].
    pub fn form_first_block(&mut self) {
        let spec = self.ground.concept.0.spec;
        let mut design = Raster::empty(spec, 0.0_f32);
        let plane = |x: f64, y: f64| 10.0 + 0.001 * y + 0.0006 * (EAST_M - x);
        super::route::paint(spec, &self.blocks.blocks[0].cropped, |i| {
            let at = spec.centre(spec.cell(i));
            design.set(spec.cell(i), plane(at.x, at.y) as f32);
        });
        let fall = Slope::from_ratio(0.001);
        let rows_after = self.blocks.blocks[0].rows.iter().map(|row| RowFall {
            mean: fall,
            least: fall,
            greatest: fall,
            reverse_depth_m: 0.0,
            high_level_m: plane(row.high_end().x, row.high_end().y),
            low_level_m: plane(row.low_end().x, row.low_end().y),
        });
        let earth = BlockEarth {
            block: BlockId(1),
            surface: SurfaceKind::Plane,
            row_fall: fall,
            cross_fall: Slope::from_ratio(0.0006),
            formed_m2: 1.0,
            cut_m3: 1.0,
            fill_m3: 1.0,
            borrow_m3: 0.0,
            cut_fill_ratio: 1.25,
            max_cut_m: 0.3,
            max_fill_m: 0.3,
            subsoil_m2: 0.0,
            strip_m3: 0.0,
            haul_mean_m: 50.0,
            bands: Vec::new(),
            cost: Range::exact(0.0),
            binding: Vec::new(),
            rows_after: rows_after.collect(),
            ..BlockEarth::none(BlockId(1), SurfaceKind::Plane, 1.25)
        };
        self.levelling = Some(LevellingPlan {
            design: DesignSurface(ElevationModel(design.clone())),
            cut_fill: CutFill(design),
            blocks: vec![earth],
            cut_range_m3: Range::exact(0.0),
            cost_range: Range::exact(0.0),
            doubts: Vec::new(),
            topsoil_left: Raster::empty(spec, 0.0),
            risk_areas: Vec::new(),
            contours: Vec::new(),
        });
    }
    /// The farm with block 1 formed and lacking soil at 110 m east, 310 m north.
    pub fn lacking(volume_m3: f64) -> Self {
        let mut farm = Self::plane(8.8);
        farm.form_first_block();
        let levelling = farm.levelling.as_mut().unwrap();
        let mut depths = Raster::filled(levelling.cut_fill.0.spec, 0.0_f32);
        depths.set(depths.spec.cell_at(Coord { x: 112.0, y: 312.0 }).unwrap(), -0.1);
        levelling.cut_fill.0 = depths;
        levelling.blocks[0].unplaced_m3 = volume_m3;
        farm
    }
    pub fn run(&self, params: &DrainsParams) -> Outcome<DrainPlan> {
        let cancel = AtomicBool::new(false);
        let input = DrainsInput {
            site: &self.site,
            ground: &self.ground,
            terrain: &self.terrain,
            water: &self.water,
            blocks: &self.blocks,
            levelling: self.levelling.as_ref(),
            rates: &self.rates,
        };
        DrainsStage::run(input, params, &Ctx { progress: &Silent, cancel: &cancel }).unwrap()
    }
}

fn site(boundary: MultiPolygon<f64>) -> Site {
    Site {
        name: "Test farm".to_owned(),
        parcels: vec![Parcel { id: 1, name: "Parcel 1".to_owned(), outline: boundary.clone() }],
        boundary,
        parcels_worked_as_one: false,
        layers: SiteLayers::default(),
        not_given: Vec::new(),
        crs: CrsTag {
            name: "test grid".to_owned(),
            epsg: None,
            wkt: String::new(),
            vertical_name: None,
            vertical_epsg: None,
        },
        geodesy: LocalGeodesy::flat(),
    }
}

fn ground(model: ElevationModel) -> Ground {
    Ground {
        surveyed: model.clone(),
        concept: model,
        point_density: None,
        smoothed_over_m: 0.0,
        beds_mean_m: 0.0,
        accuracy: AccuracyStatement {
            vertical_sigma_m: 0.02,
            basis: "stated".to_owned(),
            known: true,
            control_shift_m: None,
            control_sd_m: None,
        },
    }
}

fn terrain(model: ElevationModel, spec: GridSpec) -> TerrainModel {
    let flow: FlowField = crate::methods::flow::route(&model.0);
    TerrainModel {
        slope: SlopeMap(Raster::filled(spec, 0.001)),
        aspect: AspectMap(Raster::empty(spec, 0.0)),
        filled: model,
        flow,
        accumulation: AccumulationMap(Raster::filled(spec, 0.0)),
        contours: Vec::new(),
        contour_interval_m: 0.25,
        depressions: Vec::new(),
        opened_banks: Vec::new(),
        median_slope_ratio: 0.001,
    }
}

/// West half leaves over the south-west, east half over the south-east corner, where the outlet is.
fn water(spec: GridSpec, boundary: &MultiPolygon<f64>, corner: Coord<f64>, outlet_m: f64) -> WaterModel {
    let mut outflow_of = Raster::empty(spec, 0_u32);
    super::route::paint(spec, boundary, |i| {
        let cell = spec.cell(i);
        outflow_of.set(cell, if spec.centre(cell).x < EAST_M / 2.0 { 1 } else { 2 });
    });
    let crossing = |id, at| BoundaryCrossing { id, at, catchment_ha: 10.0, inside_ha: 10.0 };
    WaterModel {
        drainage_lines: Vec::new(),
        ponds: Vec::new(),
        pond_depth: Raster::empty(spec, 0.0),
        inflows: Vec::new(),
        outflows: vec![crossing(1, Coord { x: 2.0, y: 2.0 }), crossing(2, corner)],
        outflow_of,
        outlets: vec![Outlet {
            id: 1,
            name: "corner pipe".to_owned(),
            at: corner,
            level_m: outlet_m,
            tailwater_m: None,
            assumed: false,
        }],
        reach: DrainReach { level: Raster::empty(spec, 0.0), outlet: Raster::empty(spec, 0) },
        buffers: Vec::new(),
        no_rows: MultiPolygon(Vec::new()),
        plantable: Vec::new(),
    }
}
