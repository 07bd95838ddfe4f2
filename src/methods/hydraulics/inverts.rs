//! The highest inverts that keep a tree of channels falling.
//!
//! Every node must lie a least depth below the ground and a least fall below each node upstream of it. Those are
//! difference constraints, closed under taking the higher of two solutions, so one pass from the heads down gives at
//! every node at once the greatest feasible invert. Excavation grows with depth, so no other choice moves less earth.
//!
//! Source: greatest solution of difference constraints on a tree,
//! [`Bibliography::Cormen2009`](crate::bibliography::Bibliography::Cormen2009), section 24.4.
//! How we know: hand-made trees, and exhaustive search over all inverts of small random trees never beats it.

/// A point of a channel network, with the reach that leaves it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DrainNode {
    /// Ground level.
    pub ground_m: f64,
    /// The invert lies at least this far below the ground.
    pub min_depth_m: f64,
    /// The invert must not lie above this level, whatever the ground (the foot of something draining in).
    pub max_invert_m: Option<f64>,
    /// The invert should not lie below this level (tailwater with freeboard, a layer not to be cut).
    pub min_invert_m: Option<f64>,
    /// Index of the node downstream; `None` at an outlet.
    pub downstream: Option<usize>,
    /// Length of the reach to the node downstream; not read at an outlet.
    pub length_m: f64,
}

impl DrainNode {
    /// The highest invert the node's own place allows.
    fn ceiling_m(&self) -> f64 {
        let below_ground_m = self.ground_m - self.min_depth_m;
        self.max_invert_m.map_or(below_ground_m, |level| below_ground_m.min(level))
    }
}

/// Why inverts cannot be graded.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum InvertError {
    /// Slopes are ratios with 0 <= least <= greatest.
    #[error("slopes {min_slope_ratio} to {max_slope_ratio} m/m are not in order, need 0 <= least <= greatest")]
    Slopes {
        /// Given least slope.
        min_slope_ratio: f64,
        /// Given greatest slope.
        max_slope_ratio: f64,
    },
    /// A level, depth or length is not a number, or a length is negative.
    #[error("node {0} has a level, depth or length that is not a number or is negative where it must not be")]
    Node(usize),
    /// The node downstream does not exist.
    #[error("node {node} drains to node {downstream}, which does not exist")]
    Missing {
        /// The node.
        node: usize,
        /// What it names.
        downstream: usize,
    },
    /// The network runs in a circle: break it at one node.
    #[error("node {0} lies on a circle, a channel network must end at an outlet")]
    Circle(usize),
}

/// Inverts of a network, one entry a node, in the order of the nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Inverts {
    /// The greatest feasible invert.
    pub invert_m: Vec<f64>,
    /// Slope of the reach that leaves the node, at most the greatest slope; 0 at an outlet.
    pub slope_ratio: Vec<f64>,
    /// Height of the drop at the foot of the reach that leaves the node; 0 where none is needed.
    pub drop_m: Vec<f64>,
    /// How far the invert lies below the node's `min_invert_m`; 0 where it does not.
    pub deficit_m: Vec<f64>,
    /// The node upstream (or the node itself) whose own level fixes this invert.
    pub controlling_head: Vec<usize>,
}

impl Inverts {
    /// Depth of the invert below the ground (m) at each node.
    #[must_use]
    pub fn depth_m(&self, nodes: &[DrainNode]) -> Vec<f64> {
        nodes.iter().zip(&self.invert_m).map(|(node, invert)| node.ground_m - invert).collect()
    }

    /// Greatest deficit and its node (the lowest index of equals); `None` when every limit is kept.
    #[must_use]
    pub fn worst_deficit(&self) -> Option<(usize, f64)> {
        let mut worst = None;
        for (i, &deficit) in self.deficit_m.iter().enumerate() {
            if deficit > worst.map_or(0.0, |(_, d)| d) {
                worst = Some((i, deficit));
            }
        }
        worst
    }
}

