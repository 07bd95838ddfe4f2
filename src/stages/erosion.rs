//! What leaves the land before, during and after?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::drains::DrainPlan;
use crate::land::erosion::ErosionReport;
use crate::land::levelling::LevellingPlan;
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::terrain::TerrainModel;
use crate::land::water::WaterModel;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ErosionParams {}

/// What the stage reads.
pub struct ErosionInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
    /// Terrain.
    pub terrain: &'a TerrainModel,
    /// Water.
    pub water: &'a WaterModel,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Earthworks, when wanted.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains, when wanted.
    pub drains: Option<&'a DrainPlan>,
}

/// What leaves the land before, during and after?
pub struct Erosion;

impl Stage for Erosion {
    const INFO: StageInfo = StageInfo {
        name: "erosion",
        version: 1,
        question: "What leaves the land before, during and after?",
        method: "",
        needs: &["survey", "terrain", "water", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = ErosionParams;
    type Input<'a> = ErosionInput<'a>;
    type Output = ErosionReport;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
