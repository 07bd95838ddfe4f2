//! Against the trial of every whole surface, equal duals, hand cases and refusals.

use super::*;
use crate::methods::optimise::tests_fits::{any_fit, brute_force, fit_of};
use crate::methods::optimise::{Step, Steps};
use proptest::prelude::*;

#[test]
fn a_bump_is_shared_between_cut_and_fill() {
    // Level steps only: the median of the given heights costs least.
    let mut fit = fit_of(1, 5, Step { least: 0, most: 0 }, Step { least: 0, most: 0 });
    fit.ground = vec![0, 0, 7, 1, 3];
    let found = solve_exact(&fit).unwrap();
    assert_eq!(found.heights, [1; 5]);
    assert_eq!(found.certificate.cost, 1 + 1 + 6 + 2);
    assert_eq!(found.certificate.bound, 10.0);
}

#[test]
fn an_outlet_too_high_for_its_row_is_named() {
    // Four steps that fall at least 2 from a ceiling of 10 end at 2; the low end must not lie below 7.
    let mut fit = fit_of(1, 5, Step { least: -9, most: -2 }, Step { least: 0, most: 0 });
    fit.highest = vec![10, i64::MAX, i64::MAX, i64::MAX, i64::MAX];
    fit.lowest = vec![i64::MIN, i64::MIN, i64::MIN, i64::MIN, 7];
    let Err(Refusal::Conflict(conflict)) = solve_exact(&fit) else { panic!("no conflict") };
    assert_eq!(conflict.excess, 5);
    assert_eq!(conflict.chain.first(), Some(&ConflictLink::Highest { point: 0, height: 10 }));
    assert_eq!(conflict.chain.last(), Some(&ConflictLink::Lowest { point: 4, height: 7 }));
    assert_eq!(conflict.chain.len(), 6);
}

#[test]
fn improper_graphs_are_refused_by_name() {
    let refused = |change: &dyn Fn(&mut GraphFit)| {
        let (mut graph, _) = fit_of(2, 2, Step { least: 0, most: 1 }, Step { least: 0, most: 1 }).graph().unwrap();
        change(&mut graph);
        let Err(Refusal::Fault(reason)) = solve_graph(&graph) else { panic!("solved") };
        reason
    };
    assert_eq!(refused(&|g| g.ground.push(1)), Reason::Lengths);
    assert_eq!(refused(&|g| g.cut_weight[0] = -1), Reason::NegativeWeight);
    assert_eq!(refused(&|g| g.links[0].to = 4), Reason::NoSuchPoint);
    assert_eq!(refused(&|g| (g.lowest, g.highest) = (vec![1; 4], vec![0; 4])), Reason::EmptyRange);
    assert_eq!(refused(&|g| g.ground[0] = i64::MAX / 8), Reason::TooLarge);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Against the trial of every whole surface.
    #[test]
    fn nothing_is_better((fit, _) in any_fit(3, 2)) {
        match (solve_exact(&fit), brute_force(&fit)) {
            (Ok(found), Some(best)) => {
                prop_assert!(fit.keeps(&found.heights));
                prop_assert_eq!(found.certificate.bound, found.certificate.cost as f64);
                // The trial looks at heights from -9 to 9 only; where weights are zero the optimum may lie beyond.
                let tried = (0..fit.len()).all(|p| !fit.inside[p] || found.heights[p].abs() <= 9);
                let cost = found.certificate.cost;
                prop_assert!(cost == best || (cost < best && !tried), "{cost} against {best}");
            }
            (Err(Refusal::Conflict(conflict)), None) => prop_assert!(conflict.excess > 0),
            (Err(Refusal::Fault(reason)), _) => prop_assert_eq!(Some(reason), fit.fault()),
            (found, best) => prop_assert!(false, "{:?} against {:?}", found, best),
        }
    }

    /// Larger ones: what is handed back keeps the limits and its dual cost is the same.
    #[test]
    fn primal_and_dual_meet((fit, _) in any_fit(7, 9)) {
        if let Ok(found) = solve_exact(&fit) {
            prop_assert!(fit.keeps(&found.heights));
            prop_assert_eq!(found.certificate.bound, found.certificate.cost as f64);
        }
    }

    /// Moving the ground up or down moves the surface with it.
    #[test]
    fn height_of_the_datum_does_not_matter((fit, _) in any_fit(5, 5), up in -1_000_i64..1_000) {
        let mut moved = fit.clone();
        moved.ground.iter_mut().for_each(|z| *z += up);
        moved.lowest.iter_mut().filter(|z| **z > i64::MIN).for_each(|z| *z += up);
        moved.highest.iter_mut().filter(|z| **z < i64::MAX).for_each(|z| *z += up);
        let cost = |fit: &LatticeFit| solve_exact(fit).ok().map(|f| f.certificate.cost);
        prop_assert_eq!(cost(&fit), cost(&moved));
    }
}

#[test]
fn steps_of_their_own_are_kept() {
    let mut fit = fit_of(1, 3, Step { least: 0, most: 0 }, Step { least: 0, most: 0 });
    fit.along = Steps::Each(vec![Step { least: 2, most: 5 }, Step { least: -5, most: -2 }, Step { least: 0, most: 0 }]);
    assert_eq!(solve_exact(&fit).unwrap().certificate.cost, 2);
}
