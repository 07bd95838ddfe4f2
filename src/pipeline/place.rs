//! Problems of a pipeline file, each shown with its line and a caret under the culprit.

use super::tree::Origin;
use crate::finding::Problem;

/// The text problems point into.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// Name of the file, as the user gave it.
    pub name: &'a str,
    /// Its text.
    pub text: &'a str,
}

impl Source<'_> {
    /// A request problem that shows its place below the message.
    #[must_use]
    pub fn problem(&self, origin: &Origin, code: &str, message: &str) -> Problem {
        Problem::request(code, format!("{message}\n{}", self.show(origin)))
    }

    /// Line, column, source line and caret; or the flag.
    fn show(&self, origin: &Origin) -> String {
        let span = match origin {
            Origin::Flag(flag) => return format!("  --> flag `--set {flag}`"),
            Origin::File(span) => span,
        };
        let start = self.boundary(span.start);
        let line_start = self.text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = self.text[start..].find('\n').map_or(self.text.len(), |at| start + at);
        let line = self.text[line_start..line_end].trim_end_matches('\r');
        let number = self.text[..start].matches('\n').count() + 1;
        let before = self.text[line_start..start].chars().count();
        let end = self.boundary(span.end.clamp(start, line_end));
        let carets = self.text[start..end].chars().count().max(1);
        let gutter = " ".repeat(number.to_string().len());
        // Tabs before the culprit are kept, so that the caret stands under it in any terminal.
        let pad: String = line.chars().take(before).map(|c| if c == '\t' { '\t' } else { ' ' }).collect();
        format!(
            "{gutter} --> {}:{number}:{}\n{gutter} |\n{number} | {line}\n{gutter} | {pad}{}",
            self.name,
            before + 1,
            "^".repeat(carets)
        )
    }

    fn boundary(&self, at: usize) -> usize {
        let mut at = at.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        at
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_caret_stands_under_the_culprit() {
        let source = Source { name: "plan.toml", text: "a = 1\n[blöcks]\nrow = 2\n" };
        let at = source.text.find("row").unwrap();
        let problem = source.problem(&Origin::File(at..at + 3), "x", "unknown key `row`");
        assert_eq!(problem.message, "unknown key `row`\n  --> plan.toml:3:1\n  |\n3 | row = 2\n  | ^^^");
    }

    #[test]
    fn a_flag_is_named_and_a_span_past_the_end_does_not_panic() {
        let source = Source { name: "p", text: "é" };
        assert!(source.problem(&Origin::Flag("a.b=1".into()), "x", "m").message.ends_with("flag `--set a.b=1`"));
        assert!(source.problem(&Origin::File(1..99), "x", "m").message.contains("p:1:1"));
    }
}
