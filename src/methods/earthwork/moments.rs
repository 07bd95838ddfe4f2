//! First and second weighted moments of points with a height, gathered once and used for many fits.
//!
//! A least-squares plane depends on the points only through ten sums. They are kept about the running mean, so
//! that national-grid coordinates lose no digits, and two gathered sets can be merged.
//! Shapes and units: metres; weights are any positive number, usually the area a point stands for.
//! Complexity: `O(1)` a point, `O(1)` a merge.
//! Source: [`Bibliography::Chan1983`](crate::bibliography::Bibliography::Chan1983), updating formulas for sums of squares.
//! How we know: against two-pass sums far from the origin (`far_from_the_origin`), and merging (`merging_is_gathering`).

/// Weighted moments of points `(x, y, z)`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Moments {
    /// Sum of weights.
    pub weight: f64,
    /// Weighted mean of x, metres.
    pub mean_x_m: f64,
    /// Weighted mean of y, metres.
    pub mean_y_m: f64,
    /// Weighted mean height, metres.
    pub mean_z_m: f64,
    /// Weighted sum of squares of x about the mean.
    pub sxx: f64,
    /// Weighted sum of products of x and y about the means.
    pub sxy: f64,
    /// Weighted sum of squares of y about the mean.
    pub syy: f64,
    /// Weighted sum of products of x and z about the means.
    pub sxz: f64,
    /// Weighted sum of products of y and z about the means.
    pub syz: f64,
    /// Weighted sum of squares of z about the mean.
    pub szz: f64,
}

impl Moments {
    /// Moments of points `(x, y, z, weight)`; points whose weight is not positive are passed over.
    #[must_use]
    pub fn of(points: impl IntoIterator<Item = (f64, f64, f64, f64)>) -> Self {
        let mut m = Self::default();
        for (x, y, z, w) in points {
            m.add(x, y, z, w);
        }
        m
    }

    /// Adds a point; passed over unless its weight is positive.
    pub fn add(&mut self, x_m: f64, y_m: f64, z_m: f64, weight: f64) {
        if weight > 0.0 {
            self.merge(&Self { weight, mean_x_m: x_m, mean_y_m: y_m, mean_z_m: z_m, ..Self::default() });
        }
    }

    /// Adds all points of another set.
    pub fn merge(&mut self, other: &Self) {
        let total = self.weight + other.weight;
        if total <= 0.0 {
            return;
        }
        let share = other.weight / total;
        let (dx, dy, dz) =
            (other.mean_x_m - self.mean_x_m, other.mean_y_m - self.mean_y_m, other.mean_z_m - self.mean_z_m);
        let between = self.weight * share;
        self.sxx += other.sxx + between * dx * dx;
        self.sxy += other.sxy + between * dx * dy;
        self.syy += other.syy + between * dy * dy;
        self.sxz += other.sxz + between * dx * dz;
        self.syz += other.syz + between * dy * dz;
        self.szz += other.szz + between * dz * dz;
        self.mean_x_m += share * dx;
        self.mean_y_m += share * dy;
        self.mean_z_m += share * dz;
        self.weight = total;
    }

    /// Weighted sum of squared height differences from the plane through the mean with these rises per metre.
    ///
    /// Never below zero, though rounding can leave about 1e-12 of the sum of squares where it should vanish.
    #[must_use]
    pub fn squared_misfit(&self, slope_x: f64, slope_y: f64) -> f64 {
        let explained = 2.0 * (slope_x * self.sxz + slope_y * self.syz);
        let plane = slope_x * slope_x * self.sxx + 2.0 * slope_x * slope_y * self.sxy + slope_y * slope_y * self.syy;
        (self.szz - explained + plane).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points() -> Vec<(f64, f64, f64, f64)> {
        (0..50)
            .map(|i| {
                let t = f64::from(i);
                (
                    5e5 + 7.0 * (t * 0.7).sin() * t,
                    6.9e6 + 5.0 * (t * 1.3).cos() * t,
                    12.0 + (t * 0.31).sin(),
                    1.0 + (i % 4) as f64,
                )
            })
            .collect()
    }

    #[test]
    fn far_from_the_origin() {
        let p = points();
        let m = Moments::of(p.iter().copied());
        let w: f64 = p.iter().map(|q| q.3).sum();
        let mx = 5e5 + p.iter().map(|q| q.3 * (q.0 - 5e5)).sum::<f64>() / w;
        let mz = p.iter().map(|q| q.3 * q.2).sum::<f64>() / w;
        let sxz: f64 = p.iter().map(|q| q.3 * (q.0 - mx) * (q.2 - mz)).sum();
        assert!((m.mean_x_m - mx).abs() < 1e-8 && (m.mean_z_m - mz).abs() < 1e-12);
        assert!((m.sxz - sxz).abs() < 1e-6 * sxz.abs().max(1.0));
    }

    #[test]
    fn merging_is_gathering() {
        let p = points();
        let all = Moments::of(p.iter().copied());
        let mut halves = Moments::of(p[..20].iter().copied());
        halves.merge(&Moments::of(p[20..].iter().copied()));
        assert!((all.sxy - halves.sxy).abs() < 1e-6 * all.sxx && (all.szz - halves.szz).abs() < 1e-9 * all.szz);
        let direct: f64 = {
            let (a, b) = (1e-3, -2e-3);
            p.iter()
                .map(|q| q.3 * (q.2 - all.mean_z_m - a * (q.0 - all.mean_x_m) - b * (q.1 - all.mean_y_m)).powi(2))
                .sum()
        };
        assert!((all.squared_misfit(1e-3, -2e-3) - direct).abs() < 1e-9 * direct);
    }
}
