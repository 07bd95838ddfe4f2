//! Checks a tree against the schema of the pipeline file and says everything that is wrong at once.

use super::place::Source;
use super::schema::{is_range, unit_of, words};
use super::tree::{Entry, Item, Node};
use crate::finding::{Problem, Problems};
use serde_json::Value as Json;

/// Walks a tree beside its schema and collects problems.
pub struct Checker<'a> {
    /// What problems point into.
    pub source: Source<'a>,
    /// What was found.
    pub problems: Problems,
}

impl Checker<'_> {
    /// Notes a problem with a value or key.
    pub fn note(&mut self, origin: &super::tree::Origin, code: &str, message: &str, hint: Option<String>) {
        let problem = self.source.problem(origin, code, message);
        self.problems.push(Problem { hint, ..problem });
    }

    /// Checks a table: unknown keys, missing keys, then every value. `name` is how the table is written (`[blocks]`);
    /// `starting` holds the values `init` would write, shown when one is missing.
    pub fn table(&mut self, table: &Entry, name: &str, schema: &Json, starting: &Json) {
        if !matches!(table.item.node, Node::Table(_)) {
            let message = format!("`{}` is {}, not a table", table.key, table.item.kind());
            self.note(&table.key_origin, "wrong_type", &message, Some(format!("start the table with a line `{name}`")));
            return;
        }
        for entry in table.item.entries() {
            match &schema["properties"][&entry.key] {
                Json::Null => self.unknown(entry, name, schema),
                of => self.value(&entry.item, &entry.key, of),
            }
        }
        for key in schema["required"].as_array().into_iter().flatten().filter_map(Json::as_str) {
            if table.item.get(key).is_none() {
                let hint = missing_hint(key, &schema["properties"][key], &starting[key]);
                self.note(&table.key_origin, "missing_key", &format!("`{key}` is missing in `{name}`"), Some(hint));
            }
        }
    }

    /// Notes a key the schema does not know, with the nearest one it does.
    pub fn unknown(&mut self, entry: &Entry, name: &str, schema: &Json) {
        let known: Vec<&str> =
            schema["properties"].as_object().into_iter().flatten().map(|(key, _)| key.as_str()).collect();
        let hint = nearest(&entry.key, &known).map_or_else(
            || format!("`rowfall explain` lists every key; `{name}` takes {}", list(&known)),
            |near| format!("did you mean `{near}`?"),
        );
        self.note(&entry.key_origin, "unknown_key", &format!("unknown key `{}` in `{name}`", entry.key), Some(hint));
    }

    /// Checks one value.
    pub fn value(&mut self, item: &Item, key: &str, schema: &Json) {
        if let Some(words) = words(schema) {
            self.word(item, key, &words);
        } else if is_range(schema) {
            self.range(item, key);
        } else {
            match schema["type"].as_str() {
                Some("array") => self.items(item, key, schema),
                Some("number") => match item.number() {
                    Some(x) => self.limits(item, key, x, schema),
                    None => self.wrong_type(item, key, "a number"),
                },
                Some("integer") => match item.node {
                    Node::Integer(n) => self.limits(item, key, n as f64, schema),
                    _ => self.wrong_type(item, key, "a whole number"),
                },
                Some("boolean") if !matches!(item.node, Node::Bool(_)) => {
                    self.wrong_type(item, key, "`true` or `false`");
                }
                Some("string") if item.text().is_none() => self.wrong_type(item, key, "text in double quotes"),
                _ => {}
            }
        }
    }

    fn word(&mut self, item: &Item, key: &str, words: &[(String, String)]) {
        let known: Vec<&str> = words.iter().map(|(word, _)| word.as_str()).collect();
        match item.text() {
            None => self.wrong_type(item, key, &format!("one of {}", list(&known))),
            Some(text) if known.contains(&text) => {}
            Some(text) => {
                let near = nearest(text, &known).map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
                let message = format!("`{key}` does not take \"{text}\"");
                self.note(&item.origin, "unknown_word", &message, Some(format!("{near}it takes {}", list(&known))));
            }
        }
    }

    fn range(&mut self, item: &Item, key: &str) {
        let numbers: Option<Vec<f64>> = item.list().map(|l| l.iter().filter_map(Item::number).collect());
        match numbers.as_deref() {
            Some(&[low, likely, high]) if item.list().is_some_and(|l| l.len() == 3) => {
                if !(low <= likely && likely <= high && low.is_finite() && high.is_finite()) {
                    let message = format!("`{key}` is not in order: [{low}, {likely}, {high}]");
                    let hint = "write the low, the likely and the high value, in that order".to_owned();
                    self.note(&item.origin, "range_not_ordered", &message, Some(hint));
                }
            }
            _ => self.wrong_type(item, key, "three numbers, `[low, likely, high]`"),
        }
    }

    fn items(&mut self, item: &Item, key: &str, schema: &Json) {
        let Some(list) = item.list() else {
            return self.wrong_type(item, key, "a list in square brackets");
        };
        let (least, most) = (schema["minItems"].as_u64(), schema["maxItems"].as_u64());
        let n = list.len() as u64;
        if least.is_some_and(|m| n < m) || most.is_some_and(|m| n > m) {
            let want = match (least, most) {
                (Some(a), Some(b)) if a == b => format!("exactly {a} values"),
                (Some(a), Some(b)) => format!("{a} to {b} values"),
                (Some(a), None) => format!("at least {a} values"),
                (_, b) => format!("at most {} values", b.unwrap_or_default()),
            };
            self.note(&item.origin, "wrong_length", &format!("`{key}` has {n} values; it takes {want}"), None);
        }
        for entry in list {
            self.value(entry, key, &schema["items"]);
        }
    }

    fn limits(&mut self, item: &Item, key: &str, x: f64, schema: &Json) {
        let unit = spaced(unit_of(key));
        if !x.is_finite() {
            return self.note(&item.origin, "not_finite", &format!("`{key}` is not a finite number"), None);
        }
        let hint = limits_in_words(key, schema);
        if let Some(least) = schema["minimum"].as_f64().filter(|least| x < *least) {
            let message = format!("`{key}` is {x}{unit}, below its least value of {least}{unit}");
            self.note(&item.origin, "out_of_range", &message, hint);
        } else if let Some(most) = schema["maximum"].as_f64().filter(|most| x > *most) {
            let message = format!("`{key}` is {x}{unit}, above its greatest value of {most}{unit}");
            self.note(&item.origin, "out_of_range", &message, hint);
        }
    }

    fn wrong_type(&mut self, item: &Item, key: &str, want: &str) {
        let message = format!("`{key}` is {}; it takes {want}", item.kind());
        self.note(&item.origin, "wrong_type", &message, None);
    }

    /// Checks pairs of limits in one table: a least value above its greatest leaves nothing to choose from.
    pub fn contradictions(&mut self, table: &Item, name: &str) {
        const PAIRS: &[(&str, &str)] =
            &[("min", "max"), ("least", "most"), ("least", "greatest"), ("shortest", "longest")];
        for entry in table.entries() {
            let Some(low) = entry.item.number() else { continue };
            for (least, most) in PAIRS {
                let Some(partner) = swapped(&entry.key, least, most) else { continue };
                let Some(high) = table.get(&partner).and_then(Item::number) else { continue };
                if low > high {
                    let unit = spaced(unit_of(&entry.key));
                    let message = format!(
                        "`{}` is {low}{unit} but `{partner}` is {high}{unit} in `{name}`: nothing lies between",
                        entry.key
                    );
                    let hint = format!("lower `{}` or raise `{partner}`", entry.key);
                    self.note(&entry.item.origin, "contradictory_limits", &message, Some(hint));
                }
            }
        }
    }
}

