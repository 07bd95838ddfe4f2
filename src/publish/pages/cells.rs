//! Tables made ready for reading: what is shown, heads in words with units, and how wide each column gets.

use crate::land::document::{FieldKind, Table, Value};
use crate::land::typeface::width;
use crate::publish::sheet;

/// A table as text.
pub(in crate::publish) struct Cells {
    /// Heads of the columns.
    pub heads: Vec<String>,
    /// Whether a column holds numbers.
    pub numbers: Vec<bool>,
    /// Rows.
    pub rows: Vec<Vec<String>>,
}

/// Suffixes of column names and the units they stand for, longest first.
const UNITS: [(&str, &str); 16] = [
    ("_m3_per_ha", "m\u{b3}/ha"),
    ("_per_ha", "a hectare"),
    ("_per_t", "a tonne"),
    ("_m3_s", "m\u{b3}/s"),
    ("_t_ha", "t/ha"),
    ("_h_per_v", "horizontal to 1"),
    ("_m_s", "m/s"),
    ("_1_in_n", "1 in n"),
    ("_pct", "%"),
    ("_deg", "\u{b0}"),
    ("_ha", "ha"),
    ("_mm", "mm"),
    ("_m2", "m\u{b2}"),
    ("_m3", "m\u{b3}"),
    ("_m", "m"),
    ("_t", "t"),
];

/// A column name in words: `row_fall_pct` is "row fall, %"; a unit inside the name moves to its end.
pub(in crate::publish) fn head(name: &str) -> String {
    // Words of economics and statistics as people say them.
    for (short, words) in [("npv", "worth"), ("length_p10_m", "shortest_tenth_below_m")] {
        if name == short || name.starts_with(&format!("{short}_")) {
            return head(&name.replacen(short, words, 1));
        }
    }
    for (suffix, unit) in UNITS {
        if let Some(stem) = name.strip_suffix(suffix) {
            return format!("{}, {unit}", stem.replace('_', " "));
        }
        for tail in ["_before", "_after", "_low", "_likely", "_high"] {
            if let Some(stem) = name.strip_suffix(tail).and_then(|s| s.strip_suffix(suffix)) {
                return format!("{} {}, {unit}", stem.replace('_', " "), &tail[1..]);
            }
        }
    }
    name.replace('_', " ")
}

/// Columns whose rows have units of their own: one number of decimals does not fit them all.
const MIXED: [&str; 9] =
    ["quantity", "rate_low", "rate_likely", "rate_high", "before", "after", "low", "likely", "high"];

/// A figure of any unit: whole numbers as they are, others with at least three figures.
fn of_any_unit(x: f64) -> String {
    if x.fract().abs() < 5e-4 || x.abs() >= 1_000.0 {
        sheet::grouped(x)
    } else if x.abs() >= 10.0 {
        format!("{x:.1}")
    } else {
        format!("{x:.2}")
    }
}

/// The text of a table without some columns.
pub(in crate::publish) fn of(table: &Table, hidden: &[&str]) -> Cells {
    let shown: Vec<usize> =
        (0..table.fields.len()).filter(|i| !hidden.contains(&table.fields[*i].name.as_str())).collect();
    let cell = |value: &Value, i: usize| match (value, table.fields[i].kind) {
        (Value::Real(x), FieldKind::Real(0)) => sheet::grouped(*x),
        (Value::Real(x), _) if MIXED.contains(&table.fields[i].name.as_str()) => of_any_unit(*x),
        (Value::Integer(n), _) if !table.fields[i].name.contains("year") => sheet::grouped(*n as f64),
        (Value::Text(t), _) => sheet::with_powers(t),
        (value, kind) => sheet::text(value, kind).replacen('-', "\u{2212}", 1),
    };
    Cells {
        heads: shown.iter().map(|i| head(&table.fields[*i].name)).collect(),
        numbers: shown.iter().map(|i| table.fields[*i].kind != FieldKind::Text).collect(),
        rows: table.rows.iter().map(|r| shown.iter().map(|i| cell(&r[*i], *i)).collect()).collect(),
    }
}

