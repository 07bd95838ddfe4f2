//! Drains, and the proof that every row drains.

use super::blocks::BlockId;
use super::levelling::HaulMachine;
use crate::units::{Range, Slope};
use geo::{Coord, LineString, MultiLineString};
use serde::{Deserialize, Serialize};

/// Shape of a drain's cross-section.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DrainSection {
    /// Width of the bed, metres; zero for a V.
    pub bottom_m: f64,
    /// Batters, horizontal per one vertical.
    pub batter_h_per_v: f64,
    /// Depth the section is cut to at its deepest station, metres.
    pub depth_m: f64,
}

/// What a drain does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DrainKind {
    /// Takes the row ends of a block.
    Collector,
    /// Leads collectors to an outlet.
    Main,
}

impl DrainKind {
    /// As said in tables and reports.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Collector => "collector",
            Self::Main => "main drain",
        }
    }
}

/// Where something drains to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum DrainsTo {
    /// An outlet, by number.
    Outlet(u32),
    /// A mapped waterway, by number.
    Waterway(u32),
    /// Another drain, by number.
    Drain(u32),
    /// Nowhere: no place low enough can be reached.
    Nowhere,
}

/// One place along a drain.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DrainStation {
    /// Distance from the head, metres on the ground.
    pub station_m: f64,
    /// Place.
    pub at: Coord<f64>,
    /// Ground (design where formed), metres.
    pub ground_m: f64,
    /// Bed of the drain, metres.
    pub invert_m: f64,
    /// Height of a drop structure just below this station, metres.
    pub drop_m: f64,
    /// Width of the bed here, metres.
    pub bottom_m: f64,
}

/// One open drain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drain {
    /// Number in stated order, from 1.
    pub id: u32,
    /// What it does.
    pub kind: DrainKind,
    /// The block whose rows it takes, for a collector.
    pub block: Option<BlockId>,
    /// Line from head to mouth.
    pub line: LineString<f64>,
    /// Stations from head to mouth.
    pub stations: Vec<DrainStation>,
    /// Section.
    pub section: DrainSection,
    /// Mean bed fall.
    pub grade: Slope,
    /// Catchment at the mouth, hectares.
    pub catchment_ha: f64,
    /// Peak discharge by the rational method, cubic metres a second.
    pub rational_m3_s: f64,
    /// Discharge by the drainage coefficient, cubic metres a second.
    pub coefficient_m3_s: f64,
    /// Discharge the section is designed for, cubic metres a second.
    pub design_m3_s: f64,
    /// Flow depth at design discharge, grown up, metres.
    pub flow_depth_m: f64,
    /// Velocity at design discharge with a new, clean bed, metres a second.
    pub velocity_m_s: f64,
    /// Velocity allowed by soil or lining, metres a second.
    pub velocity_limit_m_s: f64,
    /// Excavation, bank cubic metres.
    pub excavation_m3: f64,
    /// Where it ends.
    pub to: DrainsTo,
    /// How far its mouth would have to be below what is allowed, metres; zero when it drains.
    pub deficit_m: f64,
}

/// Does a row drain?
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Drains {
    /// Yes, beyond what the survey could have got wrong.
    Yes,
    /// No.
    No,
    /// The difference is inside the 95 % band of the survey.
    CannotBeTold,
}

impl Drains {
    /// As said in tables and reports.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::No => "no",
            Self::CannotBeTold => "cannot be told",
        }
    }
}

/// The proof for one row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowProof {
    /// The block.
    pub block: BlockId,
    /// Number of the row in the block.
    pub row: u32,
    /// On the ground as it lies.
    pub before: Drains,
    /// On the design surface; equal to `before` when nothing is formed.
    pub after: Drains,
    /// Where the row's water goes after the works.
    pub to: DrainsTo,
    /// Height of the row's low end above the drain bed (before, after), metres.
    pub margin_m: (f64, f64),
    /// Why not, in words; empty when it drains.
    pub reason: String,
    /// Water among the rows; `None` where no surface is known.
    pub among: Option<AmongRows>,
}

/// What one row does with the water of its block, before and after the works.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct AmongRows {
    /// Deepest water that stands in the furrow before it runs on or over a ridge, metres.
    pub standing_m: (f64, f64),
    /// Land whose water leaves at the row's end, hectares: its own, and that of rows spilling into it.
    pub end_ha: (f64, f64),
    /// Peak discharge of the design rain there, cubic metres a second.
    pub end_m3_s: (f64, f64),
}

/// The state of the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GroundState {
    /// As it lies.
    Before,
    /// As designed.
    After,
}

impl GroundState {
    /// As said in layers and tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
        }
    }
}

/// Water standing in furrows, between rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowPond {
    /// The block.
    pub block: BlockId,
    /// On which ground.
    pub state: GroundState,
    /// Wet stretches of furrow.
    pub furrows: MultiLineString<f64>,
    /// Lowest and highest number of the rows that stand wet.
    pub rows: (u32, u32),
    /// Level it stands at before it runs on or over, metres.
    pub level_m: f64,
    /// Greatest depth, metres.
    pub depth_m: f64,
    /// Wet area, square metres.
    pub area_m2: f64,
    /// Volume, cubic metres.
    pub volume_m3: f64,
}

