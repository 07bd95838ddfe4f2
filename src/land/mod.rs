//! The nouns of the job: plain data that stages hand on. No algorithms, no files.

pub mod as_built;
pub mod blocks;
pub mod clearing;
pub mod costing;
pub mod document;
pub mod drains;
pub mod erosion;
pub mod geodesy;
pub mod guidance;
pub mod levelling;
pub mod paper;
pub mod program;
pub mod rates;
pub mod set_out;
pub mod site;
pub mod site_table;
pub mod store;
pub mod survey;
pub mod terrain;
pub mod typeface;
pub mod water;
