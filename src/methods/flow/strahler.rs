//! Orders of streams, and streams as lines between heads, junctions and mouths.
//!
//! A cell is a stream where at least `threshold` flows through it. A stream without tributaries has order 1;
//! where two or more streams of the highest order meet, the order rises by one.
//!
//! Shapes: accumulation row-major, one number per cell, never falling downstream (weights not negative).
//! Segments are numbered by their first cell, row by row from the north-west.
//!
//! Source: [`Bibliography::Strahler1957`](crate::bibliography::Bibliography::Strahler1957).
//!
//! How we know: order grids recomputed with an independent program (`textbook_orders`), the rule table
//! (`rule_table`), and a closed account of cells (`segments_hold_every_stream_cell`).

use super::direction::receiver;
use super::frame::Frame;
use crate::grid::FlowField;
use geo::{Coord, LineString};
use serde::{Deserialize, Serialize};

/// A stream between two nodes: from a head or a junction down to the next junction or off the grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StreamSegment {
    /// Position in the list of segments.
    pub id: u32,
    /// Strahler order.
    pub order: u8,
    /// Row-major indices of its own cells, downstream; the junction it runs into belongs to the next one.
    pub cells: Vec<u32>,
    /// Through the cell centres, downstream, on to the junction cell it runs into; where water leaves the
    /// grid it goes half a cell further, to the edge.
    pub line: LineString<f64>,
    /// Its first cell.
    pub head: u32,
    /// Its last own cell.
    pub mouth: u32,
    /// Accumulation in its last own cell.
    pub accumulation: f64,
    /// The segment it runs into; `None` where water leaves the grid.
    pub downstream: Option<u32>,
}

/// Strahler order of each cell with at least `threshold` accumulation, row-major; 0 elsewhere.
#[must_use]
pub fn stream_orders(flow: &FlowField, accumulation: &[f64], threshold: f64) -> Vec<u8> {
    let n = flow.downstream.len();
    let mut order = vec![0_u8; n];
    let mut highest_from_above = vec![0_u8; n];
    let mut times = vec![0_u8; n];
    for i in flow.upstream_first.iter().map(|i| *i as usize) {
        if accumulation[i] < threshold {
            continue;
        }
        order[i] = joined(highest_from_above[i], times[i]);
        let Some(to) = receiver(flow, i) else { continue };
        if order[i] > highest_from_above[to] {
            highest_from_above[to] = order[i];
            times[to] = 1;
        } else if order[i] == highest_from_above[to] {
            times[to] += 1;
        }
    }
    order
}

/// Order below a junction whose highest incoming order is `highest`, met `times` times.
const fn joined(highest: u8, times: u8) -> u8 {
    match (highest, times) {
        (0, _) => 1,
        (order, 1) => order,
        (order, _) => order.saturating_add(1),
    }
}

/// The streams with at least `threshold` accumulation as segments.
#[must_use]
pub fn stream_segments(flow: &FlowField, accumulation: &[f64], threshold: f64) -> Vec<StreamSegment> {
    let n = flow.downstream.len();
    let order = stream_orders(flow, accumulation, threshold);
    let mut inflows = vec![0_u8; n];
    for i in (0..n).filter(|i| order[*i] > 0) {
        if let Some(to) = receiver(flow, i) {
            inflows[to] += 1;
        }
    }
    let starts: Vec<usize> = (0..n).filter(|i| order[*i] > 0 && inflows[*i] != 1).collect();
    let mut on_grid = vec![false; n];
    flow.upstream_first.iter().for_each(|i| on_grid[*i as usize] = true);
    starts
        .iter()
        .enumerate()
        .map(|(id, start)| {
            let mut cells = vec![*start as u32];
            let mut last = *start;
            let mut next = receiver(flow, last);
            while let Some(to) = next.filter(|to| inflows[*to] == 1) {
                cells.push(to as u32);
                last = to;
                next = receiver(flow, last);
            }
            StreamSegment {
                id: id as u32,
                order: order[*start],
                line: line_of(flow, &on_grid, &cells, next),
                head: *start as u32,
                mouth: last as u32,
                accumulation: accumulation[last],
                downstream: next.and_then(|to| starts.binary_search(&to).ok()).map(|s| s as u32),
                cells,
            }
        })
        .collect()
}

