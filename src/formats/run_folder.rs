//! Putting a finished run into place: all of it or nothing, and never over somebody else's files.

use crate::finding::{Problem, ProblemKind};
use crate::land::store::RenderedFile;
use std::path::{Component, Path, PathBuf};

/// The file that marks a folder as a finished run; written last.
pub const RECORD: &str = "run.json";

fn trouble(path: &Path, error: &std::io::Error) -> Problem {
    Problem::new(ProblemKind::Write, "not_written", format!("`{}` could not be written: {error}", path.display()))
        .hint("check free space and permissions, or choose another folder with `--out`")
}

/// The record of the run in a folder, when it is one of ours.
#[must_use]
pub fn record_in(folder: &Path) -> Option<Vec<u8>> {
    let bytes = std::fs::read(folder.join(RECORD)).ok()?;
    let json: serde_json::Value = serde_json::from_slice(&bytes).ok()?;
    (json["program"] == "rowfall").then_some(bytes)
}

/// Whether the folder may be replaced: absent, empty, or a run of this program.
///
/// # Errors
/// `not_our_folder` otherwise.
pub fn may_replace(folder: &Path) -> Result<(), Problem> {
    let foreign = |what: &str| {
        Problem::new(
            ProblemKind::Write,
            "not_our_folder",
            format!("`{}` {what}, so it is not overwritten", folder.display()),
        )
        .hint("choose an empty or new folder with `--out`")
    };
    if std::fs::symlink_metadata(folder).is_ok_and(|m| m.is_symlink()) {
        return Err(foreign("is a link to another folder"));
    }
    if !folder.exists() {
        return Ok(());
    }
    if !folder.is_dir() {
        return Err(foreign("is a file"));
    }
    let mut entries = std::fs::read_dir(folder).map_err(|e| trouble(folder, &e))?;
    if entries.next().is_none() || record_in(folder).is_some() {
        return Ok(());
    }
    Err(foreign("holds files that no run of this program made"))
}

/// Writes the run beside its place, then swaps it in by renaming.
///
/// # Errors
/// `not_our_folder`, `bad_path` for a document outside the folder, `not_written` with the path and the system's message.
pub fn publish(folder: &Path, files: &[RenderedFile], record: &[u8]) -> Result<(), Problem> {
    may_replace(folder)?;
    let parent = folder.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::create_dir_all(parent).map_err(|e| trouble(parent, &e))?;
    let fresh = tempfile::Builder::new().prefix(".rowfall-new-").tempdir_in(parent).map_err(|e| trouble(parent, &e))?;
    for file in files {
        let path = fresh.path().join(relative(&file.path)?);
        write(&path, &file.bytes)?;
    }
    write(&fresh.path().join(RECORD), record)?;
    make_readable(fresh.path())?;
    swap(folder, fresh)
}

/// A path of a document, which may not leave the run folder.
fn relative(path: &str) -> Result<PathBuf, Problem> {
    let relative = PathBuf::from(path);
    let plain = !path.is_empty() && relative.components().all(|c| matches!(c, Component::Normal(_)));
    if plain && path != RECORD && path.split('/').all(portable) {
        return Ok(relative);
    }
    Err(Problem::new(ProblemKind::Bug, "bad_path", format!("a document is called `{path}`")))
}

/// Whether every system can hold a file of this name: no separators or drive letters, no device names, no trailing dot.
fn portable(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().to_ascii_uppercase();
    let numbered =
        |word: &str| stem.len() == 4 && stem.starts_with(word) && stem.ends_with(|c: char| c.is_ascii_digit());
    let device = matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL") || numbered("COM") || numbered("LPT");
    let odd = |c: char| c.is_control() || matches!(c, '\\' | ':' | '*' | '?' | '"' | '<' | '>' | '|');
    !device && name.len() <= 255 && !name.contains(odd) && !name.ends_with(['.', ' '])
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Problem> {
    use std::io::Write;
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(|e| trouble(folder, &e))?;
    }
    let mut file = std::fs::File::create(path).map_err(|e| trouble(path, &e))?;
    file.write_all(bytes).and_then(|()| file.sync_all()).map_err(|e| trouble(path, &e))
}

