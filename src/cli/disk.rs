//! Files the command line itself reads and writes, and the store behind a run.

use crate::finding::{Problem, ProblemKind};
use crate::formats::DiskStore;
use std::path::{Path, PathBuf};

/// The store behind a run: inputs relative to `base`, results in `run`.
#[must_use]
pub fn store(base: &Path, run: &Path) -> DiskStore {
    DiskStore::new(base, &base.join(".rowfall"), run)
}

/// Text of a file the user named.
///
/// # Errors
/// A wrong request, when the file is not there or is no text.
pub fn read_text(path: &Path) -> Result<String, Problem> {
    std::fs::read_to_string(path).map_err(|error| {
        let hint = match error.kind() {
            std::io::ErrorKind::NotFound => "check the path; `rowfall init` writes a new pipeline file",
            std::io::ErrorKind::InvalidData => "a pipeline file is UTF-8 text",
            _ => "check that it is a file you may read",
        };
        Problem::request("unreadable_file", format!("`{}` could not be read: {error}", path.display())).hint(hint)
    })
}

/// Writes a new file; one that is there already is left alone.
///
/// # Errors
/// When the file exists or cannot be written.
pub fn write_new(path: &Path, text: &str) -> Result<(), Problem> {
    use std::io::Write;
    let file = std::fs::File::options().write(true).create_new(true).open(path);
    match file.and_then(|mut file| file.write_all(text.as_bytes())) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            let message = format!("`{}` exists already and is not overwritten", path.display());
            Err(Problem::request("exists", message).hint("choose another folder, or move the old file away"))
        }
        Err(error) => Err(not_written(path, &error)),
    }
}

/// The problem that a path could not be written.
#[must_use]
pub fn not_written(path: &Path, error: &std::io::Error) -> Problem {
    Problem::new(ProblemKind::Write, "not_written", format!("`{}` could not be written: {error}", path.display()))
        .hint("check that the folder exists, that you may write there and that the disk is not full")
}

/// Folder of a pipeline file; inputs are relative to it.
#[must_use]
pub fn folder_of(plan: &Path) -> PathBuf {
    match plan.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

/// `to` as seen from the folder `from`: relative when the two share more than the root, else absolute. Both are made
/// absolute first; neither has to exist.
#[must_use]
pub fn path_from(from: &Path, to: &Path) -> PathBuf {
    let (from, to) = (absolute(from), absolute(to));
    let shared = from.components().zip(to.components()).take_while(|(a, b)| a == b).count();
    // Only the root is shared: such a path would break as soon as either folder moved.
    if shared <= 1 {
        return to;
    }
    let up = from.components().count() - shared;
    let mut path: PathBuf = std::iter::repeat_n("..", up).collect();
    path.extend(to.components().skip(shared));
    if path.as_os_str().is_empty() { PathBuf::from(".") } else { path }
}

/// Absolute, links resolved as far as the path exists.
fn absolute(path: &Path) -> PathBuf {
    if let Ok(real) = path.canonicalize() {
        return real;
    }
    let full = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    match (full.parent(), full.file_name()) {
        (Some(parent), Some(name)) => absolute(parent).join(name),
        _ => full,
    }
}

/// Memory that is free, bytes, within the limit of the container the program runs in; `None` where the system does not say.
#[must_use]
pub fn free_bytes() -> Option<u64> {
    let mut system = sysinfo::System::new();
    system.refresh_memory();
    let machine = Some(system.available_memory()).filter(|bytes| *bytes > 0);
    // Its whole, not what it calls free: files the system keeps at hand are counted as held there, and given up when asked.
    let container = system.cgroup_limits().map(|limits| limits.total_memory);
    machine.into_iter().chain(container).min()
}

/// Greatest memory this process has held, megabytes; `None` where the system does not say.
#[must_use]
pub fn peak_memory_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kilobytes: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some((kilobytes / 1024.0 * 10.0).round() / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_relative_within_a_tree_and_absolute_across() {
        let dir = tempfile::tempdir().unwrap();
        let root = dir.path();
        std::fs::create_dir(root.join("plan")).unwrap();
        assert_eq!(path_from(&root.join("plan"), &root.join("b.geojson")), Path::new("../b.geojson"));
        assert_eq!(path_from(&root.join("plan"), &root.join("plan/x/y.tif")), Path::new("x/y.tif"));
        assert_eq!(path_from(&root.join("plan"), &root.join("plan")), Path::new("."));
        assert!(path_from(&root.join("plan"), Path::new("/elsewhere/a.tif")).is_absolute());
    }
}
