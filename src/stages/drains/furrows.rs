//! The furrows of one block as channels side by side: the places water is followed at, and the ridges between them.

use crate::land::blocks::{Row, RowBlock};
use crate::methods::flow::{Crossing, RowGraph, Station};
use crate::methods::shapes::FramePoint;
use crate::stages::row_frame;
use geo::{Coord, LineString};

/// Rows whose lines lie this far apart, as a share of the row spacing, have one ridge between them.
const BESIDE: std::ops::Range<f64> = 0.5..1.5;

/// Where the water of a block is followed; the same on every surface.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Furrows {
    /// Places along each row, from its high end to its low end.
    places: Vec<Vec<Coord<f64>>>,
    /// Distance between the places of each row, metres on the ground.
    step_m: Vec<f64>,
    crossings: Vec<Crossing>,
    spacing_m: f64,
}

impl Furrows {
    /// Places at most `step_m` apart, two a row at least, and a way over the ridge wherever two of them lie beside each
    /// other. `ridge_m` is the height of the ridges.
    pub(super) fn of(block: &RowBlock, step_m: f64, ridge_m: f64) -> Self {
        let places: Vec<Vec<Coord<f64>>> = block.rows.iter().map(|row| places(row, step_m)).collect();
        let along = direction(&places);
        let bent = row_frame::bent(block);
        let place = |at: Coord<f64>| match &bent {
            Some(frame) => frame.enter(at),
            None => FramePoint { along_m: at.x * along.x + at.y * along.y, across_m: at.x * along.y - at.y * along.x },
        };
        let mut crossings = over_ridges(&places, &place, block.row_spacing_m, ridge_m);
        crossings.extend(over_crests(&block.rows));
        let step_m = block.rows.iter().zip(&places).map(|(row, p)| row.length_m / (p.len() - 1) as f64).collect();
        Self { places, step_m, crossings, spacing_m: block.row_spacing_m }
    }

    /// The channels on one surface. Water leaves at the low ends that are open; where a height is not known the one before
    /// it stands for it. `None` when a row has no known height at all.
    pub(super) fn on(
        &self,
        height_m: &dyn Fn(Coord<f64>) -> Option<f64>,
        area_ha: &dyn Fn(usize) -> f64,
        open: &dyn Fn(usize) -> bool,
    ) -> Option<RowGraph> {
        let mut channels = Vec::with_capacity(self.places.len());
        for (r, places) in self.places.iter().enumerate() {
            let mut last = places.iter().find_map(|at| height_m(*at))?;
            let runoff = area_ha(r) / places.len() as f64;
            let area_m2 = self.step_m[r] * self.spacing_m;
            let mut channel: Vec<Station> = places
                .iter()
                .map(|at| {
                    last = height_m(*at).unwrap_or(last);
                    Station { height_m: last, area_m2, runoff, exit_m: None }
                })
                .collect();
            if let (Some(end), true) = (channel.last_mut(), open(r)) {
                end.exit_m = Some(end.height_m);
            }
            channels.push(channel);
        }
        Some(RowGraph { channels, step_m: self.step_m.clone(), crossings: self.crossings.clone() })
    }

    /// A place by row and number.
    pub(super) fn place(&self, (row, place): (u32, u32)) -> Coord<f64> {
        self.places[row as usize][place as usize]
    }

    /// The stretch of furrow that stations `from..=to` of a row stand for.
    pub(super) fn stretch(&self, row: u32, from: u32, to: u32) -> LineString<f64> {
        let places = &self.places[row as usize];
        let between = |a: Coord<f64>, b: Coord<f64>| (a + b) / 2.0;
        let (from, to) = (from as usize, to as usize);
        let mut line = Vec::with_capacity(to - from + 3);
        line.extend((from > 0).then(|| between(places[from - 1], places[from])));
        line.extend_from_slice(&places[from..=to]);
        line.extend(places.get(to + 1).map(|next| between(places[to], *next)));
        LineString(line)
    }
}

/// Height to which water at each station must rise to leave along its own channel; infinite where it has no exit.
pub(super) fn own_ways_m(channel: &[Station]) -> Vec<f64> {
    let mut way = f64::INFINITY;
    let mut ways: Vec<f64> = channel
        .iter()
        .rev()
        .map(|s| {
            let out = s.exit_m.unwrap_or(f64::INFINITY);
            way = way.min(out).max(s.height_m);
            way
        })
        .collect();
    ways.reverse();
    ways
}

fn places(row: &Row, step_m: f64) -> Vec<Coord<f64>> {
    let pieces = (row.length_m / step_m).ceil().max(1.0) as usize;
    let line = &row.line.0;
    let lengths: Vec<f64> = line.windows(2).map(|w| (w[1] - w[0]).x.hypot((w[1] - w[0]).y)).collect();
    let whole: f64 = lengths.iter().sum();
    let mut piece = 0;
    let mut before = 0.0;
    (0..=pieces)
        .map(|k| {
            let at = whole * k as f64 / pieces as f64;
            while piece + 1 < lengths.len() && at > before + lengths[piece] {
                before += lengths[piece];
                piece += 1;
            }
            let share = if lengths[piece] > 0.0 { ((at - before) / lengths[piece]).min(1.0) } else { 0.0 };
            line[piece] + (line[piece + 1] - line[piece]) * share
        })
        .collect()
}

