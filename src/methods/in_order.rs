//! Work on every entry of a list on all cores; the answers come in the order of the list, whatever the number of threads.

use rayon::prelude::*;

/// What `work` makes of each entry, in the order of `list`.
pub fn map_in_order<T: Sync, R: Send>(list: &[T], work: impl Fn(&T) -> R + Sync + Send) -> Vec<R> {
    list.par_iter().map(work).collect()
}
