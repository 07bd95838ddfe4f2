//! What every stage must keep to, held against the table of stages.

use crate::program::root;
use rowfall::pipeline::options::DEFAULT_ALTERNATIVES;
use rowfall::pipeline::schema::{is_range, pipeline_schema, unit_of, words};
use rowfall::pipeline::step::RATES_READ;
use rowfall::stages::STAGES;
use serde_json::Value;

#[test]
fn names_are_unique_and_needs_point_backwards() {
    for (i, stage) in STAGES.iter().enumerate() {
        let earlier: Vec<&str> = STAGES[..i].iter().map(|s| s.info.name).collect();
        assert!(!earlier.contains(&stage.info.name), "two stages are named {}", stage.info.name);
        for need in stage.info.needs {
            assert!(earlier.contains(need), "{} needs {need}, which does not come before it", stage.info.name);
        }
    }
}

#[test]
fn every_stage_says_how_it_works() {
    for stage in STAGES {
        let info = stage.info;
        assert!(info.question.ends_with('?'), "{}: the question is no question", info.name);
        assert!(info.method.len() > 80, "{}: the method is not told", info.name);
        assert!(!info.makes.is_empty(), "{}: what it makes is not told", info.name);
        assert!(!info.reads.is_empty(), "{}: what it reads is not told", info.name);
    }
}

/// Numbers without a unit: counts, years and factors that are pure numbers by name.
const PURE_NUMBERS: &[&str] = &[
    "bed_window_spacings",
    "furrow_n",
    "ratoons",
    "levelling_machines",
    "machines",
    "manning_n",
    "roughness_grown_n",
    "roughness_new_n",
    "start_year",
    "start_month",
    "bare_from_month",
    "bare_to_month",
];

fn parameters() -> Vec<(String, String, Value)> {
    let schema = pipeline_schema();
    let tables = STAGES.iter().map(|s| s.info.name).chain(["rates"]);
    let mut all = Vec::new();
    for table in tables {
        for (key, property) in schema["properties"][table]["properties"].as_object().into_iter().flatten() {
            all.push((table.to_owned(), key.clone(), property.clone()));
        }
    }
    all
}

#[test]
fn every_parameter_has_a_meaning_a_range_a_source_and_a_unit() {
    let mut broken = Vec::new();
    for (table, key, property) in parameters() {
        let mut say = |what: &str| broken.push(format!("{table}.{key}: {what}"));
        if property["description"].as_str().is_none_or(|text| text.len() < 8) {
            say("no meaning");
        }
        if property["x-source"].as_str().is_none_or(str::is_empty) {
            say("no source");
        }
        let number = matches!(property["type"].as_str(), Some("number" | "integer"));
        let limited = property["minimum"].is_number() && property["maximum"].is_number();
        if number && !limited && words(&property).is_none() {
            say("no range");
        }
        let dimensionless = key.ends_with("_ratio") || key.ends_with("_months") || PURE_NUMBERS.contains(&key.as_str());
        let per_property = table == "rates";
        if (number || is_range(&property)) && unit_of(&key).is_empty() && !dimensionless && !per_property {
            say("no unit in its name");
        }
    }
    assert!(broken.is_empty(), "{} parameters:\n{}", broken.len(), broken.join("\n"));
}

#[test]
fn starting_values_stand_within_their_ranges() {
    let schema = pipeline_schema();
    for stage in STAGES {
        let defaults = serde_json::to_value((stage.defaults)()).unwrap();
        let table = &schema["properties"][stage.info.name];
        let validator = jsonschema::validator_for(table).unwrap();
        let errors: Vec<String> =
            validator.iter_errors(&defaults).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(errors.is_empty(), "{}:\n{}", stage.info.name, errors.join("\n"));
    }
}

#[test]
fn the_standard_options_change_keys_that_exist() {
    let schema = pipeline_schema();
    for alternative in DEFAULT_ALTERNATIVES {
        for (table, key, value) in alternative.overrides {
            let property = &schema["properties"][table]["properties"][key];
            assert!(!property.is_null(), "`{}` changes {table}.{key}, which does not exist", alternative.name);
            let validator = jsonschema::validator_for(property).unwrap();
            let value: toml::Table = toml::from_str(&format!("v = {value}")).unwrap();
            let value = serde_json::to_value(&value["v"]).unwrap();
            assert!(validator.is_valid(&value), "`{}` sets {table}.{key} to {value}", alternative.name);
        }
    }
}

/// A price a stage reads but does not name would leave stale products in place when it changes.
#[test]
fn prices_a_stage_reads_enter_its_key() {
    let rates = pipeline_schema()["properties"]["rates"]["properties"].clone();
    for stage in STAGES.iter().map(|s| s.info.name).filter(|name| *name != "costing") {
        let listed = RATES_READ.iter().find(|(name, _)| *name == stage).map_or(&[] as &[&str], |(_, names)| *names);
        let mut text = stage_source(stage);
        if text.contains("machines::Machines") {
            text += &std::fs::read_to_string(root().join("src/stages/machines.rs")).unwrap();
        }
        for (rate, _) in rates.as_object().unwrap() {
            let read = text.contains(&format!(".{rate}"));
            assert!(!read || listed.contains(&rate.as_str()), "{stage} reads rates.{rate}: add it to RATES_READ");
        }
    }
}

fn stage_source(stage: &str) -> String {
    let file = root().join(format!("src/stages/{stage}.rs"));
    if let Ok(text) = std::fs::read_to_string(file) {
        return text;
    }
    let mut text = String::new();
    for entry in std::fs::read_dir(root().join("src/stages").join(stage)).unwrap() {
        text.push_str(&std::fs::read_to_string(entry.unwrap().path()).unwrap_or_default());
    }
    text
}
