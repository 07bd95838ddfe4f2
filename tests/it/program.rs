//! Runs the built program in a temporary folder and shows what it said in a form that is the same on every machine.

use std::path::{Path, PathBuf};
use std::process::Output;

/// The repository.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs `rowfall` in a folder.
pub fn rowfall(folder: &Path, arguments: &[&str]) -> Output {
    assert_cmd::Command::cargo_bin("rowfall")
        .expect("the program is built before its tests")
        .current_dir(folder)
        .env_remove("RUST_LOG")
        .args(arguments)
        .output()
        .expect("the program starts")
}

/// Exit code, standard output and standard error, with the folder taken out.
pub fn told(folder: &Path, output: &Output) -> String {
    let text = format!(
        "exit code: {}\n--- stdout\n{}--- stderr\n{}",
        output.status.code().unwrap_or(-1),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    let mut real = vec![folder.to_path_buf(), root().to_path_buf()];
    real.extend(folder.canonicalize());
    let mut text = text;
    for (path, name) in real.iter().zip(["[FOLDER]", "[REPO]", "[FOLDER]"]) {
        text = text.replace(&path.display().to_string(), name);
    }
    text
}

/// A temporary folder with one pipeline file in it.
pub fn with_plan(text: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let plan = folder.path().join("plan.toml");
    std::fs::write(&plan, text).expect("a file can be written there");
    (folder, plan)
}
