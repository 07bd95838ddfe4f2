//! Steps on a store in memory with a stage that counts its own runs.

use super::cache::Cache;
use super::file::read_plan;
use super::plan::OptionPlan;
use super::starter::{Starter, starter_text};
use super::step::Runner;
use crate::finding::{Finding, Outcome, Problem, Problems, Severity};
use crate::land::document::Document;
use crate::land::geodesy::CrsTag;
use crate::land::rates::Rates;
use crate::land::site_table::SiteTable;
use crate::land::store::{InputRecord, Pack, RenderedFile, Store, Wanted};
use crate::land::survey::RawSurvey;
use crate::stages::{Ctx, Silent, Stage, StageInfo};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

#[derive(Default)]
struct InMemory {
    kept: Mutex<BTreeMap<String, Vec<u8>>>,
    full: bool,
}

impl Store for InMemory {
    fn input_digest(&self, _: &SiteTable, _: &Wanted) -> Result<(String, Vec<InputRecord>), Problems> {
        Ok((String::new(), Vec::new()))
    }
    fn read_survey(&self, _: &SiteTable, _: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
        Err(Problem::data("none", "no data here").into())
    }
    fn fetch(&self, key: &str) -> Option<Vec<u8>> {
        self.kept.lock().unwrap().get(key).cloned()
    }
    fn keep(&self, key: &str, pack: Pack<'_>) -> Result<(), Problem> {
        if self.full {
            return Err(Problem::new(crate::finding::ProblemKind::Write, "disk_full", "no space left"));
        }
        let mut bytes = Vec::new();
        pack(&mut bytes).unwrap();
        self.kept.lock().unwrap().insert(key.to_owned(), bytes);
        Ok(())
    }
    fn render(&self, _: &Document, _: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
        Ok(Vec::new())
    }
    fn versions(&self) -> Vec<(String, String)> {
        vec![("library".into(), "1".into())]
    }
    fn finished_run(&self) -> Option<Vec<u8>> {
        None
    }
    fn publish(&self, _: &[RenderedFile], _: &[u8]) -> Result<(), Problem> {
        Ok(())
    }
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
struct Times {
    factor: u32,
}

/// Multiplies; reads the dozer price because it bears the name of a stage that does.
struct Multiply;

impl Stage for Multiply {
    const INFO: StageInfo = StageInfo {
        name: "clearing",
        version: 1,
        question: "",
        method: "",
        needs: &[],
        reads: &[],
        makes: &[],
        cites: &[],
    };
    type Params = Times;
    type Input<'a> = (&'a AtomicUsize, u32);
    type Output = u32;

    fn run((runs, x): (&AtomicUsize, u32), params: &Times, _: &Ctx<'_>) -> Result<Outcome<u32>, Problems> {
        runs.fetch_add(1, Ordering::SeqCst);
        let findings = vec![Finding::new(Severity::Note, "clearing", "done", "multiplied")];
        Ok(Outcome { value: x * params.factor, findings })
    }
}

fn runner<'a>(store: &'a InMemory, cancel: &'a AtomicBool) -> Runner<'a> {
    let ctx = Ctx { progress: &Silent, cancel };
    Runner { cache: Cache::new(store), ctx, times: Mutex::new(Vec::new()), most_cells: 1e6 }
}

/// Options that differ in their prices only.
fn options(rates: &[Rates]) -> Vec<OptionPlan> {
    let text = starter_text(&Starter {
        site: vec![("boundary", "b".into()), ("elevation", "e".into())],
        stages: vec!["survey"],
        ..Starter::default()
    });
    let plan = read_plan("p", &text, &[]).unwrap();
    let named = |(i, rates): (usize, &Rates)| OptionPlan {
        name: format!("option {i}"),
        rates: rates.clone(),
        ..plan.options[0].clone()
    };
    rates.iter().enumerate().map(named).collect()
}

#[test]
fn a_product_is_made_once_and_again_when_anything_it_depends_on_changes() {
    let (store, cancel, runs) = (InMemory::default(), AtomicBool::new(false), AtomicUsize::new(0));
    let run = runner(&store, &cancel);
    let step = |factor: u32, upstream: &str| {
        run.step::<Multiply>(&Times { factor }, &[upstream], || Ok(((&runs, 7), Vec::new()))).unwrap()
    };
    let first = step(2, "a");
    let second = step(2, "a");
    assert_eq!((first.value, second.value, runs.load(Ordering::SeqCst)), (14, 14, 1));
    assert_eq!(second.findings, first.findings, "what was noticed is kept with the product");
    assert_eq!(step(3, "a").value, 21);
    assert_ne!(step(2, "b").key, first.key);
    assert_eq!(runs.load(Ordering::SeqCst), 3);
    let cached: Vec<bool> = run.times.lock().unwrap().iter().map(|t| t.cached).collect();
    assert_eq!(cached, [false, true, false, false]);
}

#[test]
fn options_share_a_product_unless_a_price_it_reads_differs() {
    let (store, cancel, runs) = (InMemory::default(), AtomicBool::new(false), AtomicUsize::new(0));
    let run = runner(&store, &cancel);
    let plain = Rates::default();
    let lime = Rates { lime_per_ha: plain.lime_per_ha.map(|x| x + 1.0), ..plain.clone() };
    let dozer = Rates { dozer_per_h: plain.dozer_per_h.map(|x| x + 1.0), ..plain.clone() };
    let options = options(&[plain, lime, dozer]);
    let params = Times { factor: 2 };
    let made = run.across::<Multiply>(&options, |_| Some(&params), |_| vec!["a"], |_| Some((&runs, 1))).unwrap();
    let keys: Vec<&str> = made.iter().map(|m| m.as_ref().unwrap().key.as_str()).collect();
    assert_eq!(keys[0], keys[1], "clearing does not read the price of lime");
    assert_ne!(keys[0], keys[2], "clearing reads the price of the dozer");
    assert_eq!(runs.load(Ordering::SeqCst), 2);
    assert_eq!(run.times.lock().unwrap()[0].options, ["option 0", "option 1"]);
}

#[test]
fn a_full_disk_and_a_wish_to_stop_are_problems() {
    let (cancel, runs) = (AtomicBool::new(false), AtomicUsize::new(0));
    let store = InMemory { full: true, ..InMemory::default() };
    let run = runner(&store, &cancel);
    let step = || run.step::<Multiply>(&Times { factor: 2 }, &[], || Ok(((&runs, 7), Vec::new())));
    assert_eq!(step().unwrap_err().0[0].code, "disk_full");
    cancel.store(true, Ordering::SeqCst);
    assert_eq!(step().unwrap_err().0[0].code, "cancelled");
}

#[test]
fn parts_of_a_key_do_not_run_together() {
    let store = InMemory::default();
    let cache = Cache::new(&store);
    assert_ne!(cache.key("k", &[b"ab", b"c"]), cache.key("k", &[b"a", b"bc"]));
}
