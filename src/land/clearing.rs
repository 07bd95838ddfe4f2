//! Where the trees go, and in which order.

use crate::units::{Bearing, Range};
use geo::{Coord, LineString};
use serde::{Deserialize, Serialize};

/// A line of heaped debris.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Windrow {
    /// Number, north to south then west to east, from 1.
    pub id: u32,
    /// Centre line; one part of a windrow between two gaps.
    pub line: LineString<f64>,
    /// Width on the ground, metres.
    pub width_m: f64,
    /// Dry debris in it, tonnes.
    pub load_t: f64,
    /// Whether it lies along a bank and may stay and decay there.
    pub stays: bool,
}

/// A place where debris is heaped to be burnt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heap {
    /// Number, north to south then west to east, from 1.
    pub id: u32,
    /// Place.
    pub at: Coord<f64>,
    /// Dry debris in it, tonnes.
    pub load_t: f64,
    /// Least distance to anything it must stand off from, metres, and what that is.
    pub nearest: (f64, String),
}

/// One clearing operation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClearingStep {
    /// Operation, in the trade's word.
    pub name: String,
    /// Area worked, hectares.
    pub area_ha: f64,
    /// Machine hours.
    pub hours: Range,
    /// Cost, dollars.
    pub cost: Range,
    /// What to mind, in words.
    pub note: String,
}

/// The debris plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClearingPlan {
    /// Direction the trees are laid (parallel to the windrows).
    pub knock_down_bearing: Bearing,
    /// Direction the rake travels, at right angles to the knock-down.
    pub rake_bearing: Bearing,
    /// Windrows.
    pub windrows: Vec<Windrow>,
    /// Heaps.
    pub heaps: Vec<Heap>,
    /// Operations in order.
    pub steps: Vec<ClearingStep>,
    /// Area cleared, hectares on the ground.
    pub cleared_ha: f64,
    /// Mean distance debris is pushed, metres.
    pub mean_push_m: f64,
    /// Debris, dry tonnes.
    pub debris_t: f64,
}
