//! The rules of the source tree: who may use whom, how long a file may be, how it opens.

use crate::program::root;
use std::path::{Path, PathBuf};

/// Folder or file of `src/`, and the parts of the crate it may name.
const MAY_USE: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("bibliography", &[]),
    ("finding", &["units"]),
    ("grid", &["units"]),
    ("land", &["units", "grid", "finding", "bibliography"]),
    ("methods", &["units", "grid", "bibliography"]),
    ("stages", &["units", "bibliography", "finding", "grid", "land", "methods"]),
    ("publish", &["units", "bibliography", "finding", "grid", "land"]),
    ("formats", &["units", "finding", "grid", "land"]),
    ("pipeline", &["units", "bibliography", "finding", "land", "stages", "publish"]),
];
// `land` names `finding` because the trait `Store` returns problems, and `pipeline` names `units` and `bibliography`
// because the record holds ranges and citations; `cli` may name everything.

/// What only some folders may name: a word of the source and who may.
const ONLY: &[(&str, &[&str])] = &[
    ("gdal", &["formats"]),
    ("std::fs", &["formats", "cli"]),
    ("rayon", &["methods", "pipeline", "cli"]),
    ("indicatif", &["cli"]),
    ("std::env", &["cli", "formats"]),
];

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

fn sources(folders: &[&str]) -> Vec<(String, String)> {
    let mut files = Vec::new();
    for folder in folders {
        rust_files(&root().join(folder), &mut files);
    }
    let name = |path: &PathBuf| path.strip_prefix(root()).unwrap().to_string_lossy().replace('\\', "/");
    files.iter().map(|path| (name(path), std::fs::read_to_string(path).unwrap())).collect()
}

/// The part of the crate a file belongs to: `src/land/site.rs` to `land`.
fn part(file: &str) -> &str {
    file.trim_start_matches("src/").split(['/', '.']).next().unwrap_or_default()
}

/// Lines that are code: comments may speak of anything.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines().enumerate().filter(|(_, line)| !line.trim_start().starts_with("//"))
}

/// The parts of the crate a line names, `crate::{a, b}` included.
fn named(line: &str) -> Vec<String> {
    let mut names = Vec::new();
    for after in line.split("crate::").skip(1) {
        let list = after.strip_prefix('{').map_or_else(|| vec![after], |inner| inner.split(',').collect());
        for item in list {
            let name: String = item.trim().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            names.push(name);
        }
    }
    names
}

#[test]
fn every_part_uses_only_what_it_may() {
    let mut broken = Vec::new();
    for (file, text) in sources(&["src"]) {
        let own = part(&file);
        let Some((_, allowed)) = MAY_USE.iter().find(|(name, _)| *name == own) else { continue };
        for (at, line) in code(&text) {
            for name in named(line) {
                let known = MAY_USE.iter().any(|(n, _)| *n == name) || name == "cli";
                if known && name != own && !allowed.contains(&name.as_str()) {
                    broken.push(format!("{file}:{}: `{own}` must not use `{name}`", at + 1));
                }
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn stages_do_not_look_into_each_other() {
    let mut broken = Vec::new();
    for (file, text) in sources(&["src/stages"]) {
        let own = file.trim_start_matches("src/stages/").split(['/', '.']).next().unwrap_or_default().to_owned();
        // A test may run an earlier stage to get an input; what ships may not.
        for (at, line) in code(&text).filter(|_| own != "mod" && !file.ends_with("/tests.rs")) {
            for after in line.split("crate::stages::").skip(1) {
                let other: String = after.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                let is_stage = rowfall::stages::STAGES.iter().any(|s| s.info.name == other);
                if is_stage && other != own {
                    broken.push(format!("{file}:{}: `{own}` looks into `{other}`", at + 1));
                }
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn files_disk_threads_and_environment_stay_where_they_belong() {
    let mut broken = Vec::new();
    for (file, text) in sources(&["src"]) {
        // What a file does in its own tests (temporary folders) is not what the program does.
        let text = text.split("#[cfg(test)]").next().unwrap_or_default();
        for (at, line) in code(text) {
            for (word, who) in ONLY {
                let uses = line.contains(&format!("{word}::")) || line.contains(&format!("use {word}"));
                if uses && !who.contains(&part(&file)) {
                    broken.push(format!("{file}:{}: only {who:?} may use `{word}`", at + 1));
                }
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn no_file_is_longer_than_500_lines_and_each_says_what_it_is_for() {
    let mut broken = Vec::new();
    for (file, text) in sources(&["src", "tests", "demo-data", "fixtures"]) {
        let lines = text.lines().count();
        if lines > 500 {
            broken.push(format!("{file} has {lines} lines; split it"));
        }
        if !text.starts_with("//!") {
            broken.push(format!("{file} does not open with `//!`"));
        }
        for bad in ["utils", "helpers", "common", "misc"] {
            if file.split(['/', '.']).any(|piece| piece == bad) {
                broken.push(format!("{file}: `{bad}` says nothing"));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn every_method_names_its_source_and_how_we_know() {
    let mut broken = Vec::new();
    for (file, text) in sources(&["src/methods"]) {
        let of_tests = file.contains("tests") || file.ends_with("random_ground.rs");
        if file.ends_with("mod.rs") || of_tests {
            continue;
        }
        let head: String = text.lines().take_while(|l| l.starts_with("//!")).collect::<Vec<_>>().join("\n");
        for word in ["Source", "How we know"] {
            if !head.contains(word) {
                broken.push(format!("{file}: its opening has no `{word}:`"));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn the_scan_itself_finds_what_it_should() {
    assert_eq!(named("use crate::{grid::Raster, land};"), ["grid", "land"]);
    assert_eq!(named("    let x = crate::formats::open();"), ["formats"]);
    assert_eq!(part("src/land/site.rs"), "land");
    assert_eq!(part("src/units.rs"), "units");
}
