//! A disk that fills up: tests may run as root, whom no permission stops, so the store itself fails.

use crate::program::{root, with_plan};
use rowfall::finding::{Outcome, Problem, ProblemKind, Problems};
use rowfall::formats::DiskStore;
use rowfall::land::document::Document;
use rowfall::land::geodesy::CrsTag;
use rowfall::land::site_table::SiteTable;
use rowfall::land::store::{InputRecord, Pack, RenderedFile, Store, Wanted};
use rowfall::land::survey::RawSurvey;
use rowfall::pipeline::file::read_plan;
use rowfall::pipeline::run::{Surroundings, run};
use rowfall::pipeline::starter::{Starter, starter_text};
use rowfall::stages::{Ctx, Silent};
use std::sync::atomic::AtomicBool;

/// A store that reads like the disk's and can write nothing.
struct FullDisk(DiskStore);

fn full() -> Problem {
    Problem::new(ProblemKind::Write, "cannot_write", "no space left on device")
}

impl Store for FullDisk {
    fn input_digest(&self, site: &SiteTable, wanted: &Wanted) -> Result<(String, Vec<InputRecord>), Problems> {
        self.0.input_digest(site, wanted)
    }
    fn read_survey(&self, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
        self.0.read_survey(site, wanted)
    }
    fn fetch(&self, _: &str) -> Option<Vec<u8>> {
        None
    }
    fn keep(&self, _: &str, _: Pack<'_>) -> Result<(), Problem> {
        Err(full())
    }
    fn render(&self, document: &Document, crs: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
        self.0.render(document, crs)
    }
    fn versions(&self) -> Vec<(String, String)> {
        self.0.versions()
    }
    fn finished_run(&self) -> Option<Vec<u8>> {
        None
    }
    fn publish(&self, _: &[RenderedFile], _: &[u8]) -> Result<(), Problem> {
        Err(full())
    }
}

#[test]
fn a_full_disk_is_said_and_leaves_nothing_half_written() {
    let base = root().join("fixtures/bad/base");
    let text = starter_text(&Starter {
        site: vec![
            ("name", "Base".to_owned()),
            ("boundary", base.join("boundary.geojson").display().to_string()),
            ("elevation", base.join("ground.tif").display().to_string()),
        ],
        stages: vec!["survey", "terrain"],
        ..Starter::default()
    });
    let (folder, _) = with_plan(&text);
    let place = folder.path().join("run");
    let store = FullDisk(DiskStore::new(folder.path(), &folder.path().join(".rowfall"), &place));
    let plan = read_plan("plan.toml", &text, &[]).unwrap();
    let cancel = AtomicBool::new(false);
    let around = Surroundings { base: String::new(), peak_memory_mb: &|| None, free_bytes: None };
    let problems = run(&plan, &store, Ctx { progress: &Silent, cancel: &cancel }, &around).unwrap_err();
    assert!(problems.0.iter().all(|p| p.kind == ProblemKind::Write && p.message.contains("no space")), "{problems}");
    assert!(!place.exists());
}
