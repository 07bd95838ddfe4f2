//! Where do the trees go, and in which order?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::clearing::ClearingPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::water::WaterModel;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ClearingParams {}

/// What the stage reads.
pub struct ClearingInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Water.
    pub water: &'a WaterModel,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// Prices.
    pub rates: &'a Rates,
}

/// Where do the trees go, and in which order?
pub struct Clearing;

impl Stage for Clearing {
    const INFO: StageInfo = StageInfo {
        name: "clearing",
        version: 1,
        question: "Where do the trees go, and in which order?",
        method: "",
        needs: &["survey", "water", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = ClearingParams;
    type Input<'a> = ClearingInput<'a>;
    type Output = ClearingPlan;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
