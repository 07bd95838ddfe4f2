//! Does every row drain, and do the drains carry it?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::drains::DrainPlan;
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
pub struct DrainsParams {}

/// What the stage reads.
pub struct DrainsInput<'a> {
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
    /// Design surface, when levelling is wanted.
    pub levelling: Option<&'a LevellingPlan>,
}

/// Does every row drain, and do the drains carry it?
pub struct DrainsStage;

impl Stage for DrainsStage {
    const INFO: StageInfo = StageInfo {
        name: "drains",
        version: 1,
        question: "Does every row drain, and do the drains carry it?",
        method: "",
        needs: &["survey", "terrain", "water", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = DrainsParams;
    type Input<'a> = DrainsInput<'a>;
    type Output = DrainPlan;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
