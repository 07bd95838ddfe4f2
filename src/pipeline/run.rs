//! A whole run: digest, flow, documents, record, run folder.

use super::cache::Cache;
use super::flow::{Job, flow};
use super::memory::most_cells;
use super::plan::Plan;
use super::record::{FileRecord, PROGRAM, RECORD_VERSION, Record, citations, summaries};
use super::sheets::{Ids, documents};
use super::step::{Runner, StageTime};
use crate::finding::{Problem, ProblemKind, Problems};
use crate::land::document::{Content, Document};
use crate::land::geodesy::CrsTag;
use crate::land::store::{RenderedFile, Store};
use crate::stages::{Ctx, STAGES};
use rayon::prelude::*;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// What a run needs to know of the machine it runs on.
pub struct Surroundings<'a> {
    /// Greatest memory held so far, megabytes.
    pub peak_memory_mb: &'a (dyn Fn() -> Option<f64> + Sync),
    /// Memory free at the start, bytes; `None` where the system does not say.
    pub free_bytes: Option<u64>,
    /// Folder of the pipeline file, seen from the run folder.
    pub base: String,
}

/// How a run ended.
#[derive(Debug)]
pub enum Ending {
    /// The run folder already holds these results.
    Unchanged(Box<Record>),
    /// Results were written.
    Written(Box<Record>),
}

impl Ending {
    /// The record of the results.
    #[must_use]
    pub fn record(&self) -> &Record {
        match self {
            Self::Unchanged(record) | Self::Written(record) => record,
        }
    }
}

/// Runs a plan.
///
/// # Errors
/// What is wrong with the data, or what could not be written; nothing is left half-written.
pub fn run(
    plan: &Plan,
    store: &(dyn Store + Sync),
    ctx: Ctx<'_>,
    around: &Surroundings<'_>,
) -> Result<Ending, Problems> {
    let start = Instant::now();
    let wanted = plan.wanted();
    let (input_digest, inputs) = store.input_digest(&plan.site, &wanted)?;
    let cache = Cache::new(store);
    let digest = run_digest(plan, &cache, &input_digest, &around.base)?;
    if let Some(record) = finished(store, &digest) {
        return Ok(Ending::Unchanged(Box::new(record)));
    }
    let runner = Runner { cache, ctx, times: Mutex::new(Vec::new()), most_cells: most_cells(around.free_bytes) };
    let job = flow(plan, &wanted, &input_digest, &runner)?;
    let crs = &job.survey.value.0.crs;

    runner.ctx.progress.advance("publish", 0.0);
    let publishing = Instant::now();
    let plan_id = plan_digest(plan, &job, &runner.cache)?;
    let ids = Ids { run: digest.get(..12).unwrap_or(&digest), plan: plan_id.get(..13).unwrap_or(&plan_id) };
    let sheets = documents(plan, &job, ids);
    let (files, file_records) = render(&sheets, crs, &runner)?;
    let all_cached = file_records.iter().all(|f| f.cached);
    let mut stages = runner.times.lock().map(|times| times.clone()).unwrap_or_default();
    stages.push(StageTime {
        name: "publish".to_owned(),
        options: Vec::new(),
        wall_s: publishing.elapsed().as_secs_f64(),
        cached: all_cached,
    });
    let record = Record {
        program: PROGRAM.to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        record: RECORD_VERSION,
        plan: ids.plan.to_owned(),
        digest: digest.clone(),
        base: around.base.clone(),
        parameters: plan.resolved(),
        inputs,
        libraries: store.versions(),
        published: job.options[job.chosen].name.clone(),
        why: job.why.clone(),
        options: summaries(&job),
        findings: job.findings(),
        citations: citations(plan).iter().map(|c| c.reference().to_owned()).collect(),
        files: file_records,
        stages,
        wall_s: start.elapsed().as_secs_f64(),
        peak_memory_mb: (around.peak_memory_mb)(),
    };
    let mut text = serde_json::to_vec_pretty(&record)
        .map_err(|e| Problem::new(ProblemKind::Bug, "no_record", format!("the record could not be written: {e}")))?;
    text.push(b'\n');
    store.publish(&files, &text)?;
    runner.ctx.progress.advance("publish", 1.0);
    Ok(Ending::Written(Box::new(record)))
}

