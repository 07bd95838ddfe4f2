//! A smooth line of arcs and straight pieces, and places told by how far along it and how far to its right they lie.
//!
//! Lines at a constant distance from an arc are arcs about the same centre, so every parallel of such a line is known
//! exactly: its length, its radius, its distance. Beyond both ends the line runs on straight.
//! Shapes and units: metres on one plan, radians clockwise from north, curvature one over metres, positive where the line
//! turns right. Complexity: `O(pieces)` for a place, `O(log pieces)` for a station.
//! Source: circle geometry; the rigid overlay is least squares over one turn and one shift of the plane, arithmetic.
//! How we know: a circle by hand (`a_circle`), out and back (`places_come_back`), a smoothed line lies on the arcs it was
//! sampled from (`an_arc_is_found_again`).

use super::frame::FramePoint;
use geo::Coord;
use std::f64::consts::{PI, TAU};

/// Places this far before or after a piece still belong to it, metres: rounding of the joints.
const HAIR_M: f64 = 1e-7;
/// Fewest samples a line is smoothed from.
const FEWEST: usize = 4;

/// A piece of constant curvature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arc {
    /// Length, metres.
    pub length_m: f64,
    /// Curvature, one over metres; positive turns right, zero is straight.
    pub curvature_per_m: f64,
}

/// Pieces of constant curvature joined without a kink.
#[derive(Debug, Clone, PartialEq)]
pub struct ArcLine {
    pieces: Vec<Arc>,
    /// Station, heading and place of the start of each piece, and of the end of the last.
    joints: Vec<Joint>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Joint {
    at_m: f64,
    heading: f64,
    place: Coord<f64>,
}

impl Joint {
    /// The place `ahead_m` further on at a curvature.
    fn ahead(&self, ahead_m: f64, curvature_per_m: f64) -> Self {
        let half = curvature_per_m * ahead_m / 2.0;
        // The chord of an arc, without dividing by a curvature that may be zero.
        let chord = if half.abs() < 1e-6 { ahead_m } else { ahead_m * half.sin() / half };
        let (sin, cos) = (self.heading + half).sin_cos();
        Self {
            at_m: self.at_m + ahead_m,
            heading: self.heading + 2.0 * half,
            place: Coord { x: self.place.x + chord * sin, y: self.place.y + chord * cos },
        }
    }
}

impl ArcLine {
    /// The line from a place on, heading in radians clockwise from north. `None` without a piece, or when a length is not
    /// positive or a number is not finite.
    #[must_use]
    pub fn new(start: Coord<f64>, heading: f64, pieces: Vec<Arc>) -> Option<Self> {
        let sound = |a: &Arc| a.length_m.is_finite() && a.length_m > 0.0 && a.curvature_per_m.is_finite();
        if pieces.is_empty() || !pieces.iter().all(sound) || !(start.x + start.y + heading).is_finite() {
            return None;
        }
        let mut joints = vec![Joint { at_m: 0.0, heading, place: start }];
        for piece in &pieces {
            let last = joints[joints.len() - 1];
            joints.push(last.ahead(piece.length_m, piece.curvature_per_m));
        }
        Some(Self { pieces, joints })
    }

