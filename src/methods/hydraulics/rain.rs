//! Rainfall intensity at any duration, from a table of one return period.
//!
//! Source: straight lines on log-log paper between tabulated durations, common practice for intensity-duration tables.
//! How we know: the values at the table's own durations come back, a power law is followed exactly, and a published
//! three-parameter intensity curve is followed within 2 % between hourly and ten-minute values.

/// Why a rain table cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RainError {
    /// Give at least two durations.
    #[error("rain table has {0} durations, needs at least 2")]
    TooFew(usize),
    /// Durations and intensities are positive numbers.
    #[error("rain table entry {index}: duration {duration_min} min with {intensity_mm_h} mm/h, both must be positive")]
    NotPositive {
        /// Position in the table, from 0.
        index: usize,
        /// Given duration.
        duration_min: f64,
        /// Given intensity.
        intensity_mm_h: f64,
    },
    /// Sort the table by duration and give each duration once.
    #[error("rain table entry {index}: duration {duration_min} min does not exceed the one before")]
    NotSorted {
        /// Position in the table, from 0.
        index: usize,
        /// Given duration.
        duration_min: f64,
    },
    /// Longer rain is never heavier on average; depths (mm) may have been given for intensities (mm/h).
    #[error(
        "rain table entry {index}: {intensity_mm_h} mm/h is heavier than the shorter duration before it; \
         give intensities in mm/h, not depths"
    )]
    Rises {
        /// Position in the table, from 0.
        index: usize,
        /// Given intensity.
        intensity_mm_h: f64,
    },
}

/// Rain of one return period: intensity against duration.
#[derive(Debug, Clone, PartialEq)]
pub struct ReturnRain {
    /// Natural logarithms of (minutes, mm/h), durations rising.
    log_points: Vec<(f64, f64)>,
}

impl ReturnRain {
    /// From a table of (duration in minutes, intensity in mm/h), sorted by duration.
    ///
    /// # Errors
    /// Fewer than two entries, a number that is not positive, durations out of order, intensities that rise.
    pub fn new(table: &[(f64, f64)]) -> Result<Self, RainError> {
        if table.len() < 2 {
            return Err(RainError::TooFew(table.len()));
        }
        for (index, &(duration_min, intensity_mm_h)) in table.iter().enumerate() {
            let positive = |v: f64| v.is_finite() && v > 0.0;
            if !positive(duration_min) || !positive(intensity_mm_h) {
                return Err(RainError::NotPositive { index, duration_min, intensity_mm_h });
            }
            if index > 0 && duration_min <= table[index - 1].0 {
                return Err(RainError::NotSorted { index, duration_min });
            }
            if index > 0 && intensity_mm_h > table[index - 1].1 {
                return Err(RainError::Rises { index, intensity_mm_h });
            }
        }
        Ok(Self { log_points: table.iter().map(|&(d, i)| (d.ln(), i.ln())).collect() })
    }

    /// Intensity (mm/h) over a duration.
    ///
    /// Outside the table the end segment is continued. Intensity curves bend down on log-log paper, so that overstates
    /// the rain at both ends; [`covers`](Self::covers) tells whether it was needed. A duration of zero or less is
    /// taken as one second.
    #[must_use]
    pub fn intensity_mm_h(&self, duration_min: f64) -> f64 {
        let x = duration_min.max(1.0 / 60.0).ln();
        let upper = self.log_points.partition_point(|&(d, _)| d < x).clamp(1, self.log_points.len() - 1);
        let (x0, y0) = self.log_points[upper - 1];
        let (x1, y1) = self.log_points[upper];
        (y0 + (y1 - y0) * (x - x0) / (x1 - x0)).exp()
    }

    /// Depth of rain (mm) over a duration.
    #[must_use]
    pub fn depth_mm(&self, duration_min: f64) -> f64 {
        self.intensity_mm_h(duration_min) * duration_min / 60.0
    }

    /// Whether the duration lies within the table (its ends included).
    #[must_use]
    pub fn covers(&self, duration_min: f64) -> bool {
        let (first, last) = (self.log_points[0].0, self.log_points[self.log_points.len() - 1].0);
        let x = duration_min.ln();
        x >= first - 1e-12 && x <= last + 1e-12
    }

