//! The cheapest way to carry amounts from sources to sinks: the exact transport problem.
//!
//! Sources are served one after another; each sends along cheapest paths that may reroute what was sent before
//! (successive shortest paths with node potentials, so that each search meets no negative length). The potentials are
//! a solution of the dual, whose value is returned as proof. When the totals differ, a dummy partner that
//! costs nothing takes what is left over or gives what is missing, and both are reported.
//! Shapes and units: any unit of amount; cost per unit, zero or more. Amounts below 1e-12 of the total count as zero.
//! Ties: the lower number (source, then sink). Complexity: each search at most `O((n + m)^2)`, usually stopped early;
//! a few more searches than nodes. Meant for up to about 400 by 400.
//! Source: [`Bibliography::Hitchcock1941`](crate::bibliography::Bibliography::Hitchcock1941), the problem;
//! [`Bibliography::EdmondsKarp1972`](crate::bibliography::Bibliography::EdmondsKarp1972) and
//! [`Bibliography::AhujaMagnantiOrlin1993`](crate::bibliography::Bibliography::AhujaMagnantiOrlin1993), chapter 9, the method.
//! How we know: textbook tables (`textbook_tables`), brute force over assignments (`matches_brute_force`), dual equality on
//! random tables (`dual_proves_it`).

/// An amount carried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Number of the source.
    pub from: usize,
    /// Number of the sink.
    pub to: usize,
    /// Amount.
    pub amount: f64,
}

/// A cheapest plan.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Transport {
    /// Amounts carried, sorted by source, then sink.
    pub flows: Vec<Flow>,
    /// Sum of amount times cost.
    pub total_cost: f64,
    /// Value of the dual solution: no plan can cost less, so equality proves the optimum.
    pub dual_value: f64,
    /// What stays at sources `(source, amount)` because the sinks are full.
    pub left_over: Vec<(usize, f64)>,
    /// What sinks `(sink, amount)` lack because the sources are empty.
    pub missing: Vec<(usize, f64)>,
}

/// Why a table is refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TransportError {
    /// An amount is negative or not finite.
    #[error("amount {value} of {what} {index} is negative or not finite")]
    Amount {
        /// `source` or `sink`.
        what: &'static str,
        /// Its number.
        index: usize,
        /// The amount.
        value: f64,
    },
    /// A cost is negative or not finite.
    #[error("cost {value} from source {from} to sink {to} is negative or not finite")]
    Cost {
        /// Number of the source.
        from: usize,
        /// Number of the sink.
        to: usize,
        /// The cost.
        value: f64,
    },
}

/// The cheapest plan for `cost(source, sink)` per unit.
///
/// # Errors
/// [`TransportError`] when an amount or a cost is negative or not finite.
pub fn transport(
    supply: &[f64],
    demand: &[f64],
    cost: impl Fn(usize, usize) -> f64,
) -> Result<Transport, TransportError> {
    check("source", supply)?;
    check("sink", demand)?;
    let mut network = Network::new(supply, demand, cost)?;
    for source in 0..network.supply_left.len() {
        while network.supply_left[source] > 0.0 && network.send_from(source) {}
    }
    Ok(network.plan(supply, demand))
}

fn check(what: &'static str, amounts: &[f64]) -> Result<(), TransportError> {
    match amounts.iter().position(|a| !(a.is_finite() && *a >= 0.0)) {
        Some(index) => Err(TransportError::Amount { what, index, value: amounts[index] }),
        None => Ok(()),
    }
}

/// Sources, sinks, costs and what flows, with a dummy partner so that both sides are equal.
struct Network {
    /// Row-major, sources by sinks.
    cost: Vec<f64>,
    /// Sinks by sources, because searches ask a sink who sends to it.
    flow: Vec<f64>,
    sinks: usize,
    supply_left: Vec<f64>,
    demand_left: Vec<f64>,
    /// Potentials of the sources, then of the sinks.
    potential: Vec<f64>,
    negligible: f64,
}