/// Digest of everything the results depend on.
fn run_digest(plan: &Plan, cache: &Cache<'_>, input_digest: &str, base: &str) -> Result<String, Problem> {
    let resolved =
        serde_json::to_vec(&plan.resolved()).map_err(|e| Problem::new(ProblemKind::Bug, "no_digest", e.to_string()))?;
    let versions: Vec<String> = STAGES.iter().map(|s| format!("{} {}", s.info.name, s.info.version)).collect();
    let versions = versions.join("; ");
    Ok(cache.key("run", &[&resolved, input_digest.as_bytes(), versions.as_bytes(), base.as_bytes()]))
}

/// Digest of the plan of the published option as it is drawn and set out: all of it but the money.
fn plan_digest(plan: &Plan, job: &Job, cache: &Cache<'_>) -> Result<String, Problem> {
    let site =
        serde_json::to_vec(&plan.site).map_err(|e| Problem::new(ProblemKind::Bug, "no_digest", e.to_string()))?;
    let mut parts: Vec<&[u8]> = vec![&site];
    let keys = job.drawn_keys();
    parts.extend(keys.iter().map(|key| key.as_bytes()));
    Ok(cache.key("plan", &parts))
}

/// The record of a finished run with this digest, if the run folder holds one.
fn finished(store: &(dyn Store + Sync), digest: &str) -> Option<Record> {
    let record: Record = serde_json::from_slice(&store.finished_run()?).ok()?;
    (record.program == PROGRAM && record.digest == digest).then_some(record)
}

/// Turns documents into files, side by side and in their order; a document that is the same as in an earlier run is not
/// rendered again.
fn render(
    sheets: &[Document],
    crs: &CrsTag,
    runner: &Runner<'_>,
) -> Result<(Vec<RenderedFile>, Vec<FileRecord>), Problem> {
    let crs_bytes = postcard::to_stdvec(crs).map_err(unpacked)?;
    let done = AtomicUsize::new(0);
    let rendered: Vec<(bool, Pairs)> = sheets
        .par_iter()
        .with_max_len(1)
        .map(|sheet| {
            let made = rendered_one(sheet, crs, &crs_bytes, runner);
            let share = (done.fetch_add(1, Ordering::Relaxed) + 1) as f64 / (sheets.len() + 1) as f64;
            runner.ctx.progress.advance("publish", share);
            made
        })
        .collect::<Result<_, Problem>>()?;
    let mut files = Vec::new();
    let mut records = Vec::new();
    for (cached, pairs) in rendered {
        for (path, bytes) in pairs {
            records.push(FileRecord { path: path.clone(), digest: blake3::hash(&bytes).to_hex().to_string(), cached });
            files.push(RenderedFile { path, bytes });
        }
    }
    Ok((files, records))
}

/// Paths with contents.
type Pairs = Vec<(String, Vec<u8>)>;

fn unpacked(e: postcard::Error) -> Problem {
    Problem::new(ProblemKind::Bug, "no_document_key", e.to_string())
}

/// The files of one document, and whether they were kept.
fn rendered_one(
    sheet: &Document,
    crs: &CrsTag,
    crs_bytes: &[u8],
    runner: &Runner<'_>,
) -> Result<(bool, Pairs), Problem> {
    // Text is its own file: keeping it would cost more than writing it.
    if matches!(sheet.content, Content::Text(_)) {
        return Ok((false, pairs(runner.cache.store.render(sheet, crs)?)));
    }
    let bytes = postcard::to_stdvec(sheet).map_err(unpacked)?;
    let key = runner.cache.key("sheet", &[&bytes, crs_bytes]);
    if let Some(kept) = runner.cache.fetch(&key) {
        return Ok((true, kept));
    }
    let made = pairs(runner.cache.store.render(sheet, crs)?);
    runner.cache.keep(&key, &made)?;
    Ok((false, made))
}

fn pairs(files: Vec<RenderedFile>) -> Pairs {
    files.into_iter().map(|f| (f.path, f.bytes)).collect()
}

/// Whether the published option holds no design within the limits: results are written, and the exit code says so.
#[must_use]
pub fn no_design(record: &Record) -> Option<Problem> {
    record.findings.iter().find(|f| f.code.starts_with("no_design")).map(|finding| {
        Problem::new(ProblemKind::NoDesign, &finding.code, finding.message.trim_end_matches('.').to_owned())
            .hint("the results show the best attempt and the limit that binds")
    })
}
