//! One door to both engines.

use super::fast::solve_fast;
use super::network_simplex::solve_exact;
use super::problem::{Choice, Fitted, LatticeFit, Refusal};

/// Points up to which the exact engine is taken when nobody says: about a second a solve on one core.
const EXACT_POINTS: usize = 250_000;
/// Gap the fast engine is stopped at when nobody says.
const FAST_GAP: f64 = 0.005;

/// The surface of least cost within the limits, with its certificate.
///
/// # Errors
/// [`Refusal::Conflict`] with the chain of limits that cannot be kept together; [`Refusal::Fault`] when the question is not
/// proper, or asks the exact engine for what it cannot prove.
pub fn least_earth(fit: &LatticeFit, choice: Choice) -> Result<Fitted, Refusal> {
    let large = || fit.inside.iter().filter(|inside| **inside).count() > EXACT_POINTS;
    match choice {
        Choice::Exact => solve_exact(fit),
        Choice::Fast { gap } => solve_fast(fit, gap),
        // A limited bend is not a difference of two heights, which is all the exact engine knows.
        Choice::BySize if fit.most_bend.is_some() || large() => solve_fast(fit, FAST_GAP),
        Choice::BySize => solve_exact(fit),
    }
}
