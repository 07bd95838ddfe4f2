//! The fall of a row on a surface: the same reckoning before and after the works.

use crate::grid::Raster;
use crate::land::blocks::RowFall;
use crate::methods::surface::{fall_stats, sample_path};
use crate::units::Slope;
use geo::Coord;

/// Window falls are taken over, metres: about the length of a machine train.
const FALL_WINDOW_M: f64 = 25.0;
/// Step heights are sampled at along a row, metres.
const STEP_M: f64 = 2.5;

/// Fall down a line on a surface; `None` off the surface.
pub(super) fn row_fall(surface: &Raster<f32>, line: &[Coord<f64>]) -> Option<RowFall> {
    let profile = sample_path(surface, line, STEP_M);
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

/// A row of two falls from its crest back to its first point and on to its last, and the share of its length the first
/// part is: the crest is the highest place of a surface along it. `None` when that lies at an end, or off the surface.
pub(super) fn parted(surface: &Raster<f32>, line: &[Coord<f64>]) -> Option<(f64, [Vec<Coord<f64>>; 2])> {
    let profile = sample_path(surface, line, STEP_M);
    let (at, _) = profile.iter().copied().reduce(|a, b| if b.1 > a.1 { b } else { a })?;
    let share = at / profile.last()?.0;
    (LEAST_PART..=1.0 - LEAST_PART).contains(&share).then(|| (share, split(line, share)))
}

/// A line from the place a share along it back to its first point, and on to its last.
fn split(line: &[Coord<f64>], share: f64) -> [Vec<Coord<f64>>; 2] {
    let length = |w: &[Coord<f64>]| (w[1].x - w[0].x).hypot(w[1].y - w[0].y);
    let mut left_m = share * line.windows(2).map(length).sum::<f64>();
    for (i, pair) in line.windows(2).enumerate() {
        let long_m = length(pair);
        if left_m <= long_m || i + 2 == line.len() {
            let at = pair[0] + (pair[1] - pair[0]) * (left_m / long_m.max(1e-9)).min(1.0);
            let back = std::iter::once(at).chain(line[..=i].iter().rev().copied());
            let ahead = std::iter::once(at).chain(line[i + 1..].iter().copied());
            return [back.collect(), ahead.collect()];
        }
        left_m -= long_m;
    }
    [line.to_vec(), line.to_vec()]
}

/// The fall of a row that may part its water: of its halves the worse in every figure.
pub(super) fn parted_fall(surface: &Raster<f32>, line: &[Coord<f64>]) -> Option<RowFall> {
    let Some((share, [back, ahead])) = parted(surface, line) else {
        let fall = row_fall(surface, line)?;
        let turned: Vec<Coord<f64>> = line.iter().rev().copied().collect();
        return if fall.mean.ratio() >= 0.0 { Some(fall) } else { row_fall(surface, &turned) };
    };
    let (back, ahead) = (row_fall(surface, &back)?, row_fall(surface, &ahead)?);
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
