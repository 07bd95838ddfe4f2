//! Names a steering system can show: plain letters, short, no two alike.

use crate::land::blocks::RowBlock;
use std::collections::BTreeSet;

/// Longest name, characters: what a designator of the ISO 11783-10 exchange may hold.
const LONGEST_NAME: usize = 32;

/// `farm_block_R1.83_AB1`, or `..._R1.83_17` for row 17: ASCII, at most 32 characters, no two alike.
pub(super) fn unique_name(farm: &str, block: &RowBlock, row: Option<u32>, taken: &mut BTreeSet<String>) -> String {
    let mut block_part = plain(&block.name);
    if block_part.is_empty() {
        block_part = format!("B{}", block.id);
    }
    block_part.truncate(10);
    let spacing = format!("R{:.2}", block.row_spacing_m);
    let mut number = 1_u32;
    loop {
        let tail = match (row, number) {
            (None, n) => format!("{block_part}_{spacing}_AB{n}"),
            (Some(row), 1) => format!("{block_part}_{spacing}_{row}"),
            (Some(row), n) => format!("{block_part}_{spacing}_{row}-{n}"),
        };
        let mut head = plain(farm);
        head.truncate(LONGEST_NAME.saturating_sub(tail.len() + 1));
        let name = if head.is_empty() { tail } else { format!("{head}_{tail}") };
        if taken.insert(name.clone()) {
            return name;
        }
        number += 1;
    }
}

/// Letters, digits and hyphens as they are, blanks as hyphens, everything else left out.
fn plain(text: &str) -> String {
    let joined = text.split_whitespace().collect::<Vec<_>>().join("-");
    joined.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect()
}
