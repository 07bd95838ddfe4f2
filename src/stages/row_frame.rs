//! The frame a block's rows lie in.

use crate::land::blocks::{Bend, RowBlock};
use crate::methods::shapes::{Arc as Piece, ArcLine, Frame, RowFrame};
use crate::units::Bearing;
use geo::{Coord, Polygon};
use std::sync::Arc;

/// The frame of a block's rows, its far end where the water runs; `None` for an outline without area.
pub(super) fn of(block: &RowBlock) -> Option<RowFrame> {
    about(block.bearing, block.bent.as_ref(), &block.outline)
}

/// The frame of rows whose line 0 passes through a place; for rows that bend, of the line they are parallels of.
pub(super) fn through(block: &RowBlock, at: Coord<f64>) -> RowFrame {
    block.bent.as_ref().and_then(bent).unwrap_or_else(|| RowFrame::Straight(Frame::new(block.bearing, at)))
}

fn about(bearing: Bearing, bend: Option<&Bend>, outline: &Polygon<f64>) -> Option<RowFrame> {
    match bend {
        Some(bend) => bent(bend),
        None => Frame::about(bearing, outline).map(RowFrame::Straight),
    }
}

fn bent(bend: &Bend) -> Option<RowFrame> {
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
