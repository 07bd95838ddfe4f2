//! What is generated and shipped is what the program would generate now.
//!
//! `ROWFALL_WRITE_SHIPPED=1 cargo test --test it shipped` writes the files again.

use crate::program::root;
use rowfall::pipeline::file::read_plan;
use rowfall::pipeline::schema::pipeline_schema;
use rowfall::pipeline::shipped::shipped;

fn current() -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> =
        shipped().into_iter().map(|(name, text)| (format!("pipelines/{name}"), text)).collect();
    files.push(("pipelines/rowfall.schema.json".to_owned(), format!("{:#}\n", pipeline_schema())));
    files
}

#[test]
fn shipped_files_are_current() {
    for (name, text) in current() {
        let path = root().join(&name);
        if std::env::var_os("ROWFALL_WRITE_SHIPPED").is_some() {
            std::fs::write(&path, &text).unwrap();
        }
        let on_disk = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(on_disk == text, "{name} is not what the program writes now; see the head of this test");
    }
}

#[test]
fn shipped_pipelines_pass_our_own_checks_and_the_json_schema() {
    let schema = pipeline_schema();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (name, text) in shipped() {
        if let Err(problems) = read_plan(name, &text, &[]) {
            panic!("{name}: {problems}");
        }
        let value: toml::Value = toml::from_str(&text).unwrap();
        let json = serde_json::to_value(value).unwrap();
        let errors: Vec<String> = validator.iter_errors(&json).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(errors.is_empty(), "{name}:\n{}", errors.join("\n"));
    }
}

#[test]
fn the_schema_is_itself_a_valid_schema() {
    assert!(jsonschema::meta::is_valid(&pipeline_schema()));
}
