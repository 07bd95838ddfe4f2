//! Gives the cells of flats a direction towards the outlets of their flat, without raising anything.
//!
//! Two breadth-first walks over each flat: away from the higher ground around it and, weighted twice,
//! towards the cells that already drain. Water follows the sum down. This keeps water off the sides of a
//! flat, where plain shortest paths would draw it along the edges in parallel lines.
//!
//! A flat knows nothing of other flats, so they are worked on one by one: those inside a band of rows by the
//! band's thread, the ones that reach into another band afterwards. The result is the same in any order.
//!
//! Ties: the first neighbour clockwise from east. Time O(n); memory 4 bytes a cell; cells outside flats cost one visit.
//!
//! Source: [`Bibliography::BarnesFlats2014`](crate::bibliography::Bibliography::BarnesFlats2014), algorithms 1 to
//! 6. Difference: flats without an outlet do not occur, because the surface is filled.
//!
//! How we know: properties in `direction` (`all_cells_drain`), `flat_drains_down_its_middle`, and the same directions
//! whatever the height of the bands (`bands_do_not_matter`).

use super::direction::UNKNOWN;
use crate::grid::{NEIGHBOURS, Raster};
use rayon::prelude::*;

/// Rows of a band.
const BAND_ROWS: usize = 256;

/// Replaces every [`UNKNOWN`] direction of a filled surface.
pub(super) fn resolve_flats(surface: &Raster<f32>, codes: &mut [u8]) {
    resolve_in_bands(surface, codes, BAND_ROWS);
}

fn resolve_in_bands(surface: &Raster<f32>, codes: &mut [u8], band_rows: usize) {
    let cols = surface.spec.cols as usize;
    if !codes.par_iter().any(|code| *code == UNKNOWN) {
        return;
    }
    let rows = surface.spec.rows as usize;
    let chunk = (band_rows * cols).max(1);
    let mut slot = vec![0_u32; codes.len()];
    let left_over: Vec<bool> = codes
        .par_chunks_mut(chunk)
        .zip(slot.par_chunks_mut(chunk))
        .enumerate()
        .map(|(band, (codes, slot))| {
            let heights = &surface.values[band * chunk..band * chunk + codes.len()];
            let open = (band > 0, (band + 1) * band_rows < rows);
            Flats { cols, heights, codes, slot, open, work: Work::default() }.resolve()
        })
        .collect();
    if left_over.contains(&true) {
        Flats { cols, heights: &surface.values, codes, slot: &mut slot, open: (false, false), work: Work::default() }
            .resolve();
    }
}

/// Direction of a cell whose flat reaches into another band.
const LATER: u8 = 254;

/// A run of whole rows with the flats in it.
struct Flats<'a> {
    cols: usize,
    heights: &'a [f32],
    codes: &'a mut [u8],
    /// Place in the list of the flat at hand, from 1; 0 in all other cells.
    slot: &'a mut [u32],
    /// Whether more rows follow above and below.
    open: (bool, bool),
    work: Work,
}

/// Lists of one flat; reused from flat to flat.
#[derive(Default)]
struct Work {
    cells: Vec<u32>,
    towards: Vec<u32>,
    away: Vec<u32>,
    queue: Vec<u32>,
    found: Vec<u8>,
}

