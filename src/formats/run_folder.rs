//! The run folder, put into place all or nothing, and the lock that keeps a second run out.

use crate::finding::{Problem, ProblemKind};
use crate::land::store::RenderedFile;
use std::fs::{self, File};
use std::io::{Read, Seek, Write};
use std::path::{Path, PathBuf};

/// A problem with writing at a place.
pub(super) fn cannot_write(path: &Path, error: &std::io::Error) -> Problem {
    Problem::new(ProblemKind::Write, "cannot_write", format!("`{}` cannot be written: {error}", path.display()))
        .hint("check that the folder exists, that you may write there and that the disk is not full")
}

/// Held while a run works; the system lets go of it when the process ends, however it ends.
#[derive(Debug)]
pub struct RunLock {
    _file: File,
}

impl RunLock {
    /// Takes the lock of a store folder.
    ///
    /// # Errors
    /// When another run holds it (the message names its process), or the folder cannot be written.
    pub(super) fn take(folder: &Path) -> Result<Self, Problem> {
        fs::create_dir_all(folder).map_err(|e| cannot_write(folder, &e))?;
        let path = folder.join("lock");
        let mut file = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|e| cannot_write(&path, &e))?;
        match file.try_lock() {
            Ok(()) => {
                // The holder's number is for the message of a second run; nothing depends on it.
                let _ =
                    file.set_len(0).and_then(|()| file.rewind()).and_then(|()| write!(file, "{}", std::process::id()));
                Ok(Self { _file: file })
            }
            Err(_) => {
                let mut holder = String::new();
                let _ = file.read_to_string(&mut holder);
                Err(Problem::new(
                    ProblemKind::Write,
                    "locked",
                    format!(
                        "another run (process {}) is working on this property",
                        if holder.is_empty() { "unknown" } else { holder.trim() }
                    ),
                )
                .hint("wait for it to end, or stop it"))
            }
        }
    }
}

/// Whether a folder is absent, empty or one of ours.
fn may_replace(folder: &Path) -> bool {
    match fs::read_dir(folder) {
        Err(_) => !folder.exists(),
        Ok(mut entries) => entries.next().is_none() || is_ours(folder),
    }
}

fn is_ours(folder: &Path) -> bool {
    fs::read(folder.join("run.json"))
        .ok()
        .and_then(|bytes| serde_json::from_slice::<serde_json::Value>(&bytes).ok())
        .is_some_and(|record| record.get("program").and_then(|p| p.as_str()) == Some("rowfall"))
}

/// Checks, before any work is done, that a run folder could be put at `folder`.
pub(super) fn check_place(folder: &Path) -> Result<(), Problem> {
    if may_replace(folder) {
        return Ok(());
    }
    Err(Problem::new(
        ProblemKind::Write,
        "not_our_folder",
        format!(
            "`{}` exists and is no rowfall run folder (it has no rowfall `run.json`); it is left alone",
            folder.display()
        ),
    )
    .hint("choose another folder with `--out`, or move that one away"))
}

/// Builds the folder beside its place and swaps it in by renames.
pub(super) fn put(folder: &Path, files: &[RenderedFile], record: &[u8]) -> Result<(), Problem> {
    check_place(folder)?;
    let parent =
        folder.parent().filter(|p| !p.as_os_str().is_empty()).map_or_else(|| PathBuf::from("."), Path::to_path_buf);
    fs::create_dir_all(&parent).map_err(|e| cannot_write(&parent, &e))?;
    let building =
        tempfile::Builder::new().prefix(".rowfall-run-").tempdir_in(&parent).map_err(|e| cannot_write(&parent, &e))?;
    for file in files {
        let path = building.path().join(&file.path);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).map_err(|e| cannot_write(parent, &e))?;
        }
        fs::write(&path, &file.bytes).map_err(|e| cannot_write(&path, &e))?;
    }
    // The record goes last: its presence says that everything else is there.
    let path = building.path().join("run.json");
    fs::write(&path, record).map_err(|e| cannot_write(&path, &e))?;
    let old = if folder.exists() {
        let old = tempfile::Builder::new()
            .prefix(".rowfall-old-")
            .tempdir_in(&parent)
            .map_err(|e| cannot_write(&parent, &e))?;
        fs::rename(folder, old.path().join("run")).map_err(|e| cannot_write(folder, &e))?;
        Some(old)
    } else {
        None
    };
    let built = building.keep();
    if let Err(error) = fs::rename(&built, folder) {
        if let Some(old) = &old {
            // Put the former run back: a failed swap must not lose it.
            let _ = fs::rename(old.path().join("run"), folder);
        }
        let _ = fs::remove_dir_all(&built);
        return Err(cannot_write(folder, &error));
    }
    make_readable(folder);
    Ok(())
}

/// Temporary folders are made for their owner only; a run folder is for reading.
fn make_readable(folder: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let _ = fs::set_permissions(folder, fs::Permissions::from_mode(0o755));
    }
    #[cfg(not(unix))]
    let _ = folder;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, bytes: &[u8]) -> RenderedFile {
        RenderedFile { path: path.to_owned(), bytes: bytes.to_vec() }
    }

    const RECORD: &[u8] = br#"{"program":"rowfall"}"#;

    #[test]
    fn a_run_replaces_only_a_run() {
        let place = tempfile::tempdir().unwrap();
        let run = place.path().join("run");
        put(&run, &[file("tables/a.csv", b"1")], RECORD).unwrap();
        put(&run, &[file("tables/b.csv", b"2")], RECORD).unwrap();
        assert!(!run.join("tables/a.csv").exists() && run.join("tables/b.csv").exists());
        fs::remove_file(run.join("run.json")).unwrap();
        assert_eq!(put(&run, &[], RECORD).unwrap_err().code, "not_our_folder");
        assert!(run.join("tables/b.csv").exists());
        assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1, "nothing half-written stays behind");
    }

    #[test]
    fn a_place_that_cannot_be_written_is_said() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("wall"), b"").unwrap();
        let problem = put(&place.path().join("wall/run"), &[], RECORD).unwrap_err();
        assert_eq!(problem.kind, ProblemKind::Write);
    }

    #[test]
    fn a_second_run_is_kept_out_and_a_stale_lock_is_not() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("lock"), b"999999").unwrap();
        let lock = RunLock::take(place.path()).unwrap();
        let second = RunLock::take(place.path()).unwrap_err();
        assert!(second.code == "locked" && second.message.contains(&std::process::id().to_string()));
        drop(lock);
        RunLock::take(place.path()).unwrap();
    }
}
