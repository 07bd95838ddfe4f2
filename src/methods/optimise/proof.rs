//! That an answer of the network simplex is the optimum, from its tree alone, and that its sums fit whole numbers.
//!
//! Source: complementary slackness, [`Bibliography::AhujaMagnantiOrlin1993`](crate::bibliography::Bibliography::AhujaMagnantiOrlin1993).
//! How we know: equal primal and dual costs of every answer, and HiGHS on random blocks (`tests/it/exact_levels.rs`).

use super::network_simplex::Datum;
use super::problem::{Certificate, Engine, Fitted, GraphFit, Link, Reason, Refusal};
use super::spanning_tree::{ENDLESS, SpanningTree};

/// Whether heights, flows and potentials stay far from the end of 64 bits.
pub fn fits(fit: &GraphFit, links: &[Link], scale: i64) -> Result<(), Reason> {
    let room = i128::from(ENDLESS / 4);
    let weights: i128 = fit.cut_weight.iter().chain(&fit.fill_weight).map(|w| i128::from(*w)).sum();
    let longest = links.iter().map(|l| i128::from(l.most.unsigned_abs())).max().unwrap_or(0);
    let highest = fit.ground.iter().map(|g| i128::from(g.unsigned_abs())).max().unwrap_or(0);
    // A path of the tree visits a point once; two bounds of a fixed height may close it.
    let nodes = fit.ground.len() as i128 + 2;
    let spread = highest + nodes * longest;
    let flow = weights * i128::from(scale) + nodes;
    if spread > room || flow > room || links.len() + fit.ground.len() >= u32::MAX as usize {
        return Err(Reason::TooLarge);
    }
    Ok(())
}

/// The heights of a tree with their certificate: flows are found again from the tree, each within its bounds, and their
/// cost must be what the heights cost.
pub fn fitted(fit: &GraphFit, links: &[Link], datum: &[Datum], tree: &SpanningTree) -> Result<Fitted, Refusal> {
    let unproven = Refusal::Fault(Reason::Unproven);
    let n = datum.len();
    let heights = tree.heights[..n].to_vec();
    let cost: i128 = (0..n)
        .map(|p| {
            let cut = fit.ground[p] - heights[p];
            let weight = if cut > 0 { fit.cut_weight[p] } else { fit.fill_weight[p] };
            i128::from(weight) * i128::from(cut.abs())
        })
        .sum();
    let bound = flow_cost(fit, links, datum, tree).ok_or(unproven.clone())?;
    let fair = links.iter().all(|l| tree.heights[l.to as usize] - tree.heights[l.from as usize] <= l.most);
    if !fair || cost != bound {
        return Err(unproven);
    }
    let cost = i64::try_from(cost).map_err(|_| Refusal::Fault(Reason::TooLarge))?;
    Ok(Fitted { heights, certificate: Certificate { cost, bound: cost as f64, engine: Engine::Exact } })
}

/// What the flow of a tree is worth as a bound on the cost; `None` when an arc would carry more than it may.
fn flow_cost(fit: &GraphFit, links: &[Link], datum: &[Datum], tree: &SpanningTree) -> Option<i128> {
    let arcs = links.len() as u32;
    let mut flow: Vec<i64> = vec![0; datum.len() + 1];
    let mut worth = 0_i128;
    let times = |a: i64, b: i64| i128::from(a) * i128::from(b);
    for (p, state) in datum.iter().enumerate() {
        flow[p] = match state {
            Datum::Tree => 0,
            Datum::Cut => -fit.cut_weight[p],
            Datum::Fill => fit.fill_weight[p],
        };
        worth -= times(flow[p], fit.ground[p]);
    }
    let order: Vec<u32> = tree.preorder().collect();
    for at in order.iter().skip(1).rev() {
        // What reaches a node from its branch goes up to its parent.
        let (node, up) = (&tree.nodes[*at as usize], flow[*at as usize]);
        if node.arc < arcs {
            let link = &links[node.arc as usize];
            let forth = if link.from == *at { up } else { -up };
            if forth < 0 {
                return None;
            }
            worth -= times(forth, link.most);
        } else {
            if up > fit.cut_weight[*at as usize] || -up > fit.fill_weight[*at as usize] {
                return None;
            }
            worth += times(up, fit.ground[*at as usize]);
        }
        flow[node.parent as usize] += up;
    }
    (order.len() == datum.len() + 1).then_some(worth)
}
