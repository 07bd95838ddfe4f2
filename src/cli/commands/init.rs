//! `rowfall init`: writes a new pipeline file, every key commented. It copies nothing and overwrites nothing.

use crate::cli::args::Init;
use crate::cli::disk::{not_written, path_from, write_new};
use crate::cli::messages::Voice;
use crate::finding::{Problem, Problems};
use crate::land::site_table::SiteTable;
use crate::pipeline::starter::{Starter, starter_text};
use crate::pipeline::validate::nearest;
use crate::stages::STAGES;
use serde_json::json;
use std::path::Path;

const PURPOSE: &str = "A first plan for cropping this land again. Change a number, run again: finished stages are kept. \
                       Remove the table of a stage that is not wanted.";

/// Writes `<dir>/plan.toml`.
///
/// # Errors
/// When an input is not there, a layer is unknown, or the file exists or cannot be written.
pub fn init(args: &Init, voice: &Voice) -> Result<(), Problems> {
    let name = match &args.name {
        Some(name) => name.clone(),
        None => args.dir.file_name().map_or_else(|| "property".to_owned(), |n| n.to_string_lossy().into_owned()),
    };
    let mut problems = Problems::default();
    let mut site = vec![("name", name)];
    site.push(("boundary", input(&args.dir, "boundary", &args.boundary, &mut problems)));
    site.push(("elevation", input(&args.dir, "elevation", &args.elevation, &mut problems)));
    let layers = SiteTable::default().optional_layers().map(|(key, _)| key);
    let keys: Vec<&str> = layers.into_iter().chain(["breakline"]).collect();
    for layer in &args.layers {
        match layer.split_once('=').and_then(|(key, file)| Some((keys.iter().find(|k| **k == key)?, file))) {
            Some((key, file)) => site.push((key, input(&args.dir, key, file, &mut problems))),
            None => {
                let key = layer.split('=').next().unwrap_or_default();
                let near = nearest(key, &keys).map_or(String::new(), |n| format!("did you mean `{n}`? "));
                let message = format!("`--layer {layer}` names no layer of `[site]`");
                let hint = format!("{near}write KEY=FILE with one of {}", keys.join(", "));
                problems.push(Problem::request("unknown_layer", message).hint(hint));
            }
        }
    }
    problems.into_result(())?;
    let text = starter_text(&Starter {
        purpose: PURPOSE,
        site,
        given: Vec::new(),
        stages: STAGES.iter().map(|s| s.info.name).collect(),
        set_out_concept: Some(false),
        options: true,
        schema_path: None,
    });
    let path = args.dir.join("plan.toml");
    std::fs::create_dir_all(&args.dir).map_err(|error| not_written(&args.dir, &error))?;
    write_new(&path, &text)?;
    if voice.json {
        return Ok(voice.say_json(&json!({ "program": "rowfall", "written": path.display().to_string() }))?);
    }
    voice.note(&format!("wrote {0}\nnext: rowfall check {0}", path.display()));
    Ok(())
}

/// The path of an input as seen from the new folder; `#layer` stays.
fn input(dir: &Path, key: &str, given: &str, problems: &mut Problems) -> String {
    let (file, layer) = given.split_once('#').map_or((given, None), |(file, layer)| (file, Some(layer)));
    if !Path::new(file).exists() {
        let message = format!("`--{key} {given}`: there is no file `{file}`");
        problems
            .push(Problem::data("missing_file", message).hint("check the path; it is read from where you stand now"));
    }
    let path = path_from(dir, Path::new(file)).to_string_lossy().replace('\\', "/");
    layer.map_or_else(|| path.clone(), |layer| format!("{path}#{layer}"))
}
