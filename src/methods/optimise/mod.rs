//! The surface nearest to given heights whose steps stay within limits, with proof of how near.
//!
//! Heights are whole ticks of a hundredth of a millimetre, so that an optimum can be proven to the last digit. Depth is
//! paid for on either side of the given height at weights of its own; what may differ between neighbours is limited.
//! That is a weighted L1 fit under difference constraints, the dual of a minimum-cost flow.

pub mod crest;
mod descent;
mod dual_bound;
pub mod fast;
mod frame;
pub mod labelling;
pub mod lane_bound;
mod level;
pub mod problem;
mod pyramid;
pub mod repair;
mod rounding;
mod slope_trick;
#[cfg(test)]
mod tests_fits;

pub use crest::{Crests, crests};
pub use fast::solve_fast;
pub use labelling::Labelling;
pub use lane_bound::{LaneOptimum, lane_optimum};
pub use problem::{
    Certificate, Choice, Conflict, ConflictLink, Engine, Fitted, GraphFit, LatticeFit, Link, Reason, Refusal, Step,
    Steps, TICKS_PER_M, ticks, ticks_inward,
};
pub use repair::{Reach, envelopes, nearest_feasible, reach};
