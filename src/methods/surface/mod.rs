//! Heights from points, and how a surface lies.

mod contours;
mod interpolate;
mod mesh;
mod natural;
mod profile;
mod slope;
mod smooth;
mod spectrum;
mod validation;
mod voids;

pub use contours::{ContourError, contour_lines};
pub use interpolate::{
    Gridded, HeightPoint, Interpolant, InterpolationError, heights_at, interpolate, interpolate_with_breaks,
    merge_duplicates,
};
pub use profile::{FallStats, fall_stats, sample_line, sample_path};
pub use slope::{
    Stencil, aspect_deg, fall_along, gradient, horn_gradient, slope, slope_ratio, zevenbergen_thorne_gradient,
};
pub use smooth::smooth;
pub use spectrum::{Sought, Wave, find_wave};
pub use validation::{KEPT, Validation, block_cross_validation, block_turn, block_turns, leave_out};
pub use voids::{Void, VoidFilling, fill_voids};
