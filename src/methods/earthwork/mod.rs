//! Cutting and filling: planes, balance, volumes, haul.
//!
//! Sign everywhere: a height difference is existing minus wanted, so positive means cut.

pub mod balance;
pub mod bulking;
pub mod graded_line;
pub mod haul;
pub mod haul_grid;
pub mod haul_price;
pub mod moments;
pub mod plane;
pub mod push;
pub mod transport;
pub mod transshipment;
pub mod uncertainty;
pub mod volume;
pub mod volume_grid;

pub use balance::{CutFillSums, balance_offset, cut_fill_at};
pub use graded_line::{GradeLimits, GradedLine, ProfilePoint, graded_line, graded_line_best_sense, isotonic};
pub use haul::{EarthPoint, Gathered, Haul, HaulPlan, gather, haul_1d, haul_bands, haul_plan, mean_haul};
pub use moments::Moments;
pub use plane::{Binding, FallSense, LimitedPlane, Plane, PlaneLimits, fit_plane, fit_plane_limited, fit_plane_of};
pub use transport::{Flow, Transport, TransportError, transport};
pub use volume::{Diagonal, Volumes, cell_volumes, four_point, two_triangles};
