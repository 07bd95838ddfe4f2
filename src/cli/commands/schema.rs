//! `rowfall schema`: prints the JSON Schema of a pipeline file.

use crate::cli::messages::Voice;
use crate::finding::Problems;
use crate::pipeline::schema::pipeline_schema;

/// Prints the schema.
///
/// # Errors
/// When standard output is closed.
pub fn schema(voice: &Voice) -> Result<(), Problems> {
    Ok(voice.say_json(&pipeline_schema())?)
}
