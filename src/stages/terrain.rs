//! How does the land lie?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::terrain::TerrainModel;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TerrainParams {}

/// What the stage reads.
pub struct TerrainInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
}

/// How does the land lie?
pub struct Terrain;

impl Stage for Terrain {
    const INFO: StageInfo = StageInfo {
        name: "terrain",
        version: 1,
        question: "How does the land lie?",
        method: "",
        needs: &["survey"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = TerrainParams;
    type Input<'a> = TerrainInput<'a>;
    type Output = TerrainModel;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
