//! Depressions inside depressions: how deep, how wide, how much, and where each spills.
//!
//! Water rises in a depression until it reaches its lowest pass. If the land beyond the pass is another depression of the
//! same pool, the two become parts of a larger one; the last one spills over the rim of the pool. Depressions
//! less deep or less wide than asked are part of the one they spill into and are not told apart: on surveyed ground
//! nearly all are noise.
//!
//! Shapes and units: ground and filled surface of the same grid, metres; areas m2, volumes m3. Order: pool by pool, parts
//! before the whole, by rising spill level. Time O(n log n) in the number of wet cells.
//!
//! Source: [`Bibliography::BarnesCallaghanWickert2020`](crate::bibliography::Bibliography::BarnesCallaghanWickert2020).
//! Difference: the tree is built from the sorted cells of each pool, and depressions that are too small are left out.
//!
//! How we know: two basins under one lake worked out by hand (`two_basins_in_a_lake`), volumes against the filled
//! surface and every pool's own account on random grounds (`wholes_hold_what_was_filled`).

use super::frame::Frame;
use super::ponding::{Pond, ponds};
use crate::grid::{Cell, Raster};
use serde::{Deserialize, Serialize};

/// A depression, filled to the level at which it spills.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Depression {
    /// The depression it becomes part of when it spills, by place in the list; `None` when it spills downstream.
    pub parent: Option<u32>,
    /// Its lowest cell (the first among equals).
    pub floor: Cell,
    /// The cell it spills over: its pour point.
    pub pour: Cell,
    /// Level it spills at, metres.
    pub spill_m: f64,
    /// Greatest depth, metres.
    pub depth_m: f64,
    /// Wet area, square metres.
    pub area_m2: f64,
    /// Volume held, its parts included, cubic metres.
    pub volume_m3: f64,
}

/// The depressions of at least `min_depth_m` greatest depth and `min_area_m2` wet area, as a tree.
///
/// `filled` is [`fill`](super::fill) of `ground`.
#[must_use]
pub fn depressions(ground: &Raster<f32>, filled: &Raster<f32>, min_depth_m: f64, min_area_m2: f64) -> Vec<Depression> {
    let mut tree = Tree { ground, frame: Frame::new(ground), min_depth_m, min_area_m2, found: Vec::new() };
    let mut part_of = vec![0_u32; ground.spec.len()];
    for pool in ponds(ground, filled, min_depth_m, min_area_m2) {
        tree.grow(&pool, &mut part_of);
    }
    tree.found
}

struct Tree<'a> {
    ground: &'a Raster<f32>,
    frame: Frame,
    min_depth_m: f64,
    min_area_m2: f64,
    found: Vec<Depression>,
}

/// A connected part of a pool, wet up to the cell at hand.
#[derive(Clone)]
struct Part {
    /// Itself, or the part it was joined to.
    joined_to: usize,
    floor: usize,
    /// Cells and the sum of their heights.
    cells: f64,
    height_sum: f64,
    /// How many cells lie exactly at `top_m`, the highest so far.
    top_m: f64,
    at_top: f64,
    /// Depressions already closed inside it that are nobody's parts yet.
    inner: Vec<u32>,
}

impl Tree<'_> {
    /// Lets water rise in one pool, cell by cell. `part_of` is zero outside the call.
    fn grow(&mut self, pool: &Pond, part_of: &mut [u32]) {
        let mut order = pool.cells.clone();
        order.sort_by(|a, b| self.height(*a as usize).total_cmp(&self.height(*b as usize)).then(a.cmp(b)));
        let mut parts: Vec<Part> = Vec::new();
        for i in order.iter().map(|i| *i as usize) {
            let mut beside: Vec<usize> = self
                .frame
                .neighbours(i)
                .filter(|n| part_of[*n] > 0)
                .map(|n| root(&mut parts, part_of[n] as usize - 1))
                .collect();
            beside.sort_unstable();
            beside.dedup();
            let own = match beside[..] {
                [] => {
                    parts.push(Part {
                        joined_to: parts.len(),
                        floor: i,
                        cells: 0.0,
                        height_sum: 0.0,
                        top_m: f64::NEG_INFINITY,
                        at_top: 0.0,
                        inner: Vec::new(),
                    });
                    parts.len() - 1
                }
                [only] => only,
                _ => self.join(&mut parts, &beside, i),
            };
            parts[own].add(self.height(i));
            part_of[i] = own as u32 + 1;
        }
        if !parts.is_empty() {
            let last = root(&mut parts, 0);
            self.close(&mut parts[last], pool.level_m, pool.spill);
        }
        order.iter().for_each(|i| part_of[*i as usize] = 0);
    }

    fn height(&self, i: usize) -> f64 {
        f64::from(self.ground.values[i])
    }

    /// Joins parts that meet at a pass. Where more than one is worth telling, each is a depression of its own.
    fn join(&mut self, parts: &mut [Part], meeting: &[usize], pass: usize) -> usize {
        let level = self.height(pass);
        let worth: Vec<usize> = meeting.iter().copied().filter(|p| self.is_worth_telling(&parts[*p], level)).collect();
        if worth.len() > 1 {
            for p in worth {
                self.close(&mut parts[p], level, self.ground.spec.cell(pass));
            }
        }
        let first = meeting[0];
        for other in &meeting[1..] {
            let part = parts[*other].clone();
            parts[*other].joined_to = first;
            parts[first].take(part, |i| self.height(i));
        }
        first
    }

    fn is_worth_telling(&self, part: &Part, level: f64) -> bool {
        let area_m2 = part.below(level) * self.ground.spec.cell_area_m2();
        let depth_m = level - self.height(part.floor);
        depth_m > 0.0 && depth_m >= self.min_depth_m && area_m2 >= self.min_area_m2
    }

    /// Puts a part in the list, with what was closed inside it as its parts.
    fn close(&mut self, part: &mut Part, spill_m: f64, pour: Cell) {
        let id = self.found.len() as u32;
        for inner in part.inner.drain(..) {
            self.found[inner as usize].parent = Some(id);
        }
        let cell_area = self.ground.spec.cell_area_m2();
        self.found.push(Depression {
            parent: None,
            floor: self.ground.spec.cell(part.floor),
            pour,
            spill_m,
            depth_m: spill_m - self.height(part.floor),
            area_m2: part.below(spill_m) * cell_area,
            volume_m3: (part.cells * spill_m - part.height_sum) * cell_area,
        });
        part.inner.push(id);
    }
}

