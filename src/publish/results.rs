//! Everything a plan has to show, borrowed: what `pipeline` hands to [`super::documents`].

use crate::bibliography::Bibliography;
use crate::finding::Finding;
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::costing::Costing;
use crate::land::drains::DrainPlan;
use crate::land::erosion::ErosionReport;
use crate::land::guidance::GuidancePlan;
use crate::land::levelling::LevellingPlan;
use crate::land::program::Program;
use crate::land::site::Site;
use crate::land::site_table::SiteTable;
use crate::land::survey::Ground;
use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;

/// The finished job.
pub struct Results<'a> {
    /// The `[site]` table: title-block words, currency.
    pub site_table: &'a SiteTable,
    /// The site.
    pub site: &'a Site,
    /// Ground; `None` when no wanted stage reads it.
    pub ground: Option<&'a Ground>,
    /// Terrain, when wanted.
    pub terrain: Option<&'a TerrainModel>,
    /// Water, when wanted.
    pub water: Option<&'a WaterModel>,
    /// The options in order, at least one.
    pub options: &'a [OptionResult<'a>],
    /// Index of the option that is drawn in full.
    pub chosen: usize,
    /// What was noticed about the land and the chosen option, most severe first.
    pub findings: &'a [Finding],
    /// Every value the chosen option used.
    pub assumptions: &'a [Assumption],
    /// Works relied on, in alphabetical order of author.
    pub citations: &'a [Bibliography],
}

impl<'a> Results<'a> {
    /// The option that is drawn in full.
    #[must_use]
    pub fn published(&self) -> &OptionResult<'a> {
        &self.options[self.chosen]
    }
}

/// What one option made; `None` for a stage that is not wanted. Blocks are empty when not wanted.
pub struct OptionResult<'a> {
    /// Name.
    pub name: &'a str,
    /// What it means, in a sentence.
    pub description: &'a str,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Levelling.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains.
    pub drains: Option<&'a DrainPlan>,
    /// Clearing.
    pub clearing: Option<&'a ClearingPlan>,
    /// Erosion.
    pub erosion: Option<&'a ErosionReport>,
    /// Program.
    pub program: Option<&'a Program>,
    /// Costing.
    pub costing: Option<&'a Costing>,
    /// Guidance.
    pub guidance: Option<&'a GuidancePlan>,
}

/// One value the plan rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assumption {
    /// Table of the pipeline file.
    pub table: String,
    /// Key.
    pub key: String,
    /// Value, as TOML writes it.
    pub value: String,
    /// Unit; empty for a pure number.
    pub unit: String,
    /// Where the starting value comes from.
    pub source: String,
    /// Who set it: the user, an option, or a starting value that is published or common practice.
    pub origin: String,
    /// What it means.
    pub meaning: String,
}
