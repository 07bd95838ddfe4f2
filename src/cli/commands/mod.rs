//! One file per command.

pub mod check;
pub mod compare;
pub mod explain;
pub mod init;
pub mod run;
pub mod schema;

use super::disk;
use crate::finding::Problems;
use crate::pipeline::file::read_plan;
use crate::pipeline::plan::Plan;
use std::path::Path;

/// Reads and checks a pipeline file.
fn plan_of(path: &Path, sets: &[String]) -> Result<Plan, Problems> {
    let text = disk::read_text(path)?;
    read_plan(&path.display().to_string(), &text, sets)
}
