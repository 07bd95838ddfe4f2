//! Reads the text of a pipeline file: versions, flags, every mistake with its line, then typed values.

use super::options::{Merged, merged_options};
use super::place::Source;
use super::plan::{OptionPlan, Plan, StageTables};
use super::schema::{FILE_VERSION, FIRST_OPTION_STAGE, pipeline_schema, starting_values};
use super::starter::READS_RATES;
use super::tree::{Entry, Item, Node, Origin, parse, parse_flag};
use super::validate::{Checker, nearest};
use crate::finding::{Problem, ProblemKind, Problems};
use crate::stages::STAGES;
use serde::de::DeserializeOwned;
use serde_json::Value as Json;

/// Reads a pipeline file. `name` is printed in problems; `sets` are `table.key=value` overrides.
///
/// # Errors
/// Everything that is wrong with the text or the flags, at once.
pub fn read_plan(name: &str, text: &str, sets: &[String]) -> Result<Plan, Problems> {
    let source = Source { name, text };
    let (mut tree, mistakes) = parse(text);
    let mut checker = Checker { source, problems: Problems::default() };
    for (span, message) in mistakes {
        let hint = "a pipeline file is TOML: `key = value` lines below `[table]` lines".to_owned();
        checker.note(&Origin::File(span), "not_toml", &format!("this is not TOML: {message}"), Some(hint));
    }
    if !checker.problems.0.is_empty() {
        return Err(checker.problems);
    }
    version(&mut checker, &tree)?;
    for set in sets {
        apply(&mut checker, &mut tree, set);
    }
    let schema = pipeline_schema();
    check_tables(&mut checker, &tree, &schema);
    check_wanted(&mut checker, &tree);
    check_options(&mut checker, &tree, &schema);
    if !checker.problems.0.is_empty() {
        return Err(checker.problems);
    }
    let merged = merged_options(&tree, &schema);
    check_merged(&mut checker, &tree, &merged);
    if !checker.problems.0.is_empty() {
        return Err(checker.problems);
    }
    typed(&tree, &merged)
}

fn version(checker: &mut Checker<'_>, tree: &Item) -> Result<(), Problems> {
    let (origin, found) = match tree.entry("rowfall") {
        None => (Origin::File(0..0), "the version line is missing".to_owned()),
        Some(entry) => match entry.item.node {
            Node::Integer(n) if n == FILE_VERSION => return Ok(()),
            Node::Integer(n) if n > FILE_VERSION => (
                entry.item.origin.clone(),
                format!("this file is of version {n}; this program reads version {FILE_VERSION}"),
            ),
            _ => (entry.item.origin.clone(), "this is not a version of the pipeline file format".to_owned()),
        },
    };
    let hint =
        format!("open the file with the line `rowfall = {FILE_VERSION}`, or use the program the file was made with");
    checker.note(&origin, "wrong_version", &found, Some(hint));
    Err(std::mem::take(&mut checker.problems))
}

fn apply(checker: &mut Checker<'_>, tree: &mut Item, set: &str) {
    let parts = set.split_once('=').and_then(|(path, value)| Some((path.trim().split_once('.')?, value.trim())));
    let Some(((table, key), value)) = parts else {
        let hint = "write `--set table.key=value`, for instance `--set blocks.row_spacing_m=1.8`".to_owned();
        checker.note(&Origin::Flag(set.to_owned()), "bad_flag", "this is not `table.key=value`", Some(hint));
        return;
    };
    let Some(target) = super::options::table_mut(tree, table).filter(|t| matches!(t.node, Node::Table(_))) else {
        let hint = format!("the pipeline file has no table `[{table}]`; add it first");
        checker.note(&Origin::Flag(set.to_owned()), "unknown_table", &format!("no table `[{table}]`"), Some(hint));
        return;
    };
    target.put(Entry { key: key.to_owned(), key_origin: Origin::Flag(set.to_owned()), item: parse_flag(set, value) });
}

fn check_tables(checker: &mut Checker<'_>, tree: &Item, schema: &Json) {
    for entry in tree.entries().iter().filter(|e| e.key != "rowfall" && e.key != "option") {
        match &schema["properties"][&entry.key] {
            Json::Null => {
                let known: Vec<&str> =
                    schema["properties"].as_object().into_iter().flatten().map(|(k, _)| k.as_str()).collect();
                let hint = nearest(&entry.key, &known)
                    .map_or_else(|| format!("tables are: {}", known.join(", ")), |n| format!("did you mean `[{n}]`?"));
                checker.note(&entry.key_origin, "unknown_table", &format!("unknown table `{}`", entry.key), Some(hint));
            }
            of => {
                let name = format!("[{}]", entry.key);
                checker.table(entry, &name, of, &starting_values(&entry.key));
                checker.contradictions(&entry.item, &name);
            }
        }
    }
    if tree.get("site").is_none() {
        let hint = "add `[site]` with `boundary = \"...\"` and `elevation = \"...\"`".to_owned();
        checker.note(&Origin::File(0..0), "missing_table", "the table `[site]` is missing", Some(hint));
    }
}

