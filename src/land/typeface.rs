//! The typeface of papers: font files that every paper carries, and the width of text set in them.
//!
//! The fonts stand in the binary, so a paper is the same on every machine. Latin, Greek and Cyrillic come from one
//! family in two weights; Arabic, Hebrew and emoji from one fallback each. Licence: SIL Open Font License 1.1, beside the
//! files in `typeface/OFL.txt`.

use serde::{Deserialize, Serialize};
use std::sync::LazyLock;
use unicode_bidi::{BidiInfo, Level};

/// One font file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Face {
    /// The text face.
    Regular,
    /// Headings and what must be seen.
    Bold,
    /// Arabic script.
    Arabic,
    /// Hebrew script.
    Hebrew,
    /// Pictographs, one colour.
    Emoji,
}

/// Every face, in the order in which a character is looked for.
pub const FACES: [Face; 5] = [Face::Regular, Face::Bold, Face::Arabic, Face::Hebrew, Face::Emoji];

/// The family as named in drawings, with what a viewer may take in its place.
pub const FAMILY: &str = "Rowfall Sans, Noto Sans, Arial, Liberation Sans, Helvetica, system-ui, sans-serif";

impl Face {
    /// The font file.
    #[must_use]
    pub const fn bytes(self) -> &'static [u8] {
        match self {
            Self::Regular => include_bytes!("typeface/RowfallSans-Regular.ttf"),
            Self::Bold => include_bytes!("typeface/RowfallSans-Bold.ttf"),
            Self::Arabic => include_bytes!("typeface/RowfallArabic.ttf"),
            Self::Hebrew => include_bytes!("typeface/RowfallHebrew.ttf"),
            Self::Emoji => include_bytes!("typeface/RowfallEmoji.ttf"),
        }
    }
}

static PARSED: LazyLock<Vec<Option<ttf_parser::Face<'static>>>> =
    LazyLock::new(|| FACES.iter().map(|f| ttf_parser::Face::parse(f.bytes(), 0).ok()).collect());

fn parsed(face: Face) -> Option<&'static ttf_parser::Face<'static>> {
    PARSED.get(face as usize).and_then(Option::as_ref)
}

/// The face a character is set in; `None` when no face has it.
#[must_use]
pub fn face_of(c: char, bold: bool) -> Option<Face> {
    let first = if bold { Face::Bold } else { Face::Regular };
    // Nearly all text; both faces have all of it.
    if matches!(c, ' '..='~') {
        return Some(first);
    }
    let order = [first, Face::Regular, Face::Arabic, Face::Hebrew, Face::Emoji];
    order.into_iter().find(|f| parsed(*f).is_some_and(|p| p.glyph_index(c).is_some()))
}

impl Face {
    /// The family as named in drawings, where it is not the one the drawing is set in.
    #[must_use]
    pub const fn other_family(self) -> Option<&'static str> {
        match self {
            Self::Regular | Self::Bold => None,
            Self::Arabic => Some("Rowfall Arabic, Noto Sans Arabic, sans-serif"),
            Self::Hebrew => Some("Rowfall Hebrew, Noto Sans Hebrew, sans-serif"),
            Self::Emoji => Some("Rowfall Emoji, Noto Emoji, sans-serif"),
        }
    }
}

/// Neighbouring characters of one face, in the order they are written; blanks stand in the text face, which surely has one.
fn by_face(text: &str, bold: bool) -> Vec<(Face, &str)> {
    let mut out: Vec<(Face, &str)> = Vec::new();
    let mut start = 0;
    let mut last = None;
    for (at, c) in text.char_indices() {
        let face = face_of(c, bold).unwrap_or(Face::Regular);
        if let Some(former) = last.filter(|f| *f != face) {
            out.push((former, &text[start..at]));
            start = at;
        }
        last = Some(face);
    }
    if let Some(face) = last {
        out.push((face, &text[start..]));
    }
    out
}

/// A piece of a line in one face and one reading direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece<'a> {
    /// Its face.
    pub face: Face,
    /// Its characters, in the order they are written.
    pub text: &'a str,
    /// Whether it is read from right to left.
    pub right_to_left: bool,
}

/// The pieces of a line from left to right as seen (Unicode Standard Annex 9, the line as a whole read left to right).
#[must_use]
pub fn pieces(text: &str, bold: bool) -> Vec<Piece<'_>> {
    let bidi = BidiInfo::new(text, Some(Level::ltr()));
    let Some(paragraph) = bidi.paragraphs.first() else { return Vec::new() };
    let (levels, runs) = bidi.visual_runs(paragraph, paragraph.range.clone());
    let mut out = Vec::new();
    for run in runs {
        let right_to_left = levels.get(run.start).is_some_and(Level::is_rtl);
        let mut row: Vec<Piece<'_>> =
            by_face(&text[run], bold).into_iter().map(|(face, text)| Piece { face, text, right_to_left }).collect();
        if right_to_left {
            row.reverse();
        }
        out.extend(row);
    }
    out
}

/// Width of a line of text, in units of the size it is set in. Letters are taken one by one, without kerning.
#[must_use]
pub fn width(text: &str, bold: bool, size: f64) -> f64 {
    size * text
        .chars()
        .map(|c| EMS[usize::from(bold)].get(c as usize).copied().unwrap_or_else(|| em(c, bold)))
        .sum::<f64>()
}