/// One cell in so many may be longer than its column is wide.
const FEW: usize = 15;

/// Gap between columns, inside each column's width.
const GAP: f64 = 2.4;

/// Widths of the columns and the size of type with which the table fits.
pub(in crate::publish) fn widths(cells: &Cells, across: f64) -> (Vec<f64>, f64) {
    for size in [2.8, 2.5, 2.2] {
        if let Some(widths) = fit(cells, across, size) {
            return (widths, size);
        }
    }
    // Too many columns for the page even so: all shrink alike, words break inside.
    let widths = narrowest(cells, 2.0);
    let sum: f64 = widths.iter().sum();
    (widths.iter().map(|w| w * across / sum).collect(), 2.0)
}

/// Width of the longest word of each column; numbers do not break.
fn narrowest(cells: &Cells, size: f64) -> Vec<f64> {
    let longest = |t: &str, bold: bool| t.split_whitespace().map(|w| width(w, bold, size)).fold(0.0, f64::max);
    (0..cells.heads.len())
        .map(|i| {
            let body = cells.rows.iter().map(|r| longest(&r[i], false).min(34.0)).fold(0.0, f64::max);
            body.max(longest(&cells.heads[i], true)) + GAP
        })
        .collect()
}

fn fit(cells: &Cells, across: f64, size: f64) -> Option<Vec<f64>> {
    let least = narrowest(cells, size);
    let spare = across - least.iter().sum::<f64>();
    if spare < 0.0 {
        return None;
    }
    // What each column would take on one line; long text asks for no more than 120 mm.
    let natural: Vec<f64> = (0..least.len())
        .map(|i| {
            let mut wide: Vec<f64> = cells.rows.iter().map(|r| width(&r[i], false, size)).collect();
            wide.sort_by(f64::total_cmp);
            // A few long cells of many may break: their column would take the room of all others.
            let body = wide.len().saturating_sub(1 + wide.len() / FEW);
            (wide.get(body).copied().unwrap_or(0.0) + GAP).max(least[i]).min(120.0)
        })
        .collect();
    let extra: Vec<f64> = natural.iter().zip(&least).map(|(n, l)| n - l).collect();
    let given = shared(&extra, spare);
    Some(least.iter().zip(given).map(|(l, g)| l + g).collect())
}

/// Shares out room: whoever asks for least is served first and in full, so only the widest columns wrap.
fn shared(wanted: &[f64], mut room: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]).then(a.cmp(b)));
    let mut given = vec![0.0; wanted.len()];
    for (done, i) in order.iter().enumerate() {
        given[*i] = wanted[*i].min(room / (wanted.len() - done) as f64);
        room -= given[*i];
    }
    given
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_wishes_are_met_first() {
        assert_eq!(shared(&[100.0, 5.0, 50.0], 65.0), [30.0, 5.0, 30.0]);
        assert_eq!(shared(&[1.0, 2.0], 10.0), [1.0, 2.0]);
    }

    #[test]
    fn figures_of_any_unit_keep_three_figures() {
        let told = [0.0, 0.32, 1.42, 99.432, 532.76, 4_038.92, 18_000.0, -3.0].map(of_any_unit);
        assert_eq!(told, ["0", "0.32", "1.42", "99.4", "532.8", "4,039", "18,000", "\u{2212}3"]);
    }

    #[test]
    fn heads_read_as_words_with_units() {
        for (name, words) in [
            ("row_fall_pct", "row fall, %"),
            ("fall_mean_pct_before", "fall mean before, %"),
            ("design_m3_s", "design, m\u{b3}/s"),
            ("earth_m3_per_ha", "earth, m\u{b3}/ha"),
            ("row_fall_1_in_n", "row fall, 1 in n"),
            ("name", "name"),
        ] {
            assert_eq!(head(name), words);
        }
    }
}