    /// A line near a drawn one: headings of samples `step_m` apart averaged over `window_m`, laid back over the samples as a
    /// rigid whole. `None` for lines shorter than a few steps.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of samples along a line")]
    pub fn evened(line: &[Coord<f64>], step_m: f64, window_m: f64) -> Option<Self> {
        let samples = resampled(line, step_m);
        if samples.len() < FEWEST {
            return None;
        }
        let between: Vec<Coord<f64>> = samples.windows(2).map(|w| w[1] - w[0]).collect();
        let step_m = between.iter().map(|d| d.x.hypot(d.y)).sum::<f64>() / between.len() as f64;
        let mut headings: Vec<f64> = Vec::with_capacity(between.len());
        for d in &between {
            let heading = d.x.atan2(d.y);
            headings.push(headings.last().map_or(heading, |last| last + wrapped(heading - last)));
        }
        // Three passes of a running mean come near a bell; a window that shrinks towards the ends keeps a steady turn steady.
        let half = (window_m / step_m / 2.0).round() as usize;
        for _ in 0..3 {
            headings = (0..headings.len())
                .map(|i| {
                    let k = half.min(i).min(headings.len() - 1 - i);
                    headings[i - k..=i + k].iter().sum::<f64>() / (2 * k + 1) as f64
                })
                .collect();
        }
        let mut pieces = vec![Arc { length_m: step_m / 2.0, curvature_per_m: 0.0 }];
        pieces.extend(headings.windows(2).map(|h| Arc { length_m: step_m, curvature_per_m: (h[1] - h[0]) / step_m }));
        pieces.push(Arc { length_m: step_m / 2.0, curvature_per_m: 0.0 });
        let drawn = Self::new(samples[0], headings[0], pieces)?;
        Some(drawn.laid_over(&samples, step_m))
    }

    /// The line moved and turned as a whole so that its places lie nearest to the samples.
    fn laid_over(self, samples: &[Coord<f64>], step_m: f64) -> Self {
        let n = samples.len() as f64;
        let own: Vec<Coord<f64>> = (0..samples.len()).map(|i| self.leave(0.0, i as f64 * step_m)).collect();
        let mean = |list: &[Coord<f64>]| list.iter().fold(Coord { x: 0.0, y: 0.0 }, |a, c| a + *c) / n;
        let (from, to) = (mean(&own), mean(samples));
        let (mut dot, mut cross) = (0.0, 0.0);
        for (a, b) in own.iter().zip(samples) {
            let (a, b) = (*a - from, *b - to);
            dot += a.x * b.x + a.y * b.y;
            cross += a.y * b.x - a.x * b.y;
        }
        // Clockwise, as headings are counted.
        let turn = cross.atan2(dot);
        let (sin, cos) = turn.sin_cos();
        let start = self.joints[0];
        let arm = start.place - from;
        let place = Coord { x: to.x + arm.x * cos + arm.y * sin, y: to.y - arm.x * sin + arm.y * cos };
        Self::new(place, start.heading + turn, self.pieces.clone()).unwrap_or(self)
    }

    /// Where the line starts, and its heading there in radians clockwise from north.
    #[must_use]
    pub fn start(&self) -> (Coord<f64>, f64) {
        (self.joints[0].place, self.joints[0].heading)
    }

    /// The pieces from start to end.
    #[must_use]
    pub fn pieces(&self) -> &[Arc] {
        &self.pieces
    }

    /// Length between the ends, metres.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        self.joints[self.pieces.len()].at_m
    }

    /// The same line from its other end.
    #[must_use]
    pub fn reversed(&self) -> Self {
        let end = self.joints[self.pieces.len()];
        let turned = |a: &Arc| Arc { curvature_per_m: -a.curvature_per_m, ..*a };
        let pieces = self.pieces.iter().rev().map(turned).collect();
        Self::new(end.place, end.heading + PI, pieces).unwrap_or_else(|| self.clone())
    }

    /// The joint a station lies behind, and the curvature there; beyond the ends it is zero.
    fn behind(&self, at_m: f64) -> (Joint, f64) {
        if at_m < 0.0 {
            return (self.joints[0], 0.0);
        }
        let i = self.joints.partition_point(|j| j.at_m <= at_m) - 1;
        (self.joints[i], self.pieces.get(i).map_or(0.0, |p| p.curvature_per_m))
    }

    fn on(&self, at_m: f64) -> Joint {
        let (joint, curvature) = self.behind(at_m);
        joint.ahead(at_m - joint.at_m, curvature)
    }

    /// Heading at a station, radians clockwise from north, not wrapped.
    #[must_use]
    pub fn heading(&self, at_m: f64) -> f64 {
        self.on(at_m).heading
    }

