//! Vector layers of the water among the rows.

use super::OptionResult;
use super::layers::Plain;
use crate::land::document::{FieldKind, GeometryKind, Layer, Pattern};
use geo::{Geometry, Point};

use FieldKind::{Integer, Real, Text};

/// Furrows that hold water and ridges it goes over, before and after the works.
pub(super) fn among_rows(plan: &OptionResult<'_>) -> Vec<Layer> {
    let Some(drains) = plan.drains else { return Vec::new() };
    let ponds = Plain {
        name: "row_pond",
        title: "Furrows where water stands",
        kind: GeometryKind::Line,
        columns: &[
            ("block", Integer),
            ("ground", Text),
            ("row_first", Integer),
            ("row_last", Integer),
            ("max_depth_m", Real(2)),
            ("area_m2", Real(0)),
            ("volume_m3", Real(1)),
            ("spill_level_m", Real(2)),
        ],
        stroke: [0, 114, 178],
        fill: None,
        pattern: Pattern::Dashed,
        label: None,
    }
    .with(
        drains
            .row_ponds
            .iter()
            .map(|p| {
                let values = vec![
                    p.block.0.into(),
                    p.state.word().into(),
                    p.rows.0.into(),
                    p.rows.1.into(),
                    p.depth_m.into(),
                    p.area_m2.into(),
                    p.volume_m3.into(),
                    p.level_m.into(),
                ];
                (Geometry::MultiLineString(p.furrows.clone()), values)
            })
            .collect(),
    );
    let spills = Plain {
        name: "row_spill",
        title: "Places where water goes over a ridge",
        kind: GeometryKind::Point,
        columns: &[
            ("block", Integer),
            ("ground", Text),
            ("from_row", Integer),
            ("to_row", Integer),
            ("crest_m", Real(2)),
            ("below_own_way_mm", Real(0)),
            ("catchment_ha", Real(2)),
        ],
        stroke: [213, 94, 0],
        fill: None,
        pattern: Pattern::Solid,
        label: None,
    }
    .with(
        drains
            .row_spills
            .iter()
            .map(|s| {
                let values = vec![
                    s.block.0.into(),
                    s.state.word().into(),
                    s.from_row.into(),
                    s.to_row.into(),
                    s.crest_m.into(),
                    s.below_own_way_m.map(|m| 1_000.0 * m).into(),
                    s.catchment_ha.into(),
                ];
                (Geometry::Point(Point(s.at)), values)
            })
            .collect(),
    );
    [ponds, spills].into_iter().flatten().collect()
}
