//! The exact optimum of a fit, by the primal network simplex on its dual.
//!
//! With a multiplier for every limit the fit is the dual of a minimum-cost circulation: heights are potentials, a limit
//! `z[to] - z[from] <= most` is an arc of cost `most`, and each point hangs from the datum by an arc of cost "given height"
//! that may carry as much as the weights say, one way for cut and the other for fill. Those arcs are a spanning tree whose
//! potentials are the given heights and through which nothing flows, so the first basis is there for nothing. Every pivot
//! lets flow round one cycle of a broken limit until something is full; the tree on the far side of that arc is hung anew.
//! All numbers are whole, so the optimum is proven by an equal dual cost to the last tick.
//!
//! Leaving arcs are chosen so that from every point something can still flow to the datum (strongly feasible trees), which
//! rules out going round in circles while every weight is above zero.
//!
//! Complexity: exponential at worst, about `n^1.5` on lattices; memory 5 words a point and 3 a limit.
//! Source: Ahuja, R. K., Magnanti, T. L. & Orlin, J. B. (1993), Network Flows, ch. 11 and 18 (from memory);
//! Cunningham, W. H. (1976), A network simplex method, Math. Program. 11:105, for the leaving rule (from memory).
//! How we know: the trial of every whole surface of small fits, equal primal and dual costs on larger ones, hand cases.

use super::problem::{
    Certificate, Conflict, ConflictLink, Engine, Fitted, GraphFit, LatticeFit, Link, Reason, Refusal,
};

/// No arc, no node.
const NONE: u32 = u32::MAX;
/// Stands for "as much as one likes".
const ENDLESS: i64 = i64::MAX / 4;
/// Heights that could stray further than this, and weights that sum to more, are refused.
const MOST: i128 = (i64::MAX / 4) as i128;

/// The optimum of a fit on a graph.
///
/// # Errors
/// [`Refusal::Conflict`] when the limits cannot be kept together, [`Refusal::Fault`] when the question is not proper.
pub fn solve_graph(fit: &GraphFit) -> Result<Fitted, Refusal> {
    check(fit).map_err(Refusal::Fault)?;
    let mut simplex = Simplex::new(fit);
    simplex.run().map_err(Refusal::Conflict)?;
    let heights = simplex.heights();
    let cost = i64::try_from(wide_cost(fit, &heights)).map_err(|_| Refusal::Fault(Reason::TooLarge))?;
    Ok(Fitted { certificate: Certificate { cost, bound: simplex.dual_cost() as f64, engine: Engine::Exact }, heights })
}

/// Cost of a surface in a width that cannot overflow.
fn wide_cost(fit: &GraphFit, heights: &[i64]) -> i128 {
    let weights = fit.cut_weight.iter().zip(&fit.fill_weight);
    fit.ground
        .iter()
        .zip(heights)
        .zip(weights)
        .map(|((g, z), (cut, fill))| {
            i128::from((g - z).max(0)) * i128::from(*cut) + i128::from((z - g).max(0)) * i128::from(*fill)
        })
        .sum()
}

/// The optimum of a fit on a lattice; masked points keep the given height.
///
/// # Errors
/// As [`solve_graph`]; limits on the change of grade are refused with [`Reason::BendLimit`].
pub fn solve_exact(fit: &LatticeFit) -> Result<Fitted, Refusal> {
    let (graph, points) = fit.graph().map_err(Refusal::Fault)?;
    let on_lattice = |conflict: Conflict| {
        let name = |node: u32| points[node as usize];
        let chain = conflict.chain.into_iter().map(|link| match link {
            ConflictLink::Lowest { point, height } => ConflictLink::Lowest { point: name(point), height },
            ConflictLink::Highest { point, height } => ConflictLink::Highest { point: name(point), height },
            ConflictLink::Between(l) => {
                ConflictLink::Between(Link { from: name(l.from), to: name(l.to), most: l.most })
            }
        });
        Conflict { chain: chain.collect(), excess: conflict.excess }
    };
    let found = solve_graph(&graph).map_err(|refusal| match refusal {
        Refusal::Conflict(conflict) => Refusal::Conflict(on_lattice(conflict)),
        Refusal::Fault(reason) => Refusal::Fault(reason),
    })?;
    let mut heights = fit.ground.clone();
    for (point, height) in points.iter().zip(&found.heights) {
        heights[*point as usize] = *height;
    }
    Ok(Fitted { heights, certificate: found.certificate })
}

