//! How numbers stand in sentences, on sheets and on the terminal.

/// A whole number in groups of three: `12,345`.
#[must_use]
pub fn grouped(x: f64) -> String {
    if !x.is_finite() {
        return "not known".to_owned();
    }
    let digits = format!("{:.0}", x.abs());
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    if x < 0.0 && digits != "0" { format!("\u{2212}{out}") } else { out }
}

/// A number of things: `1 block`, `1,200 blocks`.
#[must_use]
pub fn counted(number: usize, one: &str) -> String {
    format!("{} {one}{}", grouped(number as f64), if number == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stand_in_groups() {
        for (x, words) in
            [(0.4, "0"), (-0.4, "0"), (999.6, "1,000"), (-63_717.0, "\u{2212}63,717"), (f64::NAN, "not known")]
        {
            assert_eq!(grouped(x), words);
        }
    }

    #[test]
    fn one_thing_is_one() {
        assert_eq!(
            (counted(1, "block"), counted(0, "row"), counted(1_200, "row")),
            ("1 block".into(), "0 rows".into(), "1,200 rows".into())
        );
    }
}
