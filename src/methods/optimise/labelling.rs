//! Gives every cell of a grid one of several labels, at a price a cell and label and a price for every border.
//!
//! Labels are tried in turn: given the labels so far, which cells take this one is a minimum cut, as the price of a border is the
//! same whatever the two labels are. Rounds go on until no label gains. The cut is a maximum flow by blocking flows.
//! Shapes: `price[cell * labels + label]`, cells row by row; cells outside take no label ([`NONE`]).
//! Ties: a cell keeps its label. Complexity: a maximum flow of one node a cell for every label and round.
//! Source: [`Bibliography::Boykov2001`](crate::bibliography::Bibliography::Boykov2001), alpha-expansion for the Potts price,
//! within a factor two of the least; Dinitz, E. A. (1970), Soviet Math. Dokl. 11:1277, for the flow.
//! How we know: never dearer than one label for all, two labels against the trial of all labellings (`two_labels_are_exact`),
//! a known picture (`halves`).

use std::collections::VecDeque;

/// Label of a cell outside.
pub const NONE: u32 = u32::MAX;
/// Rounds over all labels.
const ROUNDS: usize = 3;

/// What is to be labelled.
#[derive(Debug, Clone)]
pub struct Labelling {
    /// Cells in a row of the grid.
    pub cols: usize,
    /// Which cells take part.
    pub inside: Vec<bool>,
    /// Number of labels.
    pub labels: usize,
    /// Price of each label for each cell; read only inside.
    pub price: Vec<f64>,
    /// Price of a border between two neighbouring cells of different labels, not negative.
    pub border: f64,
}

impl Labelling {
    /// Labels whose total price is near the least; [`NONE`] outside.
    #[must_use]
    pub fn solve(&self) -> Vec<u32> {
        let n = self.inside.len();
        let mut labels: Vec<u32> = (0..n).map(|c| if self.inside[c] { self.best_for_all() } else { NONE }).collect();
        for _ in 0..ROUNDS {
            let before = self.total(&labels);
            for label in 0..self.labels {
                self.expand(&mut labels, label);
            }
            if self.total(&labels) >= before - 1e-9 {
                break;
            }
        }
        labels
    }

    fn best_for_all(&self) -> u32 {
        let total = |label: usize| -> f64 {
            (0..self.inside.len()).filter(|c| self.inside[*c]).map(|c| self.price[c * self.labels + label]).sum()
        };
        let best = (0..self.labels).min_by(|a, b| total(*a).total_cmp(&total(*b)));
        best.and_then(|l| u32::try_from(l).ok()).unwrap_or(0)
    }

    fn neighbours(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        (0..self.inside.len()).filter(|c| self.inside[*c]).flat_map(move |c| {
            let right = ((c + 1) % self.cols != 0).then_some(c + 1);
            [right, Some(c + self.cols)]
                .into_iter()
                .flatten()
                .filter_map(move |d| self.inside.get(d).copied().unwrap_or(false).then_some((c, d)))
        })
    }

    /// Price of a labelling.
    #[must_use]
    pub fn total(&self, labels: &[u32]) -> f64 {
        let cells =
            (0..labels.len()).filter(|c| self.inside[*c]).map(|c| self.price[c * self.labels + labels[c] as usize]);
        let borders = self.neighbours().filter(|(c, d)| labels[*c] != labels[*d]).count();
        cells.sum::<f64>() + self.border * borders as f64
    }

    /// Lets the cells for which that is cheaper take a label.
    fn expand(&self, labels: &mut [u32], label: usize) {
        let Ok(wanted) = u32::try_from(label) else { return };
        let n = labels.len();
        let mut gain = vec![0.0; n];
        for c in (0..n).filter(|c| self.inside[*c]) {
            gain[c] = self.price[c * self.labels + label] - self.price[c * self.labels + labels[c] as usize];
        }
        let mut graph = Flow::new(n + 2);
        let (source, sink) = (n, n + 1);
        for (p, q) in self.neighbours() {
            let w = |differ: bool| if differ { self.border } else { 0.0 };
            // Prices of neither, q alone, p alone taking the label; both taking it costs nothing.
            let (neither, q_alone, p_alone) =
                (w(labels[p] != labels[q]), w(labels[p] != wanted), w(labels[q] != wanted));
            gain[p] += p_alone - neither;
            gain[q] -= p_alone;
            graph.join(p, q, q_alone + p_alone - neither);
        }
        for c in (0..n).filter(|c| self.inside[*c]) {
            if gain[c] > 0.0 {
                graph.join(source, c, gain[c]);
            } else {
                graph.join(c, sink, -gain[c]);
            }
        }
        let kept = graph.source_side(source, sink);
        let mut new = labels.to_vec();
        for c in (0..n).filter(|c| self.inside[*c] && !kept[*c]) {
            new[c] = wanted;
        }
        if self.total(&new) < self.total(labels) - 1e-9 {
            labels.copy_from_slice(&new);
        }
    }
}

