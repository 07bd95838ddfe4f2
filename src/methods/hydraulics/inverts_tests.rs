//! Checks of the highest-inverts rule: hand-made trees and exhaustive search.

use super::*;
use proptest::prelude::*;

fn node(ground_m: f64, downstream: Option<usize>, length_m: f64) -> DrainNode {
    DrainNode { ground_m, min_depth_m: 0.5, downstream, length_m, ..DrainNode::default() }
}

#[test]
fn a_rise_in_the_ground_deepens_the_drain() {
    // By hand: heads at 10.0 and 9.0 join under a 10.2 m hump, then 200 m on to a 9.0 m outlet; least fall 1:1000.
    let nodes = [
        node(10.0, Some(2), 100.0),
        node(9.0, Some(2), 100.0),
        node(10.2, Some(3), 200.0),
        DrainNode { min_invert_m: Some(8.3), ..node(9.0, None, 0.0) },
    ];
    let inverts = grade_inverts(&nodes, 0.001, 0.01).unwrap();
    let expected = [9.5, 8.5, 8.4, 8.2];
    for (got, want) in inverts.invert_m.iter().zip(expected) {
        assert!((got - want).abs() < 1e-12, "{got} against {want}");
    }
    assert_eq!(inverts.controlling_head, [0, 1, 1, 1]);
    // 1.1 m fall over 100 m is 0.1 m more than 1 % allows.
    assert!((inverts.drop_m[0] - 0.1).abs() < 1e-12 && inverts.drop_m[1].abs() < 1e-12);
    assert!((inverts.slope_ratio[0] - 0.01).abs() < 1e-12);
    assert!((inverts.depth_m(&nodes)[2] - 1.8).abs() < 1e-12);
    let (worst, deficit_m) = inverts.worst_deficit().unwrap();
    assert!(worst == 3 && (deficit_m - 0.1).abs() < 1e-12);
    // The second head has 8.5 - 8.3 = 0.2 m for 300 m.
    assert!((available_slope_ratio(&nodes).unwrap().unwrap() - 0.2 / 300.0).abs() < 1e-12);
    let reach = drain_reach_m(&nodes, 0.001).unwrap();
    assert!((reach[1].unwrap() - 8.6).abs() < 1e-12 && (reach[2].unwrap() - 8.5).abs() < 1e-12);
}

#[test]
fn fixed_levels_and_free_outlets() {
    let held = DrainNode { max_invert_m: Some(7.0), ..node(10.0, Some(1), 50.0) };
    let inverts = grade_inverts(&[held, node(10.0, None, 0.0)], 0.002, 0.05).unwrap();
    assert!((inverts.invert_m[0] - 7.0).abs() < 1e-12 && (inverts.invert_m[1] - 6.9).abs() < 1e-12);
    assert_eq!(inverts.worst_deficit(), None);
    assert_eq!(available_slope_ratio(&[held, node(10.0, None, 0.0)]).unwrap(), None);
    assert_eq!(drain_reach_m(&[held, node(10.0, None, 0.0)], 0.001).unwrap(), [None, None]);
}

#[test]
fn senseless_networks_are_refused() {
    let circle = [node(1.0, Some(1), 1.0), node(1.0, Some(0), 1.0)];
    assert_eq!(grade_inverts(&circle, 0.0, 1.0), Err(InvertError::Circle(0)));
    let missing = [node(1.0, Some(7), 1.0)];
    assert_eq!(grade_inverts(&missing, 0.0, 1.0), Err(InvertError::Missing { node: 0, downstream: 7 }));
    assert_eq!(grade_inverts(&[node(f64::NAN, None, 0.0)], 0.0, 1.0), Err(InvertError::Node(0)));
    assert_eq!(grade_inverts(&[node(1.0, Some(1), -1.0), node(1.0, None, 0.0)], 0.0, 1.0), Err(InvertError::Node(0)));
    assert!(matches!(grade_inverts(&[], 0.2, 0.1), Err(InvertError::Slopes { .. })));
    assert!(grade_inverts(&[], 0.0, 0.1).unwrap().invert_m.is_empty());
}

/// A small tree in whole steps: ceiling of each node, parent, and steps of least fall on the reach.
#[derive(Debug, Clone)]
struct StepTree {
    ceiling: Vec<i32>,
    parent: Vec<Option<usize>>,
    least_fall: Vec<i32>,
}