    /// The place a distance to the right of a station, metres.
    #[must_use]
    pub fn leave(&self, across_m: f64, at_m: f64) -> Coord<f64> {
        let on = self.on(at_m);
        let (sin, cos) = on.heading.sin_cos();
        Coord { x: on.place.x + across_m * cos, y: on.place.y - across_m * sin }
    }

    /// Station and distance to the right of a place: those of the nearest place of the line.
    #[must_use]
    pub fn enter(&self, at: Coord<f64>) -> FramePoint {
        let mut best: Option<FramePoint> = None;
        let nearer = |best: Option<FramePoint>, found: Option<FramePoint>| match (best, found) {
            (Some(b), Some(f)) if f.across_m.abs() >= b.across_m.abs() => Some(b),
            (best, found) => found.or(best),
        };
        for (joint, piece) in self.joints.iter().zip(&self.pieces) {
            let d = at - joint.place;
            let nearest_m = d.x.hypot(d.y) - piece.length_m;
            if best.is_some_and(|b| nearest_m > b.across_m.abs()) {
                continue;
            }
            let found = foot(joint, piece.curvature_per_m, at).filter(|f| {
                let ahead_m = f.along_m - joint.at_m;
                ahead_m >= -HAIR_M && ahead_m <= piece.length_m + HAIR_M
            });
            best = nearer(best, found);
        }
        let (first, last) = (self.joints[0], self.joints[self.pieces.len()]);
        best = nearer(best, foot(&first, 0.0, at).filter(|f| f.along_m <= 0.0));
        best = nearer(best, foot(&last, 0.0, at).filter(|f| f.along_m >= last.at_m));
        // Joined without a kink, the line has a foot for every place; rounding alone could leave one between two pieces.
        best.unwrap_or(FramePoint { across_m: (at.x - first.place.x).hypot(at.y - first.place.y), along_m: 0.0 })
    }

    /// Length of the parallel `across_m` to the right between two stations, metres.
    #[must_use]
    pub fn parallel_length_m(&self, across_m: f64, from_m: f64, to_m: f64) -> f64 {
        (to_m - from_m) - across_m * (self.heading(to_m) - self.heading(from_m))
    }

    /// Length of the parallel `across_m` to the right for a length of the line at a station, as a ratio.
    #[must_use]
    pub fn stretch(&self, across_m: f64, at_m: f64) -> f64 {
        1.0 - across_m * self.behind(at_m).1
    }

    /// Least radius of the parallel `across_m` to the right between two stations, metres; negative where it lies beyond the
    /// centre of a bend, infinite where all is straight.
    #[must_use]
    pub fn parallel_radius_m(&self, across_m: f64, from_m: f64, to_m: f64) -> f64 {
        self.joints
            .iter()
            .zip(&self.pieces)
            .filter(|(j, p)| p.curvature_per_m != 0.0 && j.at_m < to_m && j.at_m + p.length_m > from_m)
            .map(|(_, p)| 1.0 / p.curvature_per_m.abs() - across_m * p.curvature_per_m.signum())
            .fold(f64::INFINITY, f64::min)
    }

    /// Greatest curvature of any piece, one over metres.
    #[must_use]
    pub fn most_curvature_per_m(&self) -> f64 {
        self.pieces.iter().map(|p| p.curvature_per_m.abs()).fold(0.0, f64::max)
    }

