//! The cheapest flow through a network from nodes that give to nodes that take, with proof.
//!
//! Primal network simplex. One more node, the *outside*, is the root of the spanning tree; every node is tied to it by an
//! arc of a stated penalty, so the first tree is feasible at once and no first phase is needed. The outside also closes
//! the balance when more is given than taken: what cannot be served shows as flow on a penalty arc and is reported by
//! node. Real arcs may end at the outside too (places with a price and a capacity). Arcs may be added after a solve;
//! the next solve goes on from the tree that is there (column generation).
//! Entering arcs by blocks, the dearest violation of a block; the leaving arc keeps the tree strongly feasible, so it
//! cannot cycle. Whole numbers throughout: the primal and the dual value are equal to the last digit.
//! Shapes and units: amounts and costs are whole numbers of any unit; costs zero or more.
//! Ties: the lower arc number. Complexity: about `nodes^1.5` in practice, exponential at worst; 40 bytes an arc.
//! Source: [`Bibliography::AhujaMagnantiOrlin1993`](crate::bibliography::Bibliography::AhujaMagnantiOrlin1993), chapter
//! 11 (network simplex, strongly feasible trees), chapter 9 (optimality by reduced costs).
//! How we know: textbook tables (`textbook_tables`), the dense method on random tables (`agrees_with_dense_transport`),
//! equal dual with capacities (`dual_proves_it`), hand cases (`capacity_and_outside`, `warm_start_goes_on`).

/// No node or no arc.
const NONE: u32 = u32::MAX;
/// Capacity of an arc without a limit.
const UNLIMITED: i64 = i64::MAX;

/// Where an arc stands relative to the tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    /// Empty, may fill.
    Lower,
    /// In the tree.
    Tree,
    /// Full, may empty.
    Upper,
}

/// A network with its flow.
#[derive(Debug, Clone)]
pub struct Transshipment {
    supply: Vec<i64>,
    // Arcs; the first `supply.len()` are the penalty arcs, one a node.
    tail: Vec<u32>,
    head: Vec<u32>,
    cost: Vec<i64>,
    capacity: Vec<i64>,
    flow: Vec<i64>,
    side: Vec<Side>,
    // The tree; children hang on doubly linked lists, so that a subtree can be cut off and hung elsewhere.
    parent: Vec<u32>,
    parent_arc: Vec<u32>,
    depth: Vec<u32>,
    first_child: Vec<u32>,
    next: Vec<u32>,
    previous: Vec<u32>,
    potential: Vec<i64>,
    next_block: usize,
    stack: Vec<u32>,
}

/// The arc that leaves the tree, as seen from the cycle.
struct Blocking {
    /// How much can go round the cycle.
    amount: i64,
    /// The lower end of the leaving arc; nothing when the entering arc itself blocks.
    below: Option<usize>,
    /// Whether it lies on the side of the entering arc's first end.
    on_first_side: bool,
}

impl Transshipment {
    /// A network without arcs: positive supplies give, negative take.
    ///
    /// `penalty` is the price of a unit that stays where it is, or is missing; a unit is carried when its way costs less
    /// than the penalties it saves. Choose it above every path's cost to serve all that can be served.
    #[must_use]
    pub fn new(supply: &[i64], penalty: i64) -> Self {
        let n = supply.len();
        let root = index(n);
        let mut network = Self {
            supply: supply.to_vec(),
            tail: Vec::with_capacity(n),
            head: Vec::with_capacity(n),
            cost: vec![penalty; n],
            capacity: vec![UNLIMITED; n],
            flow: supply.iter().map(|s| s.abs()).collect(),
            side: vec![Side::Tree; n],
            parent: vec![root; n],
            parent_arc: (0..n).map(index).collect(),
            depth: vec![1; n],
            first_child: vec![NONE; n + 1],
            next: vec![NONE; n + 1],
            previous: vec![NONE; n + 1],
            potential: Vec::with_capacity(n + 1),
            next_block: 0,
            stack: Vec::new(),
        };
        for (node, amount) in supply.iter().enumerate() {
            // A tie without flow points to the root, which is what keeps the first tree strongly feasible.
            let (tail, head, potential) =
                if *amount >= 0 { (index(node), root, -penalty) } else { (root, index(node), penalty) };
            network.tail.push(tail);
            network.head.push(head);
            network.potential.push(potential);
        }
        network.parent.push(NONE);
        network.parent_arc.push(NONE);
        network.depth.push(0);
        network.potential.push(0);
        for node in (0..n).rev() {
            network.hang(node, n);
        }
        network
    }

    /// Number of the outside node, for arcs to and from places with a price.
    #[must_use]
    pub fn outside(&self) -> usize {
        self.supply.len()
    }

