//! The surface nearest to given heights whose steps stay within limits, with proof of how near.
//!
//! Heights are whole ticks of a hundredth of a millimetre, so that an optimum can be proven to the last digit. Depth is
//! paid for on either side of the given height at weights of its own; what may differ between neighbours is limited.
//! That is a weighted L1 fit under difference constraints, the dual of a minimum-cost flow.

pub mod balance;
mod conflict;
pub mod crest;
pub mod dead_band;
mod descent;
mod dual_bound;
pub mod fast;
mod frame;
pub mod labelling;
pub mod lane_bound;
pub mod least_earth;
mod level;
pub mod network_simplex;
pub mod problem;
mod proof;
mod pyramid;
pub mod repair;
mod rounding;
mod slope_trick;
pub mod smooth;
mod spanning_tree;
mod straighten;
#[cfg(test)]
mod tests_fits;

pub use balance::{Balanced, balanced, cut_and_fill};
pub use crest::{Crests, crests};
pub use dead_band::{dead_band, small_depths};
pub use fast::solve_fast;
pub use labelling::Labelling;
pub use lane_bound::{LaneOptimum, lane_optimum};
pub use least_earth::least_earth;
pub use network_simplex::{solve_exact, solve_graph};
pub use problem::{
    Certificate, Choice, Conflict, ConflictLink, Engine, Fitted, GraphFit, LatticeFit, Link, Reason, Refusal, Step,
    Steps, TICKS_PER_M, ticks, ticks_inward,
};
pub use repair::{Reach, envelopes, nearest_feasible, reach};
pub use smooth::{Smoothed, smooth, squared_bends};
