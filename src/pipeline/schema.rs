//! The JSON Schema of a pipeline file: what editors complete from and what [`super::validate`] walks.

use crate::land::as_built::Tolerances;
use crate::land::rates::Rates;
use crate::land::set_out::SetOutTable;
use crate::land::site_table::SiteTable;
use crate::stages::STAGES;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json, json};

/// Version of the pipeline file this program reads: the value of the `rowfall` key.
pub const FILE_VERSION: i64 = 1;

/// Files that stand in for the product of a stage.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Given {
    /// Own row blocks: polygons, attributes `name` and `bearing_deg` (clockwise from grid north).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blocks: Option<String>,
    /// Blocks of an earlier layout (`plan.gpkg#block` of its run folder): new blocks that lie where these lay keep their names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub previous: Option<String>,
    /// Own design surface: a raster GDAL reads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface: Option<String>,
}

/// Which of the options is drawn in full.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Choice {
    /// Name of the option to publish. Leave out for the one that is worth most at likely prices.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub option: Option<String>,
}

/// The tables of a pipeline file that are no stage, with the values `init` writes.
#[must_use]
pub fn starting_values(table: &str) -> Json {
    let values = match table {
        "rates" => serde_json::to_value(Rates::default()),
        "set_out" => serde_json::to_value(SetOutTable::default()),
        "as_built" => serde_json::to_value(Tolerances::default()),
        _ => match STAGES.iter().find(|s| s.info.name == table) {
            Some(stage) => serde_json::to_value((stage.defaults)()),
            None => Ok(Json::Null),
        },
    };
    values.unwrap_or(Json::Null)
}

/// The first stage an option may change; earlier stages are shared by all options.
pub const FIRST_OPTION_STAGE: &str = "blocks";

/// The whole schema, without references, so that a walker needs no look-up.
#[must_use]
pub fn pipeline_schema() -> Json {
    let mut tables = Map::new();
    tables.insert(
        "rowfall".into(),
        json!({"type": "integer", "const": FILE_VERSION, "description": "Version of the pipeline file format."}),
    );
    tables.insert("site".into(), plain(schemars::schema_for!(SiteTable).to_value()));
    for stage in STAGES {
        tables.insert(stage.info.name.into(), stage_schema(stage));
    }
    tables.insert("rates".into(), plain(schemars::schema_for!(Rates).to_value()));
    tables.insert("set_out".into(), plain(schemars::schema_for!(SetOutTable).to_value()));
    tables.insert("as_built".into(), plain(schemars::schema_for!(Tolerances).to_value()));
    tables.insert("given".into(), plain(schemars::schema_for!(Given).to_value()));
    tables.insert("plan".into(), plain(schemars::schema_for!(Choice).to_value()));
    let option = option_schema(&tables);
    tables.insert(
        "option".into(),
        json!({"type": "array", "items": option, "description": "Options to compare; each overrides what it names."}),
    );
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "rowfall pipeline file",
        "description": "The property, one table per wanted stage, prices and options.",
        "type": "object",
        "properties": tables,
        "required": ["rowfall", "site"],
        "additionalProperties": false,
    })
}

/// Schema of one stage's table, with the question of the stage as its description.
#[must_use]
pub fn stage_schema(stage: &crate::stages::StageEntry) -> Json {
    let mut schema = plain((stage.schema)().to_value());
    schema["description"] = Json::String(stage.info.question.into());
    schema
}

fn option_schema(tables: &Map<String, Json>) -> Json {
    let mut properties = Map::new();
    properties.insert("name".into(), json!({"type": "string", "description": "Name of the option."}));
    properties.insert("description".into(), json!({"type": "string", "description": "What it means, in a sentence."}));
    let late = STAGES.iter().map(|s| s.info.name).skip_while(|name| *name != FIRST_OPTION_STAGE);
    for name in late.chain(["rates"]) {
        let mut table = tables[name].clone();
        if let Some(object) = table.as_object_mut() {
            object.remove("required");
        }
        properties.insert(name.into(), table);
    }
    json!({
        "type": "object",
        "properties": properties,
        "required": ["name"],
        "additionalProperties": false,
    })
}

/// The same schema with every reference replaced by what it points at (its name kept as `x-type`), and without the
/// `null` that stands for an absent optional key, since TOML has no such value.
fn plain(schema: Json) -> Json {
    let definitions = schema.get("$defs").cloned().unwrap_or(Json::Null);
    let mut flat = inline(&schema, &definitions);
    if let Some(object) = flat.as_object_mut() {
        object.remove("$defs");
        object.remove("$schema");
        object.remove("title");
    }
    flat
}

fn inline(schema: &Json, definitions: &Json) -> Json {
    match schema {
        Json::Array(items) => Json::Array(items.iter().map(|i| inline(i, definitions)).collect()),
        Json::Object(object) => {
            let mut flat = Map::new();
            if let Some(name) = object.get("$ref").and_then(Json::as_str).and_then(|r| r.rsplit('/').next()) {
                if let Json::Object(target) = inline(&definitions[name], definitions) {
                    flat = target;
                }
                flat.insert("x-type".into(), Json::String(name.into()));
            }
            for (key, value) in object.iter().filter(|(key, _)| *key != "$ref") {
                flat.insert(key.clone(), inline(value, definitions));
            }
            without_null(flat)
        }
        other => other.clone(),
    }
}