    /// Adds an arc and gives its number; without a capacity it carries any amount.
    ///
    /// # Panics
    /// In debug builds when a cost or a capacity is negative or an end is no node.
    pub fn add_arc(&mut self, from: usize, to: usize, cost: i64, capacity: Option<i64>) -> usize {
        debug_assert!(from <= self.outside() && to <= self.outside(), "an arc joins nodes that are there");
        debug_assert!(cost >= 0 && capacity.is_none_or(|c| c >= 0), "costs and capacities are zero or more");
        self.tail.push(index(from));
        self.head.push(index(to));
        self.cost.push(cost);
        self.capacity.push(capacity.unwrap_or(UNLIMITED));
        self.flow.push(0);
        self.side.push(Side::Lower);
        self.tail.len() - 1
    }

    /// Brings the flow to the least cost.
    pub fn solve(&mut self) {
        while let Some(arc) = self.entering() {
            self.pivot(arc);
        }
    }

    /// Amount on an arc.
    #[must_use]
    pub fn flow(&self, arc: usize) -> i64 {
        self.flow[arc]
    }

    /// Cost of a unit on an arc.
    #[must_use]
    pub fn cost(&self, arc: usize) -> i64 {
        self.cost[arc]
    }

    /// What a node was said to give (positive) or take.
    #[must_use]
    pub fn supply(&self, node: usize) -> i64 {
        self.supply[node]
    }

    /// Ends of an arc.
    #[must_use]
    pub fn ends(&self, arc: usize) -> (usize, usize) {
        (self.tail[arc] as usize, self.head[arc] as usize)
    }

    /// Numbers of the arcs that were added.
    #[must_use]
    pub fn arcs(&self) -> std::ops::Range<usize> {
        self.supply.len()..self.tail.len()
    }

    /// Dual value of a node: what one more unit taken there would cost. Zero at the outside.
    #[must_use]
    pub fn potential(&self, node: usize) -> i64 {
        self.potential[node]
    }

    /// What stays at a node (positive) or is missing there (negative).
    #[must_use]
    pub fn unserved(&self, node: usize) -> i64 {
        if self.supply[node] >= 0 { self.flow[node] } else { -self.flow[node] }
    }

    /// Sum of flow times cost, penalties included.
    #[must_use]
    pub fn primal(&self) -> i128 {
        self.flow.iter().zip(&self.cost).map(|(f, c)| i128::from(*f) * i128::from(*c)).sum()
    }

    /// Value of the potentials as a solution of the dual: no flow costs less. Nothing when they are no solution.
    ///
    /// It reads only the data and the potentials, not the tree, so it stands as a proof of its own.
    #[must_use]
    pub fn dual(&self) -> Option<i128> {
        let given: i128 = self.supply.iter().zip(&self.potential).map(|(s, p)| i128::from(*s) * i128::from(*p)).sum();
        let mut value = -given;
        for arc in 0..self.tail.len() {
            let reduced = self.reduced_cost(arc);
            if reduced < 0 {
                if self.capacity[arc] == UNLIMITED {
                    return None;
                }
                value += i128::from(self.capacity[arc]) * i128::from(reduced);
            }
        }
        Some(value)
    }

    fn reduced_cost(&self, arc: usize) -> i64 {
        self.cost[arc] + self.potential[self.tail[arc] as usize] - self.potential[self.head[arc] as usize]
    }

    /// How much an arc outside the tree would gain a unit.
    fn gain(&self, arc: usize) -> i64 {
        match self.side[arc] {
            Side::Lower => -self.reduced_cost(arc),
            Side::Tree => 0,
            Side::Upper => self.reduced_cost(arc),
        }
    }

    /// The arc of the largest gain in the next block that has one.
    fn entering(&mut self) -> Option<usize> {
        let arcs = self.tail.len();
        let block = arcs.isqrt().max(10);
        let (mut best, mut best_gain, mut left) = (None, 0, block);
        for step in 0..arcs {
            let arc =
                if self.next_block + step < arcs { self.next_block + step } else { self.next_block + step - arcs };
            let gain = self.gain(arc);
            if gain > best_gain {
                (best, best_gain) = (Some(arc), gain);
            }
            left -= 1;
            if left == 0 {
                if best.is_some() {
                    self.next_block = (arc + 1) % arcs;
                    return best;
                }
                left = block;
            }
        }
        best
    }

