//! Why limits cannot be kept together: the chain of fewest limits that comes back below where it began.
//!
//! The simplex meets some chain of that kind, often a long way round. From a point of it (the datum, when it passes there)
//! the cheapest walks of one, two, three limits and so on are found in rounds; the first that comes back below nothing is
//! the shortest through that point.
//!
//! Source: Bellman, R. (1958), On a routing problem, Q. Appl. Math. 16:87, for the rounds (from memory).
//! How we know: a detour on purpose is cut off, and the trial of every cycle of small graphs finds none shorter.

use super::problem::{Conflict, ConflictLink, Link};
use super::spanning_tree::NONE;

/// Labels kept at most, 8 bytes each; a chain so long that it takes more is told as it was met.
const MOST_LABELS: usize = 8_000_000;
/// Points of a chain that does not pass the datum from which a shorter one is looked for.
const STARTS: usize = 8;

/// The conflict told by the shortest chain found from a cycle of links whose limits sum to less than nothing.
pub(super) fn shortest(root: u32, links: &[Link], cycle: Vec<Link>) -> Conflict {
    let leaving = Leaving::new(root as usize + 1, links);
    let starts: Vec<u32> = if cycle.iter().any(|l| l.from == root) {
        vec![root]
    } else {
        let every = cycle.len().div_ceil(STARTS).max(1);
        cycle.iter().step_by(every).map(|l| l.from).collect()
    };
    let mut best = cycle;
    for start in starts {
        if let Some(shorter) = round_trip(&leaving, links, start, best.len()) {
            best = shorter;
        }
    }
    told(root, &best)
}

/// The links that leave each node.
struct Leaving {
    first: Vec<u32>,
    link: Vec<u32>,
}

impl Leaving {
    fn new(nodes: usize, links: &[Link]) -> Self {
        let mut first = vec![0_u32; nodes + 1];
        for link in links {
            first[link.from as usize + 1] += 1;
        }
        for node in 0..nodes {
            first[node + 1] += first[node];
        }
        let mut place = first.clone();
        let mut order = vec![0; links.len()];
        for (i, link) in links.iter().enumerate() {
            let at = &mut place[link.from as usize];
            order[*at as usize] = i as u32;
            *at += 1;
        }
        Self { first, link: order }
    }

    fn of(&self, node: u32) -> &[u32] {
        &self.link[self.first[node as usize] as usize..self.first[node as usize + 1] as usize]
    }
}

/// A link taken and the label it was taken from.
#[derive(Clone, Copy)]
struct Label {
    link: u32,
    before: u32,
}

/// The round trip of fewest links, fewer than `under`, whose limits sum to less than nothing.
fn round_trip(leaving: &Leaving, links: &[Link], start: u32, under: usize) -> Option<Vec<Link>> {
    let mut cheapest = vec![i64::MAX; leaving.first.len() - 1];
    let mut labels: Vec<Label> = Vec::new();
    let mut latest = vec![NONE; cheapest.len()];
    let mut front = vec![(start, 0_i64, NONE)];
    for _ in 1..under {
        let mut touched = Vec::new();
        let began = labels.len();
        for (node, so_far, before) in &front {
            for link in leaving.of(*node) {
                let Link { to, most, .. } = links[*link as usize];
                let sum = so_far + most;
                let known = if to == start { cheapest[to as usize].min(0) } else { cheapest[to as usize] };
                if sum >= known {
                    continue;
                }
                // A node reached twice in a round keeps the better label only.
                let label = Label { link: *link, before: *before };
                cheapest[to as usize] = sum;
                if latest[to as usize] != NONE && latest[to as usize] as usize >= began {
                    labels[latest[to as usize] as usize] = label;
                } else {
                    latest[to as usize] = labels.len() as u32;
                    labels.push(label);
                    touched.push(to);
                }
            }
        }
        if cheapest[start as usize] < 0 {
            return Some(simple(links, &labels, latest[start as usize]));
        }
        if touched.is_empty() || labels.len() > MOST_LABELS {
            return None;
        }
        front = touched.into_iter().map(|node| (node, cheapest[node as usize], latest[node as usize])).collect();
    }
    None
}

