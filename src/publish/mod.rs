//! Artifacts become documents in memory: maps, tables, pages.

mod results;

pub use results::{Assumption, OptionResult, Results};

use crate::land::document::Document;

/// The documents of a finished job. None are made yet.
#[must_use]
pub fn documents(_results: &Results<'_>) -> Vec<Document> {
    Vec::new()
}
