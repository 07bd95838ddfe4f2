//! What should the ground become, and what does it cost to move?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::blocks::BlockPlan;
use crate::land::levelling::LevellingPlan;
use crate::land::rates::Rates;
use crate::land::site::Site;
use crate::land::survey::{ElevationModel, Ground};
use crate::land::water::WaterModel;
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevellingParams {}

/// What the stage reads.
pub struct LevellingInput<'a> {
    /// The site.
    pub site: &'a Site,
    /// Ground.
    pub ground: &'a Ground,
    /// Water, for the drain reach.
    pub water: Option<&'a WaterModel>,
    /// Blocks.
    pub blocks: &'a BlockPlan,
    /// A surface that stands in for the design.
    pub given_surface: Option<&'a ElevationModel>,
    /// Prices.
    pub rates: &'a Rates,
}

/// What should the ground become, and what does it cost to move?
pub struct Levelling;

impl Stage for Levelling {
    const INFO: StageInfo = StageInfo {
        name: "levelling",
        version: 1,
        question: "What should the ground become, and what does it cost to move?",
        method: "",
        needs: &["survey", "blocks"],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = LevellingParams;
    type Input<'a> = LevellingInput<'a>;
    type Output = LevellingPlan;

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