/// Unit vector along the rows: from end to end of the longest.
fn direction(places: &[Vec<Coord<f64>>]) -> Coord<f64> {
    let reach = |p: &Vec<Coord<f64>>| p[p.len() - 1] - p[0];
    let longest = places.iter().map(reach).reduce(|a, b| if b.x.hypot(b.y) > a.x.hypot(a.y) { b } else { a });
    let d = longest.unwrap_or(Coord { x: 0.0, y: 1.0 });
    d / d.x.hypot(d.y).max(f64::MIN_POSITIVE)
}

/// Ways over the ridge between rows that lie beside each other, one a station of the row with the lower offset; `place`
/// tells where a place lies in the frame of the rows.
fn over_ridges(
    places: &[Vec<Coord<f64>>],
    place: &dyn Fn(Coord<f64>) -> FramePoint,
    spacing_m: f64,
    ridge_m: f64,
) -> Vec<Crossing> {
    let entered: Vec<Vec<FramePoint>> = places.iter().map(|row| row.iter().map(|at| place(*at)).collect()).collect();
    let lanes: Vec<Lane> = entered.iter().map(|p| Lane::of(p)).collect();
    let mut order: Vec<usize> = (0..places.len()).collect();
    let offset = |r: usize| entered[r][entered[r].len() / 2].across_m;
    order.sort_by(|a, b| offset(*a).total_cmp(&offset(*b)).then(a.cmp(b)));
    let mut crossings = Vec::new();
    for (k, &a) in order.iter().enumerate() {
        let near = order[k + 1..].iter().take_while(|b| offset(**b) - offset(a) < 2.0 * BESIDE.end * spacing_m);
        for &b in near {
            for (i, at) in entered[a].iter().enumerate() {
                let Some(j) = lanes[b].nearest(at.along_m) else { continue };
                let apart_m = entered[b][j].across_m - at.across_m;
                if BESIDE.contains(&(apart_m / spacing_m)) {
                    let (from, to) = ((a as u32, i as u32), (b as u32, j as u32));
                    crossings.push(Crossing { from, to, ridge_m, length_m: apart_m });
                }
            }
        }
    }
    crossings
}

/// Positions of a row's places along the block, rising.
struct Lane {
    u: Vec<f64>,
    /// Whether the row runs against the block's direction.
    turned: bool,
}

impl Lane {
    fn of(places: &[FramePoint]) -> Self {
        let mut along: Vec<f64> = places.iter().map(|at| at.along_m).collect();
        let turned = along.first() > along.last();
        if turned {
            along.reverse();
        }
        Self { u: along, turned }
    }
    /// The place nearest to a position; `None` more than half a step beyond the ends.
    fn nearest(&self, at: f64) -> Option<usize> {
        let last = self.u.len() - 1;
        let reach = 0.5 * (self.u[last] - self.u[0]) / last as f64 + 1e-9;
        if at < self.u[0] - reach || at > self.u[last] + reach {
            return None;
        }
        let above = self.u.partition_point(|u| *u < at).min(last);
        let nearest = if above > 0 && at - self.u[above - 1] <= self.u[above] - at { above - 1 } else { above };
        Some(if self.turned { last - nearest } else { nearest })
    }
}

/// Halves of one row touch at the crest, where no ridge parts them.
fn over_crests(rows: &[Row]) -> impl Iterator<Item = Crossing> + '_ {
    rows.windows(2).enumerate().filter_map(|(r, pair)| {
        let halves = pair[0].number == pair[1].number && pair[0].high_end() == pair[1].high_end();
        let (from, to) = ((r as u32, 0), (r as u32 + 1, 0));
        halves.then_some(Crossing { from, to, ridge_m: 0.0, length_m: 1.0 })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::land::blocks::Bend;
    use crate::stages::drains::test_farm;
    use std::f64::consts::FRAC_PI_2;

    /// Rows along a quarter of circles of 150 to 170 m: at both ends neighbours lie across, or along, the chord.
    #[test]
    fn ridges_between_bent_rows_are_found_all_the_way_round() {
        let circle = |radius_m: f64| -> LineString<f64> {
            let at = |k: i32| FRAC_PI_2 * f64::from(k) / 300.0;
            (0..=300).map(|k| Coord { x: -radius_m * at(k).cos(), y: radius_m * at(k).sin() }).collect()
        };
        let mut block = test_farm::block(1, 0.0, 100.0);
        let lead_m = 160.0;
        block.bent = Some(Bend {
            start: Coord { x: -lead_m, y: 0.0 },
            heading_rad: 0.0,
            pieces: vec![(FRAC_PI_2 * lead_m, 1.0 / lead_m)],
        });
        block.rows = (0..=10)
            .map(|i| {
                let radius_m = 170.0 - 2.0 * f64::from(i);
                Row { number: i + 1, line: circle(radius_m), length_m: FRAC_PI_2 * radius_m, fall: None }
            })
            .collect();
        let furrows = Furrows::of(&block, 5.0, 0.15);
        // One way a station of the row on the left, each as long as the rows are apart.
        let stations: usize = furrows.places[..10].iter().map(Vec::len).sum();
        assert_eq!(furrows.crossings.len(), stations);
        assert!(furrows.crossings.iter().all(|c| (c.length_m - 2.0).abs() < 0.01 && c.to.0 == c.from.0 + 1));
    }
}