/// Temporary folders are private; a run folder is as readable as any new folder of the user.
#[cfg(unix)]
fn make_readable(folder: &Path) -> Result<(), Problem> {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o755)).map_err(|e| trouble(folder, &e))
}
#[cfg(not(unix))]
fn make_readable(_folder: &Path) -> Result<(), Problem> {
    Ok(())
}

fn swap(folder: &Path, fresh: tempfile::TempDir) -> Result<(), Problem> {
    let parent = folder.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut old = None;
    if folder.exists() {
        let aside =
            tempfile::Builder::new().prefix(".rowfall-old-").tempdir_in(parent).map_err(|e| trouble(parent, &e))?;
        std::fs::rename(folder, aside.path().join("run")).map_err(|e| trouble(folder, &e))?;
        old = Some(aside);
    }
    if let Err(error) = std::fs::rename(fresh.path(), folder) {
        if let Some(aside) = &old {
            // The former run goes back, so a failed swap changes nothing.
            std::fs::rename(aside.path().join("run"), folder).map_err(|e| trouble(folder, &e))?;
        }
        return Err(trouble(folder, &error));
    }
    // The folder has moved away from under its guard, which must not remove anything any more.
    let _gone = fresh.keep();
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, text: &str) -> RenderedFile {
        RenderedFile { path: path.to_owned(), bytes: text.as_bytes().to_vec() }
    }
    const OURS: &[u8] = br#"{"program": "rowfall"}"#;

    #[test]
    fn a_run_replaces_a_run_and_nothing_else() {
        let place = tempfile::tempdir().unwrap();
        let run = place.path().join("run");
        publish(&run, &[file("maps/a.txt", "1"), file("old.txt", "1")], OURS).unwrap();
        publish(&run, &[file("maps/a.txt", "2")], OURS).unwrap();
        assert_eq!(std::fs::read_to_string(run.join("maps/a.txt")).unwrap(), "2");
        assert!(!run.join("old.txt").exists(), "files of the former run must be gone");
        assert_eq!(record_in(&run).unwrap(), OURS);
        // Nothing is left beside it.
        assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 1);
    }

    #[test]
    fn foreign_folders_are_left_alone() {
        let place = tempfile::tempdir().unwrap();
        std::fs::write(place.path().join("letter.txt"), "dear").unwrap();
        assert_eq!(publish(place.path(), &[], OURS).unwrap_err().code, "not_our_folder");
        std::fs::write(place.path().join(RECORD), r#"{"program": "other"}"#).unwrap();
        assert_eq!(publish(place.path(), &[], OURS).unwrap_err().code, "not_our_folder");
        assert_eq!(std::fs::read_to_string(place.path().join("letter.txt")).unwrap(), "dear");
    }

    #[test]
    fn documents_stay_inside() {
        let place = tempfile::tempdir().unwrap();
        for path in ["../a.txt", "/tmp/a.txt", "", "run.json", "a/CON.txt", "a\\b", "c:d", "dot.", "new\nline"] {
            assert_eq!(
                publish(&place.path().join("run"), &[file(path, "")], OURS).unwrap_err().code,
                "bad_path",
                "{path}"
            );
            assert!(!place.path().join("run").exists());
        }
    }

    #[test]
    fn a_place_that_cannot_be_written_is_named() {
        let place = tempfile::tempdir().unwrap();
        std::fs::write(place.path().join("file"), "").unwrap();
        let problem = publish(&place.path().join("file/run"), &[], OURS).unwrap_err();
        assert_eq!((problem.kind, problem.code.as_str()), (ProblemKind::Write, "not_written"));
        assert!(problem.message.contains("file"), "{}", problem.message);
    }
}
