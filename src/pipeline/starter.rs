//! Writes a new pipeline file: every key with its meaning, unit, range and source beside it.

use super::options::{Alternative, DEFAULT_ALTERNATIVES};
use super::schema::{pipeline_schema, starting_values, unit_of, words};
use crate::stages::STAGES;
use serde_json::Value as Json;
use std::fmt::Write as _;

/// What a new pipeline file shall hold.
#[derive(Debug, Clone, Default)]
pub struct Starter<'a> {
    /// Opening comment: what the file is for.
    pub purpose: &'a str,
    /// Values of `[site]`, by key.
    pub site: Vec<(&'a str, String)>,
    /// Values of `[given]`, by key.
    pub given: Vec<(&'a str, String)>,
    /// Names of the wanted stages.
    pub stages: Vec<&'a str>,
    /// Whether set-out files shall be marked CONCEPT; `None` when none are wanted.
    pub set_out_concept: Option<bool>,
    /// Whether to write the options an adviser always shows.
    pub options: bool,
    /// First-line reference to the schema file, when it resolves from where the file will lie.
    pub schema_path: Option<String>,
}

/// The text of the pipeline file.
#[must_use]
pub fn starter_text(starter: &Starter<'_>) -> String {
    let schema = pipeline_schema();
    let mut out = String::new();
    if let Some(path) = &starter.schema_path {
        let _ = writeln!(out, "#:schema {path}");
    }
    comment(&mut out, starter.purpose);
    let _ = writeln!(out, "rowfall = {}\n", super::schema::FILE_VERSION);
    site(&mut out, starter, &schema["properties"]["site"]);
    for stage in STAGES.iter().filter(|s| starter.stages.contains(&s.info.name)) {
        let defaults = serde_json::to_value((stage.defaults)()).unwrap_or(Json::Null);
        table(&mut out, stage.info.name, &schema["properties"][stage.info.name], &defaults);
    }
    if starter.stages.iter().any(|s| READS_RATES.contains(s)) {
        table(&mut out, "rates", &schema["properties"]["rates"], &starting_values("rates"));
    }
    if let Some(concept) = starter.set_out_concept {
        let mut values = starting_values("set_out");
        values["concept"] = concept.into();
        table(&mut out, "set_out", &schema["properties"]["set_out"], &values);
        table(&mut out, "as_built", &schema["properties"]["as_built"], &starting_values("as_built"));
    }
    given(&mut out, starter, &schema["properties"]["given"]);
    if starter.options {
        for alternative in DEFAULT_ALTERNATIVES {
            option(&mut out, alternative, &starter.stages);
        }
    }
    out
}

/// Stages that read the `[rates]` table.
pub const READS_RATES: &[&str] = &["blocks", "levelling", "drains", "clearing", "costing"];

fn site(out: &mut String, starter: &Starter<'_>, schema: &Json) {
    comment(out, schema["description"].as_str().unwrap_or_default());
    let _ = writeln!(out, "[site]");
    for (key, property) in schema["properties"].as_object().into_iter().flatten() {
        explain_key(out, key, property);
        match starter.site.iter().find(|(k, _)| k == key) {
            Some((_, value)) => {
                let _ = writeln!(out, "{key} = {}", quoted(value));
            }
            None => match property.get("default").and_then(toml_text) {
                Some(value) if value != "\"\"" => {
                    let _ = writeln!(out, "{key} = {value}");
                }
                _ => {
                    let _ = writeln!(out, "#{key} = {}", example(property));
                }
            },
        }
    }
    out.push('\n');
}

fn given(out: &mut String, starter: &Starter<'_>, schema: &Json) {
    if starter.given.is_empty() {
        return;
    }
    comment(out, schema["description"].as_str().unwrap_or_default());
    let _ = writeln!(out, "[given]");
    for (key, value) in &starter.given {
        explain_key(out, key, &schema["properties"][key]);
        let _ = writeln!(out, "{key} = {}", quoted(value));
    }
    out.push('\n');
}

fn table(out: &mut String, name: &str, schema: &Json, defaults: &Json) {
    comment(out, schema["description"].as_str().unwrap_or_default());
    let _ = writeln!(out, "[{name}]");
    for (key, property) in schema["properties"].as_object().into_iter().flatten() {
        explain_key(out, key, property);
        match toml_text(&defaults[key]) {
            Some(value) => {
                let _ = writeln!(out, "{key} = {value}");
            }
            None => {
                let _ = writeln!(out, "#{key} = {}", example(property));
            }
        }
    }
    out.push('\n');
}

fn option(out: &mut String, alternative: &Alternative, stages: &[&str]) {
    let _ = writeln!(out, "[[option]]\nname = {}", quoted(alternative.name));
    let _ = writeln!(out, "description = {}", quoted(alternative.description));
    for (table, key, value) in alternative.overrides.iter().filter(|(table, ..)| stages.contains(table)) {
        let _ = writeln!(out, "{table}.{key} = {value}");
    }
    out.push('\n');
}

/// Meaning, range and source of a key as comment lines.
fn explain_key(out: &mut String, key: &str, property: &Json) {
    comment(out, property["description"].as_str().unwrap_or_default());
    let mut notes = Vec::new();
    if let (Some(least), Some(most)) = (property["minimum"].as_f64(), property["maximum"].as_f64()) {
        notes.push(format!("{least} to {most} {}", unit_of(key)).trim_end().to_owned());
    }
    if let Some(words) = words(property) {
        notes.push(format!("one of {}", words.iter().map(|(w, _)| quoted(w)).collect::<Vec<_>>().join(", ")));
    }
    if let Some(source) = property["x-source"].as_str() {
        notes.push(format!("source: {source}"));
    }
    if !notes.is_empty() {
        comment(out, &format!("({})", notes.join("; ")));
    }
}

fn example(property: &Json) -> String {
    if let Some(words) = words(property) {
        return quoted(words.first().map_or("...", |(word, _)| word));
    }
    match property["type"].as_str() {
        Some("number") => property["minimum"].as_f64().map_or("0.0".into(), |x| format!("{x:?}")),
        Some("integer") => property["minimum"].as_f64().map_or("0".into(), |x| format!("{x:.0}")),
        Some("boolean") => "false".into(),
        Some("array") => "[]".into(),
        _ => "\"...\"".into(),
    }
}

/// Comment lines of at most 110 characters; line breaks of a doc comment are only where it was wrapped.
fn comment(out: &mut String, text: &str) {
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && line.chars().count() + word.chars().count() > 107 {
            let _ = writeln!(out, "# {line}");
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.is_empty() {
        let _ = writeln!(out, "# {line}");
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A value as TOML; `None` for nothing.
#[must_use]
pub fn toml_text(value: &Json) -> Option<String> {
    if value.is_null() {
        return None;
    }
    toml::Value::try_from(value).ok().map(|v| v.to_string())
}
