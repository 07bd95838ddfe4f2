//! `rowfall compare`: a later survey against the design of a run.

use crate::cli::args::Compare;
use crate::cli::disk;
use crate::cli::messages::Voice;
use crate::finding::{Problem, Problems};
use crate::land::as_built::Tolerances;
use crate::land::site_table::SiteTable;
use crate::land::store::{Store as _, Wanted};
use crate::land::survey::RawSurvey;
use crate::pipeline::compare::{AsBuilt, compare as compare_surfaces};
use crate::pipeline::record::{PROGRAM, Record};
use crate::publish::as_built;
use geo::LineString;
use serde_json::json;
use std::path::Path;

/// Most rows named on the terminal; the table and the JSON form hold them all.
const ROWS_SHOWN: usize = 10;

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
    let site = site_of(&record, &base, &args.run, &args.survey)?;
    let store = disk::store(&base, &args.run);
    let wanted = Wanted {
        ground: true,
        given_blocks: None,
        previous_blocks: plan_layer(&base, &args.run, "block"),
        given_surface: Some(disk::path_from(&base, &design).to_string_lossy().into_owned()),
        margin_m: 0.0,
    };
    let survey = store.read_survey(&site, &wanted)?;
    let limits = limits_of(&record)?;
    let found = compare_surfaces(&survey.value, &row_names(&args.run), &limits)?;
    if let Some(path) = &args.csv {
        disk::write_new(path, &csv(&found))?;
    }
    if let Some(path) = &args.map {
        disk::write_new(path, &drawn(&record, args, &survey.value, &found))?;
    }
    if voice.json {
        let value = json!({ "program": PROGRAM, "difference": found.difference, "rows": found.rows,
            "judgements": found.judgements, "accepted": found.accepted, "findings": survey.findings });
        return Ok(voice.say_json(&value)?);
    }
    Ok(voice.say(&page(args, &found, &limits))?)
}

fn page(args: &Compare, found: &AsBuilt, limits: &Tolerances) -> String {
    let mut text = format!("{} against the design of {}\n", args.survey, args.run.display());
    text.push_str("(survey less design: positive where the ground is too high)\n");
    for (name, value, unit) in found.difference.lines() {
        text.push_str(&format!("{name:<20} {value:>12} {unit}\n"));
    }
    let judged = found.rows.iter().filter(|r| r.reverse_depth_m.is_some()).count();
    text.push_str(&format!("{:<20} {:>12} of {}\n", "rows judged", judged, found.rows.len()));
    for (row, depth_m) in found.reversed(limits).take(ROWS_SHOWN) {
        text.push_str(&format!("  {row}: water stands {:.0} mm deep\n", depth_m * 1_000.0));
    }
    let more = found.reversed(limits).count().saturating_sub(ROWS_SHOWN);
    if more > 0 {
        text.push_str(&format!("  and {more} more rows\n"));
    }
    text.push('\n');
    for j in &found.judgements {
        let word = match j.holds {
            Some(true) => "holds",
            Some(false) => "DOES NOT HOLD",
            None => "could not be judged",
        };
        let found = j.holds.map_or_else(|| "-".to_owned(), |_| format!("{:.1}", j.found));
        text.push_str(&format!("{:<26} {found:>7} {:<2} limit {:>6.1}  {word}\n", j.item, j.unit, j.limit));
    }
    text.push_str(if found.accepted { "accepted\n" } else { "NOT ACCEPTED\n" });
    text
}

/// The tolerances the run was made with.
fn limits_of(record: &Record) -> Result<Tolerances, Problem> {
    match record.parameters.get("as_built") {
        None => Ok(Tolerances::default()),
        Some(table) => serde_json::from_value(table.clone())
            .map_err(|e| Problem::data("not_a_run", format!("the record of the run has other tolerances: {e}"))),
    }
}

/// "block 2 row 17" for every row of the run, in its order; empty when the table is not there.
fn row_names(run: &Path) -> Vec<String> {
    let Ok(mut reader) = csv::Reader::from_path(run.join("tables/rows.csv")) else { return Vec::new() };
    let rows = reader.records().flatten();
    rows.map(|r| format!("block {} row {}", r.get(0).unwrap_or_default(), r.get(1).unwrap_or_default())).collect()
}

fn drawn(record: &Record, args: &Compare, raw: &RawSurvey, found: &AsBuilt) -> String {
    let verdict = if found.accepted { "accepted" } else { "not accepted" };
    let d = &found.difference;
    as_built::map(&as_built::Sheet {
        title: &format!("As built less design: {}", record.parameters["site"]["name"].as_str().unwrap_or_default()),
        lines: &[
            format!("Survey {} against run {}, {verdict}", args.survey, record.digest.get(..12).unwrap_or_default()),
            format!(
                "Mean {:.0} mm, standard deviation {:.0} mm; {:.1} % within 25 mm, {:.1} % within 50 mm; still to cut \
                 {:.0} m3, to fill {:.0} m3",
                d.mean_m * 1e3,
                d.sd_m * 1e3,
                d.within_25_mm_ratio * 100.0,
                d.within_50_mm_ratio * 100.0,
                d.too_high_m3,
                d.too_low_m3
            ),
            format!(
                "{}; height datum {}; grid north is up",
                raw.crs.name,
                raw.crs.vertical_name.as_deref().unwrap_or("not named")
            ),
        ],
        places: &found.places,
        cell_m: found.cell_m,
        rows: &reversed_rows(record, raw, found),
        blocks: &raw.layers.previous_blocks.iter().map(|b| (b.name.as_str(), &b.outline)).collect::<Vec<_>>(),
    })
}

fn reversed_rows(record: &Record, raw: &RawSurvey, found: &AsBuilt) -> Vec<LineString<f64>> {
    let limit_m = limits_of(record).unwrap_or_default().reverse_max_mm / 1_000.0;
    let rows = raw.layers.old_tree_rows.iter().zip(&found.rows);
    rows.filter(|(_, r)| r.reverse_depth_m.is_some_and(|d| d > limit_m)).map(|(line, _)| line.clone()).collect()
}

fn csv(found: &AsBuilt) -> String {
    let mut text = "item,value,unit\n".to_owned();
    for (name, value, unit) in found.difference.lines() {
        text.push_str(&format!("{name},{value},{unit}\n"));
    }
    for row in &found.rows {
        let depth = row.reverse_depth_m.map_or(String::new(), |m| format!("{:.0}", m * 1_000.0));
        text.push_str(&format!("water in {},{depth},mm\n", row.row));
    }
    for j in &found.judgements {
        let word = j.holds.map_or("not judged", |holds| if holds { "holds" } else { "does not hold" });
        text.push_str(&format!("{} {:.1} {},{word},\n", j.item, j.limit, j.unit));
    }
    text.push_str(if found.accepted { "accepted,yes,\n" } else { "accepted,no,\n" });
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

/// A layer of the plan of a run, as inputs are named; `None` when the run wrote no plan.
fn plan_layer(base: &Path, run: &Path, layer: &str) -> Option<String> {
    let plan = run.join("plan.gpkg");
    plan.exists().then(|| format!("{}#{layer}", disk::path_from(base, &plan).to_string_lossy()))
}

/// The site of the run with the later survey as its elevation and without the layers a comparison does not read.
fn site_of(record: &Record, base: &Path, run: &Path, survey: &str) -> Result<SiteTable, Problem> {
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
        // Rows are read as plain lines, in the order and the direction they were written: high end first.
        old_tree_row: plan_layer(base, run, "row"),
        ..SiteTable::default()
    })
}