impl Flats<'_> {
    /// Works on every flat; true when some reach into another band and were left.
    fn resolve(mut self) -> bool {
        let mut left_over = false;
        for start in 0..self.codes.len() {
            if self.codes[start] != UNKNOWN && !(self.codes[start] == LATER && self.open == (false, false)) {
                continue;
            }
            let code = self.codes[start];
            if self.gather(start, code) {
                self.walk_towards();
                self.walk_away();
                self.choose();
            } else {
                left_over = true;
                self.work.cells.iter().for_each(|i| self.codes[*i as usize] = LATER);
            }
            self.work.cells.iter().for_each(|i| self.slot[*i as usize] = 0);
        }
        left_over
    }

    /// Lists the cells of a flat; false when it touches a row next to another band.
    fn gather(&mut self, start: usize, code: u8) -> bool {
        let mut whole = true;
        let last_row = self.codes.len() - self.cols;
        self.work.cells.clear();
        self.work.cells.push(start as u32);
        self.slot[start] = 1;
        let mut next = 0;
        while next < self.work.cells.len() {
            let here = self.work.cells[next] as usize;
            next += 1;
            whole &= !(self.open.0 && here < self.cols || self.open.1 && here >= last_row);
            for n in neighbours(self.cols, self.codes.len(), here) {
                if self.codes[n] == code && self.slot[n] == 0 && self.heights[n] == self.heights[here] {
                    self.work.cells.push(n as u32);
                    self.slot[n] = self.work.cells.len() as u32;
                }
            }
        }
        whole
    }

    /// Whether a neighbour is of the same height and drains already.
    fn drains(&self, here: usize, n: usize) -> bool {
        self.slot[n] == 0 && self.heights[n] == self.heights[here] && self.codes[n] <= super::direction::LEAVES
    }

    /// Steps from the draining cells of the same height (those count 1).
    fn walk_towards(&mut self) {
        let mut steps = std::mem::take(&mut self.work.towards);
        steps.clear();
        steps.resize(self.work.cells.len(), 0);
        self.work.queue.clear();
        for (k, i) in self.work.cells.iter().enumerate() {
            let here = *i as usize;
            if neighbours(self.cols, self.codes.len(), here).any(|n| self.drains(here, n)) {
                steps[k] = 2;
                self.work.queue.push(k as u32);
            }
        }
        self.spread(&mut steps);
        self.work.towards = steps;
    }

    /// Steps from the cells beside higher ground (those count 1); 0 in flats without higher ground beside them.
    fn walk_away(&mut self) {
        let mut steps = std::mem::take(&mut self.work.away);
        steps.clear();
        steps.resize(self.work.cells.len(), 0);
        self.work.queue.clear();
        for (k, i) in self.work.cells.iter().enumerate() {
            let here = *i as usize;
            let higher = |n: usize| {
                self.codes[n] != super::direction::NO_CELL && self.heights[n] > self.heights[here]
            };
            if neighbours(self.cols, self.codes.len(), here).any(higher) {
                steps[k] = 1;
                self.work.queue.push(k as u32);
            }
        }
        self.spread(&mut steps);
        self.work.away = steps;
    }

    /// Numbers the cells of the flat by steps from the queued ones.
    fn spread(&mut self, steps: &mut [u32]) {
        let mut next = 0;
        while next < self.work.queue.len() {
            let k = self.work.queue[next] as usize;
            next += 1;
            for n in neighbours(self.cols, self.codes.len(), self.work.cells[k] as usize) {
                let slot = self.slot[n] as usize;
                if slot > 0 && steps[slot - 1] == 0 {
                    steps[slot - 1] = steps[k] + 1;
                    self.work.queue.push(slot as u32 - 1);
                }
            }
        }
    }

    /// Sends each cell to the neighbour of the same flat, or draining beside it, that lies lowest by both walks.
    fn choose(&mut self) {
        let Work { cells, towards, away, found, .. } = &mut self.work;
        let height = away.iter().copied().max().unwrap_or(0);
        let lift = |k: usize| 2 * towards[k] + if away[k] > 0 { height - away[k] } else { 0 };
        found.clear();
        for (k, i) in cells.iter().enumerate() {
            let here = *i as usize;
            let mut best = (lift(k), UNKNOWN);
            for (dir, n) in directed(self.cols, self.codes.len(), here) {
                let lift = match self.slot[n] as usize {
                    // An outlet cell of a flat counts 2: below every cell that still needs a direction.
                    0 if self.heights[n] == self.heights[here] && self.codes[n] <= super::direction::LEAVES => 2,
                    0 => continue,
                    slot => lift(slot - 1),
                };
                if lift < best.0 {
                    best = (lift, dir);
                }
            }
            found.push(best.1);
        }
        for (i, dir) in cells.iter().zip(found.iter()) {
            self.codes[*i as usize] = *dir;
        }
    }
}

/// Directions and indices of the neighbours of a cell in a run of whole rows, clockwise from east.
fn directed(cols: usize, len: usize, here: usize) -> impl Iterator<Item = (u8, usize)> {
    let col = here % cols;
    let (west, east) = (col > 0, col + 1 < cols);
    let (north, south) = (here >= cols, here + cols < len);
    (0_u8..8).zip(NEIGHBOURS).filter_map(move |(dir, (dr, dc))| {
        let on_grid = (dr == 0 || if dr < 0 { north } else { south }) && (dc == 0 || if dc < 0 { west } else { east });
        on_grid.then(|| (dir, here.wrapping_add((dr as isize * cols as isize + dc as isize) as usize)))
    })
}

fn neighbours(cols: usize, len: usize, here: usize) -> impl Iterator<Item = usize> {
    directed(cols, len, here).map(|(_, n)| n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::text::grid_from_text;
    use crate::methods::flow::random_ground::ground_with_holes;
    use crate::methods::flow::{accumulate, directions, fill, route};
    use proptest::prelude::*;

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

    proptest! {
        /// Bands are for speed only.
        #[test]
        fn bands_do_not_matter(ground in ground_with_holes()) {
            let filled = fill(&ground);
            let whole = directions(&filled);
            for rows in [1, 2, 3, 5] {
                let mut codes = crate::methods::flow::direction::without_flats(&filled);
                resolve_in_bands(&filled, &mut codes, rows);
                prop_assert_eq!(&codes, &whole.codes);
            }
        }
    }
}
