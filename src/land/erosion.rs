//! What leaves the land.

use super::blocks::BlockId;
use serde::{Deserialize, Serialize};

/// The state of the ground a soil loss is reckoned for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GroundState {
    /// Plantation as it stands.
    Before,
    /// Bare between clearing and cover.
    Bare,
    /// Cropped to the plan.
    After,
}

/// Soil loss of one block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockSoilLoss {
    /// The block.
    pub block: BlockId,
    /// Area, hectares on the ground.
    pub area_ha: f64,
    /// Slope length and steepness factor before and after.
    pub ls: (f64, f64),
    /// Slope the factor was taken at before and after, ratio.
    pub slope_ratio: (f64, f64),
    /// Loss before, tonnes per hectare and year.
    pub before_t_ha: f64,
    /// Loss if bare for a whole year, tonnes per hectare and year.
    pub bare_t_ha: f64,
    /// Loss after, tonnes per hectare and year.
    pub after_t_ha: f64,
    /// Share of the loss that reaches water, ratio.
    pub delivery_ratio: f64,
}

/// One line of the before/after table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Indicator {
    /// What is counted.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// Before.
    pub before: Option<f64>,
    /// After.
    pub after: Option<f64>,
    /// How it was worked out.
    pub method: String,
    /// How far it can be trusted: low, medium, high.
    pub confidence: String,
}

/// Soil loss of the property.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ErosionReport {
    /// Per block, in order of block number.
    pub blocks: Vec<BlockSoilLoss>,
    /// Share of the year's erosivity in each month, January first.
    pub erosivity_share: Vec<f64>,
    /// Before/after table.
    pub indicators: Vec<Indicator>,
}
