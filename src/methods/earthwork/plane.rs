//! Planes of least squares, free or with the fall along and across a bearing held between limits.
//!
//! The free plane solves the coupled normal equations; regressing each direction on its own is only right
//! for full rectangles. With limits, the misfit is a convex quadratic in the two falls (along and across the
//! bearing), and the limits form a box: the free optimum if it lies inside, else the best of the four sides, on each
//! of which one fall is fixed and the other is the clamped one-variable optimum (corners included). That is the
//! exact constrained optimum. The height of the plane is free, so it always passes through the weighted centroid, where
//! cut equals fill.
//! Shapes and units: metres; falls are ratios. Complexity: `O(1)` per fit once the [`Moments`] are gathered.
//! Ties: between the two senses of a line, the bearing as given.
//! Source: [`Bibliography::ScaloppiWillardson1986`](crate::bibliography::Bibliography::ScaloppiWillardson1986), normal equations;
//! [`Bibliography::Walker1989`](crate::bibliography::Bibliography::Walker1989), section 6.3, area weights; the box by enumeration of active sets.
//! How we know: worked grids (in `plane/tests.rs`: `free_plane_of_the_grid`, `weighted_stakes`, `irregular_field`) and properties
//! (`limited_fit_is_the_best_of_a_fine_grid`, `plane_passes_through_the_centroid`).

use super::moments::Moments;
use crate::units::Bearing;

#[cfg(test)]
mod tests;

/// A plane through a point, with its rise per metre east (x) and north (y).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// x of the reference point (the weighted centroid after a fit), metres.
    pub x0_m: f64,
    /// y of the reference point, metres.
    pub y0_m: f64,
    /// Height at the reference point, metres.
    pub z0_m: f64,
    /// Rise per metre along x.
    pub slope_x: f64,
    /// Rise per metre along y.
    pub slope_y: f64,
}

impl Plane {
    /// Height at a position, metres.
    #[must_use]
    pub fn height_m(&self, x_m: f64, y_m: f64) -> f64 {
        self.z0_m + self.slope_x * (x_m - self.x0_m) + self.slope_y * (y_m - self.y0_m)
    }
    /// Height at the coordinate origin, metres: `c0` in `z = c0 + sx x + sy y`.
    #[must_use]
    pub fn height_at_origin_m(&self) -> f64 {
        self.height_m(0.0, 0.0)
    }
    /// The same plane `by_m` lower.
    #[must_use]
    pub fn lowered(self, by_m: f64) -> Self {
        Self { z0_m: self.z0_m - by_m, ..self }
    }
    /// Fall (positive downhill) along a bearing, as a ratio.
    #[must_use]
    pub fn fall_along(&self, bearing: Bearing) -> f64 {
        let (east, north) = bearing.east_north();
        -(self.slope_x * east + self.slope_y * north)
    }
}

/// The least-squares plane of points `(x, y, z, weight)`; see [`fit_plane_of`].
#[must_use]
pub fn fit_plane(points: impl IntoIterator<Item = (f64, f64, f64, f64)>) -> Option<Plane> {
    fit_plane_of(&Moments::of(points))
}

/// The least-squares plane of gathered moments.
///
/// Points on one line leave the slope across it open; it is then level in that direction. `None` without any point.
#[must_use]
pub fn fit_plane_of(m: &Moments) -> Option<Plane> {
    if m.weight <= 0.0 {
        return None;
    }
    let (slope_x, slope_y) = free_slopes(m.sxx, m.sxy, m.syy, m.sxz, m.syz);
    Some(through_mean(m, slope_x, slope_y))
}

fn through_mean(m: &Moments, slope_x: f64, slope_y: f64) -> Plane {
    Plane { x0_m: m.mean_x_m, y0_m: m.mean_y_m, z0_m: m.mean_z_m, slope_x, slope_y }
}

/// Minimum of the quadratic `a u^2 + 2 b u v + c v^2 - 2 p u - 2 q v`; of least length where it is not unique.
fn free_slopes(a: f64, b: f64, c: f64, p: f64, q: f64) -> (f64, f64) {
    let det = a * c - b * b;
    let trace = a + c;
    if det > 1e-12 * trace * trace {
        return ((c * p - b * q) / det, (a * q - b * p) / det);
    }
    if trace <= 0.0 {
        return (0.0, 0.0);
    }
    // All points on one line: for a matrix of rank one the pseudo-inverse is the matrix over its squared trace.
    ((a * p + b * q) / (trace * trace), (b * p + c * q) / (trace * trace))
}

/// Which way water may run along the bearing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FallSense {
    /// Downhill in the direction of the bearing.
    Along,
    /// Downhill against it.
    Against,
    /// Whichever costs less earth.
    Either,
}

/// Limits on a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneLimits {
    /// Direction along which `min_fall` and `max_fall` hold.
    pub bearing: Bearing,
    /// Least fall along the bearing, in the sense it runs, as a ratio.
    pub min_fall: f64,
    /// Greatest fall along the bearing, as a ratio.
    pub max_fall: f64,
    /// Greatest fall to either side, as a ratio.
    pub max_cross_fall: f64,
    /// Which way the fall may run.
    pub sense: FallSense,
}

