//! What the program has to say: findings about the land or the design, and problems with the
//! request or the data.
//!
//! The two are kept apart. A [`Finding`] is a result: it stands in the report, sorted by severity,
//! stage and place. A [`Problem`] stops the run: all of them are collected first, then shown at once.

use serde::{Deserialize, Serialize};

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Must be settled before anybody acts on the plan.
    Severe,
    /// Changes cost or result; look at it.
    Warning,
    /// Good to know: an assumption made, a conversion done, a thing not checked.
    Note,
}

impl Severity {
    /// The word used in tables and reports.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Severe => "severe",
            Self::Warning => "warning",
            Self::Note => "note",
        }
    }
}

/// Where on the property a finding belongs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Place {
    /// The whole property.
    Property,
    /// A named thing: a block, a drain, an input layer.
    Named(String),
    /// A point, in working grid metres.
    Point {
        /// Easting.
        east_m: f64,
        /// Northing.
        north_m: f64,
    },
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Property => write!(f, "property"),
            Self::Named(name) => write!(f, "{name}"),
            Self::Point { east_m, north_m } => write!(f, "E {east_m:.0} N {north_m:.0}"),
        }
    }
}

/// Something noticed about the land or the design.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// The stage that noticed it.
    pub stage: String,
    /// A short fixed word for machines, for instance `row_does_not_drain`.
    pub code: String,
    /// Where.
    pub place: Place,
    /// The sentence a person reads: what, value against limit with units, what to do.
    pub message: String,
}

impl Finding {
    /// A finding about the whole property; see [`Finding::at`] for a place.
    #[must_use]
    pub fn new(severity: Severity, stage: &str, code: &str, message: impl Into<String>) -> Self {
        Self {
            severity,
            stage: stage.to_owned(),
            code: code.to_owned(),
            place: Place::Property,
            message: message.into(),
        }
    }
    /// The same finding at a place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = place;
        self
    }
}

/// Findings of one kind, as people read them: what is common is said once, what differs beside its place.
#[derive(Debug, Clone, PartialEq)]
pub struct FindingGroup<'a> {
    /// The findings, one or more, in stated order.
    pub findings: Vec<&'a Finding>,
    /// The sentences all of them share; empty for one finding or when nothing is shared.
    pub common: String,
    /// What each says beside that, in the order of `findings`.
    pub own: Vec<String>,
}

impl FindingGroup<'_> {
    /// The kind in words, from its code: `catchment moved`.
    #[must_use]
    pub fn kind(&self) -> String {
        self.findings.first().map_or_else(String::new, |f| f.code.replace('_', " "))
    }
}

/// Groups findings by severity, stage and code; within a group they stand by place.
#[must_use]
pub fn grouped(findings: &[Finding]) -> Vec<FindingGroup<'_>> {
    let key = |f: &Finding| (f.severity, f.stage.clone(), f.code.clone());
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_cached_key(|f| (key(f), f.place.to_string(), f.message.clone()));
    let kinds = sorted.chunk_by(|a, b| key(a) == key(b));
    kinds
        .map(|kind| {
            let said: Vec<Vec<&str>> = kind.iter().map(|f| sentences(&f.message)).collect();
            let shared = |s: &&str| kind.len() > 1 && said.iter().all(|other| other.contains(s));
            let common = said[0].iter().copied().filter(|s| shared(s)).collect::<Vec<_>>().join(" ");
            let own = said.iter().map(|all| all.iter().copied().filter(|s| !shared(s)).collect::<Vec<_>>().join(" "));
            FindingGroup { findings: kind.to_vec(), common, own: own.collect() }
        })
        .collect()
}

/// Sentences of a message, full stops included; a point inside a number ends nothing.
fn sentences(message: &str) -> Vec<&str> {
    let ends = message.match_indices(". ").map(|(at, _)| at + 1).chain([message.len()]);
    let mut from = 0;
    let mut out = Vec::new();
    for end in ends {
        out.push(message[from..end].trim());
        from = end;
    }
    out
}

/// A product together with what was noticed while making it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome<T> {
    /// The product.
    pub value: T,
    /// What was noticed, in the order it was noticed.
    pub findings: Vec<Finding>,
}

impl<T> Outcome<T> {
    /// A product nothing was noticed about.
    pub fn clean(value: T) -> Self {
        Self { value, findings: Vec::new() }
    }
}

/// What kind of trouble a [`Problem`] is; decides the exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProblemKind {
    /// A mistake in the program itself (exit code 1).
    Bug,
    /// Wrong pipeline file or flags (exit code 2).
    Request,
    /// Wrong, missing or unusable data (exit code 3).
    Data,
    /// No design fits the limits; what could be made is written all the same (exit code 4).
    NoDesign,
    /// The results could not be written (exit code 5).
    Write,
}

/// A reason to stop: what, where, value against limit with units, and what to try.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, thiserror::Error)]
#[error("{message}")]
pub struct Problem {
    /// Decides the exit code.
    pub kind: ProblemKind,
    /// A short fixed word for machines, for instance `boundary_outside_raster`.
    pub code: String,
    /// Lowercase sentence fragment without a full stop; names, keys and paths in backticks.
    pub message: String,
    /// What to try, when there is something to try.
    pub hint: Option<String>,
}

impl Problem {
    /// A problem without a hint; see [`Problem::hint`].
    #[must_use]
    pub fn new(kind: ProblemKind, code: &str, message: impl Into<String>) -> Self {
        Self { kind, code: code.to_owned(), message: message.into(), hint: None }
    }
    /// Wrong, missing or unusable data.
    #[must_use]
    pub fn data(code: &str, message: impl Into<String>) -> Self {
        Self::new(ProblemKind::Data, code, message)
    }
    /// Wrong pipeline file or flags.
    #[must_use]
    pub fn request(code: &str, message: impl Into<String>) -> Self {
        Self::new(ProblemKind::Request, code, message)
    }
    /// The same problem with what to try.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// All problems found before stopping; never empty when used as an error.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Problems(pub Vec<Problem>);

impl Problems {
    /// `value` when there is no problem, else all problems.
    ///
    /// # Errors
    /// The collected problems.
    pub fn into_result<T>(self, value: T) -> Result<T, Self> {
        if self.0.is_empty() { Ok(value) } else { Err(self) }
    }
    /// Adds one problem.
    pub fn push(&mut self, problem: Problem) {
        self.0.push(problem);
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Self {
        Self(vec![problem])
    }
}

impl std::fmt::Display for Problems {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_common_is_said_once_and_what_differs_beside_its_place() {
        let at = |n: u32, said: &str| {
            let message = format!("Drain {n} {said}. Line it, or break its fall at 0.5 m drops.");
            Finding::new(Severity::Warning, "drains", "drain_scours", message).at(Place::Named(format!("DR-0{n}")))
        };
        let alone = Finding::new(Severity::Severe, "water", "power_line", "A line crosses. Ask its owner.");
        let all = [at(2, "runs at 0.9 m/s"), alone, at(1, "runs at 0.8 m/s")];
        let groups = grouped(&all);
        assert_eq!(groups.len(), 2);
        assert_eq!((groups[0].findings[0], groups[0].common.as_str()), (&all[1], ""));
        assert_eq!(groups[0].own, [all[1].message.as_str()]);
        assert_eq!(groups[1].kind(), "drain scours");
        assert_eq!(groups[1].common, "Line it, or break its fall at 0.5 m drops.");
        assert_eq!(groups[1].own, ["Drain 1 runs at 0.8 m/s.", "Drain 2 runs at 0.9 m/s."]);
    }
}