/// The key with one of its words replaced, if it has that word.
fn swapped(key: &str, from: &str, to: &str) -> Option<String> {
    let parts: Vec<&str> = key.split('_').collect();
    parts
        .contains(&from)
        .then(|| parts.iter().map(|part| if *part == from { to } else { part }).collect::<Vec<_>>().join("_"))
}

fn spaced(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

/// "0.05 to 2 %", with the source when there is one.
#[must_use]
pub fn limits_in_words(key: &str, schema: &Json) -> Option<String> {
    let unit = spaced(unit_of(key));
    match (schema["minimum"].as_f64(), schema["maximum"].as_f64()) {
        (Some(a), Some(b)) => Some(format!("`{key}` takes {a} to {b}{unit}")),
        (Some(a), None) => Some(format!("`{key}` takes {a}{unit} or more")),
        (None, Some(b)) => Some(format!("`{key}` takes {b}{unit} or less")),
        (None, None) => None,
    }
}

fn missing_hint(key: &str, schema: &Json, starting: &Json) -> String {
    let about = schema["description"].as_str().unwrap_or_default().lines().next().unwrap_or_default().to_owned();
    let value = super::starter::toml_text(starting).unwrap_or_else(|| "\"...\"".to_owned());
    format!("add the line `{key} = {value}  # {about}`")
}

/// The known word that is most like a given one, if any is like it at all. Ties go to the earlier word.
#[must_use]
pub fn nearest<'k>(word: &str, known: &[&'k str]) -> Option<&'k str> {
    let mut best: Option<(f64, &str)> = None;
    for candidate in known {
        let likeness = strsim::jaro_winkler(word, candidate);
        if likeness > 0.82 && best.is_none_or(|(most, _)| likeness > most) {
            best = Some((likeness, candidate));
        }
    }
    best.map(|(_, word)| word)
}

