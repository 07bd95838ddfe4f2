//! The surface of one block, before it is balanced.

use super::params::{Forming, LevellingParams};
use crate::grid::{Cell, Raster};
use crate::land::blocks::RowBlock;
use crate::methods::earthwork::{
    Binding, FallSense, GradeLimits, Moments, Plane, PlaneLimits, ProfilePoint, fit_plane_limited, graded_line,
};
use crate::methods::shapes::{Frame, LineFamily, cells_inside};
use geo::{Coord, Polygon};

/// Step along graded rows and between them, metres.
const STATION_M: f64 = 5.0;
const LANE_M: f64 = 4.0;

/// Cells of a grid whose centre lies in a polygon, row by row.
pub(super) fn cells_in(raster: &Raster<f32>, outline: &Polygon<f64>) -> Vec<Cell> {
    let inside = cells_inside(raster.spec, outline);
    inside.iter().enumerate().filter(|(_, inside)| **inside).map(|(i, _)| raster.spec.cell(i)).collect()
}

/// A surface and the limits that hold it.
pub(super) struct Shaped {
    /// Height of each cell, in the order of the cells.
    pub(super) heights_m: Vec<f64>,
    pub(super) binding: Vec<String>,
}

/// The surface of the wanted kind over the cells of a block.
pub(super) fn shape(
    params: &LevellingParams,
    ground: &Raster<f32>,
    block: &RowBlock,
    cells: &[Cell],
) -> Option<Shaped> {
    match params.surface {
        Forming::AsItLies => {
            let heights_m = cells.iter().map(|c| ground.get(*c).map_or(f64::NAN, f64::from)).collect();
            Some(Shaped { heights_m, binding: Vec::new() })
        }
        Forming::Plane => plane(params, ground, block, cells),
        Forming::GradedRows => graded_rows(params, ground, block, cells),
    }
}

fn plane(params: &LevellingParams, ground: &Raster<f32>, block: &RowBlock, cells: &[Cell]) -> Option<Shaped> {
    let moments = Moments::of(cells.iter().filter_map(|c| {
        let at = ground.spec.centre(*c);
        ground.get(*c).map(|z| (at.x, at.y, f64::from(z), 1.0))
    }));
    let fitted = fit_plane_limited(
        &moments,
        &PlaneLimits {
            bearing: block.bearing,
            min_fall: params.min_fall_pct / 100.0,
            max_fall: params.max_fall_pct / 100.0,
            max_cross_fall: params.max_cross_fall_pct / 100.0,
            sense: FallSense::Along,
        },
    )?;
    let mut binding = Vec::new();
    match fitted.along {
        Binding::Free => {}
        Binding::AtLeast => binding.push(format!("row fall held at its least, {:.2} %", params.min_fall_pct)),
        Binding::AtMost => binding.push(format!("row fall held at its greatest, {:.2} %", params.max_fall_pct)),
    }
    if fitted.across != Binding::Free {
        binding.push(format!("cross-fall held at {:.2} %", params.max_cross_fall_pct));
    }
    let heights_m = on_plane(&fitted.plane, ground, cells);
    Some(Shaped { heights_m, binding })
}

fn on_plane(plane: &Plane, ground: &Raster<f32>, cells: &[Cell]) -> Vec<f64> {
    cells
        .iter()
        .map(|c| {
            let at = ground.spec.centre(*c);
            plane.height_m(at.x, at.y)
        })
        .collect()
}

/// A lattice of heights in the frame of the rows.
struct Lattice {
    frame: Frame,
    across_from_m: f64,
    along_from_m: f64,
    along_count: usize,
    /// One lane after the other; NaN where the lane is not on the block.
    heights_m: Vec<f64>,
}

impl Lattice {
    fn at(&self, lane: i64, station: i64) -> Option<f64> {
        let (lane, station) = (usize::try_from(lane).ok()?, usize::try_from(station).ok()?);
        if station >= self.along_count {
            return None;
        }
        self.heights_m.get(lane * self.along_count + station).copied().filter(|z| z.is_finite())
    }

