//! Work on every entry of a list on all cores; the answers come in the order of the list, whatever the number of threads.
//!
//! Source: the indexed parallel iterators of crate `rayon`, whose `collect` keeps the order.
//! How we know: the answers of one thread and of four are the same list (`order_is_kept`).

use rayon::prelude::*;

/// What `work` makes of each entry, in the order of `list`.
pub fn map_in_order<T: Sync, R: Send>(list: &[T], work: impl Fn(&T) -> R + Sync + Send) -> Vec<R> {
    list.par_iter().map(work).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_is_kept() {
        let list: Vec<u64> = (0..1_000).collect();
        // The early entries take longest, so that late ones are done first.
        let slow = |n: &u64| (0..(1_000 - n) * 50).fold(*n, |a, b| a.wrapping_mul(31).wrapping_add(b));
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a few threads");
            pool.install(|| map_in_order(&list, slow))
        };
        let plain: Vec<u64> = list.iter().map(slow).collect();
        assert_eq!((on(1), on(4)), (plain.clone(), plain));
    }
}
