//! Gives the cells of flats a direction towards the outlets of their flat, without raising anything.
//!
//! Two breadth-first walks over each flat: away from the higher ground around it and, weighted twice,
//! towards the cells that already drain. Water follows the sum down. This keeps water off the sides of a
//! flat, where plain shortest paths would draw it along the edges in parallel lines.
//!
//! Ties: the first neighbour clockwise from east. Time and memory O(n); cells outside flats cost one visit.
//!
//! Source: [`Bibliography::BarnesFlats2014`](crate::bibliography::Bibliography::BarnesFlats2014), algorithms 1 to
//! 6. Difference: flats without an outlet do not occur, because the surface is filled.
//!
//! How we know: properties in `direction` (`all_cells_drain`) and `flat_drains_down_its_middle`.

use super::depressions::Frame;
use super::direction::UNKNOWN;
use crate::grid::Raster;
use std::collections::VecDeque;

/// Replaces every [`UNKNOWN`] direction of a valid cell of a filled surface.
pub(super) fn resolve_flats(surface: &Raster<f32>, grid: Frame, direction: &mut [u8]) {
    let same = |a: usize, b: usize| surface.valid[b] && surface.values[a] == surface.values[b];
    let flat_cells: Vec<usize> = (0..grid.len).filter(|i| surface.valid[*i] && direction[*i] == UNKNOWN).collect();
    if flat_cells.is_empty() {
        return;
    }
    let label = label_flats(grid, &flat_cells, direction, same);
    let away = away_from_higher(surface, grid, &flat_cells, &label);
    let height = greatest_of_each(&label, &away, &flat_cells);
    let towards = towards_lower(grid, &flat_cells, direction, same);
    // An outlet cell of a flat counts 2: below every cell that still needs a direction.
    let mask = |i: usize| -> u32 {
        match away[i] {
            0 => 2 * towards[i],
            steps => 2 * towards[i] + height[label[i] as usize] - steps,
        }
    };
    let found: Vec<u8> = flat_cells.iter().map(|i| lowest(grid, *i, mask, same)).collect();
    for (i, dir) in flat_cells.iter().zip(found) {
        direction[*i] = dir;
    }
}

/// Direction of the neighbour of the same flat with the lowest mask.
fn lowest(grid: Frame, i: usize, mask: impl Fn(usize) -> u32, same: impl Fn(usize, usize) -> bool) -> u8 {
    let mut best = (mask(i), UNKNOWN);
    for dir in 0..8_u8 {
        if let Some(n) = grid.step(i, usize::from(dir)).filter(|n| same(i, *n))
            && mask(n) < best.0
        {
            best = (mask(n), dir);
        }
    }
    best.1
}

/// Number of the connected group each undirected flat cell belongs to; 0 elsewhere.
fn label_flats(grid: Frame, flat_cells: &[usize], direction: &[u8], same: impl Fn(usize, usize) -> bool) -> Vec<u32> {
    let mut label = vec![0_u32; grid.len];
    let mut stack = Vec::new();
    let mut labels = 0;
    for start in flat_cells {
        if label[*start] != 0 {
            continue;
        }
        labels += 1;
        label[*start] = labels;
        stack.push(*start);
        while let Some(here) = stack.pop() {
            for n in grid.neighbours(here) {
                if label[n] == 0 && direction[n] == UNKNOWN && same(here, n) {
                    label[n] = labels;
                    stack.push(n);
                }
            }
        }
    }
    label
}

/// Steps from the cells beside higher ground (those count 1); 0 in flats without higher ground beside them.
fn away_from_higher(surface: &Raster<f32>, grid: Frame, flat_cells: &[usize], label: &[u32]) -> Vec<u32> {
    let mut steps = vec![0_u32; grid.len];
    let mut queue = VecDeque::new();
    for i in flat_cells {
        let higher = |n: usize| surface.valid[n] && surface.values[n] > surface.values[*i];
        if grid.neighbours(*i).any(higher) {
            steps[*i] = 1;
            queue.push_back(*i);
        }
    }
    while let Some(here) = queue.pop_front() {
        for n in grid.neighbours(here) {
            if steps[n] == 0 && label[n] == label[here] {
                steps[n] = steps[here] + 1;
                queue.push_back(n);
            }
        }
    }
    steps
}

/// The greatest number of steps in each labelled flat.
fn greatest_of_each(label: &[u32], steps: &[u32], flat_cells: &[usize]) -> Vec<u32> {
    let labels = flat_cells.iter().map(|i| label[*i]).max().unwrap_or(0);
    let mut greatest = vec![0; labels as usize + 1];
    for i in flat_cells {
        let slot = &mut greatest[label[*i] as usize];
        *slot = steps[*i].max(*slot);
    }
    greatest
}

/// Steps from the cells of the same height that already drain (those count 1).
fn towards_lower(grid: Frame, flat_cells: &[usize], direction: &[u8], same: impl Fn(usize, usize) -> bool) -> Vec<u32> {
    let mut steps = vec![0_u32; grid.len];
    let mut queue = VecDeque::new();
    for i in flat_cells {
        for n in grid.neighbours(*i) {
            if steps[n] == 0 && same(*i, n) && direction[n] != UNKNOWN {
                steps[n] = 1;
                queue.push_back(n);
            }
        }
    }
    while let Some(here) = queue.pop_front() {
        for n in grid.neighbours(here) {
            if steps[n] == 0 && direction[n] == UNKNOWN && same(here, n) {
                steps[n] = steps[here] + 1;
                queue.push_back(n);
            }
        }
    }
    steps
}

#[cfg(test)]
mod tests {
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::{accumulate, route};

    /// The purpose stated in the paper's introduction: flow converges away from the walls of a flat. A long
    /// walled flat with its outlet at the east end carries its water down the middle row.
    #[test]
    fn flat_drains_down_its_middle() {
        let ground = grid_from_text(
            "9 9 9 9 9 9 9 9 9
             9 6 6 6 6 6 6 6 9
             9 6 6 6 6 6 6 6 9
             9 6 6 6 6 6 6 6 5
             9 6 6 6 6 6 6 6 9
             9 6 6 6 6 6 6 6 9
             9 9 9 9 9 9 9 9 9",
            1.0,
        );
        let acc = accumulate(&route(&ground), &vec![1.0; 63]);
        let column: Vec<f64> = (1..6).map(|row| acc[row * 9 + 6]).collect();
        assert!(column[2] > 5.0 * column[0].max(column[4]), "{column:?}");
    }
}
