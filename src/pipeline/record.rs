//! `run.json`: what was done, with what, and what came out. Its presence means that the run is finished.

use super::flow::{Design, Job};
use super::plan::Plan;
use super::step::StageTime;
use crate::bibliography::Bibliography;
use crate::finding::Finding;
use crate::land::drains::Drains;
use crate::land::store::InputRecord;
use crate::units::{M2_PER_HA, Range};
use geo::Area;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;

/// The word that marks a run folder as ours.
pub const PROGRAM: &str = "rowfall";
/// Version of the record's own layout.
pub const RECORD_VERSION: u32 = 1;

/// The record of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Always [`PROGRAM`].
    pub program: String,
    /// Version of the program.
    pub version: String,
    /// [`RECORD_VERSION`].
    pub record: u32,
    /// Digest of everything the results depend on: a run with the same digest need not be done again.
    pub digest: String,
    /// Id of the plan as it is drawn and set out, printed on every map and work order: a run in which only money changed
    /// has the same.
    #[serde(default)]
    pub plan: String,
    /// Folder of the pipeline file, seen from the run folder (absolute when there is no way between them).
    pub base: String,
    /// Every value used.
    pub parameters: Json,
    /// Input files with digests.
    pub inputs: Vec<InputRecord>,
    /// Libraries behind the file formats.
    pub libraries: Vec<(String, String)>,
    /// Name of the published option.
    pub published: String,
    /// Why that one.
    pub why: String,
    /// The options side by side.
    pub options: Vec<OptionSummary>,
    /// What was noticed, most severe first.
    pub findings: Vec<Finding>,
    /// Works relied on, as printed in reports.
    pub citations: Vec<String>,
    /// Files of the run folder with digests.
    pub files: Vec<FileRecord>,
    /// Time per stage.
    pub stages: Vec<StageTime>,
    /// Time of the whole run, seconds.
    pub wall_s: f64,
    /// Greatest memory held, megabytes; absent where the system does not say.
    pub peak_memory_mb: Option<f64>,
}

/// One file of the run folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileRecord {
    /// Path inside the run folder.
    pub path: String,
    /// BLAKE3 digest.
    pub digest: String,
    /// Whether its bytes were kept from an earlier run.
    pub cached: bool,
}

/// One option in a few numbers; `None` for what its stages do not say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptionSummary {
    /// Name.
    pub name: String,
    /// What it means.
    pub description: String,
    /// Row blocks.
    pub blocks: usize,
    /// Rows.
    pub rows: usize,
    /// Total row length, metres on the ground.
    pub row_metres: f64,
    /// Mean row length, metres on the ground.
    pub mean_row_m: f64,
    /// Land under rows, hectares on the grid.
    pub cropped_ha: f64,
    /// Rows proven to drain.
    pub rows_draining: Option<usize>,
    /// Cut, bank cubic metres.
    pub cut_m3: Option<f64>,
    /// Once-off works, contingency included.
    pub works_cost: Option<Range>,
    /// Net present value against leaving the land as it is.
    pub npv: Option<Range>,
    /// Severe findings of this option alone.
    pub severe_findings: usize,
}

impl OptionSummary {
    /// Sums an option up.
    #[must_use]
    pub fn of(design: &Design) -> Self {
        let blocks = design.blocks.as_ref().map_or(&[] as &[_], |b| b.value.blocks.as_slice());
        let rows: usize = blocks.iter().map(|b| b.rows.len()).sum();
        let row_metres: f64 = blocks.iter().map(crate::land::blocks::RowBlock::row_metres).sum();
        let findings = design.findings();
        Self {
            name: design.name.clone(),
            description: design.description.clone(),
            blocks: blocks.len(),
            rows,
            row_metres,
            mean_row_m: if rows > 0 { row_metres / rows as f64 } else { 0.0 },
            cropped_ha: blocks.iter().map(|b| b.cropped.unsigned_area()).sum::<f64>() / M2_PER_HA,
            rows_draining: design
                .drains
                .as_ref()
                .map(|d| d.value.proofs.iter().filter(|p| p.after == Drains::Yes).count()),
            cut_m3: design.levelling.as_ref().map(|l| l.value.blocks.iter().map(|b| b.cut_m3).sum()),
            works_cost: design.costing.as_ref().map(|c| c.value.total),
            npv: design.costing.as_ref().map(|c| c.value.worth.npv),
            severe_findings: findings.iter().filter(|f| f.severity == crate::finding::Severity::Severe).count(),
        }
    }
}

/// Works the wanted stages rely on, in alphabetical order of author.
#[must_use]
pub fn citations(plan: &Plan) -> Vec<Bibliography> {
    let mut cited: Vec<Bibliography> = plan.stages.wanted().iter().flat_map(|s| s.cites.iter().copied()).collect();
    cited.sort_unstable();
    cited.dedup();
    cited
}

/// Summaries of all options.
#[must_use]
pub fn summaries(job: &Job) -> Vec<OptionSummary> {
    job.options.iter().map(OptionSummary::of).collect()
}
