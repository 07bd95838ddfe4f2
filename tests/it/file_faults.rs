//! Mistakes in pipeline files and flags: what the user is told, word for word.
//!
//! The faulty table stands at the top of each file, so that the lines shown do not move when a stage gains a parameter.

use crate::program::{rowfall, told, with_plan};
use rowfall::pipeline::starter::{Starter, starter_text};
use rowfall::stages::STAGES;

const PROGRAM: &str = "[program]
start_year = 2027
start_month = 1
machine_hours_per_day = 8.0
workable_days_ratio = 0.7
levelling_machines = 2
levelling_m3_per_h = 140.0
drain_m3_per_h = 60.0
dry_down_days = 60
knock_down_months = [4, 6]
dry_months = [6, 11]
burn_months = [8, 10]
cover_months = [9, 12]
plant_months = [4, 7]
";

/// A sound file without some stages and without options.
fn sound_without(left_out: &[&str]) -> String {
    let text = starter_text(&Starter {
        site: vec![("boundary", "b.geojson".into()), ("elevation", "e.tif".into())],
        stages: STAGES.iter().map(|s| s.info.name).filter(|name| !left_out.contains(name)).collect(),
        ..Starter::default()
    });
    text.replace("rowfall = 1\n", "")
}

/// A file that opens with `table`, the rest being sound.
fn opening_with(table: &str, left_out: &[&str]) -> String {
    format!("rowfall = 1\n{table}\n{}", sound_without(left_out))
}

fn check(text: &str, more: &[&str]) -> String {
    let (folder, _) = with_plan(text);
    let mut arguments = vec!["check", "plan.toml"];
    arguments.extend(more);
    told(folder.path(), &rowfall(folder.path(), &arguments))
}

#[test]
fn many_mistakes_are_told_at_once() {
    let table = PROGRAM
        .replace("start_month = 1\n", "start_mnth = 1\n")
        .replace("machine_hours_per_day = 8.0", "machine_hours_per_day = 30")
        .replace("workable_days_ratio = 0.7", "workable_days_ratio = \"most\"")
        .replace("levelling_machines = 2", "levelling_machines = 2.5")
        .replace("dry_months = [6, 11]", "dry_months = [6, 11, 12]")
        .replace("burn_months = [8, 10]", "burn_months = 8");
    insta::assert_snapshot!(check(&opening_with(&table, &["program"]), &[]));
}

#[test]
fn a_range_out_of_order_and_one_of_two_numbers() {
    let rates = starter_text(&Starter { stages: vec!["costing"], ..Starter::default() });
    let at = rates.find("[rates]").unwrap();
    let table = rates[at..]
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| match line.split(' ').next() {
            Some("survey_per_ha") => "survey_per_ha = [30.0, 15.0, 60.0]\n".to_owned(),
            Some("design_per_ha") => "design_per_ha = [40, 80]\n".to_owned(),
            _ => format!("{line}\n"),
        })
        .collect::<String>();
    let rest = sound_without(&[]);
    let rest = &rest[..rest.find("[rates]").unwrap()];
    insta::assert_snapshot!(check(&format!("rowfall = 1\n{table}\n{rest}"), &[]));
}

#[test]
fn text_that_is_not_toml() {
    insta::assert_snapshot!(check("rowfall = 1\n[site\nboundary = b.geojson\n", &[]));
}

#[test]
fn another_version() {
    insta::assert_snapshot!(check("rowfall = 2\n[site]\nboundary = \"b\"\n", &[]));
}

#[test]
fn no_version_at_all() {
    insta::assert_snapshot!(check("[site]\nboundary = \"b\"\n", &[]));
}

#[test]
fn a_needed_stage_that_is_not_wanted_and_a_table_nobody_knows() {
    insta::assert_snapshot!(
        check(&opening_with("[guidence]\n", &["terrain", "guidance"]), &[])
            .lines()
            .filter(|line| !line.contains("plan.toml:") || line.contains("plan.toml:2:"))
            .map(|line| line.trim_start_matches(|c: char| c.is_ascii_digit() || c == ' '))
            .collect::<Vec<_>>()
            .join("\n")
    );
}

#[test]
fn options_that_cannot_be() {
    let options = "[plan]\noption = \"third\"\n\n[[option]]\nname = \"first\"\nguidance = {}\ncosting.discount_pct = 99.0\n\n\
                   [[option]]\nname = \"first\"\nterrain = {}\n";
    insta::assert_snapshot!(check(&opening_with(options, &["guidance"]), &[]));
}

#[test]
fn an_option_that_is_wished_for_but_not_there() {
    let options = "[plan]\noption = \"third\"\n\n[[option]]\nname = \"first\"\n";
    insta::assert_snapshot!(check(&opening_with(options, &[]), &[]));
}

#[test]
fn flags_are_blamed_by_name() {
    let sound = opening_with("", &[]);
    let sets = [
        "--set",
        "program.start_month=13",
        "--set",
        "program.strat_year=2028",
        "--set",
        "nowhere.at=1",
        "--set",
        "nonsense",
    ];
    insta::assert_snapshot!(check(&sound, &sets));
}

#[test]
fn a_pipeline_file_that_is_not_there() {
    let folder = tempfile::tempdir().unwrap();
    insta::assert_snapshot!(told(folder.path(), &rowfall(folder.path(), &["run", "no-such.toml"])));
}

#[test]
fn an_unknown_command_is_a_wrong_request() {
    let folder = tempfile::tempdir().unwrap();
    let output = rowfall(folder.path(), &["plough"]);
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn init_names_inputs_that_are_not_there_and_layers_nobody_knows() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = ["init", "here", "--boundary", "b.geojson", "--elevation", "e.tif", "--layer", "outlets=site.gpkg"];
    insta::assert_snapshot!(told(folder.path(), &rowfall(folder.path(), &arguments)));
    assert!(!folder.path().join("here").exists(), "nothing is half-written");
}

#[test]
fn init_writes_a_file_that_passes_and_overwrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["b.geojson", "e.tif"] {
        std::fs::write(folder.path().join(name), "").unwrap();
    }
    let arguments = ["init", "here", "--boundary", "b.geojson", "--elevation", "e.tif"];
    assert_eq!(rowfall(folder.path(), &arguments).status.code(), Some(0));
    let text = std::fs::read_to_string(folder.path().join("here/plan.toml")).unwrap();
    assert!(text.contains("boundary = \"../b.geojson\"") && text.contains("name = \"here\""));
    let plan = rowfall::pipeline::file::read_plan("plan.toml", &text, &[]).unwrap();
    assert_eq!(plan.stages.wanted().len(), STAGES.len());
    assert_eq!(plan.options.len(), 3);
    insta::assert_snapshot!(told(folder.path(), &rowfall(folder.path(), &arguments)));
}

#[test]
fn explain_names_the_nearest_stage() {
    let folder = tempfile::tempdir().unwrap();
    insta::assert_snapshot!(told(folder.path(), &rowfall(folder.path(), &["explain", "levling"])));
}

#[test]
fn every_stage_has_its_page() {
    let folder = tempfile::tempdir().unwrap();
    for stage in STAGES {
        let page = told(folder.path(), &rowfall(folder.path(), &["explain", stage.info.name]));
        assert!(page.starts_with("exit code: 0"), "{page}");
        assert!(page.contains(stage.info.question) && page.contains(&format!("[{}]", stage.info.name)), "{page}");
    }
}