/// A network with what each arc can still carry; the reverse of arc `a` is `a ^ 1`.
struct Flow {
    first: Vec<Vec<usize>>,
    to: Vec<usize>,
    left: Vec<f64>,
}

/// Less than this cannot be carried.
const DRY: f64 = 1e-9;

impl Flow {
    fn new(nodes: usize) -> Self {
        Self { first: vec![Vec::new(); nodes], to: Vec::new(), left: Vec::new() }
    }

    fn join(&mut self, from: usize, to: usize, most: f64) {
        if most > DRY {
            self.first[from].push(self.to.len());
            self.to.push(to);
            self.left.push(most);
            self.first[to].push(self.to.len());
            self.to.push(from);
            self.left.push(0.0);
        }
    }

    /// The nodes on the source's side of a minimum cut: those that a maximum flow leaves within its reach, and those out of
    /// the sink's reach too, so that ties keep their label.
    fn source_side(&mut self, source: usize, sink: usize) -> Vec<bool> {
        loop {
            let depth = self.depths(source);
            if depth[sink] == usize::MAX {
                break;
            }
            let mut next = vec![0; self.first.len()];
            while self.push(source, sink, &depth, &mut next) {}
        }
        // Backwards from the sink: what cannot reach it keeps its label.
        let mut reaches = vec![false; self.first.len()];
        reaches[sink] = true;
        let mut queue = VecDeque::from([sink]);
        while let Some(node) = queue.pop_front() {
            for arc in &self.first[node] {
                let from = self.to[*arc];
                if !reaches[from] && self.left[arc ^ 1] > DRY {
                    reaches[from] = true;
                    queue.push_back(from);
                }
            }
        }
        reaches.iter().map(|r| !r).collect()
    }

    fn depths(&self, source: usize) -> Vec<usize> {
        let mut depth = vec![usize::MAX; self.first.len()];
        depth[source] = 0;
        let mut queue = VecDeque::from([source]);
        while let Some(node) = queue.pop_front() {
            for arc in &self.first[node] {
                let to = self.to[*arc];
                if depth[to] == usize::MAX && self.left[*arc] > DRY {
                    depth[to] = depth[node] + 1;
                    queue.push_back(to);
                }
            }
        }
        depth
    }

    /// Sends what one path of the layers can carry; `false` when there is none left.
    fn push(&mut self, source: usize, sink: usize, depth: &[usize], next: &mut [usize]) -> bool {
        let mut path: Vec<usize> = Vec::new();
        let mut node = source;
        while node != sink {
            let open = self.first[node][next[node]..].iter().position(|arc| {
                self.left[*arc] > DRY && depth[self.to[*arc]] != usize::MAX && depth[self.to[*arc]] == depth[node] + 1
            });
            if let Some(skip) = open {
                next[node] += skip;
                let arc = self.first[node][next[node]];
                path.push(arc);
                node = self.to[arc];
            } else {
                next[node] = self.first[node].len();
                let Some(arc) = path.pop() else { return false };
                node = self.to[arc ^ 1];
                next[node] += 1;
            }
        }
        let most = path.iter().map(|a| self.left[*a]).fold(f64::INFINITY, f64::min);
        for arc in path {
            self.left[arc] -= most;
            self.left[arc ^ 1] += most;
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn halves() {
        // Left half cheap for label 0, right half for label 1; one noisy cell is not worth its four borders.
        let cols = 6;
        let mut price = Vec::new();
        for c in 0..24 {
            let right = c % cols >= 3;
            let odd = c == 7;
            price.extend(if right ^ odd { [3.0, 0.0] } else { [0.0, 3.0] });
        }
        let problem = Labelling { cols, inside: vec![true; 24], labels: 2, price, border: 1.0 };
        let labels = problem.solve();
        assert!((0..24).all(|c| labels[c] == u32::from(c % cols >= 3)), "{labels:?}");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn two_labels_are_exact(price in prop::collection::vec(0.0..4.0f64, 24), holes in prop::collection::vec(prop::bool::weighted(0.8), 12), border in 0.0..2.0f64) {
            let problem = Labelling { cols: 4, inside: holes, labels: 2, price, border };
            let found = problem.total(&problem.solve());
            let least = (0..1_u32 << 12)
                .map(|bits| problem.total(&(0..12).map(|c| if problem.inside[c] { bits >> c & 1 } else { NONE }).collect::<Vec<_>>()))
                .fold(f64::INFINITY, f64::min);
            prop_assert!((found - least).abs() < 1e-6, "{} {}", found, least);
        }
    }
}