/// Greatest feasible inverts of a tree of channels (or several trees), in linear time.
///
/// Where the fall between two inverts exceeds the greatest slope the reach takes that slope and a drop at its foot takes
/// the rest. Limits below (`min_invert_m`) do not bend the inverts; they are answered by `deficit_m`. Of several
/// nodes that fix an invert equally the node itself, then the lowest index upstream is named.
///
/// # Errors
/// Slopes out of order, senseless nodes, a missing node or a circle.
pub fn grade_inverts(nodes: &[DrainNode], min_slope_ratio: f64, max_slope_ratio: f64) -> Result<Inverts, InvertError> {
    if !(min_slope_ratio >= 0.0 && min_slope_ratio <= max_slope_ratio) {
        return Err(InvertError::Slopes { min_slope_ratio, max_slope_ratio });
    }
    let order = heads_first(nodes)?;
    let mut invert_m: Vec<f64> = nodes.iter().map(DrainNode::ceiling_m).collect();
    let mut controlling_head: Vec<usize> = (0..nodes.len()).collect();
    for &i in &order {
        let Some(down) = nodes[i].downstream else {
            continue;
        };
        let reached_m = invert_m[i] - min_slope_ratio * nodes[i].length_m;
        let head = controlling_head[i];
        let ties_lower = reached_m == invert_m[down] && controlling_head[down] != down && head < controlling_head[down];
        if reached_m < invert_m[down] || ties_lower {
            invert_m[down] = reached_m;
            controlling_head[down] = head;
        }
    }
    let fall = |i: usize| nodes[i].downstream.map(|down| (invert_m[i] - invert_m[down], nodes[i].length_m));
    let drop = |(fall_m, length_m): (f64, f64)| (fall_m - max_slope_ratio * length_m).max(0.0);
    let slope = |(fall_m, length_m): (f64, f64)| {
        if length_m > 0.0 { (fall_m / length_m).min(max_slope_ratio) } else { 0.0 }
    };
    Ok(Inverts {
        slope_ratio: (0..nodes.len()).map(|i| fall(i).map_or(0.0, slope)).collect(),
        drop_m: (0..nodes.len()).map(|i| fall(i).map_or(0.0, drop)).collect(),
        deficit_m: nodes
            .iter()
            .zip(&invert_m)
            .map(|(node, invert)| node.min_invert_m.map_or(0.0, |limit| (limit - invert).max(0.0)))
            .collect(),
        invert_m,
        controlling_head,
    })
}

/// The lowest invert each node may have so that every `min_invert_m` downstream is still kept at the least slope.
///
/// `None` where nothing downstream limits it.
///
/// # Errors
/// As [`grade_inverts`].
pub fn drain_reach_m(nodes: &[DrainNode], min_slope_ratio: f64) -> Result<Vec<Option<f64>>, InvertError> {
    if !(min_slope_ratio >= 0.0 && min_slope_ratio.is_finite()) {
        return Err(InvertError::Slopes { min_slope_ratio, max_slope_ratio: f64::INFINITY });
    }
    let order = heads_first(nodes)?;
    let mut reach_m: Vec<Option<f64>> = nodes.iter().map(|node| node.min_invert_m).collect();
    for &i in order.iter().rev() {
        let from_below =
            nodes[i].downstream.and_then(|down| reach_m[down]).map(|level| level + min_slope_ratio * nodes[i].length_m);
        reach_m[i] = match (reach_m[i], from_below) {
            (Some(own), Some(below)) => Some(own.max(below)),
            (own, below) => own.or(below),
        };
    }
    Ok(reach_m)
}

/// The greatest least slope at which every `min_invert_m` is kept; `None` when no node has one.
///
/// Negative when the network cannot keep its limits even level: the ground must come up or the limit down. Negative
/// infinity when a node's own ground lies too low. Time grows with nodes times the longest path.
///
/// # Errors
/// As [`grade_inverts`].
pub fn available_slope_ratio(nodes: &[DrainNode]) -> Result<Option<f64>, InvertError> {
    heads_first(nodes)?;
    let mut least: Option<f64> = None;
    for head in nodes {
        let (mut node, mut distance_m) = (head, 0.0);
        loop {
            if let Some(limit_m) = node.min_invert_m {
                let fall_m = head.ceiling_m() - limit_m;
                // Without distance only the sign of the fall matters: enough is no limit on the slope.
                let slope = if distance_m > 0.0 { fall_m / distance_m } else { f64::INFINITY.copysign(fall_m) };
                least = Some(least.map_or(slope, |l| l.min(slope)));
            }
            let Some(down) = node.downstream else { break };
            distance_m += node.length_m;
            node = &nodes[down];
        }
    }
    Ok(least)
}

/// Node indices with every node before the one downstream of it; heads in rising index.
fn heads_first(nodes: &[DrainNode]) -> Result<Vec<usize>, InvertError> {
    let mut waiting = vec![0_usize; nodes.len()];
    for (i, node) in nodes.iter().enumerate() {
        let levels = [node.max_invert_m, node.min_invert_m];
        let numbers = node.ground_m.is_finite()
            && node.min_depth_m.is_finite()
            && levels.iter().flatten().all(|level| level.is_finite());
        let length_ok = node.downstream.is_none() || (node.length_m.is_finite() && node.length_m >= 0.0);
        if !(numbers && length_ok) {
            return Err(InvertError::Node(i));
        }
        if let Some(downstream) = node.downstream {
            *waiting.get_mut(downstream).ok_or(InvertError::Missing { node: i, downstream })? += 1;
        }
    }
    let mut order: Vec<usize> = (0..nodes.len()).filter(|&i| waiting[i] == 0).collect();
    let mut next = 0;
    while next < order.len() {
        if let Some(down) = nodes[order[next]].downstream {
            waiting[down] -= 1;
            if waiting[down] == 0 {
                order.push(down);
            }
        }
        next += 1;
    }
    match waiting.iter().position(|&w| w > 0) {
        Some(on_circle) => Err(InvertError::Circle(on_circle)),
        None => Ok(order),
    }
}

#[cfg(test)]
#[path = "inverts_tests.rs"]
mod tests;
