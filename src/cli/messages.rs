//! How the program speaks: problems and notes on standard error, what was asked for on standard output.

use super::args::Global;
use crate::finding::{Problem, ProblemKind, Problems};
use serde_json::{Value as Json, json};
use std::io::{IsTerminal, Write, stderr, stdout};

/// Where to speak and how.
#[derive(Debug, Clone, Copy)]
pub struct Voice {
    /// Results as JSON.
    pub json: bool,
    /// Problems only.
    pub quiet: bool,
    /// Colours on standard error.
    pub colour: bool,
}

impl Voice {
    /// From the flags and the terminal.
    #[must_use]
    pub fn new(global: &Global) -> Self {
        let no_colour = global.no_color || std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
        Self { json: global.json, quiet: global.quiet, colour: !no_colour && stderr().is_terminal() }
    }

    /// Something asked for: text on standard output.
    ///
    /// # Errors
    /// When standard output is closed or full.
    pub fn say(&self, text: &str) -> Result<(), Problem> {
        let mut out = stdout().lock();
        let written = out
            .write_all(text.as_bytes())
            .and_then(|()| if text.ends_with('\n') { Ok(()) } else { out.write_all(b"\n") });
        match written.and_then(|()| out.flush()) {
            // The reader has seen enough (`rowfall explain | head`).
            Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
            other => other.map_err(|e| {
                Problem::new(ProblemKind::Write, "stdout", format!("standard output could not be written: {e}"))
            }),
        }
    }

    /// Something asked for, as JSON.
    ///
    /// # Errors
    /// When standard output is closed or full.
    pub fn say_json(&self, value: &Json) -> Result<(), Problem> {
        self.say(&format!("{value:#}"))
    }

    /// A note for a person: on standard error, unless quiet.
    pub fn note(&self, text: &str) {
        if !self.quiet {
            let _ = writeln!(stderr().lock(), "{text}");
        }
    }

    /// All problems, on standard error; with `--json` also as JSON on standard output.
    pub fn problems(&self, problems: &Problems) {
        let mut text = String::new();
        for problem in &problems.0 {
            text.push_str(&self.problem(problem));
        }
        let _ = stderr().lock().write_all(text.as_bytes());
        if self.json {
            let _ = self.say_json(&json!({ "program": "rowfall", "problems": problems.0 }));
        }
    }

    fn problem(&self, problem: &Problem) -> String {
        let (red, cyan, plain) = if self.colour { ("\x1b[1;31m", "\x1b[1;36m", "\x1b[0m") } else { ("", "", "") };
        let mut text = format!("{red}error{plain}: {}\n", problem.message);
        if let Some(hint) = &problem.hint {
            text.push_str(&format!("{cyan}hint{plain}: {hint}\n"));
        }
        if problem.kind == ProblemKind::Bug {
            text.push_str("this is a mistake in the program; please report it with the pipeline file\n");
        }
        text
    }
}