    /// The duration (min) that equals the travel time under its own intensity, not less than `floor_min`.
    ///
    /// `travel_min` maps an intensity (mm/h) to a travel time and must not rise with intensity. The gap between
    /// duration and travel time is then searched by halving, in logarithms, up to a thousand hours.
    pub fn critical_duration_min(&self, floor_min: f64, travel_min: impl Fn(f64) -> f64) -> f64 {
        let floor_min = floor_min.max(1.0 / 60.0);
        let arrived = |duration_min: f64| duration_min >= travel_min(self.intensity_mm_h(duration_min));
        if arrived(floor_min) {
            return floor_min;
        }
        let (mut early, mut late) = (floor_min.ln(), 60_000.0_f64.ln().max(floor_min.ln()));
        for _ in 0..100 {
            let middle = 0.5 * (early + late);
            if arrived(middle.exp()) {
                late = middle;
            } else {
                early = middle;
            }
        }
        late.exp()
    }
}

#[cfg(test)]
mod tests {
    use super::super::kinematic_wave_min;
    use super::*;

    /// Intensity curve of a municipal drainage manual (Sao Paulo, seen second hand): 57.71 T^0.172 / (t + 22)^1.025
    /// mm/min for T = 5 years, whose printed depths at 10, 20, ... 100 min are used below.
    const PRINTED_DEPTH_MM: [f64; 10] = [21.8, 33.0, 39.8, 44.3, 47.5, 49.9, 51.7, 53.2, 54.4, 55.3];

    fn printed_table() -> Vec<(f64, f64)> {
        PRINTED_DEPTH_MM
            .iter()
            .zip(1..)
            .map(|(depth, k)| (f64::from(10 * k), depth * 60.0 / f64::from(10 * k)))
            .collect()
    }

    #[test]
    fn printed_depths_come_back_and_the_curve_is_followed() {
        let rain = ReturnRain::new(&printed_table()).unwrap();
        for (depth, k) in PRINTED_DEPTH_MM.iter().zip(1..) {
            assert!((rain.depth_mm(f64::from(10 * k)) - depth).abs() < 1e-9);
        }
        for t in [15.0, 25.0, 45.0, 75.0, 95.0_f64] {
            let curve = 60.0 * 57.71 * 5.0_f64.powf(0.172) / (t + 22.0).powf(1.025);
            assert!((rain.intensity_mm_h(t) / curve - 1.0).abs() < 0.02, "{t}");
        }
        // Continued ends stay on the safe side of the curve.
        for t in [5.0, 150.0_f64] {
            let curve = 60.0 * 57.71 * 5.0_f64.powf(0.172) / (t + 22.0).powf(1.025);
            assert!(rain.intensity_mm_h(t) > curve && !rain.covers(t));
        }
    }

    #[test]
    fn a_power_law_is_exact() {
        // Analytic: i = 1000 t^-0.6 is a straight line on log-log paper.
        let law = |t: f64| 1_000.0 * t.powf(-0.6);
        let rain = ReturnRain::new(&[(5.0, law(5.0)), (60.0, law(60.0)), (720.0, law(720.0))]).unwrap();
        for t in [1.0, 5.0, 17.0, 60.0, 333.0, 1_440.0] {
            assert!((rain.intensity_mm_h(t) / law(t) - 1.0).abs() < 1e-12);
        }
        assert!(rain.covers(5.0) && rain.covers(720.0) && !rain.covers(721.0));
    }

    #[test]
    fn bad_tables_are_named() {
        assert_eq!(ReturnRain::new(&[(60.0, 50.0)]), Err(RainError::TooFew(1)));
        assert!(matches!(ReturnRain::new(&[(0.0, 5.0), (1.0, 4.0)]), Err(RainError::NotPositive { index: 0, .. })));
        assert!(matches!(ReturnRain::new(&[(9.0, 5.0), (9.0, 4.0)]), Err(RainError::NotSorted { index: 1, .. })));
        assert!(matches!(ReturnRain::new(&[(9.0, f64::NAN), (9.0, 4.0)]), Err(RainError::NotPositive { .. })));
        // Depths given by mistake rise with duration.
        assert!(matches!(ReturnRain::new(&[(10.0, 21.8), (20.0, 33.0)]), Err(RainError::Rises { index: 1, .. })));
    }

    #[test]
    fn critical_duration_meets_its_own_intensity() {
        let rain = ReturnRain::new(&printed_table()).unwrap();
        let travel = |i: f64| kinematic_wave_min(100.0, 0.2, i, 0.005);
        let t = rain.critical_duration_min(5.0, travel);
        assert!((travel(rain.intensity_mm_h(t)) / t - 1.0).abs() < 1e-9, "{t}");
        assert!((rain.critical_duration_min(300.0, travel) - 300.0).abs() < 1e-12);
    }
}
