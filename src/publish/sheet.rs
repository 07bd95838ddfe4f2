//! Columns and values: stated decimals, one place where numbers become text.

use crate::land::document::{Field, FieldKind, Table, Value};
use crate::units::Slope;

pub(super) use crate::wording::{counted, grouped};

/// A table from a column list and rows, every number rounded to its column's decimals.
pub(super) fn table(name: &str, title: &str, columns: &[(&str, FieldKind)], rows: Vec<Vec<Value>>) -> Table {
    let fields = fields(columns);
    let rows = rows.into_iter().map(|r| rounded(&fields, r)).collect();
    Table { name: name.to_owned(), title: title.to_owned(), fields, rows }
}

/// Columns from names and kinds.
pub(super) fn fields(columns: &[(&str, FieldKind)]) -> Vec<Field> {
    columns.iter().map(|(name, kind)| Field { name: (*name).to_owned(), kind: *kind }).collect()
}

/// Values rounded to the decimals of their columns; negative zero becomes zero.
pub(super) fn rounded(fields: &[Field], values: Vec<Value>) -> Vec<Value> {
    debug_assert_eq!(fields.len(), values.len(), "one value a column");
    values
        .into_iter()
        .zip(fields)
        .map(|(value, field)| match (value, field.kind) {
            (Value::Real(x), FieldKind::Real(d)) => Value::Real(round(x, d)),
            (value, _) => value,
        })
        .collect()
}

/// `x` rounded to `d` decimals, never negative zero.
pub(super) fn round(x: f64, d: u8) -> f64 {
    let scale = 10_f64.powi(i32::from(d));
    (x * scale).round() / scale + 0.0
}

/// A value as text, with the decimals of its column; empty when not known.
pub(super) fn text(value: &Value, kind: FieldKind) -> String {
    match (value, kind) {
        (Value::Text(t), _) => t.clone(),
        (Value::Integer(i), _) => i.to_string(),
        (Value::Real(x), FieldKind::Real(d)) => format!("{x:.*}", usize::from(d)),
        (Value::Real(x), _) => format!("{x}"),
        (Value::Nothing, _) => String::new(),
    }
}

/// Text for paper and screen: `m3` and `m2` of units with their powers raised.
pub(super) fn with_powers(text: &str) -> String {
    let raised = [" ", "/", "("].iter().fold(format!(" {text}"), |t, before| {
        t.replace(&format!("{before}m3"), &format!("{before}m\u{b3}"))
            .replace(&format!("{before}m2"), &format!("{before}m\u{b2}"))
    });
    raised[1..].to_owned()
}

/// Text that stays where it is put: line breaks and other control characters become blanks, marks that turn the reading
/// order of what follows go (Unicode Standard Annex 9).
pub(super) fn one_line(text: &str) -> String {
    text.chars()
        .filter(|c| !matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'))
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

/// A value as a cell of a comma-separated file: text a spreadsheet would take for a formula is quoted by an apostrophe,
/// and it stays on one line.
pub(super) fn cell(value: &Value, kind: FieldKind) -> String {
    let text = text(value, kind);
    if !matches!(value, Value::Text(_)) {
        return text;
    }
    let flat = one_line(&text);
    let formula = flat.trim_start().starts_with(['=', '+', '-', '@']) && flat.trim().parse::<f64>().is_err();
    if formula { format!("'{flat}") } else { flat }
}

/// A fall the way people on the ground say it: `1:800`, `level`, and `1:800 uphill` against the row.
pub(super) fn one_in(slope: Slope) -> String {
    let r = slope.ratio();
    if !r.is_finite() || r.abs() < 5e-5 {
        "level".to_owned()
    } else if r < 0.0 {
        format!("1:{:.0} uphill", 1.0 / -r)
    } else {
        format!("1:{:.0}", 1.0 / r)
    }
}

/// A number to three figures: 1 126 340 is 1 130 000.
pub(super) fn three_figures(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() {
        return x;
    }
    let step = 10_f64.powf(x.abs().log10().floor() - 2.0);
    (x / step).round() * step
}
