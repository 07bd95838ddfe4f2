//! When can each step happen?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::drains::DrainPlan;
use crate::land::levelling::LevellingPlan;
use crate::land::program::Program;
use crate::land::site::Site;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgramParams {}

/// What the stage reads.
pub struct ProgramInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Earthworks, when wanted.
    pub levelling: Option<&'a LevellingPlan>,
    /// Drains, when wanted.
    pub drains: Option<&'a DrainPlan>,
    /// Clearing, when wanted.
    pub clearing: Option<&'a ClearingPlan>,
}

/// When can each step happen?
pub struct ProgramStage;

impl Stage for ProgramStage {
    const INFO: StageInfo = StageInfo {
        name: "program",
        version: 1,
        question: "When can each step happen?",
        method: "",
        needs: &["survey", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = ProgramParams;
    type Input<'a> = ProgramInput<'a>;
    type Output = Program;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
