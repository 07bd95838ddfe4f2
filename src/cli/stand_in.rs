//! Stands in for the store until the one of `formats` is there: opens nothing and says so.

use crate::finding::{Outcome, Problem, ProblemKind, Problems};
use crate::land::{
    document::Document,
    geodesy::CrsTag,
    site_table::SiteTable,
    store::{InputRecord, RenderedFile, Store, Wanted},
    survey::RawSurvey,
};
use std::path::PathBuf;
/// See the file doc.
pub struct DiskStore;
/// See the file doc.
pub struct Lock;
impl Drop for Lock {
    fn drop(&mut self) {}
}
impl DiskStore {
    /// See the file doc.
    pub fn new(_: PathBuf, _: PathBuf) -> Self {
        Self
    }
    /// See the file doc.
    pub fn lock(&self) -> Result<Lock, Problem> {
        Ok(Lock)
    }
}
fn no() -> Problem {
    Problem::new(ProblemKind::Bug, "no_store", "no store in this build")
}
impl Store for DiskStore {
    fn input_digest(&self, _: &SiteTable, _: &Wanted) -> Result<(String, Vec<InputRecord>), Problems> {
        Err(no().into())
    }
    fn read_survey(&self, _: &SiteTable, _: &Wanted) -> Result<Outcome<RawSurvey>, Problems> {
        Err(no().into())
    }
    fn fetch(&self, _: &str) -> Option<Vec<u8>> {
        None
    }
    fn keep(&self, _: &str, _: &[u8]) -> Result<(), Problem> {
        Ok(())
    }
    fn render(&self, _: &Document, _: &CrsTag) -> Result<Vec<RenderedFile>, Problem> {
        Err(no())
    }
    fn versions(&self) -> Vec<(String, String)> {
        Vec::new()
    }
    fn finished_run(&self) -> Option<Vec<u8>> {
        None
    }
    fn publish(&self, _: &[RenderedFile], _: &[u8]) -> Result<(), Problem> {
        Err(no())
    }
}