impl Network {
    fn new(supply: &[f64], demand: &[f64], cost: impl Fn(usize, usize) -> f64) -> Result<Self, TransportError> {
        let excess = supply.iter().sum::<f64>() - demand.iter().sum::<f64>();
        let negligible = 1e-12 * supply.iter().chain(demand).sum::<f64>();
        let (mut supply_left, mut demand_left) = (supply.to_vec(), demand.to_vec());
        if excess > 0.0 {
            demand_left.push(excess);
        } else if excess < 0.0 {
            supply_left.push(-excess);
        }
        let sinks = demand_left.len();
        let mut table = Vec::with_capacity(supply_left.len() * sinks);
        for from in 0..supply_left.len() {
            for to in 0..sinks {
                let dummy = from >= supply.len() || to >= demand.len();
                let value = if dummy { 0.0 } else { cost(from, to) };
                if !(value.is_finite() && value >= 0.0) {
                    return Err(TransportError::Cost { from, to, value });
                }
                table.push(value);
            }
        }
        let nodes = supply_left.len() + sinks;
        let flow = vec![0.0; table.len()];
        Ok(Self { cost: table, flow, sinks, supply_left, demand_left, potential: vec![0.0; nodes], negligible })
    }

    /// Sends as much as one cheapest path carries; false when no sink can take more.
    fn send_from(&mut self, source: usize) -> bool {
        let Some((target, came_from)) = self.search(source) else {
            // Only rounding is left once every sink is full.
            self.supply_left[source] = 0.0;
            return false;
        };
        // The path alternates between sinks and sources, read backwards from the target.
        let mut amount = self.supply_left[source].min(self.demand_left[target]);
        let mut steps = Vec::new();
        let (mut sink, mut from) = (target, came_from[self.supply_left.len() + target]);
        loop {
            steps.push((from, sink));
            if from == source {
                break;
            }
            // This source was reached by taking back what it sends to another sink.
            sink = came_from[from];
            amount = amount.min(self.flow[sink * self.supply_left.len() + from]);
            from = came_from[self.supply_left.len() + sink];
        }
        self.apply(source, target, &steps, amount);
        true
    }

    /// Moves an amount along a path given as (source, sink) steps from the target back.
    fn apply(&mut self, source: usize, target: usize, steps: &[(usize, usize)], amount: f64) {
        for (i, (from, sink)) in steps.iter().enumerate() {
            self.flow[sink * self.supply_left.len() + from] += amount;
            if let Some((_, next_sink)) = steps.get(i + 1) {
                let taken = &mut self.flow[next_sink * self.supply_left.len() + from];
                *taken = settle(*taken - amount, self.negligible);
            }
        }
        self.supply_left[source] = settle(self.supply_left[source] - amount, self.negligible);
        self.demand_left[target] = settle(self.demand_left[target] - amount, self.negligible);
    }

    /// Nearest sink with room from a source over reduced costs, and where each node was reached from (sources
    /// hold the sink they were reached by, sinks the source). Updates the potentials.
    fn search(&mut self, source: usize) -> Option<(usize, Vec<usize>)> {
        let sources = self.supply_left.len();
        let nodes = sources + self.sinks;
        let mut search = Search::from(source, nodes);
        let target = loop {
            let node = search.nearest_open()?;
            search.done[node] = true;
            let reached = search.distance[node];
            if node < sources {
                let row = &self.cost[node * self.sinks..(node + 1) * self.sinks];
                for (sink, cost) in row.iter().enumerate() {
                    let reduced = (cost + self.potential[node] - self.potential[sources + sink]).max(0.0);
                    search.relax(sources + sink, reached + reduced, node);
                }
            } else {
                let sink = node - sources;
                if self.demand_left[sink] > 0.0 {
                    break sink;
                }
                for from in 0..sources {
                    if self.flow[sink * self.supply_left.len() + from] > 0.0 {
                        let back = self.potential[node] - self.potential[from] - self.cost[from * self.sinks + sink];
                        search.relax(from, reached + back.max(0.0), sink);
                    }
                }
            }
        };
        let reach = search.distance[sources + target];
        for node in 0..nodes {
            if search.done[node] {
                self.potential[node] += search.distance[node] - reach;
            }
        }
        Some((target, search.came_from))
    }

