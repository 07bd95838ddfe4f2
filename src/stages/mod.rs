//! The stages of the job, one file or folder each, in flow order.
//!
//! A stage is a pure function from borrowed artifacts and its parameters to owned artifacts and findings. It
//! reads no file, knows no other stage's inside and looks at no clock.

use crate::bibliography::Bibliography;
use crate::finding::{Outcome, Problems};
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::sync::atomic::{AtomicBool, Ordering};

pub mod as_built;
pub mod blocks;
pub mod clearing;
pub mod costing;
pub mod drains;
pub mod erosion;
mod falls;
pub mod guidance;
mod haul_ground;
pub mod levelling;
mod machines;
pub mod program;
mod row_frame;
pub mod survey;
pub mod terrain;
pub mod water;

/// What `explain`, the schema, the record and the contract tests know of a stage.
#[derive(Debug, Clone, Copy)]
pub struct StageInfo {
    /// Name: also the name of its table in a pipeline file.
    pub name: &'static str,
    /// Raised whenever the same inputs may give another output; enters every cache key.
    pub version: u32,
    /// The question it answers, one line.
    pub question: &'static str,
    /// How it works, in a few sentences.
    pub method: &'static str,
    /// Stages (or `inputs`) it cannot do without.
    pub needs: &'static [&'static str],
    /// What it reads, in words.
    pub reads: &'static [&'static str],
    /// What it makes, in words.
    pub makes: &'static [&'static str],
    /// Works it relies on.
    pub cites: &'static [Bibliography],
}

/// Receives progress; implemented by the command line, by tests with nothing.
pub trait Progress: Sync {
    /// A stage is `done` (0 to 1) of the way.
    fn advance(&self, stage: &str, done_ratio: f64);
}

/// No progress shown.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Progress for Silent {
    fn advance(&self, _stage: &str, _done_ratio: f64) {}
}

/// What a stage may know besides its inputs.
pub struct Ctx<'a> {
    /// Where progress goes.
    pub progress: &'a dyn Progress,
    /// Set when the user wants to stop.
    pub cancel: &'a AtomicBool,
}

impl Ctx<'_> {
    /// Whether the user wants to stop.
    #[must_use]
    pub fn cancelled(&self) -> bool {
        self.cancel.load(Ordering::Relaxed)
    }
}

/// One stage of the job.
pub trait Stage {
    /// What is known of it.
    const INFO: StageInfo;
    /// Its table in the pipeline file; `Default` gives the starting values `init` writes.
    type Params: DeserializeOwned + Serialize + JsonSchema + Default + Clone;
    /// Borrowed artifacts.
    type Input<'a>;
    /// Owned artifacts.
    type Output: Serialize + DeserializeOwned;
    /// Does the work.
    ///
    /// # Errors
    /// What is wrong with the data, all of it. What is noticed about the land is a finding instead.
    fn run(input: Self::Input<'_>, params: &Self::Params, ctx: &Ctx<'_>) -> Result<Outcome<Self::Output>, Problems>;
}

/// A stage without its types: what tables of stages hold.
#[derive(Clone, Copy)]
pub struct StageEntry {
    /// What is known of it.
    pub info: &'static StageInfo,
    /// Schema of its table.
    pub schema: fn() -> Schema,
    /// Starting values of its table.
    pub defaults: fn() -> toml::Value,
}

fn schema_of<S: Stage>() -> Schema {
    schemars::schema_for!(S::Params)
}

fn defaults_of<S: Stage>() -> toml::Value {
    toml::Value::try_from(S::Params::default()).unwrap_or_else(|_| toml::Value::Table(toml::Table::new()))
}

const fn entry<S: Stage>() -> StageEntry {
    StageEntry { info: &S::INFO, schema: schema_of::<S>, defaults: defaults_of::<S> }
}

/// Every stage in flow order: drives help, `explain`, citations, the schema of the pipeline file and the contract tests.
pub const STAGES: &[StageEntry] = &[
    entry::<survey::Survey>(),
    entry::<terrain::Terrain>(),
    entry::<water::Water>(),
    entry::<blocks::Blocks>(),
    entry::<levelling::Levelling>(),
    entry::<drains::DrainsStage>(),
    entry::<clearing::Clearing>(),
    entry::<erosion::Erosion>(),
    entry::<program::ProgramStage>(),
    entry::<costing::CostingStage>(),
    entry::<guidance::Guidance>(),
];