fn step_tree() -> impl Strategy<Value = StepTree> {
    (2_usize..6).prop_flat_map(|n| {
        // Node i > 0 drains to any node with a smaller index, so node 0 is the outlet and no circle can form.
        let parents: Vec<_> = (0..n).map(|i| 0..i.max(1)).collect();
        (proptest::collection::vec(0..8_i32, n), parents, proptest::collection::vec(0..3_i32, n)).prop_map(
            |(ceiling, parents, least_fall)| StepTree {
                ceiling,
                parent: parents.into_iter().enumerate().map(|(i, p)| (i > 0).then_some(p)).collect(),
                least_fall,
            },
        )
    })
}

/// Highest level found at each node over all feasible choices of levels, and the least total depth of any choice.
///
/// Levels run over eight steps up and twelve down, enough for the four reaches of two steps below any ceiling.
fn exhaustive(tree: &StepTree) -> (Vec<i32>, i32) {
    fn descend(tree: &StepTree, levels: &mut Vec<i32>, best: &mut Vec<i32>, least_depth: &mut i32) {
        let i = levels.len();
        if i == tree.ceiling.len() {
            for (b, &level) in best.iter_mut().zip(levels.iter()) {
                *b = (*b).max(level);
            }
            let depth: i32 = tree.ceiling.iter().zip(levels.iter()).map(|(c, l)| c - l).sum();
            *least_depth = depth.min(*least_depth);
            return;
        }
        let lowest = tree.parent[i].map_or(-12, |p| levels[p] + tree.least_fall[i]);
        for level in lowest..=tree.ceiling[i] {
            levels.push(level);
            descend(tree, levels, best, least_depth);
            levels.pop();
        }
    }
    let (mut best, mut least_depth) = (vec![i32::MIN; tree.ceiling.len()], i32::MAX);
    descend(tree, &mut Vec::new(), &mut best, &mut least_depth);
    (best, least_depth)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn exhaustive_search_never_beats_the_rule(tree in step_tree()) {
        // A step is 1 m and a reach as long as its steps at 1:1, so all sums are exact.
        let nodes: Vec<DrainNode> = (0..tree.ceiling.len())
            .map(|i| DrainNode {
                ground_m: f64::from(tree.ceiling[i] + 1),
                min_depth_m: 1.0,
                downstream: tree.parent[i],
                length_m: f64::from(tree.least_fall[i]),
                ..DrainNode::default()
            })
            .collect();
        let inverts = grade_inverts(&nodes, 1.0, 2.0).unwrap();
        let (best, least_depth) = exhaustive(&tree);
        let best: Vec<f64> = best.into_iter().map(f64::from).collect();
        prop_assert_eq!(&inverts.invert_m, &best);
        let depth: f64 = inverts.depth_m(&nodes).iter().map(|d| d - 1.0).sum();
        prop_assert!((depth - f64::from(least_depth)).abs() < 1e-9);
        for (i, &head) in inverts.controlling_head.iter().enumerate() {
            // The named head explains the invert: its own ceiling less the least falls on the way down.
            let (mut at, mut level) = (head, tree.ceiling[head]);
            while at != i {
                level -= tree.least_fall[at];
                at = tree.parent[at].unwrap();
            }
            prop_assert_eq!(f64::from(level), inverts.invert_m[i]);
        }
    }

    #[test]
    fn the_available_slope_just_keeps_the_limit(
        grounds in proptest::collection::vec(5.0..9.0_f64, 2..20), lengths in proptest::collection::vec(10.0..300.0_f64, 20),
    ) {
        let last = grounds.len() - 1;
        let nodes: Vec<DrainNode> = grounds.iter().enumerate()
            .map(|(i, &ground)| DrainNode {
                min_invert_m: (i == last).then_some(3.0),
                ..node(ground, (i < last).then_some(i + 1), lengths[i])
            })
            .collect();
        let slope = available_slope_ratio(&nodes).unwrap().unwrap();
        let kept = grade_inverts(&nodes, slope, 1.0).unwrap();
        prop_assert!(kept.worst_deficit().is_none_or(|(_, d)| d < 1e-9));
        prop_assert!(grade_inverts(&nodes, slope * 1.01, 1.0).unwrap().worst_deficit().is_some());
        // Reach and inverts say the same: the limit is kept exactly when every invert is at or above its reach.
        let reach = drain_reach_m(&nodes, slope * 0.99).unwrap();
        let inverts = grade_inverts(&nodes, slope * 0.99, 1.0).unwrap();
        prop_assert!(inverts.invert_m.iter().zip(&reach).all(|(v, r)| r.is_none_or(|r| *v >= r)));
    }
}
