//! What is there: the property, what stands on it and what must be kept.

use super::geodesy::{CrsTag, LocalGeodesy};
use geo::{Coord, LineString, MultiPolygon, Polygon};
use serde::{Deserialize, Serialize};

/// One feature of the boundary file: land worked under one name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Parcel {
    /// Number in file order, from 1.
    pub id: u32,
    /// Name from the chosen attribute, or `Parcel n`.
    pub name: String,
    /// Outline; several polygons when the parcel lies in pieces.
    pub outline: MultiPolygon<f64>,
}

/// Why an area is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KeepKind {
    /// Native or protected vegetation, shelter.
    Vegetation,
    /// Wetland or lagoon; gets its own buffer.
    Wetland,
    /// Known cultural heritage.
    Heritage,
    /// Building, yard, dam, pad.
    Structure,
    /// Anything else; the reason says what.
    Other,
}

/// Land no row, drain or heap may use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeepArea {
    /// Outline.
    pub outline: MultiPolygon<f64>,
    /// Kind, told from the reason.
    pub kind: KeepKind,
    /// Reason as given.
    pub reason: String,
}

/// A mapped natural line that stays open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waterway {
    /// Number in file order, from 1.
    pub id: u32,
    /// Name as given, or `waterway n`.
    pub name: String,
    /// Centre line, as drawn.
    pub line: LineString<f64>,
    /// Bank-to-bank outline when the map gives an area.
    pub banks: Option<MultiPolygon<f64>>,
    /// Strahler order from the map.
    pub order: Option<u8>,
    /// Width bank to bank from the map, metres.
    pub width_m: Option<f64>,
}

/// An overhead power line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PowerLine {
    /// Centre line.
    pub line: LineString<f64>,
    /// Height of the lowest wire above ground, metres.
    pub clearance_m: Option<f64>,
    /// Full width of the easement, metres.
    pub easement_m: Option<f64>,
}

/// A road or farm track that stays.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExistingTrack {
    /// Name as given, or empty.
    pub name: String,
    /// Centre line.
    pub line: LineString<f64>,
    /// Full width, metres.
    pub width_m: Option<f64>,
}

/// A place where water may leave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OutletPoint {
    /// Name as given, or `outlet n`.
    pub name: String,
    /// Place.
    pub at: Coord<f64>,
    /// Lowest drain bed level allowed there, metres in the height datum.
    pub level_m: Option<f64>,
    /// Water level in a wet week, metres in the height datum.
    pub tailwater_m: Option<f64>,
}

/// Land with one topsoil depth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TopsoilZone {
    /// Outline.
    pub outline: MultiPolygon<f64>,
    /// Depth of topsoil, metres.
    pub depth_m: f64,
}

/// A level that no cut or drain may pass: acid-sulfate or sodic layer, watertable, rock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelLimit {
    /// Outline.
    pub outline: MultiPolygon<f64>,
    /// Level, metres in the height datum.
    pub level_m: f64,
    /// What lies there.
    pub reason: String,
}

/// A buried pipe or cable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BuriedService {
    /// Kind as given (water main, gas, cable).
    pub kind: String,
    /// Line.
    pub line: LineString<f64>,
    /// Soil above it, metres.
    pub cover_m: Option<f64>,
}

/// A neighbour's drain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NeighbourDrain {
    /// Name as given, or empty.
    pub name: String,
    /// Line.
    pub line: LineString<f64>,
    /// Bed level, metres in the height datum.
    pub level_m: Option<f64>,
}

/// A point of known height the ground is checked against.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ControlPoint {
    /// Name as given.
    pub name: String,
    /// Place.
    pub at: Coord<f64>,
    /// Known height, metres in the height datum.
    pub height_m: f64,
}

/// A pipe under a track or bank that is there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Culvert {
    /// Name as given, or `culvert n`.
    pub name: String,
    /// From one end to the other, in either order.
    pub line: LineString<f64>,
    /// Inside diameter, metres.
    pub diameter_m: Option<f64>,
    /// Level of its bed at the upper end, metres in the height datum; `None`: the lowest ground there.
    pub upper_level_m: Option<f64>,
    /// Level of its bed at the lower end, metres in the height datum; `None`: the lowest ground there.
    pub lower_level_m: Option<f64>,
}

/// Whether a place gives or takes soil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EarthPlaceKind {
    /// Gives soil: a pit, a bank, a heap of spoil.
    Borrow,
    /// Takes soil.
    Spoil,
}

impl EarthPlaceKind {
    /// As said in tables and reports.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Borrow => "borrow",
            Self::Spoil => "spoil",
        }
    }
}

/// A place outside the blocks that gives or takes soil.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EarthPlace {
    /// Name as given, or `borrow n` / `spoil n`.
    pub name: String,
    /// What it does.
    pub kind: EarthPlaceKind,
    /// Place.
    pub at: Coord<f64>,
    /// How much it gives or takes, bank cubic metres; `None` without a limit.
    pub capacity_m3: Option<f64>,
    /// What a bank cubic metre costs there beside the haul (royalty, spreading), currency of the run.
    pub price_per_m3: f64,
}

/// A block drawn by a surveyor, taken as it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GivenBlock {
    /// Name as given, or `block n`.
    pub name: String,
    /// Outline.
    pub outline: Polygon<f64>,
    /// Row bearing in degrees clockwise from grid north, when fixed by the file.
    pub bearing_deg: Option<f64>,
}

/// Everything optional about the place; what was not given is empty and listed in [`Site::not_given`].
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct SiteLayers {
    /// Mapped waterways.
    pub waterways: Vec<Waterway>,
    /// Areas to keep.
    pub keep_areas: Vec<KeepArea>,
    /// Overhead power lines.
    pub power_lines: Vec<PowerLine>,
    /// Roads and tracks that stay.
    pub tracks: Vec<ExistingTrack>,
    /// Lines of the old trees.
    pub old_tree_rows: Vec<LineString<f64>>,
    /// Places where water may leave.
    pub outlets: Vec<OutletPoint>,
    /// Topsoil depth.
    pub topsoil: Vec<TopsoilZone>,
    /// Levels not to be passed.
    pub level_limits: Vec<LevelLimit>,
    /// Buried pipes and cables.
    pub buried_services: Vec<BuriedService>,
    /// Neighbours' drains.
    pub neighbour_drains: Vec<NeighbourDrain>,
    /// Pipes under tracks and banks.
    pub culverts: Vec<Culvert>,
    /// Places that give or take soil.
    pub earth_places: Vec<EarthPlace>,
    /// Points of known height.
    pub control_points: Vec<ControlPoint>,
    /// Where the crop is loaded.
    pub loading_place: Option<Coord<f64>>,
    /// Where irrigation water comes from.
    pub water_supply: Option<Coord<f64>>,
    /// The surveyor's own blocks.
    pub given_blocks: Vec<GivenBlock>,
    /// Blocks of an earlier layout, whose names are kept.
    pub previous_blocks: Vec<GivenBlock>,
}

/// The property as the later stages see it: checked, in one projected system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// Name of the property.
    pub name: String,
    /// Parcels in file order.
    pub parcels: Vec<Parcel>,
    /// Union of all parcels.
    pub boundary: MultiPolygon<f64>,
    /// Whether blocks may cross from one parcel into the next.
    pub parcels_worked_as_one: bool,
    /// Optional layers.
    pub layers: SiteLayers,
    /// Names of the optional inputs that were not given, so nobody takes silence for a check.
    pub not_given: Vec<String>,
    /// Working coordinate system.
    pub crs: CrsTag,
    /// Scale and convergence near the property.
    pub geodesy: LocalGeodesy,
}
