//! The exact optimum of a fit, by the primal network simplex on its dual.
//!
//! With a multiplier for every limit the fit is the dual of a minimum-cost circulation: heights are potentials, a limit
//! `z[to] - z[from] <= most` is an arc of cost `most` that is never full, and each point hangs from the datum by an arc of
//! cost "given height" that may carry as much as the weights say, one way for cut and the other for fill. Those arcs are a
//! spanning tree whose potentials are the given heights and through which nothing flows, so the first basis is there for
//! nothing. Every pivot lets flow round one cycle of a broken limit until something is full; the tree on the far side of
//! that arc is hung anew. All numbers are whole, so the optimum is proven by an equal dual cost to the last tick.
//!
//! Leaving arcs are chosen so that from every point something can still flow to the datum (strongly feasible trees), which
//! rules out going round in circles. A point whose cut costs nothing has no such flow; there the flows are counted in
//! parts of one over the number of points, and its arc carries one part.
//!
//! Complexity: exponential at worst, about `n^1.5` on lattices.
//! Source: Ahuja, R. K., Magnanti, T. L. & Orlin, J. B. (1993), Network Flows, ch. 11 and 18 (from memory);
//! Cunningham, W. H. (1976), A network simplex method, Math. Program. 11:105, for the leaving rule (from memory).
//! How we know: hand cases, the trial of every whole surface of small fits, and HiGHS on random blocks, to the last tick.

use super::conflict;
use super::problem::{Conflict, ConflictLink, Fitted, GraphFit, LatticeFit, Link, Reason, Refusal};
use super::proof;
use super::spanning_tree::{ENDLESS, Hanging, NONE, SpanningTree};

/// The optimum of a fit on a graph.
///
/// # Errors
/// [`Refusal::Conflict`] when the limits cannot be kept together, [`Refusal::Fault`] when the question is not proper.
pub fn solve_graph(fit: &GraphFit) -> Result<Fitted, Refusal> {
    let mut simplex = Simplex::new(fit).map_err(Refusal::Fault)?;
    simplex.run().map_err(Refusal::Conflict)?;
    proof::fitted(fit, &simplex.links, &simplex.datum, &simplex.tree)
}

/// The optimum of a fit on a lattice; masked points keep the given height.
///
/// # Errors
/// As [`solve_graph`]; limits on the change of grade are refused with [`Reason::BendLimit`].
pub fn solve_exact(fit: &LatticeFit) -> Result<Fitted, Refusal> {
    let (graph, points) = fit.graph().map_err(Refusal::Fault)?;
    let found = solve_graph(&graph).map_err(|refusal| on_lattice(refusal, &points))?;
    let mut heights = fit.ground.clone();
    for (point, height) in points.iter().zip(&found.heights) {
        heights[*point as usize] = *height;
    }
    Ok(Fitted { heights, certificate: found.certificate })
}

/// The refusal of a graph fit in points of the lattice it was made of.
fn on_lattice(refusal: Refusal, points: &[u32]) -> Refusal {
    let Refusal::Conflict(mut conflict) = refusal else { return refusal };
    for link in &mut conflict.chain {
        match link {
            ConflictLink::Lowest { point, .. } | ConflictLink::Highest { point, .. } => {
                *point = points[*point as usize]
            }
            ConflictLink::Between(Link { from, to, .. }) => {
                (*from, *to) = (points[*from as usize], points[*to as usize]);
            }
        }
    }
    Refusal::Conflict(conflict)
}

/// Arcs looked at before the best of them is taken: some, and a share of the root of their number. A third of the root
/// took the least time of 0.3, 1, 3 and 10 times it, on smooth and on rough ground.
const BLOCK_MIN: usize = 10;
const BLOCK_SHARE: f64 = 0.3;

/// Where the datum arc of a point stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Datum {
    /// In the tree.
    Tree,
    /// Full downwards: the point is cut.
    Cut,
    /// Full upwards: the point is filled.
    Fill,
}

/// Most the datum arc of a point carries downwards and upwards.
fn room(fit: &GraphFit, scale: i64, point: usize) -> (i64, i64) {
    let cut = fit.cut_weight[point];
    (cut * scale + i64::from(cut == 0), fit.fill_weight[point] * scale)
}

/// The arc that enters and which way it is pushed.
#[derive(Debug, Clone, Copy)]
struct Entering {
    arc: u32,
    /// Node the flow leaves by this arc, and the one it comes to.
    first: u32,
    second: u32,
    /// What the arc can take.
    room: i64,
}

struct Simplex<'a> {
    fit: &'a GraphFit,
    /// The limits that are arcs: those of the fit, then least and greatest heights as arcs of the datum.
    links: Vec<Link>,
    datum: Vec<Datum>,
    tree: SpanningTree,
    /// Flows are multiples of this, with one more on arcs of no cut weight: the first tree is then strongly feasible.
    scale: i64,
    /// Where pricing goes on.
    cursor: usize,
    block: usize,
}

impl<'a> Simplex<'a> {
    fn new(fit: &'a GraphFit) -> Result<Self, Reason> {
        if let Some(reason) = fit.fault() {
            return Err(reason);
        }
        let n = fit.ground.len();
        let scale = if fit.cut_weight.contains(&0) { n as i64 + 1 } else { 1 };
        let root = u32::try_from(n).map_err(|_| Reason::TooLarge)?;
        let mut links: Vec<Link> = fit.links.iter().copied().filter(|l| l.most < i64::MAX).collect();
        for point in 0..root {
            let (low, high) = fit.range(point as usize);
            if high < i64::MAX {
                links.push(Link { from: root, to: point, most: high });
            }
            if low > i64::MIN {
                links.push(Link { from: point, to: root, most: -low });
            }
        }
        proof::fits(fit, &links, scale)?;
        let arcs = links.len() as u32;
        let tree = SpanningTree::star(&fit.ground, |point| {
            let (up, down) = room(fit, scale, point);
            Hanging { arc: arcs + point as u32, up, down }
        });
        let block = BLOCK_MIN + (BLOCK_SHARE * ((links.len() + n) as f64).sqrt()) as usize;
        Ok(Self { fit, links, datum: vec![Datum::Tree; n], tree, scale, cursor: 0, block })
    }

