//! Lines and polygons on the plan.
//!
//! Coordinates are metres in one projected system; x is east, y is north.

pub mod arc_line;
pub mod bearings;
pub mod cells_inside;
pub mod frame;
pub mod inset;
pub mod label_point;
pub mod longest_chord;
pub mod minimum_width;
pub mod offset;
pub mod parallel_lines;
pub mod repair;
pub mod row_frame;
pub mod row_metrics;
pub mod row_spans;
pub mod split;

pub use arc_line::{Arc, ArcLine};
pub use bearings::{BearingInterval, admissible_bearings, edge_bearings, edge_bearings_by_length, row_count};
pub use cells_inside::cells_inside;
pub use frame::{Edges, Frame, FramePoint};
pub use inset::inset_by_edge;
pub use label_point::{LabelPoint, label_point};
pub use longest_chord::{ServedCell, longest_chords};
pub use minimum_width::{MinimumWidth, minimum_width};
pub use offset::{buffer_lines, buffer_polygon, clean, difference, intersection, union_all};
pub use parallel_lines::{ClippedLine, LineFamily, parallel_lines};
pub use repair::{RepairError, Repaired, repair, repair_ring};
pub use row_frame::{RowFrame, Stretch};
pub use row_spans::{ClearEdge, row_spans};
pub use split::{Piece, ReflexVertex, reflex_vertices, split_across, split_at_stations};