    /// Bilinear between lanes and stations; at the rim the lattice points that are there share the weight.
    fn height_m(&self, at: Coord<f64>) -> Option<f64> {
        let p = self.frame.enter(at);
        let (u, v) = ((p.across_m - self.across_from_m) / LANE_M, (p.along_m - self.along_from_m) / STATION_M);
        let (lane, station) = (u.floor(), v.floor());
        let (fu, fv) = (u - lane, v - station);
        let (mut sum, mut weight) = (0.0, 0.0);
        for (du, wu) in [(0_i64, 1.0 - fu), (1, fu)] {
            for (dv, wv) in [(0_i64, 1.0 - fv), (1, fv)] {
                #[expect(clippy::cast_possible_truncation, reason = "lattice numbers are small")]
                if let Some(z) = self.at(lane as i64 + du, station as i64 + dv) {
                    // A point just on the rim may have no weight left; a trace of it keeps the value defined.
                    let w = (wu * wv).max(1e-9);
                    sum += w * z;
                    weight += w;
                }
            }
        }
        (weight > 0.0).then(|| sum / weight)
    }
}

fn graded_rows(params: &LevellingParams, ground: &Raster<f32>, block: &RowBlock, cells: &[Cell]) -> Option<Shaped> {
    let lattice = lattice(params, ground, block)?;
    let heights_m: Vec<f64> = cells
        .iter()
        .map(|c| {
            let at = ground.spec.centre(*c);
            // Slivers between the lattice and the edge keep the ground they have.
            lattice.height_m(at).or_else(|| ground.get(*c).map(f64::from)).unwrap_or(f64::NAN)
        })
        .collect();
    Some(Shaped { heights_m, binding: Vec::new() })
}

/// The least-squares profile of every lane, falling along the block's bearing within the limits.
fn lattice(params: &LevellingParams, ground: &Raster<f32>, block: &RowBlock) -> Option<Lattice> {
    let frame = Frame::about(block.bearing, &block.outline)?;
    let (along_from_m, along_to_m) = frame.along_extent(&block.outline)?;
    let (across_from_m, across_to_m) = frame.across_extent(&block.outline)?;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "blocks are far smaller than 2^32 steps"
    )]
    let count = |length: f64, step: f64| (length / step).floor() as usize + 1;
    let (lanes, along_count) =
        (count(across_to_m - across_from_m, LANE_M), count(along_to_m - along_from_m, STATION_M));
    let limits = GradeLimits { min_fall: params.min_fall_pct / 100.0, max_fall: params.max_fall_pct / 100.0 };
    let mut heights_m = vec![f64::NAN; lanes * along_count];
    for lane in 0..lanes {
        let across = across_from_m + lane as f64 * LANE_M;
        let family = LineFamily { bearing: block.bearing, spacing_m: 1e9, origin: frame.leave(across, along_from_m) };
        for line in family.clip(&block.outline) {
            let (from, to) = (frame.enter(line.start).along_m, frame.enter(line.end).along_m);
            let stations: Vec<usize> =
                (0..along_count).filter(|s| (from..=to).contains(&(along_from_m + *s as f64 * STATION_M))).collect();
            let profile: Vec<(usize, ProfilePoint)> = stations
                .into_iter()
                .filter_map(|s| {
                    let distance_m = along_from_m + s as f64 * STATION_M;
                    let height_m = ground.bilinear(frame.leave(across, distance_m))?;
                    Some((s, ProfilePoint { distance_m, height_m, weight: 1.0 }))
                })
                .collect();
            let points: Vec<ProfilePoint> = profile.iter().map(|(_, p)| *p).collect();
            if let Some(graded) = graded_line(&points, limits) {
                for ((s, _), z) in profile.iter().zip(graded.heights_m) {
                    heights_m[lane * along_count + s] = z;
                }
            }
        }
    }
    Some(Lattice { frame, across_from_m, along_from_m, along_count, heights_m })
}
