//! What does the steering need?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::guidance::GuidancePlan;
use crate::land::site::Site;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GuidanceParams {}

/// What the stage reads.
pub struct GuidanceInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Blocks.
    pub blocks: &'a BlockPlan,
}

/// What does the steering need?
pub struct Guidance;

impl Stage for Guidance {
    const INFO: StageInfo = StageInfo {
        name: "guidance",
        version: 1,
        question: "What does the steering need?",
        method: "",
        needs: &["survey", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = GuidanceParams;
    type Input<'a> = GuidanceInput<'a>;
    type Output = GuidancePlan;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
