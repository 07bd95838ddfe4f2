//! `rowfall compare`: a later survey against the design of a run.

use crate::cli::args::Compare;
use crate::cli::disk;
use crate::cli::messages::Voice;
use crate::finding::{Problem, Problems};
use crate::land::site_table::SiteTable;
use crate::land::store::{Store as _, Wanted};
use crate::pipeline::compare::{Difference, compare as compare_surfaces};
use crate::pipeline::record::{PROGRAM, Record};
use serde_json::json;
use std::path::Path;

/// Prints the difference table.
///
/// # Errors
/// When the folder holds no run with a design surface, or the survey cannot be used.
pub fn compare(args: &Compare, voice: &Voice) -> Result<(), Problems> {
    let record = record_of(&args.run)?;
    let base = args.run.join(&record.base);
    let design = args.run.join("rasters/design.tif");
    if !design.exists() {
        let problem = Problem::data("no_design_surface", format!("`{}` is not there", design.display()));
        return Err(problem.hint("only a run with the stage `levelling` has a design surface").into());
    }
    if !Path::new(&args.survey).exists() {
        return Err(Problem::data("missing_file", format!("there is no file `{}`", args.survey)).into());
    }
    let site = site_of(&record, &base, &args.survey)?;
    let store = disk::store(&base, &args.run);
    let wanted = Wanted {
        ground: true,
        given_blocks: None,
        previous_blocks: None,
        given_surface: Some(disk::path_from(&base, &design).to_string_lossy().into_owned()),
        margin_m: 0.0,
    };
    let survey = store.read_survey(&site, &wanted)?;
    let difference = compare_surfaces(&survey.value)?;
    if let Some(path) = &args.csv {
        disk::write_new(path, &csv(&difference))?;
    }
    if voice.json {
        let value = json!({ "program": PROGRAM, "difference": difference, "findings": survey.findings });
        return Ok(voice.say_json(&value)?);
    }
    let mut text = format!("{} against the design of {}\n", args.survey, args.run.display());
    text.push_str("(survey less design: positive where the ground is too high)\n");
    for (name, value, unit) in difference.lines() {
        text.push_str(&format!("{name:<20} {value:>12} {unit}\n"));
    }
    Ok(voice.say(&text)?)
}

fn csv(difference: &Difference) -> String {
    let mut text = "item,value,unit\n".to_owned();
    for (name, value, unit) in difference.lines() {
        text.push_str(&format!("{name},{value},{unit}\n"));
    }
    text
}

fn record_of(run: &Path) -> Result<Record, Problem> {
    let path = run.join("run.json");
    let not_a_run = |why: String| {
        Problem::data("not_a_run", format!("`{}` holds no finished run: {why}", run.display()))
            .hint("name the folder that `rowfall run` wrote")
    };
    let text = std::fs::read_to_string(&path).map_err(|e| not_a_run(e.to_string()))?;
    let record: Record = serde_json::from_str(&text).map_err(|e| not_a_run(e.to_string()))?;
    if record.program == PROGRAM { Ok(record) } else { Err(not_a_run("it is of another program".to_owned())) }
}

/// The site of the run with the later survey as its elevation and without the layers a comparison does not read.
fn site_of(record: &Record, base: &Path, survey: &str) -> Result<SiteTable, Problem> {
    let site: SiteTable = serde_json::from_value(record.parameters["site"].clone())
        .map_err(|e| Problem::data("not_a_run", format!("the record of the run has no site: {e}")))?;
    Ok(SiteTable {
        name: site.name,
        boundary: site.boundary,
        elevation: Some(disk::path_from(base, Path::new(survey)).to_string_lossy().into_owned()),
        crs: site.crs,
        elevation_unit: site.elevation_unit,
        allow_null_datum_shift: site.allow_null_datum_shift,
        currency: site.currency,
        ..SiteTable::default()
    })
}
