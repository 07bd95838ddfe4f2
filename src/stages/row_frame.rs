//! The frame a block's rows lie in.

use crate::land::blocks::{Bend, RowBlock};
use crate::methods::shapes::{Arc as Piece, ArcLine, Frame, RowFrame};
use geo::Coord;
use std::sync::Arc;

/// The frame of a block's rows, its far end where the water runs; `None` for an outline without area.
pub(super) fn of(block: &RowBlock) -> Option<RowFrame> {
    bent(block).or_else(|| Frame::about(block.bearing, &block.outline).map(RowFrame::Straight))
}

/// The frame of a block's rows with a place of the plan as the origin of straight ones.
pub(super) fn through(block: &RowBlock, at: Coord<f64>) -> RowFrame {
    bent(block).unwrap_or_else(|| RowFrame::Straight(Frame::new(block.bearing, at)))
}

/// The frame of rows that bend.
pub(super) fn bent(block: &RowBlock) -> Option<RowFrame> {
    let bend = block.bent.as_ref()?;
    let pieces = bend
        .pieces
        .iter()
        .map(|(length_m, curvature_per_m)| Piece { length_m: *length_m, curvature_per_m: *curvature_per_m });
    let line = ArcLine::new(bend.start, bend.heading_rad, pieces.collect())?;
    Some(RowFrame::Bent(Arc::new(line)))
}

/// A line as an artifact holds it.
pub(super) fn bend_of(line: &ArcLine) -> Bend {
    let (start, heading_rad) = line.start();
    Bend { start, heading_rad, pieces: line.pieces().iter().map(|p| (p.length_m, p.curvature_per_m)).collect() }
}
