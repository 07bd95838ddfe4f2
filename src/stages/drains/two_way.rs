//! Rows that part their water at a crest: each half drains for itself, the row is proved by its worse half.

use super::DrainsInput;
use crate::land::blocks::{BlockPlan, Row, RowBlock, RowFall};
use crate::land::drains::{AmongRows, Drains, RowProof};
use crate::land::levelling::LevellingPlan;
use crate::stages::falls::{self, row_fall};
use geo::LineString;

/// The plan with halves for rows, and the falls of the halves after the works.
pub struct Parted {
    pub blocks: BlockPlan,
    pub levelling: Option<LevellingPlan>,
}

/// Halves for the rows of blocks laid out to fall both ways; `None` when there is no such block.
#[must_use]
pub fn parted(input: &DrainsInput<'_>) -> Option<Parted> {
    if !input.blocks.blocks.iter().any(|b| b.judged.two_way) {
        return None;
    }
    let mut parted = Parted { blocks: input.blocks.clone(), levelling: input.levelling.cloned() };
    for block in parted.blocks.blocks.iter_mut().filter(|b| b.judged.two_way) {
        block.rows = halves(input, block);
        let Some(plan) = &mut parted.levelling else { continue };
        let design = &plan.design.0.0;
        let falls: Vec<RowFall> = block.rows.iter().filter_map(|r| row_fall(design, &r.line.0)).collect();
        let all = falls.len() == block.rows.len();
        if let Some(earth) = plan.blocks.iter_mut().find(|e| e.block == block.id) {
            earth.rows_after = if all { falls } else { Vec::new() };
        }
    }
    Some(parted)
}

fn halves(input: &DrainsInput<'_>, block: &RowBlock) -> Vec<Row> {
    let ground = &input.ground.concept.0;
    let surface = input.levelling.map_or(ground, |l| &l.design.0.0);
    let mut rows = Vec::new();
    for row in &block.rows {
        match falls::parted(surface, &row.line.0).or_else(|| falls::parted(ground, &row.line.0)) {
            None => rows.push(row.clone()),
            Some((share, [back, ahead])) => {
                rows.extend([(back, share), (ahead, 1.0 - share)].map(|(half, part)| Row {
                    number: row.number,
                    length_m: row.length_m * part,
                    fall: row_fall(ground, &half),
                    line: LineString(half),
                }));
            }
        }
    }
    rows
}

/// One proof a row again: the worse of its halves.
#[must_use]
pub fn joined(proofs: Vec<RowProof>) -> Vec<RowProof> {
    let rank = |drains: Drains| match drains {
        Drains::No => 0,
        Drains::CannotBeTold => 1,
        Drains::Yes => 2,
    };
    let mut joined: Vec<RowProof> = Vec::new();
    for proof in proofs {
        match joined.last_mut().filter(|last| (last.block, last.row) == (proof.block, proof.row)) {
            Some(last) => {
                let among = worse_half(last.among, proof.among);
                let before = if rank(proof.before) < rank(last.before) { proof.before } else { last.before };
                if rank(proof.after) < rank(last.after) {
                    *last = proof;
                }
                last.before = before;
                last.among = among;
            }
            None => joined.push(proof),
        }
    }
    joined
}

/// Of two halves the deeper water and the larger flow.
fn worse_half(a: Option<AmongRows>, b: Option<AmongRows>) -> Option<AmongRows> {
    let (Some(a), Some(b)) = (a, b) else { return a.or(b) };
    let larger = |x: (f64, f64), y: (f64, f64)| (x.0.max(y.0), x.1.max(y.1));
    Some(AmongRows {
        standing_m: larger(a.standing_m, b.standing_m),
        end_ha: larger(a.end_ha, b.end_ha),
        end_m3_s: larger(a.end_m3_s, b.end_m3_s),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::land::blocks::BlockId;
    use crate::land::drains::DrainsTo;

    #[test]
    fn a_row_is_as_good_as_its_worse_half() {
        let half = |row, before, after| RowProof {
            block: BlockId(1),
            row,
            before,
            after,
            to: DrainsTo::Nowhere,
            margin_m: (0.0, 0.0),
            reason: String::new(),
            among: None,
        };
        let joined = joined(vec![
            half(1, Drains::No, Drains::Yes),
            half(1, Drains::Yes, Drains::CannotBeTold),
            half(2, Drains::Yes, Drains::Yes),
        ]);
        let told: Vec<(u32, Drains, Drains)> = joined.iter().map(|p| (p.row, p.before, p.after)).collect();
        assert_eq!(told, [(1, Drains::No, Drains::CannotBeTold), (2, Drains::Yes, Drains::Yes)]);
    }
}
