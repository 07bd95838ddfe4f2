//! The tree of drains: collectors, the main drains that lead them away, and the stations they are set out by.

use super::collector::Collector;
use super::params::DrainsParams;
use super::route::{Routes, cells_around, distance_m, points_along};
use crate::land::blocks::BlockPlan;
use crate::land::drains::{DrainKind, DrainsTo};
use geo::{Coord, LineString, Simplify};
use std::collections::BTreeMap;

/// A station of a drain, with the reach that leaves it.
#[derive(Debug, Clone)]
pub struct Node {
    /// Position of its drain in [`Network::drains`].
    pub drain: usize,
    /// Place.
    pub at: Coord<f64>,
    /// Ground (design where formed), metres.
    pub ground_m: f64,
    /// Least depth of the bed below the ground, metres.
    pub min_depth_m: f64,
    /// Highest bed the row ends here allow, metres.
    pub max_invert_m: Option<f64>,
    /// Lowest bed allowed (at ends only), metres.
    pub min_invert_m: Option<f64>,
    /// Next node downstream.
    pub down: Option<usize>,
    /// Length of the reach to it, metres on the ground.
    pub length_m: f64,
    /// Land whose rows end here, hectares.
    pub area_ha: f64,
    /// Longest row that ends here, metres on the ground.
    pub row_m: f64,
}

/// A drain before it is sized.
#[derive(Debug, Clone)]
pub struct DraftDrain {
    /// What it does.
    pub kind: DrainKind,
    /// Position of its block, for a collector.
    pub block: Option<usize>,
    /// Nodes from head to mouth. The last one belongs to the drain it joins, if it joins one.
    pub nodes: Vec<usize>,
    /// Where it ends.
    pub to: DrainsTo,
}

/// All drains as one tree.
#[derive(Debug, Clone, Default)]
pub struct Network {
    /// Nodes.
    pub nodes: Vec<Node>,
    /// Drains, those nearest to where water leaves first; their numbers are their positions plus one.
    pub drains: Vec<DraftDrain>,
    /// The node that takes a row, by (position of block, position of row).
    pub node_of_row: BTreeMap<(usize, usize), usize>,
}

impl Network {
    /// The end of the tree a node drains to.
    #[must_use]
    pub fn last(&self, mut node: usize) -> usize {
        while let Some(down) = self.nodes[node].down {
            node = down;
        }
        node
    }
    /// Where the water of a node leaves the drains.
    #[must_use]
    pub fn leaves_to(&self, node: usize) -> DrainsTo {
        self.drains[self.nodes[self.last(node)].drain].to.clone()
    }
    /// Nodes, every one before the one downstream of it.
    #[must_use]
    pub fn heads_first(&self) -> Vec<usize> {
        let mut waiting = vec![0_usize; self.nodes.len()];
        for down in self.nodes.iter().filter_map(|n| n.down) {
            waiting[down] += 1;
        }
        let mut order: Vec<usize> = (0..waiting.len()).filter(|i| waiting[*i] == 0).collect();
        let mut next = 0;
        while let Some(i) = order.get(next).copied() {
            next += 1;
            if let Some(down) = self.nodes[i].down {
                waiting[down] -= 1;
                if waiting[down] == 0 {
                    order.push(down);
                }
            }
        }
        order
    }
}

/// What a row brings to its node.
pub struct RowWater<'a> {
    /// Land of a row, hectares, by (position of block, position of row).
    pub area_ha: &'a dyn Fn(usize, usize) -> f64,
    /// Highest bed a row's low end allows, metres.
    pub max_invert_m: &'a dyn Fn(usize, usize) -> Option<f64>,
    /// Ground at a place, metres.
    pub ground_m: &'a dyn Fn(Coord<f64>) -> Option<f64>,
    /// Metres on the ground per metre of grid at a place.
    pub ground_per_grid: &'a dyn Fn(Coord<f64>) -> f64,
}

