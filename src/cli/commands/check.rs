//! `rowfall check`: opens every input, reports every problem, makes nothing.

use super::plan_of;
use crate::cli::args::Check;
use crate::cli::disk;
use crate::cli::messages::Voice;
use crate::finding::Problems;
use crate::land::store::Store as _;
use crate::pipeline::flow::judge_inputs;
use crate::pipeline::memory::most_cells;
use crate::stages::{Ctx, Silent};
use serde_json::json;
use std::sync::atomic::AtomicBool;

/// Checks a pipeline file and its inputs.
///
/// # Errors
/// Everything that is wrong with the file or the data.
pub fn check(args: &Check, voice: &Voice) -> Result<(), Problems> {
    let plan = plan_of(&args.plan, &args.sets)?;
    let base = disk::folder_of(&args.plan);
    let store = disk::store(&base, &base.join("run"));
    let wanted = plan.wanted();
    // Both are asked, so that a missing file and a broken one are told together.
    let mut problems = Problems::default();
    let inputs = store.input_digest(&plan.site, &wanted).map_err(|p| problems.0.extend(p.0)).ok();
    let survey = store.read_survey(&plan.site, &wanted);
    let mut survey = survey.map_err(|p| problems.0.extend(p.0)).ok();
    if let (Some(read), true) = (&mut survey, plan.stages.survey.is_some()) {
        // What can be read may still be unfit: outlines that cross themselves, holes in the ground, parcels that overlap.
        let cancel = AtomicBool::new(false);
        let most_cells = most_cells(disk::free_bytes());
        match judge_inputs(&plan, &read.value, most_cells, &Ctx { progress: &Silent, cancel: &cancel }) {
            Ok(findings) => read.findings.extend(findings),
            Err(found) => problems.0.extend(found.0),
        }
    }
    let mut told: Vec<crate::finding::Problem> = Vec::new();
    for problem in problems.0 {
        if !told.contains(&problem) {
            told.push(problem);
        }
    }
    Problems(told).into_result(())?;
    let inputs = inputs.map(|(_, inputs)| inputs).unwrap_or_default();
    let findings = survey.map(|s| s.findings).unwrap_or_default();
    let stages: Vec<&str> = plan.stages.wanted().iter().map(|s| s.name).collect();
    let options: Vec<&str> = plan.options.iter().map(|o| o.name.as_str()).collect();
    if voice.json {
        return Ok(voice.say_json(&json!({
            "program": "rowfall", "plan": args.plan.display().to_string(), "stages": stages, "options": options,
            "inputs": inputs, "findings": findings,
        }))?);
    }
    let mut text = format!(
        "no problems in {} and its {} inputs\nstages: {}\noptions: {}\n",
        args.plan.display(),
        inputs.len(),
        stages.join(", "),
        options.join(" / ")
    );
    for finding in &findings {
        text.push_str(&format!("{} ({}): {}\n", finding.severity.word(), finding.place, finding.message));
    }
    if !voice.quiet {
        voice.say(&text)?;
    }
    Ok(())
}
