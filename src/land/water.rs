//! Where water comes from, runs, stands and leaves, and how low a drain can be.

use crate::grid::Raster;
use geo::{Coord, LineString, MultiPolygon, Polygon};
use serde::{Deserialize, Serialize};

/// A line along which water gathers on the ground as it lies.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DrainageLine {
    /// Number, largest catchment first, from 1.
    pub id: u32,
    /// Line, downstream.
    pub line: LineString<f64>,
    /// Strahler order worked out from the terrain.
    pub order: u8,
    /// Catchment at the lower end, hectares (land outside the property included).
    pub catchment_ha: f64,
    /// The mapped waterway it follows, by [`crate::land::site::Waterway::id`].
    pub waterway: Option<u32>,
    /// Whether it stays open: no row crosses it.
    pub stays_open: bool,
}

/// A place where water stands before it spills.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pond {
    /// Number, largest depth times area first, from 1.
    pub id: u32,
    /// Outline of the water at spill level.
    pub outline: MultiPolygon<f64>,
    /// Area at spill level, square metres.
    pub area_m2: f64,
    /// Greatest depth, metres.
    pub max_depth_m: f64,
    /// Volume, cubic metres.
    pub volume_m3: f64,
    /// Level it spills at, metres.
    pub spill_level_m: f64,
}

/// A place where water crosses the boundary on the ground as it lies.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BoundaryCrossing {
    /// Number, largest catchment first, from 1, inflows and outflows counted apart.
    pub id: u32,
    /// Place.
    pub at: Coord<f64>,
    /// Catchment upstream of the place, hectares.
    pub catchment_ha: f64,
    /// Part of it that lies inside the property, hectares.
    pub inside_ha: f64,
}

/// A place where drains may end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outlet {
    /// Number in stated order (given ones first, in file order), from 1.
    pub id: u32,
    /// Name.
    pub name: String,
    /// Place.
    pub at: Coord<f64>,
    /// Lowest drain bed level allowed there, metres.
    pub level_m: f64,
    /// Water level in a wet week, metres.
    pub tailwater_m: Option<f64>,
    /// Whether place or level was worked out by the program and must be confirmed on the ground.
    pub assumed: bool,
}

/// The lowest level a drain at minimum grade can have at each place, worked up from the outlets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DrainReach {
    /// Level, metres; no value where no outlet can be reached.
    pub level: Raster<f32>,
    /// The outlet reached, by [`Outlet::id`]; zero stands for a waterway.
    pub outlet: Raster<u32>,
}

/// Land kept free along water or around a feature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Buffer {
    /// Outline.
    pub outline: MultiPolygon<f64>,
    /// What it protects, in words.
    pub protects: String,
    /// Width from the bank, metres.
    pub width_m: f64,
    /// Measured from mapped banks (true) or from the centre line plus half the width (false).
    pub from_bank: bool,
}

/// One connected piece of land that may be planted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlantablePiece {
    /// Number, north to south then west to east, from 1.
    pub id: u32,
    /// The parcel it lies in, by [`crate::land::site::Parcel::id`]; zero when parcels are worked as one.
    pub parcel: u32,
    /// Outline.
    pub outline: Polygon<f64>,
}

/// Everything about water that later stages need.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WaterModel {
    /// Drainage lines, largest catchment first.
    pub drainage_lines: Vec<DrainageLine>,
    /// Ponds the survey can really tell.
    pub ponds: Vec<Pond>,
    /// Depth of standing water, metres; only in kept ponds.
    pub pond_depth: Raster<f32>,
    /// Water entering from outside.
    pub inflows: Vec<BoundaryCrossing>,
    /// Water leaving on the ground as it lies.
    pub outflows: Vec<BoundaryCrossing>,
    /// Which outflow each cell inside the boundary drains to, by [`BoundaryCrossing::id`].
    pub outflow_of: Raster<u32>,
    /// Places where drains may end.
    pub outlets: Vec<Outlet>,
    /// Drain reach.
    pub reach: DrainReach,
    /// Buffers.
    pub buffers: Vec<Buffer>,
    /// Everything no row may use (waterways with buffers, keep areas, tracks, easements), as one shape.
    pub no_rows: MultiPolygon<f64>,
    /// Land that may be planted.
    pub plantable: Vec<PlantablePiece>,
}