/// Lays collectors and main drains, nearest to an end first, each joining what already lies there. Main drains are at
/// least `main_depth_m` deep.
#[must_use]
pub fn lay(
    collectors: &[Collector],
    routes: &Routes,
    blocks: &BlockPlan,
    water: &RowWater<'_>,
    p: &DrainsParams,
    main_depth_m: f64,
) -> Network {
    let mut order: Vec<(f64, usize, Vec<Coord<f64>>)> = collectors
        .iter()
        .enumerate()
        .map(|(i, c)| {
            let line = towards_mouth(&c.line, routes, water, p.min_fall());
            (line.last().map_or(f64::INFINITY, |mouth| routes.value(*mouth)), i, line)
        })
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut layer = Layer { net: Network::default(), owner: BTreeMap::new(), routes, water, p, main_depth_m };
    for (_, i, line) in order {
        layer.lay_one(&collectors[i], &line, blocks);
    }
    layer.net
}

/// Turns a collector so that its mouth is at the end that leaves the deeper bed at the outlet: the higher head wins.
fn towards_mouth(line: &[Coord<f64>], routes: &Routes, water: &RowWater<'_>, fall: f64) -> Vec<Coord<f64>> {
    let (Some(first), Some(last)) = (line.first(), line.last()) else { return Vec::new() };
    let score = |at: Coord<f64>| {
        let ground_m = (water.ground_m)(at).unwrap_or(f64::INFINITY);
        ground_m + fall * routes.length_m(at)
    };
    let mut line = line.to_vec();
    if score(*first) < score(*last) {
        line.reverse();
    }
    line
}

struct Layer<'a> {
    net: Network,
    /// The drain that lies in a routing cell.
    owner: BTreeMap<usize, usize>,
    routes: &'a Routes,
    water: &'a RowWater<'a>,
    p: &'a DrainsParams,
    main_depth_m: f64,
}

