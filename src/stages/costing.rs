//! Is it worth it?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::costing::Costing;
use crate::land::drains::DrainPlan;
use crate::land::levelling::LevellingPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CostingParams {}

/// What the stage reads.
pub struct CostingInput<'a> {
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
    /// Prices.
    pub rates: &'a Rates,
}

/// Is it worth it?
pub struct CostingStage;

impl Stage for CostingStage {
    const INFO: StageInfo = StageInfo {
        name: "costing",
        version: 1,
        question: "Is it worth it?",
        method: "",
        needs: &["survey", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = CostingParams;
    type Input<'a> = CostingInput<'a>;
    type Output = Costing;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