/// What makes a graph no proper fit, if anything.
fn check(fit: &GraphFit) -> Result<(), Reason> {
    let n = fit.ground.len();
    let listed = |list: &[i64]| list.is_empty() || list.len() == n;
    if [fit.cut_weight.len(), fit.fill_weight.len()] != [n; 2] || !listed(&fit.lowest) || !listed(&fit.highest) {
        return Err(Reason::Lengths);
    }
    if fit.cut_weight.iter().chain(&fit.fill_weight).any(|w| *w < 0) {
        return Err(Reason::NegativeWeight);
    }
    if (0..n).any(|p| fit.range(p).0 > fit.range(p).1) {
        return Err(Reason::EmptyRange);
    }
    if fit.links.iter().any(|l| l.from as usize >= n || l.to as usize >= n) {
        return Err(Reason::NoSuchPoint);
    }
    // No height strays further from its given one than all steps and the spread of given heights together.
    let far = |list: &[i64]| list.iter().map(|z| i128::from(*z).abs()).filter(|z| *z < i128::from(i64::MAX)).max();
    let steps: i128 = fit.links.iter().map(|l| i128::from(l.most).abs()).sum();
    let reach = 2 * far(&fit.ground).unwrap_or(0)
        + far(&fit.lowest).unwrap_or(0)
        + far(&fit.highest).unwrap_or(0)
        + steps.min(i128::from(i64::MAX));
    // No arc carries more than all weights together.
    let weight: i128 = fit.cut_weight.iter().zip(&fit.fill_weight).map(|(c, f)| i128::from(*c.max(f))).sum();
    let fits = reach < MOST && weight < MOST && n < (NONE / 8) as usize;
    if fits { Ok(()) } else { Err(Reason::TooLarge) }
}

/// Where an arc that is not in the tree stands.
const AT_LOWER: i8 = 1;
const IN_TREE: i8 = 0;
const AT_UPPER: i8 = -1;

/// Arcs: links first, then heights' limits, then for every point its arc from the datum.
struct Simplex {
    tail: Vec<u32>,
    head: Vec<u32>,
    cost: Vec<i64>,
    state: Vec<i8>,
    flow: Vec<i64>,
    /// First of the arcs that carry weights; below it every arc carries from nothing to as much as one likes.
    first_hanger: usize,
    least: Vec<i64>,
    most: Vec<i64>,
    potential: Vec<i64>,
    parent: Vec<u32>,
    arc_up: Vec<u32>,
    depth: Vec<u32>,
    first_child: Vec<u32>,
    next: Vec<u32>,
    previous: Vec<u32>,
    /// The datum.
    root: u32,
    looked_at: usize,
}

impl Simplex {
    fn new(fit: &GraphFit) -> Self {
        let n = fit.ground.len();
        let root = n as u32;
        let (mut tail, mut head, mut cost) = (Vec::new(), Vec::new(), Vec::new());
        let mut arc = |t: u32, h: u32, c: i64| {
            tail.push(t);
            head.push(h);
            cost.push(c);
        };
        for link in &fit.links {
            arc(link.from, link.to, link.most);
        }
        for p in 0..n {
            let (low, high) = fit.range(p);
            if high < i64::MAX {
                arc(root, p as u32, high);
            }
            if low > i64::MIN {
                arc(p as u32, root, -low);
            }
        }
        let mut arcs = Self {
            first_hanger: tail.len(),
            tail,
            head,
            cost,
            state: Vec::new(),
            flow: Vec::new(),
            least: fit.cut_weight.iter().map(|w| -w).collect(),
            most: fit.fill_weight.clone(),
            potential: fit.ground.iter().copied().chain([0]).collect(),
            parent: vec![root; n],
            arc_up: Vec::with_capacity(n + 1),
            depth: vec![1; n],
            first_child: vec![NONE; n + 1],
            next: vec![NONE; n + 1],
            previous: vec![NONE; n + 1],
            root,
            looked_at: 0,
        };
        for (p, height) in fit.ground.iter().enumerate() {
            arcs.arc_up.push(arcs.tail.len() as u32);
            arcs.tail.push(root);
            arcs.head.push(p as u32);
            arcs.cost.push(*height);
        }
        let all = arcs.tail.len();
        arcs.state = vec![AT_LOWER; all];
        arcs.state[arcs.first_hanger..].fill(IN_TREE);
        arcs.flow = vec![0; all];
        arcs.parent.push(NONE);
        arcs.arc_up.push(NONE);
        arcs.depth.push(0);
        for p in 0..root {
            arcs.hang(p, root);
        }
        arcs
    }

