//! Drains, proofs and water among the rows of the made-up farm.

use super::farm::{at, line};
use crate::land::blocks::{BlockId, BlockPlan};
use crate::land::drains::*;
use crate::land::levelling::HaulMachine;
use crate::units::{Range, Slope};
use geo::MultiLineString;

pub(super) fn drains(blocks: &BlockPlan) -> DrainPlan {
    let drain = |id: u32, x0: f64, x1: f64, to| Drain {
        id,
        kind: if id == 4 { DrainKind::Main } else { DrainKind::Collector },
        block: (id < 4).then_some(BlockId(id)),
        line: line(&[(x0, 112.0), (x1, 112.0)]),
        stations: vec![
            DrainStation {
                station_m: 0.0,
                at: at(x0, 112.0),
                ground_m: 20.2,
                invert_m: 19.5,
                drop_m: 0.0,
                bottom_m: 1.0,
            },
            DrainStation {
                station_m: x1 - x0,
                at: at(x1, 112.0),
                ground_m: 20.0,
                invert_m: 19.2,
                drop_m: 0.0,
                bottom_m: 1.0,
            },
        ],
        section: DrainSection { bottom_m: 1.0, batter_h_per_v: 2.0, depth_m: 0.8 },
        grade: Slope::from_percent(0.125),
        catchment_ha: 9.5,
        rational_m3_s: 0.42,
        coefficient_m3_s: 0.11,
        design_m3_s: 0.42,
        flow_depth_m: 0.45,
        velocity_m_s: 0.5,
        velocity_limit_m_s: 0.7,
        excavation_m3: 420.0,
        to,
        deficit_m: 0.0,
    };
    let mut proofs = Vec::new();
    for b in &blocks.blocks {
        for r in &b.rows {
            let (before, after) = match r.number % 10 {
                0 => (Drains::No, Drains::CannotBeTold),
                1..4 => (Drains::No, Drains::Yes),
                _ => (Drains::Yes, Drains::Yes),
            };
            proofs.push(RowProof {
                block: b.id,
                row: r.number,
                before,
                after,
                to: DrainsTo::Drain(b.id.0),
                margin_m: (0.1, 0.4),
                reason: String::new(),
                among: Some(AmongRows { standing_m: (0.08, 0.01), end_ha: (0.9, 0.4), end_m3_s: (0.06, 0.03) }),
            });
        }
    }
    DrainPlan {
        drains: vec![
            drain(1, 30.0, 250.0, DrainsTo::Drain(2)),
            drain(2, 270.0, 500.0, DrainsTo::Drain(3)),
            drain(3, 520.0, 720.0, DrainsTo::Drain(4)),
            drain(4, 720.0, 775.0, DrainsTo::Outlet(1)),
        ],
        proofs,
        row_ponds: vec![RowPond {
            block: BlockId(1),
            state: GroundState::Before,
            furrows: MultiLineString(vec![
                line(&[(60.0, 150.0), (60.0, 190.0)]),
                line(&[(61.8, 152.0), (61.8, 186.0)]),
            ]),
            rows: (17, 18),
            level_m: 20.4,
            depth_m: 0.12,
            area_m2: 130.0,
            volume_m3: 9.0,
        }],
        row_spills: vec![RowSpill {
            block: BlockId(1),
            state: GroundState::Before,
            at: at(60.0, 170.0),
            from_row: 17,
            to_row: 18,
            crest_m: 20.42,
            below_own_way_m: Some(0.09),
            catchment_ha: 0.6,
        }],
        crossings: vec![Crossing {
            id: 1,
            at: at(260.0, 112.0),
            drain: 1,
            crosses: "track".into(),
            needs: "culvert 600 mm".into(),
            culvert_mm: Some(600.0),
        }],
        spoil: spoil(),
        culverts: vec![CulvertCheck {
            name: "Pipe \u{201c}<1>\u{201d}".into(),
            at: at(260.0, 112.0),
            length_m: 12.0,
            diameter_m: Some(0.6),
            catchment_ha: (14.0, 21.0),
            peak_m3_s: (0.5, 0.75),
            passes_m3_s: Some(0.63),
            needs: (675.0, 1),
        }],
        outflows: vec![OutflowChange {
            name: "East gate".into(),
            at: at(775.0, 112.0),
            catchment_ha: (24.0, 31.0),
            peak_m3_s: (0.9, 1.15),
            volume_m3: (8_000.0, 9_100.0),
        }],
    }
}

/// All that may happen to spoil; volumes of a drain sum to its excavation.
fn spoil() -> Vec<Spoil> {
    let none = Range::exact(0.0);
    let of = |drain, to, machine, volume_m3: f64, distance_m: f64, depth_m: f64, price: f64, saved: f64| Spoil {
        drain,
        to,
        machine,
        volume_m3,
        distance_m,
        depth_m,
        cost: none.map(|_| price * volume_m3),
        spares: none.map(|_| saved * volume_m3),
    };
    let bucket = Some(HaulMachine::Bucket);
    vec![
        of(1, SpoilTo::Beside, None, 300.0, 0.0, 0.08, 0.0, 0.0),
        of(1, SpoilTo::Along, Some(HaulMachine::Dozer), 120.0, 40.0, 0.1, 1.2, 0.0),
        of(2, SpoilTo::Beside, None, 170.0, 0.0, 0.1, 0.0, 0.0),
        of(2, SpoilTo::Block(BlockId(2)), bucket, 250.0, 160.0, 0.0, 2.85, 7.0),
        of(3, SpoilTo::Place("Old pit".to_owned()), bucket, 420.0, 300.0, 0.0, 4.9, 0.0),
        of(4, SpoilTo::Beside, None, 320.0, 0.0, 0.1, 0.0, 0.0),
        of(4, SpoilTo::Nowhere, None, 100.0, 0.0, 0.0, 7.0, 0.0),
    ]
}
