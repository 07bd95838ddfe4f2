//! Writing through a library that wants files: into a private folder, and the bytes read back.

use crate::finding::{Problem, ProblemKind};
use crate::land::store::RenderedFile;
use std::path::{Path, PathBuf};

/// A private folder for one document.
pub struct Scratch {
    folder: tempfile::TempDir,
    document: String,
}

impl Scratch {
    /// A folder for the document with this path in the run folder.
    ///
    /// # Errors
    /// `not_written` when no temporary folder can be made.
    pub fn new(document: &str) -> Result<Self, Problem> {
        let folder = tempfile::tempdir().map_err(|e| fault(document, &format!("no temporary folder: {e}")))?;
        Ok(Self { folder, document: document.to_owned() })
    }
    /// Where the main file is written.
    #[must_use]
    pub fn file(&self) -> PathBuf {
        self.folder.path().join(Path::new(&self.document).file_name().unwrap_or_else(|| "document".as_ref()))
    }
    /// Every file now in the folder, by name.
    ///
    /// # Errors
    /// `not_written` when one cannot be read back.
    pub fn collect(self) -> Result<Vec<RenderedFile>, Problem> {
        let failed = |e: std::io::Error| fault(&self.document, &e.to_string());
        let folder = self.document.rsplit_once('/').map(|(folder, _)| format!("{folder}/")).unwrap_or_default();
        let mut files = Vec::new();
        for entry in std::fs::read_dir(self.folder.path()).map_err(failed)? {
            let entry = entry.map_err(failed)?;
            let path = format!("{folder}{}", entry.file_name().to_string_lossy());
            files.push(RenderedFile { path, bytes: std::fs::read(entry.path()).map_err(failed)? });
        }
        files.sort_by(|a, b| a.path.cmp(&b.path));
        Ok(files)
    }
}

/// A document that could not be made.
#[must_use]
pub fn fault(document: &str, why: &str) -> Problem {
    Problem::new(ProblemKind::Write, "not_written", format!("`{document}` could not be made: {why}"))
        .hint("check the free space for temporary files")
}
