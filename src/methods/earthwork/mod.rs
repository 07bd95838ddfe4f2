//! Cutting and filling: planes, balance, volumes, haul.
//!
//! Sign everywhere: a height difference is existing minus wanted, so positive means cut.

pub mod balance;
pub mod bulking;
pub mod haul_grid;
pub mod haul_price;
pub mod moments;
pub mod plane;
pub mod push;
/// The dense transport problem: small tables that the hauls are held against.
#[cfg(test)]
pub mod transport;
pub mod transshipment;
pub mod uncertainty;
pub mod volume;
pub mod volume_grid;

pub use balance::{CutFillSums, balance_offset, cut_fill_at};
pub use moments::Moments;
pub use plane::{Binding, FallSense, LimitedPlane, Plane, PlaneLimits, fit_plane, fit_plane_limited, fit_plane_of};
#[cfg(test)]
pub use transport::{Flow, Transport, TransportError, transport};
pub use volume::{Diagonal, Volumes, cell_volumes, four_point, two_triangles};