fn line_of(flow: &FlowField, on_grid: &[bool], cells: &[u32], next: Option<usize>) -> LineString<f64> {
    let centre = |i: usize| flow.spec.centre(flow.spec.cell(i));
    let mut points: Vec<Coord<f64>> = cells.iter().map(|i| centre(*i as usize)).collect();
    let last = cells.last().map_or(0, |i| *i as usize);
    points.push(match next {
        Some(to) => centre(to),
        None => edge_point(flow, on_grid, last),
    });
    LineString::new(points)
}

/// The point half a cell from a cell's centre towards the first neighbour that is not there.
fn edge_point(flow: &FlowField, on_grid: &[bool], index: usize) -> Coord<f64> {
    let grid = Frame::of(flow.spec);
    let c = flow.spec.centre(flow.spec.cell(index));
    let half = flow.spec.cell_m / 2.0;
    // Straight directions first: a corner is left over a side.
    let outside = [0, 2, 4, 6, 1, 3, 5, 7]
        .into_iter()
        .find(|dir| grid.step(index, *dir).is_none_or(|n| !on_grid[n]))
        .unwrap_or(0);
    let (dr, dc) = crate::grid::NEIGHBOURS[outside];
    Coord { x: c.x + half * dc as f64, y: c.y - half * dr as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::methods::flow::accumulation::textbook_ground;
    use crate::methods::flow::random_ground::ground_with_holes;
    use crate::methods::flow::{accumulate, fill, route};
    use proptest::prelude::*;

    /// Strahler orders on the textbook grid (R package terra, `test_flowAccumulation.R`), recomputed with
    /// pyflwdir's `stream_order` where every cell is a stream and with an own script above thresholds.
    #[test]
    fn textbook_orders() {
        let flow = route(&textbook_ground());
        let acc = accumulate(&flow, &[1.0; 36]);
        let all = [
            1, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 1, 1, 2, 2, 2, 2, 1, 1, 1, 1, 3, 1, 1, 1, 1, 1, 1, 3, 1, 1, 2, 2, 2, 3, 1,
        ];
        assert_eq!(stream_orders(&flow, &acc, 1.0), all);
        let from_two = [
            0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 0, 0, 1, 2, 2, 1, 0, 0, 0, 0, 3, 0, 1, 0, 0, 0, 1, 3, 0, 0, 1, 1, 2, 3, 1,
        ];
        assert_eq!(stream_orders(&flow, &acc, 2.0), from_two);
        let from_four = [
            0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 2, 0, 0, 0, 1, 1, 2, 0,
        ];
        assert_eq!(stream_orders(&flow, &acc, 4.0), from_four);
    }

    /// Strahler (1957), definition of stream order, as a table of what meets and what leaves.
    #[test]
    fn rule_table() {
        let leaves = |orders: &[u8]| {
            let highest = orders.iter().copied().max().unwrap_or(0);
            joined(highest, orders.iter().filter(|o| **o == highest).count() as u8)
        };
        assert_eq!(leaves(&[]), 1);
        assert_eq!(leaves(&[1, 1]), 2);
        assert_eq!(leaves(&[2, 1]), 2);
        assert_eq!(leaves(&[2, 2]), 3);
        assert_eq!(leaves(&[2, 1, 1]), 2);
        assert_eq!(leaves(&[2, 2, 1]), 3);
        assert_eq!(leaves(&[1, 1, 1]), 2);
        assert_eq!(leaves(&[3, 2, 2]), 3);
    }

    proptest! {
        /// Every stream cell belongs to exactly one segment of its own order; lines have length; ids match.
        #[test]
        fn segments_hold_every_stream_cell(ground in ground_with_holes()) {
            let flow = route(&fill(&ground));
            let acc = accumulate(&flow, &vec![1.0; ground.spec.len()]);
            let order = stream_orders(&flow, &acc, 3.0);
            let segments = stream_segments(&flow, &acc, 3.0);
            let mut held = vec![0_u8; order.len()];
            for (k, s) in segments.iter().enumerate() {
                prop_assert_eq!(s.id as usize, k);
                prop_assert!(s.line.0.len() >= 2);
                for i in &s.cells {
                    held[*i as usize] = s.order;
                }
                if let Some(below) = s.downstream {
                    let below = &segments[below as usize];
                    prop_assert!(below.order >= s.order && below.accumulation >= s.accumulation);
                    prop_assert_eq!(receiver(&flow, s.mouth as usize), Some(below.head as usize));
                } else {
                    prop_assert_eq!(receiver(&flow, s.mouth as usize), None);
                }
            }
            let in_segments: usize = segments.iter().map(|s| s.cells.len()).sum();
            prop_assert_eq!(in_segments, order.iter().filter(|o| **o > 0).count());
            prop_assert_eq!(held, order);
        }
    }
}