/// The walk up to a label, or the part of it that is a round trip below nothing by itself.
fn simple(links: &[Link], labels: &[Label], last: u32) -> Vec<Link> {
    let mut walk = Vec::new();
    let mut at = last;
    while at != NONE {
        walk.push(links[labels[at as usize].link as usize]);
        at = labels[at as usize].before;
    }
    walk.reverse();
    let mut path: Vec<Link> = Vec::new();
    for link in walk {
        path.push(link);
        if let Some(from) = path.iter().position(|l| l.from == link.to) {
            if path[from..].iter().map(|l| l.most).sum::<i64>() < 0 {
                return path.split_off(from);
            }
            path.truncate(from);
        }
    }
    path
}

/// A cycle as a chain, begun at the datum if it passes there.
fn told(root: u32, cycle: &[Link]) -> Conflict {
    let excess = -cycle.iter().map(|l| l.most).sum::<i64>();
    let begin = cycle.iter().position(|l| l.from == root).unwrap_or(0);
    let link = |link: &Link| match (link.from == root, link.to == root) {
        (true, _) => ConflictLink::Highest { point: link.to, height: link.most },
        (_, true) => ConflictLink::Lowest { point: link.from, height: -link.most },
        _ => ConflictLink::Between(*link),
    };
    Conflict { chain: cycle[begin..].iter().chain(&cycle[..begin]).map(link).collect(), excess }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn link(from: u32, to: u32, most: i64) -> Link {
        Link { from, to, most }
    }

    #[test]
    fn a_detour_is_cut_off() {
        // Datum 4. Held at 10, the row 0-1-2-3 falls two at a time and may not end below 7; point 3 also by 0-3 alone.
        let row = [link(4, 0, 10), link(0, 1, -2), link(1, 2, -2), link(2, 3, -2), link(3, 4, -7)];
        let links: Vec<Link> = row.iter().copied().chain([link(0, 3, -4)]).collect();
        let found = shortest(4, &links, row.to_vec());
        assert_eq!(found.excess, 1);
        assert_eq!(
            found.chain,
            [
                ConflictLink::Highest { point: 0, height: 10 },
                ConflictLink::Between(link(0, 3, -4)),
                ConflictLink::Lowest { point: 3, height: 7 },
            ]
        );
    }

    /// Fewest links of a simple cycle through a node that sums to less than nothing, by trial of all.
    fn fewest(links: &[Link], start: u32, at: u32, sum: i64, seen: &mut Vec<u32>) -> Option<usize> {
        let mut best: Option<usize> = None;
        for l in links.iter().filter(|l| l.from == at) {
            let found = if l.to == start {
                (sum + l.most < 0).then_some(1)
            } else if seen.contains(&l.to) {
                None
            } else {
                seen.push(l.to);
                let rest = fewest(links, start, l.to, sum + l.most, seen);
                seen.pop();
                rest.map(|n| n + 1)
            };
            best = best.into_iter().chain(found).min();
        }
        best
    }

    proptest! {
        #[test]
        fn none_is_shorter(ends in prop::collection::vec((0_u32..6, 0_u32..6, -3_i64..6), 1..16)) {
            let links: Vec<Link> = ends.iter().filter(|e| e.0 != e.1).map(|e| link(e.0, e.1, e.2)).collect();
            let leaving = Leaving::new(6, &links);
            let least = fewest(&links, 0, 0, 0, &mut vec![0]);
            if let Some(found) = round_trip(&leaving, &links, 0, 9) {
                prop_assert!(found.iter().map(|l| l.most).sum::<i64>() < 0);
                prop_assert!(found.iter().zip(found.iter().cycle().skip(1)).all(|(a, b)| a.to == b.from));
                prop_assert!(least.is_none_or(|least| found.len() <= least));
            } else {
                prop_assert_eq!(least, None);
            }
        }
    }
}
