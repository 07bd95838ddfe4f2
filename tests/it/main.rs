//! One integration binary: rules of the source tree, contracts of the stages, and the program as a user meets it.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop where it stands")]

mod architecture;
mod as_built;
mod contracts;
mod data_faults;
mod exact_levels;
mod file_faults;
mod full_disk;
mod gains;
mod highs_fit;
mod hostile_names;
mod program;
mod runs;
mod shipped;
