//! Where artifacts and documents are fetched from and put: the only door to the outside world.
//!
//! Declared here, implemented in `formats`; `pipeline` talks to `dyn Store` and cannot touch a file.

use super::document::Document;
use super::geodesy::CrsTag;
use super::site_table::SiteTable;
use super::survey::RawSurvey;
use crate::finding::{Outcome, Problem, Problems};
use std::io::Write;

/// What must be read beyond the site table: which stages are wanted decides what is compulsory.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// Whether any wanted stage reads the ground.
    pub ground: bool,
    /// File of the user's own blocks.
    pub given_blocks: Option<String>,
    /// Blocks of an earlier layout.
    pub previous_blocks: Option<String>,
    /// File of the user's own design surface.
    pub given_surface: Option<String>,
    /// Margin around the boundary that is read for inflow, metres.
    pub margin_m: f64,
}

/// A file of a document, ready to be put into the run folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RenderedFile {
    /// Path inside the run folder.
    pub path: String,
    /// Bytes.
    pub bytes: Vec<u8>,
}

/// Writes an artifact.
pub type Pack<'a> = &'a dyn Fn(&mut dyn Write) -> std::io::Result<()>;

/// Access to inputs, to kept artifacts and to the run folder.
pub trait Store {
    /// Digest of everything the inputs of a run are made of (file contents, sidecars, library versions), and a
    /// list of (name, path, digest) for the record.
    ///
    /// # Errors
    /// Missing or unreadable files, all of them.
    fn input_digest(&self, site: &SiteTable, wanted: &Wanted) -> Result<(String, Vec<InputRecord>), Problems>;
    /// Reads every input into one projected system.
    ///
    /// # Errors
    /// Whatever is wrong with the data, all of it.
    fn read_survey(&self, site: &SiteTable, wanted: &Wanted) -> Result<Outcome<RawSurvey>, Problems>;
    /// A kept artifact; `None` when there is none or it cannot be read.
    fn fetch(&self, key: &str) -> Option<Vec<u8>>;
    /// Keeps an artifact. `pack` writes it, so that a large one is never held a second time.
    ///
    /// # Errors
    /// When it cannot be written.
    fn keep(&self, key: &str, pack: Pack<'_>) -> Result<(), Problem>;
    /// Turns a document into files.
    ///
    /// # Errors
    /// When the format cannot express it or a temporary file cannot be written.
    fn render(&self, document: &Document, crs: &CrsTag) -> Result<Vec<RenderedFile>, Problem>;
    /// Versions of the libraries behind the formats, for the record and the keys.
    fn versions(&self) -> Vec<(String, String)>;
    /// Whether the run folder holds a finished run whose record carries this digest.
    fn finished_run(&self) -> Option<Vec<u8>>;
    /// Puts a finished run into place, all or nothing; `record` becomes `run.json`.
    ///
    /// # Errors
    /// When the folder is not ours, not writable, or the disk is full.
    fn publish(&self, files: &[RenderedFile], record: &[u8]) -> Result<(), Problem>;
}

/// One input file of a run.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct InputRecord {
    /// The key of the site table it was named by.
    pub key: String,
    /// The path as written in the pipeline file.
    pub path: String,
    /// BLAKE3 digest of its content.
    pub digest: String,
}
