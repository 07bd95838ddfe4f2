//! The way from the finished job to documents: hands the products to [`crate::publish`].

use super::flow::Job;
use super::plan::Plan;
use crate::land::document::Document;
use crate::land::store::InputRecord;

/// The documents of a job.
#[must_use]
pub fn documents(_plan: &Plan, _job: &Job, _inputs: &[InputRecord]) -> Vec<Document> {
    Vec::new()
}
