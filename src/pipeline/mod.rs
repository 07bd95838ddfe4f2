//! The job as a whole: from the text of a pipeline file to a finished run folder.
//!
//! [`file`] reads the text, [`validate`] checks it against the [`schema`], [`plan`] says what will run, [`options`]
//! lists the alternatives, [`flow`] is the job, [`cache`] skips what is unchanged and [`record`] writes down what was
//! done. The outside world is reached through [`crate::land::store::Store`] only.

pub mod assumptions;
pub mod cache;
pub mod compare;
pub mod file;
pub mod flow;
pub mod memory;
pub mod options;
pub mod place;
pub mod plan;
pub mod record;
pub mod run;
pub mod schema;
pub mod sheets;
pub mod shipped;
pub mod starter;
pub mod step;
#[cfg(test)]
mod step_tests;
pub mod tree;
pub mod validate;
