//! `rowfall run`: runs the stages and writes the run folder.

use super::plan_of;
use crate::cli::args::Run;
use crate::cli::disk;
use crate::cli::messages::Voice;
use crate::cli::progress::Bar;
use crate::finding::{FindingGroup, Problem, ProblemKind, Problems, Severity, grouped};
use crate::pipeline::record::{OptionSummary, Record};
use crate::pipeline::run::{Ending, Surroundings, no_design, run as run_plan};
use crate::stages::Ctx;
use crate::units::Range;
use crate::wording::{self, counted};
use serde_json::json;
use std::path::Path;
use std::sync::atomic::AtomicBool;

/// Runs a pipeline file.
///
/// # Errors
/// What is wrong with file or data, what could not be written, or that no design fits (results are written then).
pub fn run(args: &Run, voice: &Voice) -> Result<(), Problems> {
    let plan = plan_of(&args.plan, &args.sets)?;
    let base = disk::folder_of(&args.plan);
    let out = args.out.clone().unwrap_or_else(|| base.join("run"));
    let store = disk::store(&base, &out);
    let _lock = store.lock()?;
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(args.threads.map_or(0, usize::from))
        .build()
        .map_err(|e| Problem::new(ProblemKind::Bug, "no_threads", format!("threads could not be started: {e}")))?;
    let bar = Bar::new(!voice.quiet && !voice.json);
    let cancel = AtomicBool::new(false);
    let around = Surroundings {
        peak_memory_mb: &disk::peak_memory_mb,
        free_bytes: disk::free_bytes(),
        base: disk::path_from(&out, &base).to_string_lossy().into_owned(),
    };
    let ended = pool.install(|| run_plan(&plan, &store, Ctx { progress: &bar, cancel: &cancel }, &around));
    bar.finish();
    let ended = ended?;
    tell(&ended, &out, voice)?;
    match no_design(ended.record()) {
        Some(problem) => Err(problem.into()),
        None => Ok(()),
    }
}

fn tell(ended: &Ending, out: &Path, voice: &Voice) -> Result<(), Problem> {
    let record = ended.record();
    let unchanged = matches!(ended, Ending::Unchanged(_));
    if voice.json {
        return voice.say_json(&json!({
            "program": record.program, "version": record.version, "run": out.display().to_string(),
            "unchanged": unchanged, "digest": record.digest, "published": record.published, "why": record.why,
            "options": record.options, "findings": record.findings, "stages": record.stages,
            "wall_s": record.wall_s, "peak_memory_mb": record.peak_memory_mb,
        }));
    }
    if voice.quiet {
        return Ok(());
    }
    if unchanged {
        return voice.say(&format!("nothing changed: {} holds these results already\n", out.display()));
    }
    voice.say(&summary(record, out))
}

fn summary(record: &Record, out: &Path) -> String {
    let mut text = String::new();
    for option in &record.options {
        text.push_str(&option_line(option, option.name == record.published));
    }
    text.push_str(&format!("{}\n", record.why));
    let count = |severity| record.findings.iter().filter(|f| f.severity == severity).count();
    text.push_str(&format!(
        "findings: {} severe, {} warnings, {} notes\n",
        count(Severity::Severe),
        count(Severity::Warning),
        count(Severity::Note)
    ));
    let groups = grouped(&record.findings);
    let severe: Vec<_> = groups.iter().filter(|g| g.findings[0].severity == Severity::Severe).collect();
    for group in severe.iter().take(MOST_SHOWN) {
        text.push_str(&group_lines(group));
    }
    if severe.len() > MOST_SHOWN {
        text.push_str(&format!("  and {} more in the findings table\n", severe.len() - MOST_SHOWN));
    }
    text.push_str(&format!("wrote {} ({} files, {:.1} s)\n", out.display(), record.files.len() + 1, record.wall_s));
    text.push_str(
        "A first-cut plan is not an engineer's certificate: local codes, permits and licensed practice decide.\n",
    );
    text
}

/// Kinds of severe findings shown on the terminal; the report shows all.
const MOST_SHOWN: usize = 10;

/// What was found once in a line; of several places a line for what is common and one for each.
fn group_lines(group: &FindingGroup<'_>) -> String {
    let first = group.findings[0];
    let (severity, stage) = (first.severity.word(), &first.stage);
    if group.findings.len() == 1 {
        return format!("  {severity} ({stage}, {}): {}\n", first.place, first.message);
    }
    let mut text =
        format!("  {severity} ({stage}, {} places): {}. {}\n", group.findings.len(), group.kind(), group.common);
    for (finding, own) in group.findings.iter().zip(&group.own) {
        text.push_str(&format!("    {}: {own}\n", finding.place));
    }
    text
}

fn option_line(option: &OptionSummary, published: bool) -> String {
    let mut parts = vec![
        counted(option.blocks, "block"),
        format!("{}, mean {:.0} m", counted(option.rows, "row"), option.mean_row_m),
        format!("{:.1} ha cropped", option.cropped_ha),
    ];
    if let Some(draining) = option.rows_draining {
        parts.push(format!("{} proven to drain", counted(draining, "row")));
    }
    if let Some(cut) = option.cut_m3 {
        parts.push(format!("{} m3 cut", wording::grouped(cut)));
    }
    let money = |what: &str, r: Range| {
        format!("{what} {} ({} to {})", wording::grouped(r.likely), wording::grouped(r.low), wording::grouped(r.high))
    };
    parts.extend(option.works_cost.map(|cost| money("works", cost)));
    parts.extend(option.npv.map(|npv| money("worth", npv)));
    format!("{} {}: {}\n", if published { "*" } else { " " }, option.name, parts.join("; "))
}
