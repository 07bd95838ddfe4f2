//! One step of the job: look for the kept product, else run the stage, keep what it made and note the time.

use super::cache::Cache;
use super::plan::OptionPlan;
use crate::finding::{Finding, Outcome, Problem, ProblemKind, Problems};
use crate::land::rates::Rates;
use crate::stages::{Ctx, Stage};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// The product of an option, shared with the options that agree in all it reads; none if its stage is not wanted.
pub type Product<T> = Option<Arc<Kept<T>>>;

/// A product with its key.
#[derive(Debug)]
pub struct Kept<T> {
    /// The product.
    pub value: T,
    /// What was noticed while making it.
    pub findings: Vec<Finding>,
    /// Key: enters the key of everything made from it.
    pub key: String,
}

/// How long a stage took.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StageTime {
    /// The stage.
    pub name: String,
    /// The options it served; empty for all.
    pub options: Vec<String>,
    /// Wall time, seconds.
    pub wall_s: f64,
    /// Whether the product was kept from an earlier run.
    pub cached: bool,
}

/// Which prices each stage reads. Only these enter its key, so that a changed price does not redo work it does not
/// touch; a test holds the list against the sources of the stages. Stages that are not named read none.
pub const RATES_READ: &[(&str, &[&str])] = &[
    (
        "blocks",
        &[
            "contingency_pct",
            "drain_per_m3",
            "grass_per_m2",
            "gross_margin_per_ha",
            "harvester_per_h",
            "haul_per_m3_per_100_m",
            "levelling_per_m3",
        ],
    ),
    (
        "levelling",
        &[
            "dozer_push_per_m3",
            "dozer_push_per_m3_per_100_m",
            "haul_per_m3_per_100_m",
            "levelling_per_m3",
            "smoothing_per_ha",
            "topsoil_per_m3",
            "truck_per_m3",
            "truck_per_m3_per_100_m",
        ],
    ),
    (
        "drains",
        &[
            "dozer_push_per_m3",
            "dozer_push_per_m3_per_100_m",
            "haul_per_m3_per_100_m",
            "levelling_per_m3",
            "truck_per_m3",
            "truck_per_m3_per_100_m",
        ],
    ),
    ("clearing", &["burn_per_ha", "cultivation_per_ha", "dozer_per_h"]),
];

/// The part of the prices a stage reads; costing reads them all.
fn rates_read(stage: &str, rates: &Rates) -> Json {
    let all = serde_json::to_value(rates).unwrap_or_default();
    if stage == "costing" {
        return all;
    }
    let names = RATES_READ.iter().find(|(name, _)| *name == stage).map_or(&[] as &[&str], |(_, names)| *names);
    names.iter().map(|name| ((*name).to_owned(), all[name].clone())).collect::<serde_json::Map<_, _>>().into()
}

/// Runs steps.
pub struct Runner<'a> {
    /// Kept products.
    pub cache: Cache<'a>,
    /// Progress and cancelling.
    pub ctx: Ctx<'a>,
    /// Times so far, in flow order.
    pub times: Mutex<Vec<StageTime>>,
    /// Most cells of the working grid the machine takes.
    pub most_cells: f64,
}

impl<'a> Runner<'a> {
    /// Key of a stage's product.
    fn key<S: Stage>(&self, params: &S::Params, rates: Option<&Rates>, upstream: &[&str]) -> Result<String, Problem> {
        let rates = rates.map(|all| rates_read(S::INFO.name, all));
        let unwritable = |e: serde_json::Error| Problem::new(ProblemKind::Bug, "no_key", e.to_string());
        let params = serde_json::to_vec(params).map_err(unwritable)?;
        let rates = serde_json::to_vec(&rates).map_err(unwritable)?;
        let version = S::INFO.version.to_le_bytes();
        let mut parts: Vec<&[u8]> = vec![&version, &params, &rates];
        parts.extend(upstream.iter().map(|key| key.as_bytes()));
        Ok(self.cache.key(S::INFO.name, &parts))
    }

    /// Runs a stage once. `upstream` are the keys of all it reads; `input` is asked for only when it has to run.
    ///
    /// # Errors
    /// What the stage or the store says.
    pub fn step<'i, S: Stage>(
        &self,
        params: &S::Params,
        upstream: &[&str],
        input: impl FnOnce() -> Result<(S::Input<'i>, Vec<Finding>), Problems>,
    ) -> Result<Kept<S::Output>, Problems> {
        let key = self.key::<S>(params, None, upstream)?;
        let (kept, time) = self.fetch_or_run::<S>(key, params, input)?;
        self.note(time);
        Ok(kept)
    }

