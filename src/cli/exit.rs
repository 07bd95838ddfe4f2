//! Exit codes.
//!
//! Several kinds of problem may come together; the code is then the smallest of theirs, since that one has to be put
//! right first: a mistake in the program before a wrong request, a wrong request before wrong data.

use crate::finding::{ProblemKind, Problems};

/// Done.
pub const DONE: u8 = 0;
/// A mistake in the program.
pub const BUG: u8 = 1;
/// A wrong pipeline file or wrong flags.
pub const WRONG_REQUEST: u8 = 2;
/// Wrong, missing or unusable data.
pub const WRONG_DATA: u8 = 3;
/// No design within the limits; results and the nearest miss are written.
pub const NO_DESIGN: u8 = 4;
/// Results could not be written.
pub const NOT_WRITTEN: u8 = 5;

/// The exit code of problems.
#[must_use]
pub fn code(problems: &Problems) -> u8 {
    problems.0.iter().map(|p| code_of(p.kind)).min().unwrap_or(BUG)
}

fn code_of(kind: ProblemKind) -> u8 {
    match kind {
        ProblemKind::Bug => BUG,
        ProblemKind::Request => WRONG_REQUEST,
        ProblemKind::Data => WRONG_DATA,
        ProblemKind::NoDesign => NO_DESIGN,
        ProblemKind::Write => NOT_WRITTEN,
    }
}
