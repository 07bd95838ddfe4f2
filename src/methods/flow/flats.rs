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

use super::direction::{LEAVES, UNKNOWN};
use crate::grid::{NEIGHBOURS, Raster};
use rayon::prelude::*;

/// Rows of a band.
const BAND_ROWS: usize = 128;

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
    // Most flats that a band cuts lie whole in a band set off by half; the few that do not are done in one go.
    for (first_rows, passed) in [(band_rows, UNKNOWN), (band_rows.div_ceil(2), LATER), (rows, LAST)] {
        let (first, more) = codes.split_at_mut((first_rows * cols).min(surface.values.len()));
        let mut bands = vec![(0, first)];
        let chunks = more.chunks_mut((band_rows * cols).max(1)).enumerate();
        bands.extend(chunks.map(|(k, codes)| (first_rows + k * band_rows, codes)));
        let band = |slot: &mut Vec<u32>, (row, codes): (usize, &mut [u8])| {
            let heights = &surface.values[row * cols..row * cols + codes.len()];
            if slot.len() < codes.len() {
                // Fresh memory is zero without being touched; most of it never is.
                *slot = vec![0; codes.len()];
            }
            let open = (row > 0, row * cols + codes.len() < surface.values.len());
            Flats { cols, heights, codes, slot, open, passed, work: Work::default() }.resolve()
        };
        let left_over: Vec<bool> = bands.into_par_iter().map_init(Vec::new, band).collect();
        if !left_over.contains(&true) {
            return;
        }
    }
}

/// Direction of a cell whose flat reaches into another band.
const LATER: u8 = 254;
/// Direction of a cell whose flat reaches into another band, where bands are set off by half as well.
const LAST: u8 = 253;

/// A run of whole rows with the flats in it.
///
/// A cell of a flat never lies on the rim of the ground (there it would drain off), so all its neighbours exist; only
/// in the first and last row of a band may they lie in another band.
struct Flats<'a> {
    cols: usize,
    heights: &'a [f32],
    codes: &'a mut [u8],
    /// Place in the list of the flat at hand, from 1; 0 in all other cells.
    slot: &'a mut [u32],
    /// Whether more rows follow above and below.
    open: (bool, bool),
    /// Direction that cells of the flats still to be done have.
    passed: u8,
    work: Work,
}

/// Lists of one flat; reused from flat to flat.
#[derive(Default)]
struct Work {
    cells: Vec<u32>,
    /// Direction of a neighbour of the same height that drains already, else [`UNKNOWN`].
    outlet: Vec<u8>,
    towards: Vec<u32>,
    away: Vec<u32>,
    queue: Vec<u32>,
    beside_higher: Vec<u32>,
}

impl Flats<'_> {
    /// Works on every flat; true when some reach into another band and were left.
    fn resolve(mut self) -> bool {
        let left = if self.passed == UNKNOWN { LATER } else { LAST };
        let mut left_over = false;
        for start in 0..self.codes.len() {
            if self.codes[start] != self.passed {
                continue;
            }
            if self.gather(start, self.passed) {
                self.direct();
            } else {
                left_over = true;
                self.work.cells.iter().for_each(|i| self.codes[*i as usize] = left);
            }
            self.work.cells.iter().for_each(|i| self.slot[*i as usize] = 0);
        }
        left_over
    }

    /// Lists the cells of a flat, with their outlets and the ones beside higher ground; false when the flat touches
    /// a row next to another band.
    fn gather(&mut self, start: usize, code: u8) -> bool {
        let steps = steps(self.cols);
        let (len, height) = (self.codes.len(), self.heights[start]);
        let first = if self.open.0 { self.cols } else { 0 };
        let last = if self.open.1 { len - self.cols } else { len };
        let work = &mut self.work;
        work.cells.clear();
        work.outlet.clear();
        work.beside_higher.clear();
        work.cells.push(start as u32);
        self.slot[start] = 1;
        let mut whole = true;
        let mut next = 0;
        while next < work.cells.len() {
            let here = work.cells[next] as usize;
            whole &= here >= first && here < last;
            let (mut outlet, mut higher) = (UNKNOWN, false);
            for (dir, step) in (0_u8..).zip(steps) {
                let n = here.wrapping_add(step);
                if n >= len {
                    continue;
                }
                let z = self.heights[n];
                higher |= z > height;
                if z == height {
                    if self.codes[n] == code && self.slot[n] == 0 {
                        work.cells.push(n as u32);
                        self.slot[n] = work.cells.len() as u32;
                    } else if self.codes[n] <= LEAVES && outlet == UNKNOWN {
                        outlet = dir;
                    }
                }
            }
            if higher {
                work.beside_higher.push(next as u32);
            }
            work.outlet.push(outlet);
            next += 1;
        }
        whole
    }

    /// Gives every cell of the gathered flat its direction.
    fn direct(&mut self) {
        let work = &mut self.work;
        let n = work.cells.len();
        work.towards.clear();
        work.towards.resize(n, 0);
        work.queue.clear();
        for (k, outlet) in (0_u32..).zip(&work.outlet) {
            if *outlet != UNKNOWN {
                // The outlet cell itself counts 1.
                work.towards[k as usize] = 2;
                work.queue.push(k);
            }
        }
        if work.queue.len() < n {
            let steps = steps(self.cols);
            spread(&work.cells, self.slot, steps, &mut work.queue, &mut work.towards);
            work.away.clear();
            work.away.resize(n, 0);
            work.queue.clear();
            work.queue.extend_from_slice(&work.beside_higher);
            work.queue.iter().for_each(|k| work.away[*k as usize] = 1);
            spread(&work.cells, self.slot, steps, &mut work.queue, &mut work.away);
            self.choose(steps);
        }
        for (i, dir) in self.work.cells.iter().zip(&self.work.outlet) {
            self.codes[*i as usize] = *dir;
        }
    }

    /// Sends each cell that has no outlet beside it to the neighbour of the flat that lies lowest by both walks.
    fn choose(&mut self, steps: [usize; 8]) {
        let Work { cells, outlet, towards, away, .. } = &mut self.work;
        let height = away.iter().copied().max().unwrap_or(0);
        for (lift, away) in towards.iter_mut().zip(away.iter()) {
            *lift = 2 * *lift + if *away > 0 { height - *away } else { 0 };
        }
        for (k, i) in cells.iter().enumerate() {
            if outlet[k] != UNKNOWN {
                continue;
            }
            let mut lowest = towards[k];
            for (dir, step) in (0_u8..).zip(steps) {
                let slot = self.slot[(*i as usize).wrapping_add(step)] as usize;
                if slot > 0 && towards[slot - 1] < lowest {
                    lowest = towards[slot - 1];
                    outlet[k] = dir;
                }
            }
        }
    }
}

/// Numbers the cells of a flat by steps from the queued ones.
fn spread(cells: &[u32], slot: &[u32], steps: [usize; 8], queue: &mut Vec<u32>, number: &mut [u32]) {
    let mut next = 0;
    while next < queue.len() {
        let k = queue[next] as usize;
        next += 1;
        let (here, then) = (cells[k] as usize, number[k] + 1);
        for step in steps {
            let slot = slot[here.wrapping_add(step)] as usize;
            if slot > 0 && number[slot - 1] == 0 {
                number[slot - 1] = then;
                queue.push(slot as u32 - 1);
            }
        }
    }
}

/// What to add to an index, wrapping, to step in each direction of [`NEIGHBOURS`].
fn steps(cols: usize) -> [usize; 8] {
    NEIGHBOURS.map(|(dr, dc)| (dr as isize * cols as isize + dc as isize) as usize)
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
