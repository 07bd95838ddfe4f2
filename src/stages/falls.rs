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

/// A crest nearer to a row's end than this share of its length parts nothing.
const LEAST_PART: f64 = 0.05;

/// Where a row of two falls parts its water, as a share of its length from the first point: the highest place of a surface
/// along it. `None` when that lies at an end, or off the surface.
pub(super) fn crest_share(surface: &Raster<f32>, from: Coord<f64>, to: Coord<f64>) -> Option<f64> {
    let profile = sample_line(surface, from, to, STEP_M);
    let (at, _) = profile.iter().copied().reduce(|a, b| if b.1 > a.1 { b } else { a })?;
    let share = at / profile.last()?.0;
    (LEAST_PART..=1.0 - LEAST_PART).contains(&share).then_some(share)
}

/// The fall of a row that may part its water: of its halves the worse in every figure.
pub(super) fn parted_fall(surface: &Raster<f32>, from: Coord<f64>, to: Coord<f64>) -> Option<RowFall> {
    let Some(share) = crest_share(surface, from, to) else {
        let fall = row_fall(surface, from, to)?;
        return if fall.mean.ratio() >= 0.0 { Some(fall) } else { row_fall(surface, to, from) };
    };
    let crest = from + (to - from) * share;
    let (back, ahead) = (row_fall(surface, crest, from)?, row_fall(surface, crest, to)?);
    let worse = |a: Slope, b: Slope| if b.ratio() < a.ratio() { b } else { a };
    Some(RowFall {
        mean: Slope::from_ratio(back.mean.ratio() * share + ahead.mean.ratio() * (1.0 - share)),
        least: worse(back.least, ahead.least),
        greatest: if back.greatest.ratio() > ahead.greatest.ratio() { back.greatest } else { ahead.greatest },
        reverse_depth_m: back.reverse_depth_m.max(ahead.reverse_depth_m),
        high_level_m: back.high_level_m.max(ahead.high_level_m),
        low_level_m: back.low_level_m.min(ahead.low_level_m),
    })
}
