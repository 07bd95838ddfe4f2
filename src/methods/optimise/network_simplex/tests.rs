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

/// Non-increasing series nearest to a given one by pooling adjacent violators, each pool standing at `middle` of its
/// values ([`Bibliography::Barlow1972`](crate::bibliography::Bibliography::Barlow1972), from memory).
fn pooled(given: &[f64], middle: impl Fn(&[f64]) -> f64) -> Vec<f64> {
    let mut pools: Vec<Vec<f64>> = Vec::new();
    for value in given {
        let mut pool = vec![*value];
        while let Some(before) = pools.pop_if(|before| middle(before) < middle(&pool)) {
            pool.splice(0..0, before);
        }
        pools.push(pool);
    }
    pools.iter().flat_map(|pool| vec![middle(pool); pool.len()]).collect()
}

fn mean(pool: &[f64]) -> f64 {
    pool.iter().sum::<f64>() / pool.len() as f64
}

/// The lower median.
fn median(pool: &[f64]) -> f64 {
    let mut sorted = pool.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[(sorted.len() - 1) / 2]
}

/// One row that falls at least `least` from station to station.
fn row(ground: Vec<i64>, least: i64) -> LatticeFit {
    let mut fit = fit_of(1, ground.len(), Step { least: i64::MIN, most: -least }, Step { least: 0, most: 0 });
    fit.ground = ground;
    fit
}

/// A row with a least fall is an isotonic regression of what it stands above that fall. The published way to pool is by
/// least squares; the least earth is the same by medians, and the two differ: 0.168 m of depths against 0.15 m.
#[test]
fn a_row_is_an_isotonic_regression() {
    // The way of pooling itself, by hand; it runs towards smaller values here.
    assert_eq!(pooled(&[-1.0, -3.0, -2.0, -4.0, -3.0, -5.0], mean), [-1.0, -2.5, -2.5, -3.5, -3.5, -5.0]);
    let metres = [10.00, 9.99, 10.03, 9.95, 9.97, 9.90, 9.92, 9.85];
    let above: Vec<f64> = metres.iter().enumerate().map(|(i, z)| z + 0.02 * i as f64).collect();
    let below = |flat: Vec<f64>| -> Vec<f64> { flat.iter().enumerate().map(|(i, z)| z - 0.02 * i as f64).collect() };
    // Least squares, checked against a quadratic programme (SLSQP of scipy).
    let squares = below(pooled(&above, mean));
    let expected = [10.028, 10.008, 9.988, 9.968, 9.948, 9.92, 9.9, 9.85];
    assert!(squares.iter().zip(expected).all(|(z, e)| (z - e).abs() < 1e-9), "{squares:?}");
    let depths = |z: &[f64]| z.iter().zip(metres).map(|(z, g)| (z - g).abs()).sum::<f64>();
    assert!((depths(&squares) - 0.168).abs() < 1e-9);
    // Cut and fill are 0.084 m each, the sum of squares is 0.00448 m2; falls in per cent of 20 m steps.
    let cut: f64 = squares.iter().zip(metres).map(|(z, g)| (g - z).max(0.0)).sum();
    let sum: f64 = squares.iter().zip(metres).map(|(z, g)| (g - z).powi(2)).sum();
    assert!((cut - 0.084).abs() < 1e-9 && (sum - 0.004_48).abs() < 1e-9, "{cut} {sum}");
    let falls = squares.windows(2).map(|pair| (pair[0] - pair[1]) / 20.0 * 100.0);
    assert!(falls.zip([0.1, 0.1, 0.1, 0.1, 0.14, 0.1, 0.25]).all(|(fall, e)| (fall - e).abs() < 1e-9));
    // Least earth.
    let medians = below(pooled(&above, median));
    let found = solve_exact(&row(metres.iter().map(|z| (z * 1e5_f64).round() as i64).collect(), 2_000)).unwrap();
    assert_eq!(found.certificate.cost, (depths(&medians) * 1e5).round() as i64);
    assert_eq!(found.certificate.cost, 15_000);
}

proptest! {
    #[test]
    fn rows_cost_what_medians_cost(ground in prop::collection::vec(-300_i64..300, 1..60), least in 0_i64..9) {
        let above: Vec<f64> = ground.iter().enumerate().map(|(i, z)| (z + least * i as i64) as f64).collect();
        let pools = pooled(&above, median);
        let cost: f64 = pools.iter().zip(&above).map(|(z, g)| (z - g).abs()).sum();
        prop_assert_eq!(solve_exact(&row(ground, least)).unwrap().certificate.cost, cost as i64);
    }

    /// Walked from the other end and seen in a mirror lying flat, the same earth is moved.
    #[test]
    fn mirrored_ground_costs_the_same((fit, _) in any_fit(5, 6)) {
        let n = fit.len();
        let turned = |p: usize| n - 1 - p;
        let swap = |list: &[i64]| list.iter().rev().copied().collect::<Vec<_>>();
        let steps = |steps: &Steps, ahead: usize| Steps::Each((0..n).map(|p| {
            let before = turned(p).checked_sub(ahead);
            let Step { least, most } = before.map_or(Step { least: 0, most: 0 }, |q| steps.at(q));
            Step { least: -most, most: -least }
        }).collect());
        let backwards = LatticeFit {
            inside: fit.inside.iter().rev().copied().collect(),
            ground: swap(&fit.ground),
            cut_weight: swap(&fit.cut_weight),
            fill_weight: swap(&fit.fill_weight),
            lowest: swap(&fit.lowest),
            highest: swap(&fit.highest),
            along: steps(&fit.along, 1),
            across: steps(&fit.across, fit.stations),
            ..fit.clone()
        };
        let cost = |fit: &LatticeFit| solve_exact(fit).map(|f| f.certificate.cost).map_err(|_| ());
        prop_assert_eq!(cost(&fit), cost(&backwards));
    }
}

#[test]
fn free_points_do_not_send_it_round_in_circles() {
    // Most points cost nothing one way or both, and all steps tie.
    let mut fit = fit_of(30, 30, Step { least: -1, most: 0 }, Step { least: 0, most: 0 });
    for p in 0..900 {
        (fit.ground[p], fit.cut_weight[p], fit.fill_weight[p]) =
            ((p * 37 % 11) as i64, i64::from(p % 7 == 0), i64::from(p % 5 == 0));
    }
    let found = solve_exact(&fit).unwrap();
    assert!(fit.keeps(&found.heights));
    assert_eq!(found.certificate.bound, found.certificate.cost as f64);
}
