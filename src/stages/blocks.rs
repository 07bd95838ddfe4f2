//! Which way do the rows run, and how long can they be?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::Ground;
use crate::land::water::WaterModel;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BlocksParams {}

/// What the stage reads.
pub struct BlocksInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground; without it falls are not known.
    pub ground: Option<&'a Ground>,
    /// Water; compulsory unless blocks are given.
    pub water: Option<&'a WaterModel>,
    /// Prices.
    pub rates: &'a Rates,
}

/// Which way do the rows run, and how long can they be?
pub struct Blocks;

impl Stage for Blocks {
    const INFO: StageInfo = StageInfo {
        name: "blocks",
        version: 1,
        question: "Which way do the rows run, and how long can they be?",
        method: "",
        needs: &["survey", "water"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = BlocksParams;
    type Input<'a> = BlocksInput<'a>;
    type Output = BlockPlan;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
