//! The fall of a row on a surface: the same reckoning before and after the works.

use crate::grid::Raster;
use crate::land::blocks::RowFall;
use crate::methods::surface::{fall_stats, sample_line};
use crate::units::Slope;
use geo::Coord;

/// Window falls are taken over, metres: about the length of a machine train.
const FALL_WINDOW_M: f64 = 25.0;
/// Step heights are sampled at along a row, metres.
const STEP_M: f64 = 2.5;

/// Fall from `from` to `to` on a surface; `None` off the surface.
pub(super) fn row_fall(surface: &Raster<f32>, from: Coord<f64>, to: Coord<f64>) -> Option<RowFall> {
    let profile = sample_line(surface, from, to, STEP_M);
    let stats = fall_stats(&profile, FALL_WINDOW_M)?;
    Some(RowFall {
        mean: Slope::from_ratio(stats.mean_fall),
        least: Slope::from_ratio(stats.min_window_fall),
        greatest: Slope::from_ratio(stats.max_window_fall),
        reverse_depth_m: stats.reverse_depth_m,
        high_level_m: profile.first()?.1,
        low_level_m: profile.last()?.1,
    })
}
