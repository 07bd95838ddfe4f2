//! One door to both engines.

use super::network_simplex::solve_exact;
use super::problem::{Choice, Fitted, LatticeFit, Refusal};

/// The surface of least cost within the limits, with its certificate.
///
/// # Errors
/// [`Refusal::Conflict`] with the chain of limits that cannot be kept together; [`Refusal::Fault`] when the question is not
/// proper, or asks the exact engine for what it cannot prove.
pub fn least_earth(fit: &LatticeFit, choice: Choice) -> Result<Fitted, Refusal> {
    match choice {
        Choice::BySize | Choice::Exact | Choice::Fast { .. } => solve_exact(fit),
    }
}
