//! Alternatives that are compared: those of the pipeline file, else the set an adviser always shows.

use super::tree::{Entry, Item, Node, Origin, parse_flag};
use crate::wording::grouped;
use serde_json::Value as Json;

/// An option known to the program: what it overrides, as TOML.
#[derive(Debug, Clone, Copy)]
pub struct Alternative {
    /// Name.
    pub name: &'static str,
    /// What it means.
    pub description: &'static str,
    /// Table, key and value.
    pub overrides: &'static [(&'static str, &'static str, &'static str)],
}

/// The set an adviser always shows. `init` writes it into a new pipeline file, where it can be changed.
pub const DEFAULT_ALTERNATIVES: &[Alternative] = &[
    Alternative {
        name: "do least",
        description: "No bulk earth: beds and stump holes are smoothed, rows follow the ground as it lies.",
        overrides: &[("levelling", "surface", "\"as_it_lies\"")],
    },
    Alternative {
        name: "best rows, light forming",
        description: "Rows where length and fall together pay best, the ground formed along the rows only.",
        overrides: &[("levelling", "surface", "\"graded_rows\"")],
    },
    Alternative {
        name: "longest rows, full forming",
        description: "Rows as long as the land allows, each block formed to one plane.",
        overrides: &[("levelling", "surface", "\"plane\""), ("blocks", "max_row_length_m", "1500.0")],
    },
];

/// One option before its values are typed: the whole tree with its overrides applied.
#[derive(Debug, Clone)]
pub struct Merged {
    /// Name.
    pub name: String,
    /// What it means.
    pub description: String,
    /// The pipeline file with the overrides applied; every value keeps its own place.
    pub tree: Item,
}

/// The options of a tree that has passed the schema. Overrides of stages that are not wanted are left out of the
/// standard set; a pipeline file without `[levelling]` and without options gets the one plan it describes.
#[must_use]
pub fn merged_options(tree: &Item, schema: &Json) -> Vec<Merged> {
    match tree.get("option").and_then(Item::list) {
        Some(list) if !list.is_empty() => list.iter().map(|option| merge(tree, option)).collect(),
        _ if tree.get("levelling").is_some() && !is_given_surface(tree) => {
            DEFAULT_ALTERNATIVES.iter().map(|alternative| standard(tree, alternative, schema)).collect()
        }
        _ => vec![Merged {
            name: "as given".to_owned(),
            description: "The plan the pipeline file describes.".to_owned(),
            tree: tree.clone(),
        }],
    }
}

fn is_given_surface(tree: &Item) -> bool {
    tree.get("given").is_some_and(|g| g.get("surface").is_some())
}

fn merge(tree: &Item, option: &Item) -> Merged {
    let mut merged = tree.clone();
    for table in option.entries().iter().filter(|e| matches!(e.item.node, Node::Table(_))) {
        if let Some(target) = table_mut(&mut merged, &table.key) {
            for entry in table.item.entries() {
                target.put(entry.clone());
            }
        }
    }
    let text = |key| option.get(key).and_then(Item::text).unwrap_or_default().to_owned();
    Merged { name: text("name"), description: text("description"), tree: merged }
}

fn standard(tree: &Item, alternative: &Alternative, schema: &Json) -> Merged {
    let mut merged = tree.clone();
    for (table, key, value) in alternative.overrides {
        if schema["properties"][table]["properties"][key].is_null() {
            continue;
        }
        if let Some(target) = table_mut(&mut merged, table) {
            let flag = format!("{table}.{key}={value}");
            let item = parse_flag(&flag, value);
            target.put(Entry { key: (*key).to_owned(), key_origin: Origin::Flag(flag), item });
        }
    }
    Merged { name: alternative.name.to_owned(), description: alternative.description.to_owned(), tree: merged }
}

/// The value of a key of a table, to be changed.
pub fn table_mut<'t>(tree: &'t mut Item, key: &str) -> Option<&'t mut Item> {
    match &mut tree.node {
        Node::Table(entries) => entries.iter_mut().find(|e| e.key == key).map(|e| &mut e.item),
        _ => None,
    }
}

/// Which option is published and why: the named one, else the one worth most at likely prices, else the second of
/// three (the middle course), else the first. `worths` holds the likely net present value of each, when costing is wanted.
#[must_use]
pub fn choose(names: &[&str], wish: Option<&str>, worths: &[Option<f64>]) -> (usize, String) {
    if let Some(at) = wish.and_then(|w| names.iter().position(|n| *n == w)) {
        return (at, format!("`{}` is drawn in full because the pipeline file asks for it", names[at]));
    }
    if names.len() == 1 {
        return (0, "there is one option".to_owned());
    }
    let mut best: Option<(usize, f64)> = None;
    for (i, worth) in worths.iter().enumerate().filter_map(|(i, w)| Some((i, (*w)?))) {
        // Of equal worths the earlier option is taken: it asks for less.
        if best.is_none_or(|(_, most)| worth > most) {
            best = Some((i, worth));
        }
    }
    match best {
        Some((at, worth)) => (
            at,
            format!("`{}` is drawn in full because it is worth most at likely prices: {}", names[at], grouped(worth)),
        ),
        None => {
            let at = usize::from(names.len() >= 3);
            (
                at,
                format!("`{}` is drawn in full; without `[costing]` the options have no worth to choose by", names[at]),
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wish_comes_first_then_worth_then_the_middle_course() {
        let names = ["a", "b", "c"];
        assert_eq!(choose(&names, Some("c"), &[Some(9.0), None, None]).0, 2);
        assert_eq!(choose(&names, None, &[Some(1.0), Some(3.0), Some(3.0)]).0, 1);
        assert_eq!(choose(&names, None, &[None, None, None]).0, 1);
        assert_eq!(choose(&["a"], None, &[None]).0, 0);
    }
}
