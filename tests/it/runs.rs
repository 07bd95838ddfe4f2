//! Whole runs: the shipped pipelines on the demo property, and what a second run does on a small site.

use crate::gains;
use crate::program::{root, rowfall, told, with_plan};
use rowfall::pipeline::shipped::shipped;
use rowfall::pipeline::starter::{Starter, starter_text};
use rowfall::stages::STAGES;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;

fn record(run: &Path) -> Value {
    let text = std::fs::read_to_string(run.join("run.json")).expect("a finished run has a record");
    serde_json::from_str(&text).expect("the record is JSON")
}

/// All files of a run folder but its record, by path.
pub fn files(run: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![run.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(run).unwrap().to_string_lossy().into_owned();
                found.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    found.remove("run.json");
    found
}

/// The small sound site, every stage, three options.
fn small_site() -> String {
    let bad = root().join("fixtures/bad/base");
    starter_text(&Starter {
        site: vec![
            ("name", "Base".to_owned()),
            ("boundary", bad.join("boundary.geojson").display().to_string()),
            ("elevation", bad.join("ground.tif").display().to_string()),
        ],
        stages: STAGES.iter().map(|s| s.info.name).collect(),
        options: true,
        ..Starter::default()
    })
}

/// A run that must do its work; 4 (no design within the limits) also writes results.
fn run(folder: &Path, more: &[&str]) {
    let mut arguments = vec!["run", "plan.toml"];
    arguments.extend(more);
    let output = rowfall(folder, &arguments);
    assert!(matches!(output.status.code(), Some(0 | 4)), "{}", told(folder, &output));
}

fn shipped_runs(name: &str, stages: usize, must_hold: &[&str]) -> tempfile::TempDir {
    let text = shipped().into_iter().find(|(n, _)| *n == name).unwrap().1;
    let demo = root().join("demo-data").display().to_string();
    let (folder, _) = with_plan(&text.replace("../demo-data", &demo));
    run(folder.path(), &[]);
    let run = folder.path().join("run");
    let record = record(&run);
    assert_eq!(record["program"], "rowfall");
    let names: Vec<&str> = record["stages"].as_array().unwrap().iter().filter_map(|s| s["name"].as_str()).collect();
    for stage in STAGES.iter().map(|s| s.info.name).filter(|s| record["parameters"].get(s).is_some()) {
        assert!(names.contains(&stage), "{name}: {stage} is wanted but has no time");
    }
    let distinct: std::collections::BTreeSet<&str> = names.iter().copied().collect();
    assert_eq!(distinct.len(), stages + 1, "{name}: {distinct:?} (the stages and publish)");
    let written = files(&run);
    for file in must_hold {
        assert!(written.contains_key(*file), "{name}: no {file} among {:?}", written.keys());
    }
    folder
}

#[test]
fn first_cut_plans_the_demo_property() {
    let must = [
        "plan.gpkg",
        "report.html",
        "geojson/block.geojson",
        "rasters/ground.tif",
        "rasters/design.tif",
        "rasters/cut_fill.tif",
        "tables/block_register.csv",
        "tables/rows.csv",
        "tables/options.csv",
        "tables/budget.csv",
        "tables/findings.csv",
        "tables/assumptions.csv",
    ];
    let folder = shipped_runs("first-cut.toml", 11, &must);
    // Graded rows spare the published share of a plane's earth on blocks over 5 ha.
    gains::worth_it(&gains::gains(&folder.path().join("run"), 5.0));
}

#[test]
fn grant_maps_come_with_their_pages() {
    let must = [
        "plan.gpkg",
        "report.html",
        "tables/indicators.csv",
        "grant_pages.pdf",
        "maps/map_set.pdf",
        "maps/10_works.png",
    ];
    shipped_runs("grant-maps.toml", 10, &must);
}

#[test]
fn guidance_needs_no_ground() {
    shipped_runs("guidance.toml", 3, &["plan.gpkg", "geojson/guidance_line.geojson"]);
}

#[test]
fn a_second_run_does_nothing_and_a_price_redoes_only_what_reads_it() {
    let (folder, _) = with_plan(&small_site());
    run(folder.path(), &[]);
    let before = files(&folder.path().join("run"));
    let again = rowfall(folder.path(), &["run", "plan.toml", "--json"]);
    let again: Value = serde_json::from_slice(&again.stdout).unwrap();
    assert_eq!(again["unchanged"], true);

    run(folder.path(), &["--set", "rates.lime_per_ha=[201.0, 331.0, 601.0]"]);
    let record = record(&folder.path().join("run"));
    for stage in record["stages"].as_array().unwrap() {
        let name = stage["name"].as_str().unwrap();
        let redone = name == "costing" || name == "publish";
        assert_eq!(stage["cached"].as_bool(), Some(!redone), "{name}");
    }
    let after = files(&folder.path().join("run"));
    assert_ne!(before["tables/budget.csv"], after["tables/budget.csv"], "lime is in the budget");
    // What is drawn, steered and set out carries the id of the plan, which money does not touch: none of it is redrawn.
    for (path, bytes) in &after {
        if ["maps/", "contractors/", "guidance/", "set_out/", "rasters/"].iter().any(|f| path.starts_with(f)) {
            assert!(before[path] == *bytes, "{path} changed with a price");
        }
    }
    // And a run that starts from nothing writes the same folder.
    let (fresh, _) = with_plan(&small_site());
    run(fresh.path(), &["--set", "rates.lime_per_ha=[201.0, 331.0, 601.0]"]);
    let fresh = files(&fresh.path().join("run"));
    assert_eq!(fresh.keys().collect::<Vec<_>>(), after.keys().collect::<Vec<_>>());
    for (path, bytes) in &fresh {
        assert!(path == "run.json" || after[path] == *bytes, "{path} differs between a changed and a fresh run");
    }
}

#[test]
fn results_are_the_same_bytes_with_one_thread_and_with_two() {
    let (one, _) = with_plan(&small_site());
    let (two, _) = with_plan(&small_site());
    run(one.path(), &["--threads", "1"]);
    run(two.path(), &["--threads", "2"]);
    let (a, b) = (files(&one.path().join("run")), files(&two.path().join("run")));
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, bytes) in &a {
        assert!(bytes == &b[name], "{name} differs");
    }
    let [mut a, mut b] = [&one, &two].map(|folder| record(&folder.path().join("run")));
    for record in [&mut a, &mut b] {
        let object = record.as_object_mut().unwrap();
        for measured in ["wall_s", "peak_memory_mb", "stages"] {
            object.remove(measured);
        }
    }
    assert_eq!(a, b);
}

