//! A pipeline file as a tree that remembers where every key and value stands, so that later steps can point at it.

use serde_json::{Map, Number, Value as Json};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// Where a key or a value came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// Bytes of the pipeline file.
    File(Range<usize>),
    /// A `--set` flag, as typed.
    Flag(String),
}

/// A value with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Where it stands.
    pub origin: Origin,
    /// What it is.
    pub node: Node,
}

/// What a value is.
#[derive(Debug, Clone, PartialEq)]
pub enum Node {
    /// Text.
    Text(String),
    /// Whole number.
    Integer(i64),
    /// Number.
    Real(f64),
    /// Yes or no.
    Bool(bool),
    /// Date or time: no key takes one.
    Date(String),
    /// Values in order.
    List(Vec<Item>),
    /// Keys with values, in file order.
    Table(Vec<Entry>),
}

/// A key with its value.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The key.
    pub key: String,
    /// Where the key stands.
    pub key_origin: Origin,
    /// The value.
    pub item: Item,
}

impl Item {
    /// The entries of a table; empty for anything else.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        match &self.node {
            Node::Table(entries) => entries,
            _ => &[],
        }
    }
    /// The entry of a table under a key.
    #[must_use]
    pub fn entry(&self, key: &str) -> Option<&Entry> {
        self.entries().iter().find(|e| e.key == key)
    }
    /// The value of a table under a key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Self> {
        self.entry(key).map(|e| &e.item)
    }
    /// The text, if it is one.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        match &self.node {
            Node::Text(text) => Some(text),
            _ => None,
        }
    }
    /// The number, whole or not, if it is one.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self.node {
            Node::Integer(n) => Some(n as f64),
            Node::Real(x) => Some(x),
            _ => None,
        }
    }
    /// The list, if it is one.
    #[must_use]
    pub fn list(&self) -> Option<&[Self]> {
        match &self.node {
            Node::List(items) => Some(items),
            _ => None,
        }
    }
    /// What kind of value it is, in words.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self.node {
            Node::Text(_) => "text",
            Node::Integer(_) => "a whole number",
            Node::Real(_) => "a number with a fraction",
            Node::Bool(_) => "true or false",
            Node::Date(_) => "a date",
            Node::List(_) => "a list",
            Node::Table(_) => "a table",
        }
    }
    /// Puts a value under a key of a table, over what was there; not a table, nothing happens.
    pub fn put(&mut self, entry: Entry) {
        if let Node::Table(entries) = &mut self.node {
            match entries.iter_mut().find(|e| e.key == entry.key) {
                Some(old) => *old = entry,
                None => entries.push(entry),
            }
        }
    }
    /// The same tree without places.
    #[must_use]
    pub fn json(&self) -> Json {
        match &self.node {
            Node::Text(text) | Node::Date(text) => Json::String(text.clone()),
            Node::Integer(n) => Json::Number((*n).into()),
            Node::Real(x) => Number::from_f64(*x).map_or(Json::Null, Json::Number),
            Node::Bool(b) => Json::Bool(*b),
            Node::List(items) => Json::Array(items.iter().map(Self::json).collect()),
            Node::Table(entries) => {
                Json::Object(entries.iter().map(|e| (e.key.clone(), e.item.json())).collect::<Map<_, _>>())
            }
        }
    }
}

/// Parses TOML text; every syntax mistake comes back as (bytes, message).
#[must_use]
pub fn parse(text: &str) -> (Item, Vec<(Range<usize>, String)>) {
    let (table, errors) = DeTable::parse_recoverable(text);
    let mistakes = errors.iter().map(|e| (e.span().unwrap_or(0..0), e.message().trim().to_owned())).collect();
    (Item { origin: Origin::File(table.span()), node: from_table(table.get_ref()) }, mistakes)
}

/// A value given on the command line: a TOML value, or bare text.
#[must_use]
pub fn parse_flag(flag: &str, value: &str) -> Item {
    let node = match DeValue::parse(value) {
        Ok(parsed) => from_value(parsed.get_ref()),
        Err(_) => Node::Text(value.to_owned()),
    };
    let mut item = Item { origin: Origin::Flag(flag.to_owned()), node };
    blame_flag(&mut item, flag);
    item
}

fn blame_flag(item: &mut Item, flag: &str) {
    item.origin = Origin::Flag(flag.to_owned());
    match &mut item.node {
        Node::List(items) => items.iter_mut().for_each(|i| blame_flag(i, flag)),
        Node::Table(entries) => entries.iter_mut().for_each(|e| {
            e.key_origin = Origin::Flag(flag.to_owned());
            blame_flag(&mut e.item, flag);
        }),
        _ => {}
    }
}

fn from_table(table: &DeTable<'_>) -> Node {
    let mut entries: Vec<Entry> = table
        .iter()
        .map(|(key, value)| Entry {
            key: key.get_ref().to_string(),
            key_origin: Origin::File(key.span()),
            item: Item { origin: Origin::File(value.span()), node: from_value(value.get_ref()) },
        })
        .collect();
    entries.sort_by_key(|e| match &e.key_origin {
        Origin::File(span) => span.start,
        Origin::Flag(_) => usize::MAX,
    });
    Node::Table(entries)
}

fn from_value(value: &DeValue<'_>) -> Node {
    match value {
        DeValue::String(text) => Node::Text(text.to_string()),
        // A whole number too large for 64 bits is outside every range, so the nearest real number serves.
        DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix())
            .map_or_else(|_| Node::Real(n.as_str().parse().unwrap_or(f64::MAX)), Node::Integer),
        DeValue::Float(x) => Node::Real(x.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(b) => Node::Bool(*b),
        DeValue::Datetime(d) => Node::Date(d.to_string()),
        DeValue::Array(items) => Node::List(
            items.iter().map(|i| Item { origin: Origin::File(i.span()), node: from_value(i.get_ref()) }).collect(),
        ),
        DeValue::Table(table) => from_table(table),
    }
}