fn list(words: &[&str]) -> String {
    words.iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::super::place::Source;
    use super::super::tree::parse;
    use super::*;
    use serde_json::json;

    fn told(text: &str, schema: &Json) -> Vec<(String, Option<String>)> {
        let (tree, _) = parse(text);
        let mut checker = Checker { source: Source { name: "p", text }, problems: Problems::default() };
        let table = tree.entry("t").unwrap();
        checker.table(table, "[t]", schema, &Json::Null);
        checker.contradictions(&table.item, "[t]");
        let first = |message: &str| message.lines().next().unwrap_or_default().to_owned();
        checker.problems.0.iter().map(|p| (first(&p.message), p.hint.clone())).collect()
    }

    #[test]
    fn limits_that_contradict_each_other() {
        let number = json!({"type": "number"});
        let schema = json!({"properties": {"min_fall_pct": number, "max_fall_pct": number}});
        let found = told("[t]\nmin_fall_pct = 0.3\nmax_fall_pct = 0.2\n", &schema);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, "`min_fall_pct` is 0.3 % but `max_fall_pct` is 0.2 % in `[t]`: nothing lies between");
        assert!(told("[t]\nmin_fall_pct = 0.2\nmax_fall_pct = 0.2\n", &schema).is_empty());
    }

    #[test]
    fn a_word_that_is_not_taken_gets_the_nearest_one() {
        let schema = json!({"properties": {"watering": {"oneOf": [{"const": "none"}, {"const": "furrow"}]}}});
        let found = told("[t]\nwatering = \"furow\"\n", &schema);
        assert_eq!(found[0].0, "`watering` does not take \"furow\"");
        assert_eq!(found[0].1.as_deref(), Some("did you mean \"furrow\"? it takes `none`, `furrow`"));
        assert!(told("[t]\nwatering = \"none\"\n", &schema).is_empty());
    }

    #[test]
    fn a_table_that_is_none_and_numbers_that_are_not_finite() {
        let schema = json!({"properties": {"x_m": {"type": "number"}}});
        assert_eq!(told("t = 3\n", &schema)[0].0, "`t` is a whole number, not a table");
        assert_eq!(told("[t]\nx_m = nan\n", &schema)[0].0, "`x_m` is not a finite number");
    }
}