    /// The result without the dummy.
    fn plan(&self, supply: &[f64], demand: &[f64]) -> Transport {
        let mut plan = Transport::default();
        for from in 0..self.supply_left.len() {
            for to in 0..self.sinks {
                let amount = self.flow[to * self.supply_left.len() + from];
                if amount <= 0.0 {
                    continue;
                }
                if to >= demand.len() {
                    plan.left_over.push((from, amount));
                } else if from >= supply.len() {
                    plan.missing.push((to, amount));
                } else {
                    plan.total_cost += amount * self.cost[from * self.sinks + to];
                    plan.flows.push(Flow { from, to, amount });
                }
            }
        }
        plan.dual_value = self.dual_value(supply, demand);
        plan
    }

    fn dual_value(&self, supply: &[f64], demand: &[f64]) -> f64 {
        let sources = self.supply_left.len();
        let excess = supply.iter().sum::<f64>() - demand.iter().sum::<f64>();
        let (spare, lack) = (excess.max(0.0), (-excess).max(0.0));
        let given: f64 = (0..sources).map(|i| supply.get(i).copied().unwrap_or(lack) * self.potential[i]).sum();
        let taken: f64 =
            (0..self.sinks).map(|j| demand.get(j).copied().unwrap_or(spare) * self.potential[sources + j]).sum();
        taken - given
    }
}

/// An amount, or zero when it is negligible.
fn settle(amount: f64, negligible: f64) -> f64 {
    if amount <= negligible { 0.0 } else { amount }
}

/// State of one cheapest-path search.
struct Search {
    distance: Vec<f64>,
    came_from: Vec<usize>,
    done: Vec<bool>,
}

impl Search {
    fn from(source: usize, nodes: usize) -> Self {
        let mut distance = vec![f64::INFINITY; nodes];
        distance[source] = 0.0;
        Self { distance, came_from: vec![usize::MAX; nodes], done: vec![false; nodes] }
    }

    /// The reached node with the least distance that is not settled yet, the lower number first.
    fn nearest_open(&self) -> Option<usize> {
        let mut best: Option<usize> = None;
        for (node, (distance, done)) in self.distance.iter().zip(&self.done).enumerate() {
            if !done && *distance < best.map_or(f64::INFINITY, |b| self.distance[b]) {
                best = Some(node);
            }
        }
        best
    }

