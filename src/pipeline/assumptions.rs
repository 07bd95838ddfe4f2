//! The assumptions sheet: every value the published option used, with unit, source and where it came from.

use super::plan::{OptionPlan, Plan};
use super::schema::{pipeline_schema, unit_of};
use super::starter::{READS_RATES, toml_text};
use crate::land::rates::Rates;
use crate::publish::Assumption;
use crate::stages::STAGES;
use serde_json::Value as Json;

/// Every value of the wanted stages and, when a wanted stage reads them, the prices; in flow order.
#[must_use]
pub fn assumptions(plan: &Plan, option: &OptionPlan) -> Vec<Assumption> {
    let schema = pipeline_schema();
    let used = option.stages.json();
    let shared = plan.stages.json();
    let mut all = Vec::new();
    for stage in STAGES.iter().filter(|s| used.contains_key(s.info.name)) {
        let name = stage.info.name;
        let defaults = serde_json::to_value((stage.defaults)()).unwrap_or_default();
        table(&mut all, name, &schema, &used[name], &shared[name], &defaults);
    }
    let plain = [("set_out", serde_json::to_value(&plan.set_out)), ("as_built", serde_json::to_value(&plan.as_built))];
    for (name, values) in plain {
        let Ok(values) = values else { continue };
        table(&mut all, name, &schema, &values, &values, &super::schema::starting_values(name));
    }
    if used.keys().any(|name| READS_RATES.contains(&name.as_str())) {
        let [mine, base, defaults] = [&option.rates, &plan.rates, &Rates::default()]
            .map(|rates| serde_json::to_value(rates).unwrap_or_default());
        table(&mut all, "rates", &schema, &mine, &base, &defaults);
    }
    all
}

fn table(all: &mut Vec<Assumption>, name: &str, schema: &Json, used: &Json, shared: &Json, defaults: &Json) {
    let properties = schema["properties"][name]["properties"].as_object();
    for (key, property) in properties.into_iter().flatten() {
        let Some(value) = toml_text(&used[key]) else { continue };
        let text = |field: &str| property[field].as_str().unwrap_or_default().to_owned();
        let source = text("x-source");
        all.push(Assumption {
            table: name.to_owned(),
            key: key.clone(),
            value,
            unit: unit_of(key).to_owned(),
            origin: origin(&used[key], &shared[key], &defaults[key], &source).to_owned(),
            source,
            meaning: text("description").split_whitespace().collect::<Vec<_>>().join(" "),
        });
    }
}

/// Whether a value is given by the user, or a starting value that is published or common practice.
fn origin(used: &Json, shared: &Json, default: &Json, source: &str) -> &'static str {
    if used != shared {
        "set by the option"
    } else if used != default {
        "given in the pipeline file"
    } else if source.contains("the user") {
        "starting value, yours to set"
    } else if source.contains("no source") {
        "starting value, common practice"
    } else {
        "starting value, published"
    }
}
