//! The spanning tree of a network simplex: threaded in preorder, rooted at the datum.
//!
//! Only tree arcs carry a flow between bounds, so flows live in the nodes: what may still be pushed from a node to its
//! parent and back. Depth, height and thread are set in one walk over the part that is hung elsewhere.
//!
//! Source: Ahuja, R. K., Magnanti, T. L. & Orlin, J. B. (1993), Network Flows, ch. 11 (from memory).
//! How we know: every answer found with it is proven from the tree, see [`proof`](super::proof).

/// Room on an arc that nothing bounds; flows stay below half of it, so it never runs out.
pub const ENDLESS: i64 = 1 << 62;

/// No arc, no node.
pub const NONE: u32 = u32::MAX;

/// A node and the arc to its parent.
#[derive(Debug, Clone, Copy)]
pub struct Node {
    /// Parent; [`NONE`] at the root.
    pub parent: u32,
    /// The arc to the parent.
    pub arc: u32,
    /// Number of arcs to the root.
    pub depth: u32,
    /// Next in preorder, round to the root.
    next: u32,
    /// Previous in preorder.
    previous: u32,
    /// What may still be pushed to the parent.
    pub up: i64,
    /// What may still be pushed from the parent.
    pub down: i64,
}

/// An arc by which a node hangs.
#[derive(Debug, Clone, Copy)]
pub struct Hanging {
    /// The arc.
    pub arc: u32,
    /// What may still be pushed to the parent.
    pub up: i64,
    /// What may still be pushed from the parent.
    pub down: i64,
}

/// A spanning tree with the heights it gives.
#[derive(Debug, Clone)]
pub struct SpanningTree {
    /// Nodes; the last is the root.
    pub nodes: Vec<Node>,
    /// Heights above the datum, ticks.
    pub heights: Vec<i64>,
}

impl SpanningTree {
    /// Every node hung straight from the root.
    #[must_use]
    pub fn star(heights: &[i64], hanging: impl Fn(usize) -> Hanging) -> Self {
        let root = heights.len() as u32;
        let node = |i: usize| {
            let Hanging { arc, up, down } = hanging(i);
            let i = i as u32;
            let previous = if i == 0 { root } else { i - 1 };
            Node { parent: root, arc, depth: 1, next: i + 1, previous, up, down }
        };
        let mut nodes: Vec<Node> = (0..heights.len()).map(node).collect();
        let (first, last) = if root == 0 { (0, 0) } else { (0, root - 1) };
        nodes.push(Node { parent: NONE, arc: NONE, depth: 0, next: first, previous: last, up: 0, down: 0 });
        let mut heights = heights.to_vec();
        heights.push(0);
        Self { nodes, heights }
    }

    /// Nodes in preorder from the root.
    pub fn preorder(&self) -> impl Iterator<Item = u32> + '_ {
        let root = self.nodes.len() as u32 - 1;
        let mut at = Some(root);
        std::iter::from_fn(move || {
            let now = at?;
            let next = self.nodes[now as usize].next;
            at = (next != root).then_some(next);
            Some(now)
        })
    }

    /// Where the paths of two nodes to the root meet.
    #[must_use]
    pub fn join(&self, mut a: u32, mut b: u32) -> u32 {
        while a != b {
            let (na, nb) = (&self.nodes[a as usize], &self.nodes[b as usize]);
            if na.depth >= nb.depth {
                a = na.parent;
                if na.depth == nb.depth {
                    b = nb.parent;
                }
            } else {
                b = nb.parent;
            }
        }
        a
    }

    /// Cuts the arc above `top`, hangs the part below it from `parent` by `child` and `hanging`, and lifts it by `lift`.
    /// Returns the arc cut.
    pub fn hang(&mut self, top: u32, child: u32, parent: u32, hanging: Hanging, lift: i64) -> Hanging {
        let before = self.nodes[top as usize].previous;
        let (mut carried, mut above) = (hanging, parent);
        let mut depth = self.nodes[parent as usize].depth + 1;
        // The part in its new preorder: the branch of the child, then what else hangs at each stem node up to the top.
        let (mut stem, mut below) = (child, NONE);
        let (mut tail, mut after) = (NONE, NONE);
        loop {
            let old = self.nodes[stem as usize];
            let shift = depth.wrapping_sub(old.depth);
            let mut at = stem;
            if tail != NONE {
                self.link(tail, stem);
            }
            // Down to the branch already done, then on behind it.
            while at != below && (at == stem || self.nodes[at as usize].depth > old.depth) {
                tail = at;
                at = self.lower(at, shift, lift);
            }
            if at == below && below != NONE {
                at = after;
                if self.nodes[at as usize].depth > old.depth {
                    self.link(tail, at);
                }
                while self.nodes[at as usize].depth > old.depth {
                    tail = at;
                    at = self.lower(at, shift, lift);
                }
            }
            after = at;
            let node = &mut self.nodes[stem as usize];
            (node.parent, node.arc, node.up, node.down) = (above, carried.arc, carried.up, carried.down);
            carried = Hanging { arc: old.arc, up: old.down, down: old.up };
            if stem == top {
                break;
            }
            (above, below, stem, depth) = (stem, stem, old.parent, depth + 1);
        }
        // Out of the old place, into the new.
        self.link(before, after);
        let follow = self.nodes[parent as usize].next;
        self.link(parent, child);
        self.link(tail, follow);
        Hanging { arc: carried.arc, up: carried.down, down: carried.up }
    }

    fn lower(&mut self, at: u32, shift: u32, lift: i64) -> u32 {
        let node = &mut self.nodes[at as usize];
        node.depth = node.depth.wrapping_add(shift);
        self.heights[at as usize] += lift;
        node.next
    }

    fn link(&mut self, from: u32, to: u32) {
        self.nodes[from as usize].next = to;
        self.nodes[to as usize].previous = from;
    }
}