    /// The parallel `across_m` to the right between two stations as straight pieces that stay within `off_m` of it.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of chords along a row")]
    pub fn drawn(&self, across_m: f64, from_m: f64, to_m: f64, off_m: f64) -> Vec<Coord<f64>> {
        let mut stations = vec![from_m];
        let mut stretch = |begin: f64, end: f64, curvature: f64| {
            let (begin, end) = (begin.max(from_m), end.min(to_m));
            if end <= begin {
                return;
            }
            let radius_m = (1.0 / curvature - across_m).abs();
            let count = if curvature == 0.0 {
                1
            } else {
                // A chord c strays c^2 / 8 r from its arc.
                let chord_m = (8.0 * radius_m * off_m).sqrt().max(1e-3);
                (radius_m * curvature.abs() * (end - begin) / chord_m).ceil().max(1.0) as usize
            };
            stations.extend((1..=count).map(|k| begin + (end - begin) * k as f64 / count as f64));
        };
        stretch(f64::NEG_INFINITY, 0.0, 0.0);
        for (joint, piece) in self.joints.iter().zip(&self.pieces) {
            stretch(joint.at_m, joint.at_m + piece.length_m, piece.curvature_per_m);
        }
        stretch(self.length_m(), f64::INFINITY, 0.0);
        stations.into_iter().map(|s| self.leave(across_m, s)).collect()
    }
}

/// The foot of a place on the straight line or circle that goes on from a joint; `None` for the centre of a circle.
fn foot(joint: &Joint, curvature_per_m: f64, at: Coord<f64>) -> Option<FramePoint> {
    let (sin, cos) = joint.heading.sin_cos();
    let d = at - joint.place;
    let (along, across) = (d.x * sin + d.y * cos, d.x * cos - d.y * sin);
    // Beyond a thousand kilometres a circle is straight to the last digit of a plan.
    if curvature_per_m.abs() < 1e-9 {
        return Some(FramePoint { across_m: across, along_m: joint.at_m + along });
    }
    let radius = 1.0 / curvature_per_m;
    // From the centre, which lies `radius` to the right.
    let (out, ahead) = (radius - across, along);
    let reach = out.hypot(ahead);
    if reach < 1e-9 {
        return None;
    }
    let side = radius.signum();
    let turned = ahead.atan2(out * side);
    Some(FramePoint { across_m: radius - side * reach, along_m: joint.at_m + turned * radius.abs() })
}

/// An angle brought to within half a turn of nothing.
fn wrapped(angle: f64) -> f64 {
    (angle + PI).rem_euclid(TAU) - PI
}

