//! rowfall turns a parcel boundary and an elevation source of run-down tree-plantation land into a complete
//! first plan for cropping it again.
//!
//! ```text
//! survey -> terrain -> water -> blocks -> levelling -> drains -> clearing -> erosion -> program -> costing -> guidance
//!                                                                                                     \-> publish
//! ```
//! Read in this order: [`units`], [`grid`], [`land`] (the nouns), [`methods`] (the numbers), [`stages`] (the job, step
//! by step), [`pipeline`] (the job as a whole), [`publish`] and [`formats`] (the way out and in), [`cli`].

pub mod bibliography;
pub mod cli;
pub mod finding;
pub mod formats;
pub mod grid;
pub mod land;
pub mod methods;
pub mod pipeline;
pub mod publish;
pub mod stages;
pub mod units;
pub mod wording;
