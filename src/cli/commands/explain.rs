//! `rowfall explain`: what a stage reads, makes and cites; its parameters with units, ranges and sources.

use crate::cli::args::Explain;
use crate::cli::messages::Voice;
use crate::finding::{Problem, Problems};
use crate::pipeline::schema::{pipeline_schema, starting_values, unit_of, words};
use crate::pipeline::starter::toml_text;
use crate::pipeline::validate::nearest;
use crate::stages::{STAGES, StageEntry};
use serde_json::{Value as Json, json};

/// Prints a page, or the list of stages.
///
/// # Errors
/// When there is no such stage.
pub fn explain(args: &Explain, voice: &Voice) -> Result<(), Problems> {
    let schema = pipeline_schema();
    let Some(name) = &args.stage else {
        return list(voice);
    };
    if let "rates" | "site" | "set_out" | "as_built" = name.as_str() {
        let defaults = if name == "rates" { Json::Null } else { starting_values(name) };
        return Ok(voice.say(&table_page(name, &schema["properties"][name], &defaults))?);
    }
    let Some(stage) = STAGES.iter().find(|s| s.info.name == name) else {
        let names: Vec<&str> =
            STAGES.iter().map(|s| s.info.name).chain(["site", "rates", "set_out", "as_built"]).collect();
        let near = nearest(name, &names).map_or(String::new(), |n| format!("did you mean `{n}`? "));
        let problem = Problem::request("unknown_stage", format!("there is no stage `{name}`"));
        return Err(problem.hint(format!("{near}stages and tables are: {}", names.join(", "))).into());
    };
    let defaults = serde_json::to_value((stage.defaults)()).unwrap_or_default();
    let parameters = &schema["properties"][name];
    if voice.json {
        return Ok(voice.say_json(&json!({
            "name": name, "question": stage.info.question, "method": stage.info.method, "needs": stage.info.needs,
            "reads": stage.info.reads, "makes": stage.info.makes,
            "cites": stage.info.cites.iter().map(|c| c.reference()).collect::<Vec<_>>(),
            "parameters": parameters["properties"], "starting_values": defaults,
        }))?);
    }
    Ok(voice.say(&stage_page(stage, parameters, &defaults))?)
}

fn list(voice: &Voice) -> Result<(), Problems> {
    if voice.json {
        let all: Vec<Json> = STAGES.iter().map(|s| json!({"name": s.info.name, "question": s.info.question})).collect();
        return Ok(voice.say_json(&Json::Array(all))?);
    }
    let mut text = "Stages, in the order of the job (`rowfall explain <stage>` for one of them):\n".to_owned();
    for stage in STAGES {
        text.push_str(&format!("  {:<10} {}\n", stage.info.name, stage.info.question));
    }
    text.push_str("Tables: `rowfall explain site` for the inputs, `rowfall explain rates` for the prices, `rowfall explain set_out` and\n`rowfall explain as_built` for the files of surveyors and the acceptance of their work.\n");
    Ok(voice.say(&text)?)
}

fn stage_page(stage: &StageEntry, schema: &Json, defaults: &Json) -> String {
    let info = stage.info;
    let mut text = format!("{}\n{}\n\n", info.name, info.question);
    text.push_str(&wrapped(info.method, ""));
    for (title, words) in [("needs", info.needs), ("reads", info.reads), ("makes", info.makes)] {
        if !words.is_empty() {
            text.push_str(&wrapped(&format!("{title}: {}", words.join(", ")), ""));
        }
    }
    if !info.cites.is_empty() {
        text.push_str("cites:\n");
        for work in info.cites {
            text.push_str(&wrapped(work.reference(), "  "));
        }
    }
    text.push('\n');
    text + &table_page(info.name, schema, defaults)
}

fn table_page(name: &str, schema: &Json, defaults: &Json) -> String {
    let mut text = format!("[{name}]\n");
    let properties = schema["properties"].as_object();
    for (key, property) in properties.into_iter().flatten() {
        text.push_str(&format!("{key}\n"));
        text.push_str(&wrapped(property["description"].as_str().unwrap_or_default(), "    "));
        let mut notes: Vec<String> = Vec::new();
        notes.extend(toml_text(&defaults[key]).map(|value| format!("starting value {value}")));
        if let (Some(least), Some(most)) = (property["minimum"].as_f64(), property["maximum"].as_f64()) {
            notes.push(format!("{least} to {most} {}", unit_of(key)).trim_end().to_owned());
        } else if !unit_of(key).is_empty() {
            notes.push(format!("unit {}", unit_of(key)));
        }
        notes.extend(property["x-source"].as_str().map(|source| format!("source: {source}")));
        if !notes.is_empty() {
            text.push_str(&wrapped(&notes.join("; "), "    "));
        }
        for (word, about) in words(property).unwrap_or_default() {
            text.push_str(&wrapped(&format!("\"{word}\": {about}"), "      "));
        }
    }
    if properties.is_none_or(serde_json::Map::is_empty) {
        text.push_str("no parameters\n");
    }
    text
}

/// Text in lines of at most 100 characters, each indented.
fn wrapped(text: &str, indent: &str) -> String {
    let mut out = String::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && indent.len() + line.chars().count() + 1 + word.chars().count() > 100 {
            out.push_str(&format!("{indent}{line}\n"));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.is_empty() {
        out.push_str(&format!("{indent}{line}\n"));
    }
    out
}
