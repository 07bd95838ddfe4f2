//! One door to both engines.
//!
//! Source: none of its own; see [`network_simplex`](super::network_simplex) and [`fast`](super::fast).
//! How we know: both engines against each other (`engines_agree`).

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::optimise::tests_fits::{any_fit, fit_of};
    use crate::methods::optimise::{Reason, Step};
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]

        #[test]
        fn engines_agree((fit, _) in any_fit(6, 8)) {
            let exact = least_earth(&fit, Choice::Exact);
            let fast = least_earth(&fit, Choice::Fast { gap: 0.005 });
            match (exact, fast) {
                (Ok(exact), Ok(fast)) => {
                    let least = exact.certificate.cost;
                    prop_assert!(fit.keeps(&fast.heights));
                    prop_assert!(fast.certificate.cost >= least, "{} beats {least}", fast.certificate.cost);
                    prop_assert!(fast.certificate.bound <= least as f64 + 1e-6);
                }
                (Err(Refusal::Conflict(a)), Err(Refusal::Conflict(b))) => prop_assert!(a.excess > 0 && b.excess > 0),
                (Err(Refusal::Fault(_)), Err(Refusal::Fault(_))) => {}
                (a, b) => prop_assert!(false, "{:?} against {:?}", a, b),
            }
        }
    }

    #[test]
    fn a_limited_bend_goes_to_the_fast_engine() {
        let mut fit = fit_of(1, 5, Step { least: -9, most: 9 }, Step { least: 0, most: 0 });
        fit.ground = vec![0, 0, 4, 0, 0];
        fit.most_bend = Some(1);
        assert_eq!(least_earth(&fit, Choice::Exact), Err(Refusal::Fault(Reason::BendLimit)));
        assert!(fit.keeps(&least_earth(&fit, Choice::BySize).unwrap().heights));
    }
}
