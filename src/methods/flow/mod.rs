//! Where water runs and stands on a grid.

mod accumulation;
mod breach;
mod d_infinity;
mod depression_tree;
mod depressions;
mod direction;
mod distance;
mod flats;
pub(super) mod frame;
mod level_queue;
mod pipe;
mod ponding;
#[cfg(test)]
mod random_ground;
#[cfg(test)]
mod reference_tests;
mod row_graph;
mod strahler;
mod tile_flood;

pub use accumulation::{accumulate, accumulate_along, catchment_of, cells_upstream};
pub use breach::{Breach, BreachLimits, breach};
pub use d_infinity::{SplitDirections, facet, specific_catchment_area, split_directions};
pub use depression_tree::{Depression, depressions};
pub use depressions::fill;
pub use direction::{Directions, d8_codes, directions, receiver, route, steepest_slope};
pub use distance::{Reach, grow};
pub use pipe::{Pipe, open_pipe};
pub use ponding::{Pond, ponds};
pub use row_graph::{Crossing, Onward, Overtopping, RowFlow, RowGraph, Sag, Station, StationFlow, row_flow, row_flows};
pub use strahler::{StreamSegment, stream_orders, stream_segments};