fn without_null(mut schema: Map<String, Json>) -> Json {
    if let Some(Json::Array(kinds)) = schema.get_mut("type") {
        kinds.retain(|k| k != "null");
        if let [only] = kinds.as_slice() {
            schema["type"] = only.clone();
        }
    }
    if schema.get("default") == Some(&Json::Null) {
        schema.remove("default");
    }
    let lone = schema.get("anyOf").and_then(Json::as_array).and_then(|choices| {
        let mut left = choices.iter().filter(|c| c["type"] != "null");
        left.next().filter(|_| left.next().is_none()).cloned()
    });
    if let Some(Json::Object(inner)) = lone {
        schema.remove("anyOf");
        for (key, value) in inner {
            schema.entry(key).or_insert(value);
        }
    }
    Json::Object(schema)
}

/// The words an enum takes with what each means, or `None` when the schema is no enum.
#[must_use]
pub fn words(schema: &Json) -> Option<Vec<(String, String)>> {
    let of = |choice: &Json| {
        let about = choice["description"].as_str().unwrap_or_default().to_owned();
        match choice["const"].as_str() {
            Some(word) => vec![(word.to_owned(), about)],
            None => choice["enum"]
                .as_array()
                .map(|words| words.iter().filter_map(|w| Some((w.as_str()?.to_owned(), String::new()))).collect())
                .unwrap_or_default(),
        }
    };
    let words: Vec<_> = match schema["oneOf"].as_array() {
        Some(choices) => choices.iter().flat_map(of).collect(),
        None => of(schema),
    };
    (!words.is_empty()).then_some(words)
}

/// Whether a schema is that of a `[low, likely, high]` range.
#[must_use]
pub fn is_range(schema: &Json) -> bool {
    schema["x-type"] == "Range"
}

/// The unit a key's suffix stands for; empty when it has none.
#[must_use]
pub fn unit_of(key: &str) -> &'static str {
    const UNITS: &[(&str, &str)] = &[
        ("_m3_per_ha", "m3/ha"),
        // A word that ends like a unit, and a name in which `min` is no minute.
        ("curved_rows", ""),
        ("crossing_min_ha", "ha"),
        ("_m3_per_h", "m3/h"),
        ("_per_m3_per_100_m", "per m3 and 100 m"),
        ("_mj_mm_ha_h", "MJ mm/ha/h/year"),
        ("_t_ha_h", "t ha h/ha/MJ/mm"),
        ("_ha_h", "ha/h"),
        ("_min_ha", "min/ha"),
        ("_min_per_m", "min/m"),
        ("_kg_m3", "kg/m3"),
        ("_m_ha", "m/ha"),
        ("_per_t_m", "per t and m"),
        ("_per_t_km", "per t and km"),
        ("_h_per_v", "horizontal to 1 vertical"),
        ("_m3_s_km2", "m3/s/km2"),
        ("_l_s_ha", "L/s/ha"),
        ("_mm_per_day", "mm/day"),
        ("_mm_day", "mm/day"),
        ("_per_km2", "per km2"),
        ("_per_m3", "per m3"),
        ("_per_m2", "per m2"),
        ("_per_ha", "per ha"),
        ("_per_day", "per day"),
        ("_per_year", "per year"),
        ("_per_m", "per m"),
        ("_per_h", "per hour"),
        ("_per_t", "per t"),
        ("_m3_s", "m3/s"),
        ("_t_ha", "t/ha"),
        ("_mm_h", "mm/h"),
        ("_m_s", "m/s"),
        ("_m3", "m3"),
        ("_m2", "m2"),
        ("_ha", "ha"),
        ("_mm", "mm"),
        ("_km", "km"),
        ("_m", "m"),
        ("_pct", "%"),
        ("_ratio", ""),
        ("_deg", "degrees"),
        ("_years", "years"),
        ("_year", ""),
        ("_months", "months"),
        ("_month", ""),
        ("_days", "days"),
        ("_hours", "h"),
        ("_h", "h"),
        ("_min", "min"),
        ("_s", "s"),
        ("_each", "each"),
        ("_rows", "rows"),
    ];
    UNITS.iter().find(|(suffix, _)| key.ends_with(suffix)).map_or("", |(_, unit)| unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_reference_and_no_null_is_left() {
        let text = pipeline_schema().to_string();
        assert!(!text.contains("$ref") && !text.contains("\"null\""), "{text}");
    }

    #[test]
    fn ranges_and_units_are_known() {
        let schema = pipeline_schema();
        assert!(is_range(&schema["properties"]["rates"]["properties"]["survey_per_ha"]));
        assert_eq!(unit_of("row_spacing_m"), "m");
        assert_eq!(unit_of("fall_pct"), "%");
        assert_eq!(unit_of("levelling_m3_per_h"), "m3/h");
        assert_eq!(unit_of("ratoons"), "");
        assert_eq!((unit_of("crossing_min_ha"), unit_of("rake_base_min_ha")), ("ha", "min/ha"));
    }
}