/// Places along a line, evenly spread, about `step_m` apart, both ends among them.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of samples along a line")]
fn resampled(line: &[Coord<f64>], step_m: f64) -> Vec<Coord<f64>> {
    let lengths: Vec<f64> = line.windows(2).map(|w| (w[1].x - w[0].x).hypot(w[1].y - w[0].y)).collect();
    let whole: f64 = lengths.iter().sum();
    let count = (whole / step_m).round();
    if !(count >= 1.0 && count.is_finite()) {
        return Vec::new();
    }
    let count = count as usize;
    let (mut piece, mut before) = (0, 0.0);
    (0..=count)
        .map(|k| {
            let at = whole * k as f64 / count as f64;
            while piece + 1 < lengths.len() && at > before + lengths[piece] {
                before += lengths[piece];
                piece += 1;
            }
            let share = if lengths[piece] > 0.0 { ((at - before) / lengths[piece]).clamp(0.0, 1.0) } else { 0.0 };
            line[piece] + (line[piece + 1] - line[piece]) * share
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn quarter(radius_m: f64, side: f64) -> ArcLine {
        let arc = Arc { length_m: radius_m * PI / 2.0, curvature_per_m: side / radius_m };
        ArcLine::new(Coord { x: 500_000.0, y: 6_900_000.0 }, 0.0, vec![arc]).unwrap()
    }

    #[test]
    fn a_circle() {
        // A quarter of a circle of 200 m to the right, from heading north: it ends 200 m east and 200 m north, heading
        // east; the parallel 50 m inside has a radius of 150 m and 150 x pi / 2 m of length (arithmetic).
        let line = quarter(200.0, 1.0);
        let end = line.leave(0.0, line.length_m());
        assert!((end.x - 500_200.0).abs() < 1e-6 && (end.y - 6_900_200.0).abs() < 1e-6, "{end:?}");
        assert!((line.heading(line.length_m()) - PI / 2.0).abs() < 1e-12);
        assert!((line.parallel_length_m(50.0, 0.0, line.length_m()) - 150.0 * PI / 2.0).abs() < 1e-9);
        assert!((line.parallel_radius_m(50.0, 0.0, line.length_m()) - 150.0).abs() < 1e-9);
        // To the left of a bend to the right the radius grows, and so it does the other way round.
        assert!((line.parallel_radius_m(-50.0, 0.0, 10.0) - 250.0).abs() < 1e-9);
        assert!((quarter(200.0, -1.0).parallel_radius_m(-50.0, 0.0, 10.0) - 150.0).abs() < 1e-9);
        assert!((line.parallel_radius_m(50.0, 400.0, 500.0)).is_infinite(), "beyond the end it is straight");
        let drawn = line.drawn(50.0, 0.0, line.length_m(), 0.002);
        let centre = Coord { x: 500_200.0, y: 6_900_000.0 };
        for pair in drawn.windows(2) {
            let middle = (pair[0] + pair[1]) / 2.0 - centre;
            assert!((middle.x.hypot(middle.y) - 150.0).abs() < 0.002_1);
        }
        // Beyond the end the line runs on straight, due east.
        let far = line.leave(0.0, line.length_m() + 30.0);
        assert!((far.x - 500_230.0).abs() < 1e-6 && (far.y - 6_900_200.0).abs() < 1e-6);
    }

    #[test]
    fn an_arc_is_found_again() {
        // Samples of a true arc: headings turn steadily, so averaging them changes nothing, and the overlay brings the line
        // back onto the samples.
        for side in [1.0, -1.0] {
            let line = quarter(400.0, side);
            let drawn = line.drawn(0.0, 0.0, line.length_m(), 0.001);
            let found = ArcLine::evened(&drawn, 10.0, 100.0).unwrap();
            for k in 0..=20 {
                let at = line.leave(0.0, line.length_m() * f64::from(k) / 20.0);
                assert!(found.enter(at).across_m.abs() < 0.05, "{side} {k}: {}", found.enter(at).across_m);
            }
            assert!((found.most_curvature_per_m() - 1.0 / 400.0).abs() < 1e-5);
        }
    }

    #[test]
    fn a_kink_is_rounded() {
        let kinked = [(0.0, 0.0), (0.0, 500.0), (300.0, 900.0)].map(|(x, y)| Coord { x, y });
        let wide = ArcLine::evened(&kinked, 10.0, 200.0).unwrap();
        let narrow = ArcLine::evened(&kinked, 10.0, 60.0).unwrap();
        assert!(wide.most_curvature_per_m() < narrow.most_curvature_per_m());
        assert!(kinked.iter().all(|at| wide.enter(*at).across_m.abs() < 30.0));
    }

    proptest! {
        #[test]
        fn places_come_back(bends in prop::collection::vec((20.0..120.0f64, -1.0..1.0f64), 1..8), across in -60.0..60.0f64, share in -0.2..1.2f64) {
            let pieces: Vec<Arc> = bends.iter().map(|(l, k)| Arc { length_m: *l, curvature_per_m: k / 400.0 }).collect();
            let line = ArcLine::new(Coord { x: 5e5, y: 7e6 }, 0.7, pieces).unwrap();
            // A short line turns less than half about: what lies nearer than every radius has one foot.
            prop_assume!((line.heading(line.length_m()) - line.heading(0.0)).abs() < 1.5);
            let at_m = share * line.length_m();
            let found = line.enter(line.leave(across, at_m));
            prop_assert!((found.across_m - across).abs() < 1e-5 && (found.along_m - at_m).abs() < 1e-5, "{found:?}");
            let back = line.reversed();
            let mirrored = back.enter(line.leave(across, at_m));
            prop_assert!((mirrored.across_m + across).abs() < 1e-5);
            prop_assert!((mirrored.along_m - (line.length_m() - at_m)).abs() < 1e-5);
        }
    }
}
