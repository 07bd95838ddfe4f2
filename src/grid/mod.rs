//! Rasters and cells, without meaning: a grid does not know whether it holds heights or water.
//!
//! Grids are north-up with square cells; row 0 is the northern row, column 0 the western column.

mod cell;
mod flow_field;
mod raster;
mod spec;
pub mod text;
mod tin;

pub use cell::Cell;
pub use flow_field::FlowField;
pub use raster::Raster;
pub use spec::{GridSpec, NEIGHBOURS};
pub use tin::{Tin, tin_from_raster};
