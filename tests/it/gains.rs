//! Earth of graded rows against the least-squares plane within the same limits, block by block.
//!
//! Published gain of a curved surface over the least-squares plane: 11.3 % of the cut (Saad, thesis of the Universidade Federal
//! de Campina Grande, after Hamad & Ali 1990, J. Irrig. Drain. Eng. 116(2):219; figure from the abstract). It shows where limits leave the ground its shape. On ground so steep that the limits of crop land decide every height both move
//! the same earth, and the gain there is told as it is.

use crate::program::{root, rowfall, told, with_plan};
use rowfall::pipeline::starter::{Starter, starter_text};
use std::collections::BTreeMap;
use std::path::Path;

/// The least gain, per cent.
const PUBLISHED_PCT: f64 = 11.0;

/// One block's earth on both surfaces, bank cubic metres of cut.
pub struct Gain {
    block: String,
    ha: f64,
    graded_m3: f64,
    plane_m3: f64,
}

/// A table of a run: column to value, row by row.
fn table(run: &Path, name: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(run.join("tables").join(name)).unwrap();
    reader.deserialize().map(|row| row.unwrap()).collect()
}

/// The gains of a run on blocks of at least some hectares.
pub fn gains(run: &Path, least_ha: f64) -> Vec<Gain> {
    let number = |row: &BTreeMap<String, String>, column: &str| row[column].parse::<f64>().unwrap();
    let surfaces = table(run, "surfaces.csv");
    let cut = |block: &str, surface: &str| {
        let row = surfaces.iter().find(|r| r["block"] == block && r["surface"] == surface).unwrap();
        number(row, "cut_bank_m3")
    };
    table(run, "earthworks.csv")
        .iter()
        .map(|row| Gain {
            block: row["name"].clone(),
            ha: number(row, "formed_ha"),
            graded_m3: cut(&row["block"], "graded rows"),
            plane_m3: cut(&row["block"], "plane falling both ways"),
        })
        .filter(|g| g.ha >= least_ha)
        .collect()
}

/// Share of the plane's earth that graded rows spare over all blocks, per cent.
pub fn spared_pct(gains: &[Gain]) -> f64 {
    let sum = |of: fn(&Gain) -> f64| gains.iter().map(of).sum::<f64>();
    100.0 * (1.0 - sum(|g| g.graded_m3) / sum(|g| g.plane_m3))
}

/// Graded rows spare the published share at least.
pub fn worth_it(gains: &[Gain]) {
    assert!(!gains.is_empty(), "no block is large enough");
    let spared = spared_pct(gains);
    assert!(spared >= PUBLISHED_PCT, "{spared:.1} % of the plane's earth is spared");
}

/// The whole job up to the earthworks on the clip of real lidar, with some limits of fall along and across the rows.
fn real_ground(most_fall_pct: f64) -> tempfile::TempDir {
    let real = root().join("fixtures/real-ground");
    let text = starter_text(&Starter {
        site: vec![
            ("boundary", real.join("boundary.geojson").display().to_string()),
            ("elevation", real.join("ground.tif").display().to_string()),
        ],
        stages: vec!["survey", "terrain", "water", "blocks", "levelling"],
        ..Starter::default()
    });
    let (folder, _) = with_plan(&text);
    let limits: Vec<String> = [
        ("max_fall_pct", most_fall_pct),
        ("max_cross_fall_pct", most_fall_pct),
        ("max_cut_mm", 5_000.0),
        ("max_fill_mm", 5_000.0),
    ]
    .iter()
    .map(|(key, value)| format!("levelling.{key}={value:?}"))
    .collect();
    let mut arguments = vec!["run", "plan.toml"];
    arguments.extend(limits.iter().flat_map(|limit| ["--set", limit.as_str()]));
    let output = rowfall(folder.path(), &arguments);
    assert!(matches!(output.status.code(), Some(0 | 4)), "{}", told(folder.path(), &output));
    folder
}

/// The clip holds one block of 2 ha; at 5 % the rolling land may keep some of its shape.
#[test]
fn graded_rows_spare_earth_on_real_ground() {
    let folder = real_ground(5.0);
    worth_it(&gains(&folder.path().join("run"), 1.0));
}

/// `cargo test --release --test it gains_over_planes -- --ignored --nocapture`
#[test]
#[ignore = "prints a table; part of make test-long"]
fn gains_over_planes() {
    use std::io::Write;
    let mut out = std::io::stdout();
    writeln!(out, "ground                       block      ha     graded      plane   spared").unwrap();
    let mut print = |ground: &str, gains: &[Gain]| {
        for g in gains {
            let spared = 100.0 * (1.0 - g.graded_m3 / g.plane_m3);
            let (block, ha) = (&g.block, g.ha);
            writeln!(out, "{ground:28} {block:6} {ha:6.1} {:10.0} {:10.0} {spared:7.1}%", g.graded_m3, g.plane_m3)
                .unwrap();
        }
        writeln!(out, "{ground:28} all {:36.1}%", spared_pct(gains)).unwrap();
    };
    let text = rowfall::pipeline::shipped::shipped().into_iter().find(|(n, _)| *n == "first-cut.toml").unwrap().1;
    let (folder, _) = with_plan(&text.replace("../demo-data", &root().join("demo-data").display().to_string()));
    let output = rowfall(folder.path(), &["run", "plan.toml"]);
    assert!(matches!(output.status.code(), Some(0 | 4)), "{}", told(folder.path(), &output));
    let demo = gains(&folder.path().join("run"), 5.0);
    print("demo, blocks over 5 ha", &demo);
    worth_it(&demo);
    for most_fall_pct in [0.5, 2.0, 5.0] {
        let folder = real_ground(most_fall_pct);
        print(&format!("real ground, up to {most_fall_pct} %"), &gains(&folder.path().join("run"), 1.0));
    }
}
