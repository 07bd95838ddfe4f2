//! The shape of a channel's cross section.
//!
//! Source: [`Bibliography::Chow1959`](crate::bibliography::Bibliography::Chow1959), table 2-1.
//! How we know: hand-computed farm drains and a worked parabola are checked in `channel`; here the shapes are checked
//! against each other and against a numerical arc length.

/// A channel cross section without a lid: area and perimeter grow with depth without end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// Flat bottom with straight sides; a V when the bottom is 0, a rectangle when the batter is 0.
    Trapezoid {
        /// Width of the bottom.
        bottom_m: f64,
        /// Horizontal run of the sides for each unit of rise.
        batter_h_per_v: f64,
    },
    /// Parabola with its vertex at the bottom, given by one width and the depth it has there.
    Parabola {
        /// Width of the water surface at `depth_m`.
        top_width_m: f64,
        /// The depth that goes with `top_width_m`.
        depth_m: f64,
    },
}

impl Section {
    /// A V channel.
    #[must_use]
    pub const fn vee(batter_h_per_v: f64) -> Self {
        Self::Trapezoid { bottom_m: 0.0, batter_h_per_v }
    }

    /// Whether the numbers describe a section that can hold water.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        match *self {
            Self::Trapezoid { bottom_m, batter_h_per_v } => {
                bottom_m >= 0.0
                    && batter_h_per_v >= 0.0
                    && bottom_m + batter_h_per_v > 0.0
                    && bottom_m.is_finite()
                    && batter_h_per_v.is_finite()
            }
            Self::Parabola { top_width_m, depth_m } => {
                top_width_m > 0.0 && depth_m > 0.0 && top_width_m.is_finite() && depth_m.is_finite()
            }
        }
    }

    /// Area of water (m2) at a depth.
    #[must_use]
    pub fn area_m2(&self, depth_m: f64) -> f64 {
        match *self {
            Self::Trapezoid { bottom_m, batter_h_per_v } => (bottom_m + batter_h_per_v * depth_m) * depth_m,
            Self::Parabola { .. } => 2.0 / 3.0 * self.top_width_m(depth_m) * depth_m,
        }
    }

    /// Length of bed and sides touched by water (m) at a depth.
    #[must_use]
    pub fn wetted_perimeter_m(&self, depth_m: f64) -> f64 {
        match *self {
            Self::Trapezoid { bottom_m, batter_h_per_v } => bottom_m + 2.0 * depth_m * batter_h_per_v.hypot(1.0),
            Self::Parabola { .. } => {
                let width_m = self.top_width_m(depth_m);
                if width_m <= 0.0 {
                    return 0.0;
                }
                let x = 4.0 * depth_m / width_m;
                width_m / 2.0 * (x.hypot(1.0) + x.asinh() / x)
            }
        }
    }

    /// Width of the water surface (m) at a depth.
    #[must_use]
    pub fn top_width_m(&self, depth_m: f64) -> f64 {
        match *self {
            Self::Trapezoid { bottom_m, batter_h_per_v } => bottom_m + 2.0 * batter_h_per_v * depth_m,
            Self::Parabola { top_width_m, depth_m: at_depth_m } => top_width_m * (depth_m / at_depth_m).sqrt(),
        }
    }

    /// Area over wetted perimeter (m); 0 when dry.
    #[must_use]
    pub fn hydraulic_radius_m(&self, depth_m: f64) -> f64 {
        let area_m2 = self.area_m2(depth_m);
        if area_m2 > 0.0 { area_m2 / self.wetted_perimeter_m(depth_m) } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parabola_perimeter_is_its_arc_length() {
        // Independent: the arc summed over 20,000 chords.
        let section = Section::Parabola { top_width_m: 10.0, depth_m: 2.0 };
        let (depth_m, pieces) = (1.5, 20_000);
        let half = section.top_width_m(depth_m) / 2.0;
        let height = |x: f64| depth_m * (x / half).powi(2);
        let chords: f64 = (0..pieces)
            .map(|i| {
                let x0 = half * f64::from(i) / f64::from(pieces);
                let x1 = half * f64::from(i + 1) / f64::from(pieces);
                (x1 - x0).hypot(height(x1) - height(x0))
            })
            .sum();
        assert!((section.wetted_perimeter_m(depth_m) - 2.0 * chords).abs() < 1e-7);
    }

    #[test]
    fn area_grows_by_the_top_width() {
        // Analytic: dA/dy = T for every section.
        let h = 1e-6;
        for section in [
            Section::vee(6.0),
            Section::Trapezoid { bottom_m: 1.5, batter_h_per_v: 2.0 },
            Section::Trapezoid { bottom_m: 1.5, batter_h_per_v: 0.0 },
            Section::Parabola { top_width_m: 8.0, depth_m: 0.5 },
        ] {
            let growth = (section.area_m2(0.4 + h) - section.area_m2(0.4 - h)) / (2.0 * h);
            assert!((growth - section.top_width_m(0.4)).abs() < 1e-6);
        }
    }

    #[test]
    fn best_trapezoid_has_radius_half_the_depth() {
        // Hydraulically best trapezoid (formula in Maurer, Hydraulics and Water Resources): A = 4 m2, batter 2.
        let section = Section::Trapezoid { bottom_m: 0.600_566, batter_h_per_v: 2.0 };
        assert!((section.area_m2(1.272_020) - 4.0).abs() < 1e-5);
        assert!((section.hydraulic_radius_m(1.272_020) / 1.272_020 - 0.5).abs() < 1e-6);
    }

    #[test]
    fn unsound_sections_are_told() {
        assert!(!Section::vee(0.0).is_sound());
        assert!(!Section::Trapezoid { bottom_m: -1.0, batter_h_per_v: 2.0 }.is_sound());
        assert!(!Section::Parabola { top_width_m: 1.0, depth_m: f64::NAN }.is_sound());
        assert!(Section::Parabola { top_width_m: 1.0, depth_m: 0.2 }.wetted_perimeter_m(0.0).abs() < 1e-12);
    }
}
