//! What is there, and how well do we know it?

use crate::finding::{Outcome, Problem, Problems};
use crate::land::site::Site;
use crate::land::survey::{Ground, RawSurvey};
use crate::stages::{Ctx, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Parameters of the stage.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurveyParams {}

/// What the stage reads.
pub struct SurveyInput<'a> {
    /// What the readers handed over.
    pub raw: &'a RawSurvey,
    /// Name of the property.
    pub name: &'a str,
    /// Stated vertical standard error, metres.
    pub stated_sigma_m: Option<f64>,
    /// Whether blocks may cross parcel lines.
    pub parcels_worked_as_one: bool,
}

/// What is there, and how well do we know it?
pub struct Survey;

impl Stage for Survey {
    const INFO: StageInfo = StageInfo {
        name: "survey",
        version: 1,
        question: "What is there, and how well do we know it?",
        method: "",
        needs: &[],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = SurveyParams;
    type Input<'a> = SurveyInput<'a>;
    type Output = (Site, Option<Ground>);

    fn run(_input: Self::Input<'_>, _params: &Self::Params, _ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems> {
        Err(Problem::new(crate::finding::ProblemKind::Bug, "not_built", "stage not built yet").into())
    }
}