impl Part {
    fn add(&mut self, height: f64) {
        self.at_top = if height > self.top_m { 1.0 } else { self.at_top + 1.0 };
        self.top_m = height;
        self.cells += 1.0;
        self.height_sum += height;
    }
    /// Number of cells lower than a level that is not below any of them.
    fn below(&self, level: f64) -> f64 {
        if self.top_m < level { self.cells } else { self.cells - self.at_top }
    }
    fn take(&mut self, other: Self, height: impl Fn(usize) -> f64) {
        if (height(other.floor), other.floor) < (height(self.floor), self.floor) {
            self.floor = other.floor;
        }
        self.at_top = match self.top_m.total_cmp(&other.top_m) {
            std::cmp::Ordering::Less => other.at_top,
            std::cmp::Ordering::Equal => self.at_top + other.at_top,
            std::cmp::Ordering::Greater => self.at_top,
        };
        self.top_m = self.top_m.max(other.top_m);
        self.cells += other.cells;
        self.height_sum += other.height_sum;
        self.inner.extend(other.inner);
    }
}

fn root(parts: &mut [Part], part: usize) -> usize {
    let mut here = part;
    while parts[here].joined_to != here {
        parts[here].joined_to = parts[parts[here].joined_to].joined_to;
        here = parts[here].joined_to;
    }
    here
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::fill;
    use crate::methods::flow::random_ground::ground_with_holes;
    use proptest::prelude::*;

    /// By hand: basins 3 m and 2 m below a sill at 4, in a lake that spills at 5. The western one holds 3 + 2, the eastern
    /// 2 + 1 up to the sill; the lake holds (5 - 1) + (5 - 2) + (5 - 4) + (5 - 3) + (5 - 2) = 13.
    #[test]
    fn two_basins_in_a_lake() {
        let ground = grid_from_text(
            "9 9 9 9 9 9 9
             9 1 2 4 3 2 5
             9 9 9 9 9 9 9",
            1.0,
        );
        let tree = depressions(&ground, &fill(&ground), 0.5, 1.0);
        assert_eq!(tree.len(), 3);
        let told: Vec<_> = tree.iter().map(|d| (d.parent, d.spill_m, d.depth_m, d.area_m2, d.volume_m3)).collect();
        assert_eq!(told[0], (Some(2), 4.0, 3.0, 2.0, 5.0));
        assert_eq!(told[1], (Some(2), 4.0, 2.0, 2.0, 3.0));
        assert_eq!(told[2], (None, 5.0, 4.0, 5.0, 13.0));
        assert_eq!((tree[0].pour, tree[2].pour), (Cell::new(1, 3), Cell::new(1, 6)));
        assert_eq!((tree[1].floor, tree[2].floor), (Cell::new(1, 5), Cell::new(1, 1)));
        // A basin that is too shallow is part of the lake, without a name.
        assert_eq!(depressions(&ground, &fill(&ground), 2.5, 1.0).len(), 1);
    }

    proptest! {
        #[test]
        fn wholes_hold_what_was_filled(ground in ground_with_holes()) {
            let filled = fill(&ground);
            let tree = depressions(&ground, &filled, 0.0, 0.0);
            let tops = tree.iter().filter(|d| d.parent.is_none()).map(|d| d.volume_m3).sum::<f64>();
            let added: f64 = ground.iter().zip(filled.iter()).map(|((_, z), (_, f))| f64::from(f) - f64::from(z)).sum();
            prop_assert!((tops - added * 25.0).abs() < 1e-6);
            let pools = ponds(&ground, &filled, 0.0, 0.0);
            let whole: Vec<&Depression> = tree.iter().filter(|d| d.parent.is_none()).collect();
            prop_assert_eq!(pools.len(), whole.len());
            for (pool, top) in pools.iter().zip(whole) {
                prop_assert_eq!((pool.level_m, pool.max_depth_m, pool.area_m2), (top.spill_m, top.depth_m, top.area_m2));
            }
            for part in &tree {
                prop_assert!(part.depth_m > 0.0);
                if let Some(whole) = part.parent.map(|p| &tree[p as usize]) {
                    prop_assert!(whole.spill_m >= part.spill_m && whole.volume_m3 >= part.volume_m3);
                }
            }
        }
    }
}
