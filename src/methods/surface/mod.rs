//! Heights from points, and how a surface lies.

mod contours;
mod interpolate;
mod profile;
mod slope;
mod smooth;
mod voids;

pub use contours::{ContourError, contour_lines};
pub use interpolate::{
    HeightPoint, Interpolant, InterpolationError, Validation, block_cross_validation, interpolate, merge_duplicates,
};
pub use profile::{FallStats, fall_stats, sample_line, sample_path};
pub use slope::{
    Stencil, aspect_deg, fall_along, gradient, horn_gradient, slope, slope_ratio, zevenbergen_thorne_gradient,
};
pub use smooth::smooth;
pub use voids::{Void, VoidFilling, fill_voids};
