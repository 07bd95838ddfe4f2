//! Where water runs and stands on a grid.

mod accumulation;
mod depressions;
mod direction;
mod distance;
mod flats;
mod ponding;
#[cfg(test)]
mod random_ground;
mod strahler;

pub use accumulation::{accumulate, catchment_of};
pub use depressions::fill;
pub use direction::{d8_codes, receiver, route, steepest_slope};
pub use distance::{Reach, grow};
pub use ponding::{Pond, ponds};
pub use strahler::{StreamSegment, stream_orders, stream_segments};
