//! Takes a flow apart into hauls with paths.
//!
//! Every cost of a step is more than nothing, so a cheapest flow runs in no circle: following any step that still carries
//! earth ends at a cell or place that takes it. Each walk empties a step, a giver or a taker, so there are no
//! more walks than steps that carry, plus nodes.
//! Ties: givers by number, steps by number; a cell that still takes stops what passes through it.
//! Source: [`Bibliography::AhujaMagnantiOrlin1993`](crate::bibliography::Bibliography::AhujaMagnantiOrlin1993), section 3.5.
//! How we know: sums against the network (`nothing_is_lost`) and lengths against shortest ways (`agrees_with_brute_force`).

use super::ground::{HaulGround, metres, number};
use super::{HaulEnd, PathHaul, Place, cubic_metres};
use crate::grid::Cell;
use crate::methods::earthwork::transshipment::Transshipment;
use geo::Coord;

/// Steps that carry earth, by node, and what nodes still give or take.
struct Carried {
    /// Position of each node's first step; one more at the end.
    start: Vec<usize>,
    to: Vec<u32>,
    cost: Vec<i64>,
    left: Vec<i64>,
    /// What each node still gives (positive) or takes.
    open: Vec<i64>,
}

impl Carried {
    fn of(network: &Transshipment) -> Self {
        let nodes = network.outside();
        let mut open: Vec<i64> = (0..nodes).map(|n| network.supply(n) - network.unserved(n)).collect();
        let mut steps: Vec<(u32, u32, i64, i64)> = Vec::new();
        for arc in network.arcs().filter(|a| network.flow(*a) > 0) {
            let (from, to) = network.ends(arc);
            let amount = network.flow(arc);
            // What comes from or goes to the outside makes a place a giver or a taker.
            if from == nodes {
                open[to] += amount;
            } else if to == nodes {
                open[from] -= amount;
            } else {
                steps.push((number(from), number(to), network.cost(arc), amount));
            }
        }
        steps.sort_unstable();
        let mut carried = Self { start: vec![0; nodes + 1], to: Vec::new(), cost: Vec::new(), left: Vec::new(), open };
        for (from, to, cost, amount) in steps {
            carried.start[from as usize + 1] += 1;
            carried.to.push(to);
            carried.cost.push(cost);
            carried.left.push(amount);
        }
        for i in 0..nodes {
            carried.start[i + 1] += carried.start[i];
        }
        carried
    }

    /// One walk from a giver: the steps and how much goes; empties what it uses.
    fn walk(&mut self, giver: usize) -> (Vec<usize>, i64) {
        let (mut node, mut amount, mut steps) = (giver, self.open[giver], Vec::new());
        while self.open[node] >= 0 {
            let Some(step) = (self.start[node]..self.start[node + 1]).find(|s| self.left[*s] > 0) else { break };
            amount = amount.min(self.left[step]);
            steps.push(step);
            node = self.to[step] as usize;
        }
        amount = amount.min(-self.open[node]);
        self.open[giver] -= amount;
        self.open[node] += amount;
        for step in &steps {
            self.left[*step] -= amount;
        }
        (steps, amount)
    }
}

/// The hauls of a solved network whose nodes are the cells, then the places.
pub(super) fn hauls(ground: &HaulGround, network: &Transshipment, places: &[Place]) -> Vec<PathHaul> {
    let mut carried = Carried::of(network);
    let cells = ground.spec.len();
    let mut hauls = Vec::new();
    for giver in 0..network.outside() {
        while carried.open[giver] > 0 {
            let (steps, amount) = carried.walk(giver);
            if amount <= 0 {
                // Cannot happen in a flow that balances; stops here rather than for ever.
                debug_assert!(false, "a giver without a way");
                break;
            }
            let nodes: Vec<usize> =
                std::iter::once(giver).chain(steps.iter().map(|s| carried.to[*s] as usize)).collect();
            let path = polyline(ground, places, &nodes);
            let end = |node: usize| {
                if node < cells { HaulEnd::Cell(number(node)) } else { HaulEnd::Place(number(node - cells)) }
            };
            hauls.push(PathHaul {
                from: end(giver),
                to: end(nodes[nodes.len() - 1]),
                volume_m3: cubic_metres(amount),
                length_m: path.windows(2).map(|p| (p[1].x - p[0].x).hypot(p[1].y - p[0].y)).sum(),
                priced_m: metres(steps.iter().map(|s| carried.cost[*s]).sum()),
                path,
            });
        }
    }
    hauls
}

/// Points of a path: cell centres without those on straight runs, and the place itself where it lies off its cell.
fn polyline(ground: &HaulGround, places: &[Place], nodes: &[usize]) -> Vec<Coord<f64>> {
    let cells = ground.spec.len();
    let mut points: Vec<Coord<f64>> = Vec::new();
    let mut last: Option<(Cell, (i64, i64))> = None;
    for node in nodes {
        if *node >= cells {
            let place = &places[*node - cells];
            let is_off = ground.spec.cell_at(place.at).is_none_or(|c| !ground.passable[ground.spec.index(c)]);
            if is_off {
                points.push(place.at);
            }
            continue;
        }
        let cell = ground.spec.cell(*node);
        let step = last.map_or((0, 0), |(from, _)| {
            (i64::from(cell.row) - i64::from(from.row), i64::from(cell.col) - i64::from(from.col))
        });
        if last.is_some_and(|(_, before)| before == step && step != (0, 0)) {
            points.pop();
        }
        points.push(ground.spec.centre(cell));
        last = Some((cell, step));
    }
    points
}
