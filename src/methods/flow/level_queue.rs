//! A priority queue for floods: cells of a small square, handed back by height, lowest first.
//!
//! Heights are sorted into buckets by a rounding that never turns their order round; only the bucket at hand is kept in
//! exact order, in a small heap. A cell is queued at most once, and never below the height handed back last, so
//! the buckets are linked lists through one array and the buckets passed stay empty.
//!
//! Source: two-level bucket queue, [`Bibliography::AhujaMagnantiOrlin1993`](crate::bibliography::Bibliography), section
//! 4.7, with a heap in place of the lower level.
//!
//! How we know: the same order as sorting on random pushes and pops (`hands_back_in_order`).

use super::tile_flood::{SQUARE, ordered_bits};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Number of buckets: a few cells in each.
const BUCKETS: usize = 8192;
/// End of a list.
const NONE: u16 = 0;

/// The queue; cell 0 (a corner of the margin) is never queued and ends the lists.
pub(super) struct LevelQueue {
    first: Vec<u16>,
    next: Box<[u16; SQUARE]>,
    /// One bit for each bucket that holds something.
    filled: [u64; BUCKETS / 64],
    at: usize,
    low: f32,
    per_metre: f32,
    current: BinaryHeap<Reverse<u64>>,
}

impl LevelQueue {
    pub(super) fn new() -> Self {
        Self {
            first: vec![NONE; BUCKETS],
            next: Box::new([NONE; SQUARE]),
            filled: [0; BUCKETS / 64],
            at: 0,
            low: 0.0,
            per_metre: 0.0,
            current: BinaryHeap::new(),
        }
    }

    /// Makes the empty queue ready for heights between `low` and `high`.
    pub(super) fn start(&mut self, low: f32, high: f32) {
        self.at = 0;
        self.low = low;
        self.per_metre = if high > low { (BUCKETS - 1) as f32 / (high - low) } else { 0.0 };
    }

    /// Queues a cell.
    pub(super) fn push(&mut self, height: f32, cell: u16) {
        let bucket = self.bucket(height);
        if bucket <= self.at {
            self.current.push(entry(height, cell));
            return;
        }
        self.next[usize::from(cell)] = self.first[bucket];
        self.first[bucket] = cell;
        self.filled[bucket / 64] |= 1 << (bucket % 64);
    }

    /// The lowest cell, with `level` telling the height of queued cells.
    pub(super) fn pop(&mut self, level: &[f32; SQUARE]) -> Option<u16> {
        loop {
            if let Some(Reverse(entry)) = self.current.pop() {
                return Some(entry as u16);
            }
            let word = (self.at / 64..self.filled.len()).find(|word| self.filled[*word] != 0)?;
            self.at = word * 64 + self.filled[word].trailing_zeros() as usize;
            self.filled[word] &= self.filled[word] - 1;
            let mut cell = std::mem::replace(&mut self.first[self.at], NONE);
            while cell != NONE {
                self.current.push(entry(level[usize::from(cell)], cell));
                cell = self.next[usize::from(cell)];
            }
        }
    }

    /// Casts below zero and of "not a number" give the first bucket, casts above give the last.
    fn bucket(&self, height: f32) -> usize {
        (((height - self.low) * self.per_metre) as usize).min(BUCKETS - 1)
    }
}

fn entry(height: f32, cell: u16) -> Reverse<u64> {
    Reverse((u64::from(ordered_bits(height)) << 16) | u64::from(cell))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The same order as sorting, with cells queued while others are taken out, and the queue used twice.
        #[test]
        fn hands_back_in_order(steps in prop::collection::vec((0_u16..900, any::<bool>()), 1..200)) {
            let mut queue = LevelQueue::new();
            for _ in 0..2 {
                let mut level = [0.0_f32; SQUARE];
                queue.start(-3.0, 6.0);
                let (mut waiting, mut floor) = (Vec::new(), -3.0_f32);
                for (cell, (step, take)) in (1_u16..).zip(&steps) {
                    let height = (f32::from(*step) * 0.01 - 3.0).max(floor);
                    level[usize::from(cell)] = height;
                    queue.push(height, cell);
                    waiting.push(height);
                    if *take {
                        waiting.sort_by(f32::total_cmp);
                        floor = level[usize::from(queue.pop(&level).unwrap())];
                        prop_assert_eq!(floor, waiting.remove(0));
                    }
                }
                waiting.sort_by(f32::total_cmp);
                for height in waiting {
                    prop_assert_eq!(level[usize::from(queue.pop(&level).unwrap())], height);
                }
                prop_assert_eq!(queue.pop(&level), None);
            }
        }
    }
}