impl Layer<'_> {
    fn lay_one(&mut self, collector: &Collector, line: &[Coord<f64>], blocks: &BlockPlan) {
        let Some(mouth) = line.last().copied() else { return };
        // The main drain first, so that the collector's mouth can be its head.
        let (head, to) = self.lay_main(mouth);
        let mut stations = points_along(line, self.p.station_spacing_m);
        match head {
            Some(head) if distance_m(self.net.nodes[head].at, mouth) < 1.0 => {
                stations.pop();
            }
            None if stations.len() < 2 => return,
            _ => {}
        }
        let drain = self.net.drains.len();
        let mut nodes: Vec<usize> = stations.iter().map(|at| self.node(*at, self.p.collector_depth_m)).collect();
        for n in &nodes {
            self.net.nodes[*n].drain = drain;
        }
        let own_count = nodes.len();
        nodes.extend(head);
        self.link(&nodes);
        if own_count > 0 {
            let block = Some(collector.block);
            self.net.drains.push(DraftDrain { kind: DrainKind::Collector, block, nodes: nodes.clone(), to });
            self.own(line, drain);
            nodes.truncate(own_count);
        }
        self.take_rows(collector, &nodes, blocks);
    }

    /// Lays the way from a mouth to an end or to a drain that is there already; gives the node the mouth drains to
    /// and what it belongs to.
    fn lay_main(&mut self, mouth: Coord<f64>) -> (Option<usize>, DrainsTo) {
        let Some(start) = self.routes.start(mouth) else { return (None, DrainsTo::Nowhere) };
        let path = self.routes.path(start);
        let joins = path.iter().position(|cell| self.owner.contains_key(cell));
        let spec = self.routes.spec;
        let mut line = vec![mouth];
        let upto = joins.unwrap_or(path.len());
        line.extend(path[..upto].iter().skip(1).map(|cell| spec.centre(spec.cell(*cell))));
        let drain = self.net.drains.len();
        let (tail, to, level_m) = if let Some(at) = joins {
            let other = self.owner[&path[at]];
            let node = self.nearest_node(other, line.last().copied().unwrap_or(mouth));
            if at == 0 || line.len() == 1 {
                return (Some(node), DrainsTo::Drain(number(other)));
            }
            (Some(node), DrainsTo::Drain(number(other)), None)
        } else {
            let end = path.last().and_then(|cell| self.routes.end(*cell));
            if let Some(end) = end {
                line.pop();
                if line.is_empty() {
                    line.push(mouth);
                }
                line.push(end.at);
            }
            (None, end.map_or(DrainsTo::Nowhere, |e| e.to.clone()), end.map(|e| e.level_m))
        };
        let straight = LineString(line).simplify(0.6 * spec.cell_m).0;
        let stations = points_along(&straight, self.p.station_spacing_m);
        let mut nodes: Vec<usize> = stations.iter().map(|at| self.node(*at, self.main_depth_m)).collect();
        for n in &nodes {
            self.net.nodes[*n].drain = drain;
        }
        if let (Some(last), Some(level_m)) = (nodes.last(), level_m) {
            let end = &mut self.net.nodes[*last];
            end.min_invert_m = Some(level_m);
            // What runs out over the ground needs no depth of its own there.
            end.min_depth_m = end.min_depth_m.min((end.ground_m - level_m).max(0.0));
        }
        nodes.extend(tail);
        self.link(&nodes);
        let head = nodes.first().copied();
        self.net.drains.push(DraftDrain { kind: DrainKind::Main, block: None, nodes, to });
        for cell in &path[..upto] {
            self.owner.entry(*cell).or_insert(drain);
        }
        (head, DrainsTo::Drain(number(drain)))
    }

    fn node(&mut self, at: Coord<f64>, min_depth_m: f64) -> usize {
        let known = (self.water.ground_m)(at);
        // Just off the surveyed ground the last known height stands in.
        let ground_m = known.or_else(|| self.net.nodes.last().map(|n| n.ground_m)).unwrap_or(0.0);
        self.net.nodes.push(Node {
            drain: usize::MAX,
            at,
            ground_m,
            min_depth_m,
            max_invert_m: None,
            min_invert_m: None,
            down: None,
            length_m: 0.0,
            area_ha: 0.0,
            row_m: 0.0,
        });
        self.net.nodes.len() - 1
    }

    fn link(&mut self, nodes: &[usize]) {
        for pair in nodes.windows(2) {
            let (from, to) = (self.net.nodes[pair[0]].at, self.net.nodes[pair[1]].at);
            self.net.nodes[pair[0]].down = Some(pair[1]);
            self.net.nodes[pair[0]].length_m = distance_m(from, to) * (self.water.ground_per_grid)(from);
        }
    }

    fn nearest_node(&self, drain: usize, at: Coord<f64>) -> usize {
        let nodes = &self.net.drains[drain].nodes;
        let nearest = nodes.iter().copied().min_by(|a, b| {
            let d = |i: usize| distance_m(self.net.nodes[i].at, at);
            d(*a).total_cmp(&d(*b)).then(a.cmp(b))
        });
        nearest.unwrap_or_default()
    }

    /// Marks the cells a collector lies in, so that later drains join it instead of running beside it.
    fn own(&mut self, line: &[Coord<f64>], drain: usize) {
        let spec = self.routes.spec;
        for at in points_along(line, spec.cell_m / 2.0) {
            for cell in cells_around(spec, at, 0.75 * spec.cell_m) {
                self.owner.entry(cell).or_insert(drain);
            }
        }
    }

    fn take_rows(&mut self, collector: &Collector, nodes: &[usize], blocks: &BlockPlan) {
        let block = &blocks.blocks[collector.block];
        let nearest = |net: &Network, row: usize| {
            let low = block.rows[row].low_end();
            nodes.iter().copied().min_by(|a, b| {
                let d = |i: usize| distance_m(net.nodes[i].at, low);
                d(*a).total_cmp(&d(*b)).then(a.cmp(b))
            })
        };
        for row in &collector.far_rows {
            if let Some(n) = nearest(&self.net, *row) {
                self.net.nodes[n].area_ha += (self.water.area_ha)(collector.block, *row);
            }
        }
        for row in &collector.rows {
            let Some(n) = nearest(&self.net, *row) else { continue };
            let node = &mut self.net.nodes[n];
            node.area_ha += (self.water.area_ha)(collector.block, *row);
            node.row_m = node.row_m.max(block.rows[*row].length_m);
            if let Some(level) = (self.water.max_invert_m)(collector.block, *row) {
                node.max_invert_m = Some(node.max_invert_m.map_or(level, |l| l.min(level)));
            }
            self.net.node_of_row.insert((collector.block, *row), n);
        }
    }
}

/// The number of the drain at a position.
#[expect(clippy::cast_possible_truncation, reason = "far fewer drains than 2^32")]
pub const fn number(position: usize) -> u32 {
    position as u32 + 1
}