/// Widths of the first characters, light and bold: nearly all text is made of them, and a face looks each up anew.
static EMS: LazyLock<[[f64; 128]; 2]> =
    LazyLock::new(|| [false, true].map(|bold| std::array::from_fn(|c| em(char::from(c as u8), bold))));

/// Width of one character, in units of the size it is set in.
fn em(c: char, bold: bool) -> f64 {
    let of_face = || {
        let face = parsed(face_of(c, bold)?)?;
        let advance = face.glyph_hor_advance(face.glyph_index(c)?)?;
        Some(f64::from(advance) / f64::from(face.units_per_em()))
    };
    of_face().unwrap_or(0.6)
}

/// Text that can be set: line breaks, control characters and marks that turn the reading order of what follows become
/// blanks or go, and a character no face has is written by its number, so nothing vanishes unseen.
#[must_use]
pub fn readable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            // Overrides and isolates of the reading order (Unicode Standard Annex 9): a name must not turn its neighbours.
            '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {}
            // Joiners and variation selectors have no picture of their own.
            '\u{200b}'..='\u{200d}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' => {}
            c if c.is_whitespace() || c.is_control() => out.push(' '),
            c if face_of(c, false).is_some() => out.push(c),
            c => out.push_str(&format!("[U+{:04X}]", u32::from(c))),
        }
    }
    out
}

/// Text cut to a width with three dots at its end.
#[must_use]
pub fn shortened(text: &str, bold: bool, size: f64, most: f64) -> String {
    let text = readable(text);
    if width(&text, bold, size) <= most {
        return text;
    }
    let mut out = String::new();
    let mut used = width("\u{2026}", bold, size);
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), bold, size);
        if used > most {
            break;
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    out.push('\u{2026}');
    out
}

/// Breaks text into lines no wider than `most`; a word wider than that is broken inside.
#[must_use]
pub fn lines(text: &str, bold: bool, size: f64, most: f64) -> Vec<String> {
    let mut out = Vec::new();
    let mut line = String::new();
    for word in readable(text).split_whitespace() {
        let apart = if line.is_empty() { "" } else { " " };
        if width(&format!("{line}{apart}{word}"), bold, size) <= most {
            line.push_str(apart);
            line.push_str(word);
            continue;
        }
        if !line.is_empty() {
            out.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            let mut longer = line.clone();
            longer.push(c);
            if width(&longer, bold, size) > most && !line.is_empty() {
                out.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
    }
    if !line.is_empty() || out.is_empty() {
        out.push(line);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_face_opens_and_has_its_script() {
        for (c, face) in [('a', Face::Regular), ('\u{3a9}', Face::Regular), ('\u{416}', Face::Regular)] {
            assert_eq!(face_of(c, false), Some(face), "{c}");
        }
        for (c, face) in [('\u{645}', Face::Arabic), ('\u{5d0}', Face::Hebrew), ('\u{1f33e}', Face::Emoji)] {
            assert_eq!(face_of(c, true), Some(face), "{c}");
        }
        assert_eq!(face_of('\u{2212}', true), Some(Face::Bold), "minus sign of tables");
        for face in [Face::Regular, Face::Bold] {
            assert!((' '..='~').all(|c| parsed(face).is_some_and(|f| f.glyph_index(c).is_some())), "{face:?}");
        }
    }

    #[test]
    fn width_is_that_of_the_font_file() {
        // A figure is 0.572 em wide in Noto Sans; at 87.5 % width about 0.52 em (read off the font's own table).
        let zero = width("0", false, 1.0);
        assert!((0.48..0.56).contains(&zero), "{zero}");
        // Figures of tables are all as wide, so columns of numbers stand under each other.
        for c in "123456789".chars() {
            assert_eq!(width(&c.to_string(), false, 1.0), zero);
        }
    }

    #[test]
    fn pieces_stand_as_they_are_seen() {
        // Two Hebrew words between Latin ones: their blank and their order turn round, each word keeps its letters.
        let got = pieces("a \u{5d0}\u{5d1} \u{5d2} b", false);
        let seen: Vec<(&str, bool)> = got.iter().map(|p| (p.text, p.right_to_left)).collect();
        assert_eq!(seen, [("a ", false), ("\u{5d2}", true), (" ", true), ("\u{5d0}\u{5d1}", true), (" b", false)]);
        assert!(pieces("", true).is_empty());
    }

    #[test]
    fn lines_keep_to_the_width_and_lose_nothing() {
        let long = "a".repeat(300);
        for text in ["one two three four five six seven", long.as_str(), "", "\u{202e}evil\u{2066} \u{1f33e}\u{fe0f}"] {
            let got = lines(text, false, 3.0, 20.0);
            assert!(got.iter().all(|l| width(l, false, 3.0) <= 20.0 + 1e-9), "{got:?}");
            let flat = |t: &str| t.split_whitespace().collect::<String>();
            assert_eq!(flat(&got.join(" ")), flat(&readable(text)));
        }
        assert!(shortened(&long, true, 3.0, 20.0).ends_with('\u{2026}'));
        assert_eq!(readable("\u{4e00}"), "[U+4E00]");
    }
}
