//! A block as a lattice in the frame of its rows: lanes beside each other, stations down the rows.

use crate::grid::{Cell, Raster};
use crate::land::blocks::RowBlock;
use crate::methods::shapes::RowFrame;
use crate::stages::row_frame;
use geo::{Coord, MultiPolygon};

/// Cells of the ground a lattice must be coarser than, so that every point has a cell of its own at any bearing: a square
/// wider than the diagonal of a cell holds a cell's centre wherever it lies.
const COARSER_THAN_CELLS: f64 = 1.5;
/// Points the mean ground of a lattice point is taken from, a side.
const SAMPLES: i32 = 5;

/// Which lattice points a block has, and which raster cells belong to each.
pub(super) struct Lattice {
    frame: RowFrame,
    across_from_m: f64,
    along_from_m: f64,
    /// Distance between lanes and between stations, metres on the grid.
    pub(super) step_m: f64,
    pub(super) lanes: usize,
    pub(super) stations: usize,
    /// Mean ground about each point, metres; NaN where the point has no cell.
    pub(super) ground_m: Vec<f64>,
    /// Raster cells nearest to each point; zero outside.
    pub(super) cells: Vec<u32>,
}

impl Lattice {
    /// The lattice of a block's cells; `None` when it has none.
    pub(super) fn of(ground: &Raster<f32>, block: &RowBlock, cells: &[Cell], wanted_m: f64) -> Option<Self> {
        let frame = row_frame::of(block)?;
        let outline = MultiPolygon(vec![block.outline.clone()]);
        let ((along_from_m, along_to_m), (across_from_m, across_to_m)) = frame.extent(&outline)?;
        // On the inner side of a bend stations draw together.
        let step_m = wanted_m.max(COARSER_THAN_CELLS * ground.spec.cell_m / frame.least_stretch(&outline)?);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "blocks are far smaller than 2^32 steps"
        )]
        let count = |length_m: f64| (length_m / step_m).round() as usize + 1;
        let (lanes, stations) = (count(across_to_m - across_from_m), count(along_to_m - along_from_m));
        let mut lattice = Self {
            frame,
            across_from_m,
            along_from_m,
            step_m,
            lanes,
            stations,
            ground_m: vec![f64::NAN; lanes * stations],
            cells: vec![0; lanes * stations],
        };
        for cell in cells.iter().filter(|c| ground.get(**c).is_some()) {
            if let Some(point) = lattice.nearest(ground.spec.centre(*cell)) {
                lattice.cells[point] += 1;
            }
        }
        for point in 0..lattice.len() {
            if lattice.cells[point] > 0 {
                lattice.ground_m[point] = lattice.mean_ground_m(ground, point);
            }
        }
        lattice.cells.iter().any(|n| *n > 0).then_some(lattice)
    }

    pub(super) fn len(&self) -> usize {
        self.lanes * self.stations
    }

    /// Whether a point takes part.
    pub(super) fn inside(&self, point: usize) -> bool {
        self.cells[point] > 0
    }

    /// Where a point lies on the plan.
    pub(super) fn at(&self, point: usize) -> Coord<f64> {
        let (across_m, along_m) = self.in_frame(point);
        self.frame.leave(across_m, along_m)
    }

    fn in_frame(&self, point: usize) -> (f64, f64) {
        let (lane, station) = (point / self.stations, point % self.stations);
        (self.across_from_m + lane as f64 * self.step_m, self.along_from_m + station as f64 * self.step_m)
    }

    /// Whether the ways from station to station differ.
    pub(super) fn bends(&self) -> bool {
        matches!(self.frame, RowFrame::Bent(_))
    }

    /// The way from a point to the next of its lane, metres.
    pub(super) fn way_m(&self, point: usize) -> f64 {
        let (across_m, along_m) = self.in_frame(point);
        self.frame.length_m(across_m, along_m, along_m + self.step_m)
    }

    /// Lane and station of a place, as fractions.
    fn place(&self, at: Coord<f64>) -> (f64, f64) {
        let p = self.frame.enter(at);
        ((p.across_m - self.across_from_m) / self.step_m, (p.along_m - self.along_from_m) / self.step_m)
    }

    /// The point nearest to a place, whether it takes part or not; `None` off the lattice.
    pub(super) fn nearest(&self, at: Coord<f64>) -> Option<usize> {
        let (lane, station) = self.place(at);
        let (lane, station) = (lane.round(), station.round());
        let on = lane >= 0.0 && station >= 0.0 && lane < self.lanes as f64 && station < self.stations as f64;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked against the lattice")]
        on.then(|| lane as usize * self.stations + station as usize)
    }

    /// The point that takes part nearest to a place, looked for one step around.
    pub(super) fn nearest_inside(&self, at: Coord<f64>) -> Option<usize> {
        let around = (-1..=1).flat_map(|i| (-1..=1).map(move |j| (f64::from(i), f64::from(j))));
        around
            .filter_map(|(i, j)| {
                let p = self.frame.enter(at);
                let near = self.nearest(self.frame.leave(p.across_m + i * self.step_m, p.along_m + j * self.step_m))?;
                let there = self.at(near);
                self.inside(near).then(|| (near, (there.x - at.x).hypot(there.y - at.y)))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)))
            .map(|(point, _)| point)
    }

    /// The eight neighbours of a point that would take part in a lattice without end, as places.
    pub(super) fn around(&self, point: usize) -> impl Iterator<Item = (Option<usize>, Coord<f64>)> + '_ {
        let (lane, station) = (point / self.stations, point % self.stations);
        (-1_i64..=1).flat_map(move |i| (-1_i64..=1).map(move |j| (i, j))).filter(|ij| *ij != (0, 0)).map(
            move |(i, j)| {
                let (u, v) = (lane as i64 + i, station as i64 + j);
                let at = self
                    .frame
                    .leave(self.across_from_m + u as f64 * self.step_m, self.along_from_m + v as f64 * self.step_m);
                let inside = usize::try_from(u).ok().filter(|u| *u < self.lanes).and_then(|u| {
                    let v = usize::try_from(v).ok().filter(|v| *v < self.stations)?;
                    Some(u * self.stations + v)
                });
                (inside.filter(|p| self.inside(*p)), at)
            },
        )
    }

    /// Mean ground in the square about a point. Opposite samples are taken together or not at all, so that a slope does
    /// not tilt the mean where the ground model ends.
    fn mean_ground_m(&self, ground: &Raster<f32>, point: usize) -> f64 {
        let centre = self.frame.enter(self.at(point));
        let sample = |i: i32, j: i32| {
            let part = |k: i32| f64::from(k) / f64::from(SAMPLES) * self.step_m;
            ground.bilinear(self.frame.leave(centre.across_m + part(i), centre.along_m + part(j)))
        };
        let half = SAMPLES / 2;
        let (mut sum, mut count) = (0.0, 0);
        for i in -half..=half {
            for j in -half..=half {
                if let (Some(one), Some(_)) = (sample(i, j), sample(-i, -j)) {
                    sum += one;
                    count += 1;
                }
            }
        }
        if count > 0 { sum / f64::from(count) } else { self.nearest_cell_m(ground, point) }
    }

    /// The ground of some cell that belongs to a point whose own place the model does not reach.
    fn nearest_cell_m(&self, ground: &Raster<f32>, point: usize) -> f64 {
        let at = self.at(point);
        (-2..=2)
            .flat_map(|i| (-2..=2).map(move |j| (f64::from(i), f64::from(j))))
            .filter_map(|(i, j)| {
                let place = Coord { x: at.x + i * self.step_m / 4.0, y: at.y + j * self.step_m / 4.0 };
                ground.bilinear(place).map(|z| (i.hypot(j), z))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(0.0, |(_, z)| z)
    }

    /// Height of a surface given at the points: bilinear between lanes and stations; at the rim the points that take
    /// part share the weight.
    pub(super) fn height_m(&self, heights_m: &[f64], at: Coord<f64>) -> Option<f64> {
        let (u, v) = self.place(at);
        let (lane, station) = (u.floor(), v.floor());
        let (fu, fv) = (u - lane, v - station);
        let (mut sum, mut weight) = (0.0, 0.0);
        for (du, wu) in [(0.0, 1.0 - fu), (1.0, fu)] {
            for (dv, wv) in [(0.0, 1.0 - fv), (1.0, fv)] {
                let (l, s) = (lane + du, station + dv);
                if l < 0.0 || s < 0.0 || l >= self.lanes as f64 || s >= self.stations as f64 {
                    continue;
                }
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "checked against the lattice"
                )]
                let point = l as usize * self.stations + s as usize;
                if self.inside(point) {
                    // A point just on the rim may have no weight left; a trace of it keeps the value defined.
                    let w = (wu * wv).max(1e-9);
                    sum += w * heights_m[point];
                    weight += w;
                }
            }
        }
        (weight > 0.0).then(|| sum / weight)
    }
}