/// Water going over the ridge between two rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RowSpill {
    /// The block.
    pub block: BlockId,
    /// On which ground.
    pub state: GroundState,
    /// Place, in the furrow it leaves.
    pub at: Coord<f64>,
    /// Row it leaves.
    pub from_row: u32,
    /// Row it enters.
    pub to_row: u32,
    /// Level of the crest, metres.
    pub crest_m: f64,
    /// How much higher than the crest the water would have to rise to run out along its own furrow, metres; `None`
    /// where its own furrow does not lead out.
    pub below_own_way_m: Option<f64>,
    /// Land whose water goes over, hectares.
    pub catchment_ha: f64,
}

/// A drain meets a track, a power line or a buried service.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    /// Number from 1.
    pub id: u32,
    /// Place.
    pub at: Coord<f64>,
    /// The drain.
    pub drain: u32,
    /// What is crossed, in words.
    pub crosses: String,
    /// What is needed, in words (culvert 600 mm, bed-level ford, expose before digging).
    pub needs: String,
    /// Pipe diameter for a culvert, millimetres.
    pub culvert_mm: Option<f64>,
}

/// Water leaving at one place, before and after the works.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OutflowChange {
    /// Name: an outlet, or a place on the boundary.
    pub name: String,
    /// Place.
    pub at: Coord<f64>,
    /// Catchment before and after, hectares.
    pub catchment_ha: (f64, f64),
    /// Peak discharge before and after, cubic metres a second.
    pub peak_m3_s: (f64, f64),
    /// Volume of the design storm before and after, cubic metres.
    pub volume_m3: (f64, f64),
}

/// Where soil dug out of a drain goes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpoilTo {
    /// Spread beside the stretch it came from.
    Beside,
    /// Carried along and spread beside another stretch.
    Along,
    /// Fill of a block that lacks soil.
    Block(BlockId),
    /// Spread evenly over a whole block, so thin that its falls stay as designed.
    Over(BlockId),
    /// A place for spoil, by name.
    Place(String),
    /// Nowhere: no place takes it.
    Nowhere,
}

/// Soil dug out of one drain that goes one way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spoil {
    /// The drain, by number.
    pub drain: u32,
    /// Where it goes.
    pub to: SpoilTo,
    /// What carries it; `None` where digging leaves it.
    pub machine: Option<HaulMachine>,
    /// Volume, bank cubic metres.
    pub volume_m3: f64,
    /// Mean haul, metres; crossings of water count as what they are worth.
    pub distance_m: f64,
    /// Mean depth it lies at, loose, metres; zero where it is not spread beside drains.
    pub depth_m: f64,
    /// Price of carrying it and of the place, beside digging, dollars. What goes nowhere is priced like a long haul.
    pub cost: Range,
    /// What the block it fills need not pay for soil from a place that is not known, dollars.
    pub spares: Range,
}

/// A mapped pipe beside the peak of the design rain it has to pass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CulvertCheck {
    /// Name as mapped.
    pub name: String,
    /// Its upper end.
    pub at: Coord<f64>,
    /// Length, metres.
    pub length_m: f64,
    /// Inside diameter, metres; `None` where it is not mapped.
    pub diameter_m: Option<f64>,
    /// Land that drains through it before and after the works, hectares.
    pub catchment_ha: (f64, f64),
    /// Peak discharge before and after the works, cubic metres a second.
    pub peak_m3_s: (f64, f64),
    /// What it passes with the rise of water allowed, cubic metres a second; `None` where its diameter is not mapped.
    pub passes_m3_s: Option<f64>,
    /// Least diameter that passes the larger peak, millimetres, and how many pipes of it.
    pub needs: (f64, u32),
}

impl CulvertCheck {
    /// The larger of the peaks before and after, cubic metres a second.
    #[must_use]
    pub fn peak(&self) -> f64 {
        self.peak_m3_s.0.max(self.peak_m3_s.1)
    }

    /// Whether it passes the larger peak; `None` where its diameter is not mapped.
    #[must_use]
    pub fn carries(&self) -> Option<bool> {
        self.passes_m3_s.map(|q| q >= self.peak())
    }
}

/// The drains of the property.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct DrainPlan {
    /// Drains in order of number.
    pub drains: Vec<Drain>,
    /// One proof a row, by block and row number.
    pub proofs: Vec<RowProof>,
    /// Places that need a structure or care.
    pub crossings: Vec<Crossing>,
    /// Where water leaves, before and after.
    pub outflows: Vec<OutflowChange>,
    /// Water standing among rows deeper than is tolerated and than the heights can be off, by block, deepest first.
    pub row_ponds: Vec<RowPond>,
    /// Ridges water goes over, by block, largest catchment first.
    pub row_spills: Vec<RowSpill>,
    /// Where the soil dug out goes, by drain; volumes of a drain sum to its excavation.
    pub spoil: Vec<Spoil>,
    /// Pipes that are there beside what they have to pass, in the order of the map.
    pub culverts: Vec<CulvertCheck>,
}

impl DrainPlan {
    /// What a block need not pay because drains give the soil it lacks, dollars.
    #[must_use]
    pub fn spares(&self, block: BlockId) -> Range {
        let to = SpoilTo::Block(block);
        self.spoil.iter().filter(|s| s.to == to).fold(Range::exact(0.0), |sum, s| sum.zip(s.spares, |a, b| a + b))
    }

    /// Soil dug out of drains that goes where `is` says, bank cubic metres.
    #[must_use]
    pub fn spoil_m3(&self, is: impl Fn(&SpoilTo) -> bool) -> f64 {
        self.spoil.iter().filter(|s| is(&s.to)).map(|s| s.volume_m3).sum()
    }
}