/// How a limit holds the fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Binding {
    /// The fit would be the same without the limit.
    Free,
    /// The fall stands at its least allowed value.
    AtLeast,
    /// The fall stands at its greatest allowed value.
    AtMost,
}

/// The best plane within limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimitedPlane {
    /// The plane, through the weighted centroid.
    pub plane: Plane,
    /// Fall along the bearing (negative when it runs against it), as a ratio.
    pub fall_along: f64,
    /// Fall to the right of the bearing (negative: to the left), as a ratio.
    pub fall_right: f64,
    /// Which limit on the fall along binds.
    pub along: Binding,
    /// Which limit on the cross fall binds (`AtMost`, if any).
    pub across: Binding,
    /// Weighted sum of squared height differences.
    pub squared_misfit: f64,
}

/// The least-squares plane whose falls along and across a bearing stay within limits.
///
/// `None` without any point, or when the limits contradict each other (`min_fall > max_fall`, a negative cross limit, or a number
/// missing).
#[must_use]
pub fn fit_plane_limited(moments: &Moments, limits: &PlaneLimits) -> Option<LimitedPlane> {
    let consistent = limits.min_fall <= limits.max_fall && limits.max_cross_fall >= 0.0;
    if moments.weight <= 0.0 || !consistent {
        return None;
    }
    let along = || fit_sense(moments, limits, (limits.min_fall, limits.max_fall), false);
    let against = || fit_sense(moments, limits, (-limits.max_fall, -limits.min_fall), true);
    Some(match limits.sense {
        FallSense::Along => along(),
        FallSense::Against => against(),
        FallSense::Either => {
            let (a, b) = (along(), against());
            if b.squared_misfit < a.squared_misfit { b } else { a }
        }
    })
}

/// A closed range of falls.
type FallRange = (f64, f64);

/// The best plane with the fall along the bearing in one range.
fn fit_sense(m: &Moments, limits: &PlaneLimits, range: FallRange, reversed: bool) -> LimitedPlane {
    let (e, n) = limits.bearing.east_north();
    // Turn the sums into the frame (u along the bearing, v to its right); v = (n, -e).
    let suu = e * e * m.sxx + 2.0 * e * n * m.sxy + n * n * m.syy;
    let svv = n * n * m.sxx - 2.0 * e * n * m.sxy + e * e * m.syy;
    let suv = e * n * (m.sxx - m.syy) + (n * n - e * e) * m.sxy;
    // A fall is a negative rise, hence the signs.
    let (pu, pv) = (-(e * m.sxz + n * m.syz), -(n * m.sxz - e * m.syz));
    let cross = (-limits.max_cross_fall, limits.max_cross_fall);
    let free = free_slopes(suu, suv, svv, pu, pv);
    let inside = |v: f64, r: FallRange| v >= r.0 && v <= r.1;
    let cost = |(u, v): (f64, f64)| suu * u * u + 2.0 * suv * u * v + svv * v * v - 2.0 * (pu * u + pv * v);
    let (fall_along, fall_right) = if inside(free.0, range) && inside(free.1, cross) {
        free
    } else {
        let with_u = |u: f64| (u, clamped_optimum(svv, pv - suv * u, cross));
        let with_v = |v: f64| (clamped_optimum(suu, pu - suv * v, range), v);
        let sides = [with_u(range.0), with_u(range.1), with_v(cross.0), with_v(cross.1)];
        sides.into_iter().fold(sides[0], |best, s| if cost(s) < cost(best) { s } else { best })
    };
    let plane = through_mean(m, -(fall_along * e + fall_right * n), -(fall_along * n - fall_right * e));
    let mut along = binding(fall_along, range, free.0);
    if reversed {
        along = match along {
            Binding::AtLeast => Binding::AtMost,
            Binding::AtMost => Binding::AtLeast,
            Binding::Free => Binding::Free,
        };
    }
    let across = if binding(fall_right, cross, free.1) == Binding::Free { Binding::Free } else { Binding::AtMost };
    LimitedPlane {
        plane,
        fall_along,
        fall_right,
        along,
        across,
        squared_misfit: m.squared_misfit(plane.slope_x, plane.slope_y),
    }
}

/// Minimum of `a t^2 - 2 p t` over a range; the value nearest zero when it does not depend on `t`.
fn clamped_optimum(a: f64, p: f64, range: FallRange) -> f64 {
    let free = if a > 0.0 { p / a } else { 0.0 };
    free.clamp(range.0, range.1)
}

/// Results that stand at an end are there exactly, because they were clamped to it.
#[expect(clippy::float_cmp, reason = "a clamped value equals its limit bit for bit")]
fn binding(value: f64, range: FallRange, free: f64) -> Binding {
    if value == free {
        Binding::Free
    } else if value == range.0 {
        Binding::AtLeast
    } else if value == range.1 {
        Binding::AtMost
    } else {
        Binding::Free
    }
}