/// A wanted stage whose needed stage is neither wanted nor given, prices that are needed, ground that is needed.
fn check_wanted(checker: &mut Checker<'_>, tree: &Item) {
    let wanted = |name: &str| tree.get(name).is_some();
    let own_blocks = tree.get("given").is_some_and(|g| g.get("blocks").is_some());
    for stage in STAGES.iter().map(|s| s.info) {
        let Some(entry) = tree.entry(stage.name) else { continue };
        for need in stage.needs.iter().filter(|need| STAGES.iter().any(|s| s.info.name == **need) && !wanted(need)) {
            if stage.name == "blocks" && *need == "water" && own_blocks {
                continue;
            }
            let message = format!("`[{}]` needs `[{need}]`, which is neither wanted nor given", stage.name);
            let hint = format!("add a table `[{need}]` (see `rowfall explain {need}`) or remove `[{}]`", stage.name);
            checker.note(&entry.key_origin, "missing_stage", &message, Some(hint));
        }
        if READS_RATES.contains(&stage.name) && !wanted("rates") {
            let message = format!("`[{}]` reads prices, but there is no table `[rates]`", stage.name);
            let hint = "`rowfall init` writes a `[rates]` table with starting values to copy".to_owned();
            checker.note(&entry.key_origin, "missing_rates", &message, Some(hint));
        }
        let has_elevation = tree.get("site").is_some_and(|s| s.get("elevation").is_some());
        if super::plan::needs_ground(stage) && !has_elevation {
            let message = format!("`[{}]` needs ground heights, but `[site]` has no `elevation`", stage.name);
            let hint =
                "name a raster, or a file of points with heights, in `[site]` as `elevation = \"...\"`".to_owned();
            checker.note(&entry.key_origin, "missing_elevation", &message, Some(hint));
        }
    }
    if !STAGES.iter().any(|s| wanted(s.info.name)) {
        let hint = "add one table per wanted stage, beginning with `[survey]`".to_owned();
        checker.note(&Origin::File(0..0), "nothing_wanted", "no stage is wanted", Some(hint));
    }
}

fn check_options(checker: &mut Checker<'_>, tree: &Item, schema: &Json) {
    let Some(entry) = tree.entry("option") else { return };
    let Some(list) = entry.item.list() else {
        let hint = Some("write `[[option]]`, with two brackets, above each option".to_owned());
        return checker.note(&entry.key_origin, "wrong_type", "`option` is not a list of tables", hint);
    };
    let mut names: Vec<&str> = Vec::new();
    for option in list {
        let of = &schema["properties"]["option"]["items"];
        let as_entry = Entry { key: "option".into(), key_origin: option.origin.clone(), item: option.clone() };
        checker.table(&as_entry, "[[option]]", of, &Json::Null);
        let name = option.get("name").and_then(Item::text).unwrap_or_default();
        if !name.is_empty() && names.contains(&name) {
            checker.note(&option.origin, "option_twice", &format!("two options are named `{name}`"), None);
        }
        names.push(name);
        for table in option.entries().iter().filter(|e| !matches!(e.key.as_str(), "name" | "description")) {
            option_table(checker, tree, name, table, of);
        }
    }
}

fn option_table(checker: &mut Checker<'_>, tree: &Item, name: &str, table: &Entry, schema: &Json) {
    let of = &schema["properties"][&table.key];
    if of.is_null() {
        return;
    }
    checker.table(table, &format!("[option.{}]", table.key), of, &Json::Null);
    if tree.get(&table.key).is_none() {
        let message = format!("option `{name}` changes `[{}]`, which is not wanted", table.key);
        let hint = format!(
            "add a table `[{}]` for all options; options change stages from `[{FIRST_OPTION_STAGE}]` on",
            table.key
        );
        checker.note(&table.key_origin, "option_of_unwanted", &message, Some(hint));
    }
}

/// Limits that contradict each other only once an option is applied, and a wish for an option that is not there.
fn check_merged(checker: &mut Checker<'_>, tree: &Item, merged: &[Merged]) {
    for option in merged {
        for entry in option.tree.entries() {
            checker.contradictions(&entry.item, &format!("[{}] of option `{}`", entry.key, option.name));
        }
    }
    let wish = tree.get("plan").and_then(|p| p.get("option"));
    if let Some((item, text)) = wish.and_then(|item| Some((item, item.text()?)))
        && !merged.iter().any(|m| m.name == text)
    {
        let names = merged.iter().map(|m| format!("`{}`", m.name)).collect::<Vec<_>>().join(", ");
        checker.note(
            &item.origin,
            "unknown_option",
            &format!("no option is named `{text}`"),
            Some(format!("options are {names}")),
        );
    }
}

fn typed(tree: &Item, merged: &[Merged]) -> Result<Plan, Problems> {
    let json = tree.json();
    let options = merged
        .iter()
        .map(|option| {
            let json = option.tree.json();
            Ok(OptionPlan {
                name: option.name.clone(),
                description: option.description.clone(),
                rates: optional(&json, "rates")?.unwrap_or_default(),
                stages: StageTables::from_json(&json)?,
            })
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    let given: super::schema::Given = optional(&json, "given")?.unwrap_or_default();
    let choice: super::schema::Choice = optional(&json, "plan")?.unwrap_or_default();
    Ok(Plan {
        site: optional(&json, "site")?.unwrap_or_default(),
        given,
        wish: choice.option,
        set_out: optional(&json, "set_out")?,
        as_built: optional(&json, "as_built")?,
        stages: StageTables::from_json(&json)?,
        rates: optional(&json, "rates")?.unwrap_or_default(),
        rates_written: json.get("rates").is_some(),
        options,
    })
}

/// A typed table; what passes the schema and fails here is a mistake of ours.
pub(super) fn optional<T: DeserializeOwned>(json: &Json, table: &str) -> Result<Option<T>, Problem> {
    match json.get(table) {
        None => Ok(None),
        Some(value) => serde_json::from_value(value.clone()).map(Some).map_err(|error| {
            Problem::new(
                ProblemKind::Bug,
                "schema_gap",
                format!("`[{table}]` passed its checks but could not be read: {error}"),
            )
        }),
    }
}