    fn relax(&mut self, node: usize, distance: f64, from: usize) {
        if !self.done[node] && distance < self.distance[node] {
            self.distance[node] = distance;
            self.came_from[node] = from;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn table(rows: &[&[f64]]) -> impl Fn(usize, usize) -> f64 {
        let rows: Vec<Vec<f64>> = rows.iter().map(|r| r.to_vec()).collect();
        move |i, j| rows[i][j]
    }

    #[test]
    fn textbook_tables() {
        // A classroom table, optimum recomputed by a linear programme: 2850 (the north-west corner start costs 4400).
        let plan = transport(
            &[300.0, 400.0, 500.0],
            &[250.0, 350.0, 400.0, 200.0],
            table(&[&[3.0, 1.0, 7.0, 4.0], &[2.0, 6.0, 5.0, 9.0], &[8.0, 3.0, 3.0, 2.0]]),
        )
        .expect("a sound table");
        assert!((plan.total_cost - 2850.0).abs() < 1e-9 && (plan.dual_value - 2850.0).abs() < 1e-9);
        let expected = [(0, 1, 300.0), (1, 0, 250.0), (1, 2, 150.0), (2, 1, 50.0), (2, 2, 250.0), (2, 3, 200.0)];
        assert_eq!(plan.flows.iter().map(|f| (f.from, f.to, f.amount)).collect::<Vec<_>>(), expected);
        // A second table much used in operations-research courses (from memory): 743.
        let plan = transport(
            &[7.0, 9.0, 18.0],
            &[5.0, 8.0, 7.0, 14.0],
            table(&[&[19.0, 30.0, 50.0, 10.0], &[70.0, 30.0, 40.0, 60.0], &[40.0, 8.0, 70.0, 20.0]]),
        )
        .expect("a sound table");
        assert!((plan.total_cost - 743.0).abs() < 1e-9);
        assert!(plan.left_over.is_empty() && plan.missing.is_empty());
    }

    #[test]
    fn unequal_totals_are_reported() {
        let plan = transport(&[10.0, 10.0], &[12.0], table(&[&[5.0], &[1.0]])).expect("a sound table");
        assert_eq!(plan.left_over, vec![(0, 8.0)], "the dear source keeps its amount");
        assert!((plan.total_cost - 20.0).abs() < 1e-12 && (plan.dual_value - 20.0).abs() < 1e-12);
        let plan = transport(&[4.0], &[3.0, 3.0], table(&[&[1.0, 2.0]])).expect("a sound table");
        assert_eq!(plan.missing, vec![(1, 2.0)]);
        let none = transport(&[], &[3.0], |_, _| 0.0).expect("an empty side is sound");
        assert_eq!((none.missing, none.flows.len()), (vec![(0, 3.0)], 0));
        assert_eq!(transport(&[], &[], |_, _| 0.0).expect("nothing at all is sound"), Transport::default());
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(matches!(
            transport(&[-1.0], &[1.0], |_, _| 0.0),
            Err(TransportError::Amount { what: "source", index: 0, .. })
        ));
        assert!(matches!(transport(&[1.0], &[f64::NAN], |_, _| 0.0), Err(TransportError::Amount { what: "sink", .. })));
        assert!(matches!(transport(&[1.0], &[1.0], |_, _| -2.0), Err(TransportError::Cost { from: 0, to: 0, .. })));
    }

    /// Cheapest assignment of unit amounts by trying every order.
    fn cheapest_order(cost: &[Vec<f64>], row: usize, used: &mut Vec<bool>) -> f64 {
        if row == cost.len() {
            return 0.0;
        }
        let mut best = f64::INFINITY;
        for j in 0..used.len() {
            if !used[j] {
                used[j] = true;
                best = best.min(cost[row][j] + cheapest_order(cost, row + 1, used));
                used[j] = false;
            }
        }
        best
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

        #[test]
        fn matches_brute_force(cost in (2..6usize).prop_flat_map(|n| prop::collection::vec(prop::collection::vec(0.0..9.0f64, n), n))) {
            // With whole units on both sides some optimum is an assignment, so trying all orders is exact.
            let n = cost.len();
            let plan = transport(&vec![1.0; n], &vec![1.0; n], |i, j| cost[i][j]).expect("a sound table");
            prop_assert!((plan.total_cost - cheapest_order(&cost, 0, &mut vec![false; n])).abs() < 1e-9);
        }

        #[test]
        fn dual_proves_it(
            supply in prop::collection::vec(0.0..50.0f64, 1..12), demand in prop::collection::vec(0.0..50.0f64, 1..12), seed in 0..1000u32,
        ) {
            let cost = |i: usize, j: usize| {
                #[expect(clippy::cast_precision_loss, reason = "small numbers")]
                let t = (i * 37 + j * 91 + seed as usize) as f64;
                50.0 * (t.sin() + 1.0)
            };
            let plan = transport(&supply, &demand, cost).expect("a sound table");
            let scale = 1.0 + plan.total_cost;
            prop_assert!((plan.total_cost - plan.dual_value).abs() < 1e-9 * scale);
            for (i, s) in supply.iter().enumerate() {
                let sent: f64 = plan.flows.iter().filter(|f| f.from == i).map(|f| f.amount).sum();
                let kept: f64 = plan.left_over.iter().filter(|l| l.0 == i).map(|l| l.1).sum();
                prop_assert!((sent + kept - s).abs() < 1e-9);
            }
            for (j, d) in demand.iter().enumerate() {
                let got: f64 = plan.flows.iter().filter(|f| f.to == j).map(|f| f.amount).sum();
                let lacks: f64 = plan.missing.iter().filter(|l| l.0 == j).map(|l| l.1).sum();
                prop_assert!((got + lacks - d).abs() < 1e-9);
            }
        }
    }
}