    fn pivot(&mut self, arc: usize) {
        let (tail, head) = self.ends(arc);
        let (first, second) = if self.side[arc] == Side::Lower { (tail, head) } else { (head, tail) };
        let join = self.join(first, second);
        let blocking = self.blocking(arc, first, second, join);
        self.push(arc, first, second, join, blocking.amount);
        let Some(below) = blocking.below else {
            self.side[arc] = if self.side[arc] == Side::Lower { Side::Upper } else { Side::Lower };
            return;
        };
        let leaving = self.parent_arc[below] as usize;
        self.side[leaving] = if self.flow[leaving] == 0 { Side::Lower } else { Side::Upper };
        self.side[arc] = Side::Tree;
        let (moved, onto) = if blocking.on_first_side { (first, second) } else { (second, first) };
        self.rehang(moved, onto, arc, below);
        let reduced = self.reduced_cost(arc);
        self.shift_below(moved, if moved == tail { -reduced } else { reduced });
    }

    /// Nearest common ancestor.
    fn join(&self, mut u: usize, mut v: usize) -> usize {
        while u != v {
            if self.depth[u] >= self.depth[v] {
                u = self.parent[u] as usize;
            } else {
                v = self.parent[v] as usize;
            }
        }
        u
    }

    /// Room of the tie above a node for flow upwards or downwards.
    fn room(&self, node: usize, upwards: bool) -> i64 {
        let arc = self.parent_arc[node] as usize;
        if (self.tail[arc] as usize == node) == upwards {
            // UNLIMITED is out of reach of any sum of supplies, so this cannot overflow.
            self.capacity[arc] - self.flow[arc]
        } else {
            self.flow[arc]
        }
    }

    /// The cycle runs join, down to `first`, over the entering arc to `second`, and up to the join. The last tie that
    /// blocks on that round, counted from the join, leaves.
    fn blocking(&self, arc: usize, first: usize, second: usize, join: usize) -> Blocking {
        let mut found = Blocking { amount: self.capacity[arc], below: None, on_first_side: true };
        let mut node = first;
        while node != join {
            let room = self.room(node, false);
            if room < found.amount {
                found = Blocking { amount: room, below: Some(node), on_first_side: true };
            }
            node = self.parent[node] as usize;
        }
        node = second;
        while node != join {
            let room = self.room(node, true);
            if room <= found.amount {
                found = Blocking { amount: room, below: Some(node), on_first_side: false };
            }
            node = self.parent[node] as usize;
        }
        found
    }

    fn push(&mut self, arc: usize, first: usize, second: usize, join: usize, amount: i64) {
        if amount == 0 {
            return;
        }
        self.flow[arc] += if self.side[arc] == Side::Lower { amount } else { -amount };
        for (start, upwards) in [(first, false), (second, true)] {
            let mut node = start;
            while node != join {
                let tie = self.parent_arc[node] as usize;
                let along = (self.tail[tie] as usize == node) == upwards;
                self.flow[tie] += if along { amount } else { -amount };
                node = self.parent[node] as usize;
            }
        }
    }

    /// Turns the path from `moved` up to `below` round and hangs it on `onto` by the entering arc.
    fn rehang(&mut self, moved: usize, onto: usize, arc: usize, below: usize) {
        let (mut node, mut above, mut tie) = (moved, onto, index(arc));
        loop {
            let (old_parent, old_tie) = (self.parent[node], self.parent_arc[node]);
            self.unhang(node);
            self.parent[node] = index(above);
            self.parent_arc[node] = tie;
            self.hang(node, above);
            if node == below {
                return;
            }
            (above, tie, node) = (node, old_tie, old_parent as usize);
        }
    }

    fn hang(&mut self, node: usize, above: usize) {
        let sibling = self.first_child[above];
        self.next[node] = sibling;
        self.previous[node] = NONE;
        if sibling != NONE {
            self.previous[sibling as usize] = index(node);
        }
        self.first_child[above] = index(node);
    }

    fn unhang(&mut self, node: usize) {
        let (before, after) = (self.previous[node], self.next[node]);
        if before == NONE {
            self.first_child[self.parent[node] as usize] = after;
        } else {
            self.next[before as usize] = after;
        }
        if after != NONE {
            self.previous[after as usize] = before;
        }
    }

    /// Depths and potentials of a subtree after it was hung elsewhere.
    fn shift_below(&mut self, top: usize, by: i64) {
        let mut stack = std::mem::take(&mut self.stack);
        stack.push(index(top));
        while let Some(node) = stack.pop() {
            let node = node as usize;
            self.potential[node] += by;
            self.depth[node] = self.depth[self.parent[node] as usize] + 1;
            let mut child = self.first_child[node];
            while child != NONE {
                stack.push(child);
                child = self.next[child as usize];
            }
        }
        self.stack = stack;
    }
}

/// A node or arc number as it is stored.
#[expect(clippy::cast_possible_truncation, reason = "networks of four thousand million arcs do not fit in memory")]
fn index(number: usize) -> u32 {
    debug_assert!(number < NONE as usize, "numbers fit 32 bits");
    number as u32
}

#[cfg(test)]
mod tests;
