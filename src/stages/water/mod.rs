//! Where does water come from, run, stand and leave, and how low can a drain be?

use crate::finding::{Outcome, Problem, Problems};
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
pub struct WaterParams {}

/// What the stage reads.
pub struct WaterInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
    /// Terrain.
    pub terrain: &'a TerrainModel,
}

/// Where does water come from, run, stand and leave, and how low can a drain be?
pub struct Water;

impl Stage for Water {
    const INFO: StageInfo = StageInfo {
        name: "water",
        version: 1,
        question: "Where does water come from, run, stand and leave, and how low can a drain be?",
        method: "",
        needs: &["survey", "terrain"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = WaterParams;
    type Input<'a> = WaterInput<'a>;
    type Output = WaterModel;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
