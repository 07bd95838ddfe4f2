//! The network simplex against textbook tables, the dense method and its own dual.

use super::*;
use crate::methods::earthwork::transport;
use proptest::prelude::*;

/// A table of costs as a network: sources first, then sinks.
fn of_table(supply: &[i64], demand: &[i64], cost: impl Fn(usize, usize) -> i64) -> Transshipment {
    let nodes: Vec<i64> = supply.iter().copied().chain(demand.iter().map(|d| -d)).collect();
    let mut network = Transshipment::new(&nodes, 1_000_000);
    for i in 0..supply.len() {
        for j in 0..demand.len() {
            network.add_arc(i, supply.len() + j, cost(i, j), None);
        }
    }
    network
}

#[test]
fn textbook_tables() {
    // A classroom table, optimum recomputed by a linear programme: 2850.
    let cost = [[3, 1, 7, 4], [2, 6, 5, 9], [8, 3, 3, 2]];
    let mut network = of_table(&[300, 400, 500], &[250, 350, 400, 200], |i, j| cost[i][j]);
    network.solve();
    assert_eq!((network.primal(), network.dual()), (2850, Some(2850)));
    let flows: Vec<i64> = network.arcs().map(|a| network.flow(a)).collect();
    assert_eq!(flows, [0, 300, 0, 0, 250, 0, 150, 0, 0, 50, 250, 200]);
    // A second table much used in operations-research courses (from memory): 743.
    let cost = [[19, 30, 50, 10], [70, 30, 40, 60], [40, 8, 70, 20]];
    let mut network = of_table(&[7, 9, 18], &[5, 8, 7, 14], |i, j| cost[i][j]);
    network.solve();
    assert_eq!((network.primal(), network.dual()), (743, Some(743)));
}

#[test]
fn capacity_and_outside() {
    // 10 given at 0; 4 taken at 1 by an arc that carries 3; a place outside takes 5 at a price of 7; 1 + 1 unserved.
    let mut network = Transshipment::new(&[10, -4], 100);
    let narrow = network.add_arc(0, 1, 2, Some(3));
    let place = network.add_arc(0, network.outside(), 7, Some(5));
    network.solve();
    assert_eq!((network.flow(narrow), network.flow(place)), (3, 5));
    assert_eq!((network.unserved(0), network.unserved(1)), (2, -1));
    assert_eq!((network.primal(), network.dual()), (3 * 2 + 5 * 7 + 300, Some(341)));
    // Nothing to do, and nodes without any supply.
    let mut idle = Transshipment::new(&[0, 0, 0], 100);
    idle.add_arc(0, 1, 1, None);
    idle.solve();
    assert_eq!((idle.primal(), idle.dual()), (0, Some(0)));
    let mut nothing = Transshipment::new(&[], 1);
    nothing.solve();
    assert_eq!(nothing.primal(), 0);
}

#[test]
fn warm_start_goes_on() {
    let mut network = Transshipment::new(&[5, 0, -5], 100);
    network.add_arc(0, 1, 4, None);
    network.add_arc(1, 2, 4, None);
    network.solve();
    assert_eq!(network.primal(), 40);
    let direct = network.add_arc(0, 2, 5, None);
    assert!(network.dual().is_none(), "a cheaper arc spoils the proof until it is let in");
    network.solve();
    assert_eq!((network.flow(direct), network.primal(), network.dual()), (5, 25, Some(25)));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]

    #[test]
    fn agrees_with_dense_transport(
        supply in prop::collection::vec(0..60i64, 1..20), demand in prop::collection::vec(0..60i64, 1..20), seed in 1..10_000i64,
    ) {
        let cost = |i: usize, j: usize| (seed * (37 * i as i64 + 91 * j as i64 + 13)) % 101;
        let mut network = of_table(&supply, &demand, cost);
        network.solve();
        prop_assert_eq!(Some(network.primal()), network.dual());
        let float = |v: &[i64]| v.iter().map(|x| *x as f64).collect::<Vec<_>>();
        let dense = transport(&float(&supply), &float(&demand), |i, j| cost(i, j) as f64).expect("a sound table");
        let short = (supply.iter().sum::<i64>() - demand.iter().sum::<i64>()).abs();
        let carried = network.primal() - i128::from(short) * 1_000_000;
        prop_assert!((carried as f64 - dense.total_cost).abs() < 1e-6 * (1.0 + dense.total_cost));
    }

    #[test]
    fn dual_proves_it(
        supply in prop::collection::vec(-40..40i64, 2..24),
        arcs in prop::collection::vec((0..24usize, 0..24usize, 0..50i64, prop::option::of(0..30i64)), 0..120),
    ) {
        let mut network = Transshipment::new(&supply, 10_000);
        let n = supply.len();
        for (from, to, cost, capacity) in arcs {
            network.add_arc(from % (n + 1), to % (n + 1), cost, capacity);
        }
        network.solve();
        prop_assert_eq!(Some(network.primal()), network.dual());
        // What comes in and what goes out agree at every node.
        let mut balance = supply.clone();
        for (node, left) in balance.iter_mut().enumerate() {
            *left -= network.unserved(node);
        }
        for arc in network.arcs() {
            let (from, to) = network.ends(arc);
            prop_assert!(network.flow(arc) >= 0);
            if from < n { balance[from] -= network.flow(arc); }
            if to < n { balance[to] += network.flow(arc); }
        }
        prop_assert!(balance.iter().all(|b| *b == 0));
    }
}