    fn fetch_or_run<'i, S: Stage>(
        &self,
        key: String,
        params: &S::Params,
        input: impl FnOnce() -> Result<(S::Input<'i>, Vec<Finding>), Problems>,
    ) -> Result<(Kept<S::Output>, StageTime), Problems> {
        let name = S::INFO.name;
        let _span = tracing::info_span!("stage", name).entered();
        if self.ctx.cancelled() {
            return Err(Problem::request("cancelled", "stopped on request").into());
        }
        let start = Instant::now();
        let time = |cached| StageTime {
            name: name.to_owned(),
            options: Vec::new(),
            wall_s: start.elapsed().as_secs_f64(),
            cached,
        };
        if let Some(Outcome { value, findings }) = self.cache.fetch::<Outcome<S::Output>>(&key) {
            tracing::debug!(key, "kept from an earlier run");
            self.ctx.progress.advance(name, 1.0);
            return Ok((Kept { value, findings, key }, time(true)));
        }
        self.ctx.progress.advance(name, 0.0);
        let (input, noticed) = input()?;
        let mut outcome = S::run(input, params, &self.ctx)?;
        outcome.findings.splice(0..0, noticed);
        self.cache.keep(&key, &outcome)?;
        self.ctx.progress.advance(name, 1.0);
        let time = time(false);
        tracing::info!(wall_s = time.wall_s, findings = outcome.findings.len(), "done");
        Ok((Kept { value: outcome.value, findings: outcome.findings, key }, time))
    }

    /// Runs a stage for every option that wants it. Options that agree in all it reads share one product; the others
    /// run side by side. Results stand in the order of the options.
    ///
    /// # Errors
    /// What the stage or the store says, for all options.
    pub fn across<'i, S>(
        &self,
        options: &'i [OptionPlan],
        params: impl Fn(&'i OptionPlan) -> Option<&'i S::Params>,
        upstream: impl Fn(usize) -> Vec<&'i str>,
        input: impl Fn(usize) -> Option<S::Input<'i>> + Sync,
    ) -> Result<Vec<Product<S::Output>>, Problems>
    where
        S: Stage,
        S::Params: Sync + 'i,
        S::Output: Send + Sync,
    {
        let mut distinct: Vec<(String, usize, &S::Params)> = Vec::new();
        let mut which: Vec<Option<usize>> = Vec::new();
        for (i, option) in options.iter().enumerate() {
            let Some(params) = params(option) else {
                which.push(None);
                continue;
            };
            let key = self.key::<S>(params, Some(&option.rates), &upstream(i))?;
            let at = distinct.iter().position(|(known, ..)| *known == key).unwrap_or_else(|| {
                distinct.push((key, i, params));
                distinct.len() - 1
            });
            which.push(Some(at));
        }
        let results: Vec<Result<_, Problems>> = distinct
            .into_par_iter()
            .map(|(key, i, params)| {
                self.fetch_or_run::<S>(key, params, || Ok((input(i).ok_or_else(missing::<S>)?, Vec::new())))
            })
            .collect();
        let mut kept = Vec::new();
        let mut problems = Problems::default();
        for (at, result) in results.into_iter().enumerate() {
            match result {
                Ok((product, mut time)) => {
                    let served = options.iter().zip(&which).filter(|(_, w)| **w == Some(at));
                    time.options = served.map(|(option, _)| option.name.clone()).collect();
                    self.note(time);
                    kept.push(Arc::new(product));
                }
                Err(found) => {
                    problems.0.extend(found.0.into_iter().filter(|p| !problems.0.contains(p)).collect::<Vec<_>>())
                }
            }
        }
        problems.into_result(())?;
        Ok(which.into_iter().map(|at| at.map(|at| Arc::clone(&kept[at]))).collect())
    }

    fn note(&self, time: StageTime) {
        // A poisoned lock means that another thread panicked; its panic is what the user should see.
        if let Ok(mut times) = self.times.lock() {
            times.push(time);
        }
    }
}

fn missing<S: Stage>() -> Problem {
    let message = format!("`{}` was asked to run without all it reads", S::INFO.name);
    Problem::new(ProblemKind::Bug, "missing_input", message)
}