#[test]
fn a_second_run_while_one_is_at_work_is_kept_out() {
    let (folder, _) = with_plan(&small_site());
    let store =
        rowfall::formats::DiskStore::new(folder.path(), &folder.path().join(".rowfall"), &folder.path().join("run"));
    let lock = store.lock().unwrap();
    let output = rowfall(folder.path(), &["run", "plan.toml"]);
    assert_eq!(output.status.code(), Some(5), "{}", told(folder.path(), &output));
    assert!(!folder.path().join("run").exists());
    drop(lock);
}

#[test]
fn a_folder_that_is_not_a_run_is_left_alone() {
    let (folder, _) = with_plan(&small_site());
    let mine = folder.path().join("run");
    std::fs::create_dir(&mine).unwrap();
    std::fs::write(mine.join("letters.txt"), "mine").unwrap();
    let output = rowfall(folder.path(), &["run", "plan.toml"]);
    assert_eq!(output.status.code(), Some(5), "{}", told(folder.path(), &output));
    assert_eq!(std::fs::read_to_string(mine.join("letters.txt")).unwrap(), "mine");
}

/// Real bare-earth lidar (see `fixtures/real-ground/PROVENANCE.md`): hummocky land with closed hollows, 20 m of relief, no
/// outlet and no vertical datum given. The job must run through and say all that.
#[test]
fn real_ground_runs_through_and_is_not_flattered() {
    let real = root().join("fixtures/real-ground");
    let text = starter_text(&Starter {
        site: vec![
            ("name", "Real ground".to_owned()),
            ("boundary", real.join("boundary.geojson").display().to_string()),
            ("elevation", real.join("ground.tif").display().to_string()),
        ],
        stages: STAGES.iter().map(|s| s.info.name).collect(),
        options: true,
        ..Starter::default()
    });
    let (folder, _) = with_plan(&text);
    run(folder.path(), &[]);
    let record = record(&folder.path().join("run"));
    let codes: Vec<&str> = record["findings"].as_array().unwrap().iter().filter_map(|f| f["code"].as_str()).collect();
    for wanted in ["steep_land", "no_outlet_given"] {
        assert!(codes.contains(&wanted), "{wanted} is not among {codes:?}");
    }
}