    fn run(&mut self) -> Result<(), Conflict> {
        while let Some(arc) = self.entering() {
            self.pivot(arc)?;
        }
        Ok(())
    }

    fn heights(&self) -> Vec<i64> {
        let datum = self.potential[self.root as usize];
        self.potential[..self.root as usize].iter().map(|z| z - datum).collect()
    }

    /// Cost of the multipliers: no surface costs less.
    fn dual_cost(&self) -> i128 {
        -self.flow.iter().zip(&self.cost).map(|(f, c)| i128::from(*f) * i128::from(*c)).sum::<i128>()
    }

    fn reduced_cost(&self, arc: usize) -> i64 {
        self.cost[arc] + self.potential[self.tail[arc] as usize] - self.potential[self.head[arc] as usize]
    }

    /// The most broken limit of the next stretch of arcs that has one.
    fn entering(&mut self) -> Option<usize> {
        let all = self.tail.len();
        let stretch = ((all as f64).sqrt() as usize).max(16);
        let (mut worst, mut found) = (0, None);
        let mut left = stretch;
        for step in 0..all {
            let arc = if self.looked_at + step >= all { self.looked_at + step - all } else { self.looked_at + step };
            let broken = i64::from(self.state[arc]) * self.reduced_cost(arc);
            if broken < worst {
                (worst, found) = (broken, Some(arc));
            }
            left -= 1;
            if left == 0 {
                if found.is_some() {
                    self.looked_at = if arc + 1 == all { 0 } else { arc + 1 };
                    return found;
                }
                left = stretch;
            }
        }
        found
    }

    /// What more an arc may carry along (towards its head) or against its direction.
    fn room(&self, arc: usize, along: bool) -> i64 {
        match (arc.checked_sub(self.first_hanger), along) {
            (None, true) => ENDLESS,
            (None, false) => self.flow[arc],
            (Some(p), true) => self.most[p] - self.flow[arc],
            (Some(p), false) => self.flow[arc] - self.least[p],
        }
    }

    /// Lets flow round the cycle an arc closes with the tree, until an arc of it is full; that one leaves the tree.
    fn pivot(&mut self, entering: usize) -> Result<(), Conflict> {
        let along = self.state[entering] == AT_LOWER;
        let (from, to) =
            if along { (self.tail[entering], self.head[entering]) } else { (self.head[entering], self.tail[entering]) };
        let apex = self.apex(from, to);
        // The last full arc met on the way round, from the apex down to `from`, over the arc, and up from `to`, leaves.
        let mut amount = self.room(entering, along);
        let mut leaving = (NONE, true);
        let mut node = from;
        while node != apex {
            let arc = self.arc_up[node as usize] as usize;
            let room = self.room(arc, self.head[arc] == node);
            if room < amount {
                (amount, leaving) = (room, (node, true));
            }
            node = self.parent[node as usize];
        }
        node = to;
        while node != apex {
            let arc = self.arc_up[node as usize] as usize;
            let room = self.room(arc, self.tail[arc] == node);
            if room <= amount {
                (amount, leaving) = (room, (node, false));
            }
            node = self.parent[node as usize];
        }
        if amount >= ENDLESS {
            return Err(self.conflict(entering, from, to, apex));
        }
        if amount > 0 {
            self.push(entering, from, to, apex, amount, along);
        }
        match leaving {
            (NONE, _) => self.state[entering] = -self.state[entering],
            (out, true) => self.rehang(entering, from, to, out),
            (out, false) => self.rehang(entering, to, from, out),
        }
        Ok(())
    }

    /// The deepest node above both.
    fn apex(&self, a: u32, b: u32) -> u32 {
        let (mut a, mut b) = (a, b);
        while a != b {
            if self.depth[a as usize] >= self.depth[b as usize] {
                a = self.parent[a as usize];
            } else {
                b = self.parent[b as usize];
            }
        }
        a
    }

