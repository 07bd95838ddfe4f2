//! Names and remarks from the user's files, made fit for every format: nothing that a reader may not contain, nothing
//! that changes how the text around it reads.

/// Text without control characters, without marks that turn the direction of what follows (Unicode Technical Report 36,
/// section 2.4) and without code points XML cannot hold; blanks and line breaks become one blank.
#[must_use]
pub fn clean(text: &str) -> String {
    let kept: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .filter(|c| !matches!(*c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}'))
        .filter(|c| !matches!(u32::from(*c) & 0xffff, 0xfffe | 0xffff))
        .collect();
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Clean text of at most so many characters.
#[must_use]
pub fn short(text: &str, most_chars: usize) -> String {
    clean(text).chars().take(most_chars).collect::<String>().trim_end().to_owned()
}

/// Clean text of at most so many bytes in UTF-8, cut between characters.
#[must_use]
pub fn within_bytes(text: &str, most_bytes: usize) -> String {
    let mut out = clean(text);
    while out.len() > most_bytes {
        out.pop();
    }
    out
}

/// Clean text for a cell of a comma-separated file: a spreadsheet must not take it for a formula.
#[must_use]
pub fn cell(text: &str) -> String {
    let clean = clean(text);
    if clean.starts_with(['=', '+', '-', '@']) && clean.parse::<f64>().is_err() { format!("'{clean}") } else { clean }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_names_stay_readable() {
        assert_eq!(clean("a\u{0}b\nc\u{202e}d\u{ffff}"), "a b cd");
        assert_eq!(clean("שדה צפון 🌱"), "שדה צפון 🌱");
        assert_eq!(short(&"🌱".repeat(300), 32).chars().count(), 32);
        assert_eq!(within_bytes(&"ü".repeat(300), 253).len(), 252);
        assert_eq!(cell("=1+1"), "'=1+1");
        assert_eq!(cell("-3.5"), "-3.5");
    }
}