    fn run(&mut self) -> Result<(), Conflict> {
        while let Some(entering) = self.price() {
            self.pivot(entering)?;
        }
        Ok(())
    }

    /// The arc that promises most of the first block that has any.
    fn price(&mut self) -> Option<Entering> {
        let (arcs, points) = (self.links.len(), self.datum.len());
        let all = arcs + points;
        let (mut best, mut most) = (NONE, 0);
        let (mut seen, mut at) = (0, self.cursor);
        while seen < all {
            let limit = if at < arcs { arcs } else { all };
            let end = limit.min(at + self.block).min(at + all - seen);
            seen += end - at;
            if at < arcs {
                for (i, link) in self.links[at..end].iter().enumerate() {
                    let z = &self.tree.heights;
                    let over = z[link.to as usize] - z[link.from as usize] - link.most;
                    if over > most {
                        (best, most) = ((at + i) as u32, over);
                    }
                }
            } else {
                for point in at - arcs..end - arcs {
                    let over = match self.datum[point] {
                        Datum::Tree => continue,
                        Datum::Cut => self.tree.heights[point] - self.fit.ground[point],
                        Datum::Fill => self.fit.ground[point] - self.tree.heights[point],
                    };
                    if over > most {
                        (best, most) = ((arcs + point) as u32, over);
                    }
                }
            }
            at = if end == all { 0 } else { end };
            if best != NONE {
                break;
            }
        }
        self.cursor = at;
        (best != NONE).then(|| self.entering(best))
    }

    fn entering(&self, arc: u32) -> Entering {
        let (root, arcs) = (self.datum.len() as u32, self.links.len() as u32);
        if arc < arcs {
            let link = self.links[arc as usize];
            return Entering { arc, first: link.from, second: link.to, room: ENDLESS };
        }
        let point = arc - arcs;
        let (cut, fill) = room(self.fit, self.scale, point as usize);
        let (first, second) = if self.datum[point as usize] == Datum::Cut { (root, point) } else { (point, root) };
        Entering { arc, first, second, room: cut + fill }
    }

    fn pivot(&mut self, entering: Entering) -> Result<(), Conflict> {
        let Entering { arc, first, second, room } = entering;
        let join = self.tree.join(first, second);
        let (mut push, mut top, mut on_first) = (room, NONE, false);
        let mut at = first;
        while at != join {
            let node = &self.tree.nodes[at as usize];
            if node.down < push {
                (push, top, on_first) = (node.down, at, true);
            }
            at = node.parent;
        }
        at = second;
        while at != join {
            let node = &self.tree.nodes[at as usize];
            if node.up <= push {
                (push, top, on_first) = (node.up, at, false);
            }
            at = node.parent;
        }
        if push > ENDLESS / 2 {
            return Err(self.conflict(&entering, join));
        }
        self.push(first, join, -push);
        self.push(second, join, push);
        let arcs = self.links.len() as u32;
        if top == NONE {
            let point = (arc - arcs) as usize;
            self.datum[point] = if self.datum[point] == Datum::Cut { Datum::Fill } else { Datum::Cut };
            return Ok(());
        }
        let (child, parent) = if on_first { (first, second) } else { (second, first) };
        // Pushed along so far, and left: seen from the child upwards when the arc leaves it.
        let (mut forth, mut back) = (room - push, push);
        let over = if arc < arcs {
            let link = self.links[arc as usize];
            self.tree.heights[second as usize] - self.tree.heights[first as usize] - link.most
        } else {
            let point = (arc - arcs) as usize;
            self.datum[point] = Datum::Tree;
            (self.tree.heights[point] - self.fit.ground[point]).abs()
        };
        let lift = if on_first { over } else { -over };
        if !on_first {
            (forth, back) = (back, forth);
        }
        let left = self.tree.hang(top, child, parent, Hanging { arc, up: forth, down: back }, lift);
        if left.arc >= arcs {
            self.datum[(left.arc - arcs) as usize] = if left.up == 0 { Datum::Cut } else { Datum::Fill };
        }
        Ok(())
    }

    /// Pushes towards the join along a path of the tree.
    fn push(&mut self, from: u32, join: u32, amount: i64) {
        let mut at = from;
        while at != join {
            let node = &mut self.tree.nodes[at as usize];
            node.up -= amount;
            node.down += amount;
            at = node.parent;
        }
    }

    /// The cycle an arc closes, none of whose arcs bounds the flow.
    fn conflict(&self, entering: &Entering, join: u32) -> Conflict {
        let (mut down, mut up) = (Vec::new(), vec![entering.arc]);
        for (end, arcs) in [(entering.first, &mut down), (entering.second, &mut up)] {
            let mut at = end;
            while at != join {
                let node = &self.tree.nodes[at as usize];
                arcs.push(node.arc);
                at = node.parent;
            }
        }
        down.reverse();
        let cycle: Vec<Link> = down.iter().chain(&up).map(|arc| self.links[*arc as usize]).collect();
        conflict::shortest(self.datum.len() as u32, &self.links, cycle)
    }
}

#[cfg(test)]
mod tests;