    fn push(&mut self, entering: usize, from: u32, to: u32, apex: u32, amount: i64, along: bool) {
        self.flow[entering] += if along { amount } else { -amount };
        let mut node = from;
        while node != apex {
            let arc = self.arc_up[node as usize] as usize;
            self.flow[arc] += if self.head[arc] == node { amount } else { -amount };
            node = self.parent[node as usize];
        }
        node = to;
        while node != apex {
            let arc = self.arc_up[node as usize] as usize;
            self.flow[arc] += if self.tail[arc] == node { amount } else { -amount };
            node = self.parent[node as usize];
        }
    }

    /// Takes the arc above `out` from the tree and hangs what is below it from `outside` by the entering arc, whose
    /// end below is `inside`.
    fn rehang(&mut self, entering: usize, inside: u32, outside: u32, out: u32) {
        let gone = self.arc_up[out as usize] as usize;
        let at_lower = gone < self.first_hanger || self.flow[gone] == self.least[gone - self.first_hanger];
        self.state[gone] = if at_lower { AT_LOWER } else { AT_UPPER };
        self.state[entering] = IN_TREE;
        let broken = self.reduced_cost(entering);
        let raise = if self.head[entering] == inside { broken } else { -broken };
        let (mut node, mut above, mut arc) = (inside, outside, entering as u32);
        loop {
            let (old_above, old_arc) = (self.parent[node as usize], self.arc_up[node as usize]);
            self.unhang(node, old_above);
            self.parent[node as usize] = above;
            self.arc_up[node as usize] = arc;
            self.hang(node, above);
            if node == out {
                break;
            }
            (above, arc, node) = (node, old_arc, old_above);
        }
        self.raise_below(inside, raise);
    }

    /// Adds to the heights of a node and everything below it, and sets their depths.
    fn raise_below(&mut self, top: u32, raise: i64) {
        let mut node = top;
        loop {
            let at = node as usize;
            self.potential[at] += raise;
            self.depth[at] = self.depth[self.parent[at] as usize] + 1;
            if self.first_child[at] != NONE {
                node = self.first_child[at];
                continue;
            }
            while node != top && self.next[node as usize] == NONE {
                node = self.parent[node as usize];
            }
            if node == top {
                return;
            }
            node = self.next[node as usize];
        }
    }

    fn hang(&mut self, node: u32, above: u32) {
        let first = self.first_child[above as usize];
        self.next[node as usize] = first;
        self.previous[node as usize] = NONE;
        if first != NONE {
            self.previous[first as usize] = node;
        }
        self.first_child[above as usize] = node;
    }

    fn unhang(&mut self, node: u32, above: u32) {
        let (before, after) = (self.previous[node as usize], self.next[node as usize]);
        if before == NONE {
            self.first_child[above as usize] = after;
        } else {
            self.next[before as usize] = after;
        }
        if after != NONE {
            self.previous[after as usize] = before;
        }
    }

    /// The limits round a cycle that can be gone round for ever: each of its arcs is a limit between heights.
    fn conflict(&self, entering: usize, from: u32, to: u32, apex: u32) -> Conflict {
        let mut down = Vec::new();
        let mut node = from;
        while node != apex {
            down.push(self.arc_up[node as usize] as usize);
            node = self.parent[node as usize];
        }
        down.reverse();
        let mut arcs = down;
        arcs.push(entering);
        node = to;
        while node != apex {
            arcs.push(self.arc_up[node as usize] as usize);
            node = self.parent[node as usize];
        }
        // A chain through the datum reads from the height that is held to the one that holds.
        if let Some(first) = arcs.iter().position(|arc| self.tail[*arc] == self.root) {
            arcs.rotate_left(first);
        }
        let excess = -arcs.iter().map(|arc| self.cost[*arc]).sum::<i64>();
        let chain = arcs.into_iter().map(|arc| {
            let (tail, head, most) = (self.tail[arc], self.head[arc], self.cost[arc]);
            if tail == self.root {
                ConflictLink::Highest { point: head, height: most }
            } else if head == self.root {
                ConflictLink::Lowest { point: tail, height: -most }
            } else {
                ConflictLink::Between(Link { from: tail, to: head, most })
            }
        });
        Conflict { chain: chain.collect(), excess }
    }
}

#[cfg(test)]
mod tests;
