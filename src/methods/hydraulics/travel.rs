//! How long water takes to gather: time of concentration.
//!
//! Source: [`Bibliography::Kirpich1940`](crate::bibliography::Bibliography::Kirpich1940),
//! [`Bibliography::BransbyWilliams1922`](crate::bibliography::Bibliography::BransbyWilliams1922),
//! [`Bibliography::RaganDuru1972`](crate::bibliography::Bibliography::RaganDuru1972) for the kinematic wave.
//! How we know: hand-computed values of the published forms, one reported project value, and for the kinematic wave the
//! direct solution of the wide-sheet Manning equation.
//!
//! All three are fitted to steeper land than a river flat; callers set a floor on the time and say so.

/// Time of concentration (min) by Kirpich: `0.0195 L^0.77 S^-0.385`, length in m, slope in m/m.
///
/// Infinite on level ground.
#[must_use]
pub fn kirpich_min(length_m: f64, slope_ratio: f64) -> f64 {
    0.0195 * length_m.powf(0.77) * slope_ratio.powf(-0.385)
}

/// Time of concentration (min) by Bransby Williams: `58 L / (A^0.1 Se^0.2)`.
///
/// This is the form with 58, length in km, area in km2 and the equal-area slope in m per km. Forms with the area in
/// hectares (constant 91 to 92.7) differ by under 2 %.
#[must_use]
pub fn bransby_williams_min(length_km: f64, area_km2: f64, slope_m_km: f64) -> f64 {
    58.0 * length_km / (area_km2.powf(0.1) * slope_m_km.powf(0.2))
}

/// Time (min) for sheet flow to reach the foot of a plane under steady rain, `6.94 (L n)^0.6 / (i^0.4 S^0.3)`.
///
/// Length in m, Manning's `n`, rain in mm/h, slope in m/m. The intensity depends on the answer; see
/// [`ReturnRain::critical_duration_min`](super::ReturnRain::critical_duration_min) for the matching pair.
#[must_use]
pub fn kinematic_wave_min(length_m: f64, roughness_n: f64, intensity_mm_h: f64, slope_ratio: f64) -> f64 {
    6.94 * (length_m * roughness_n).powf(0.6) / (intensity_mm_h.powf(0.4) * slope_ratio.powf(0.3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kirpich_values() {
        // Kirpich (1940), metric form from memory; the second is a reported project value of 18.9 min.
        assert!((kirpich_min(1_000.0, 0.05) / 12.616 - 1.0).abs() < 2e-3);
        assert!((kirpich_min(610.0, 3.97 / 610.0) - 18.9).abs() < 0.01);
        assert!((kirpich_min(400.0, 0.01) / 11.578 - 1.0).abs() < 2e-3);
        // The feet form 0.0078 L^0.77 S^-0.385 must agree within the rounding of both constants.
        let feet_form = 0.0078 * (400.0_f64 / 0.3048).powf(0.77) * 0.01_f64.powf(-0.385);
        assert!((kirpich_min(400.0, 0.01) / feet_form - 1.0).abs() < 2e-3);
        // A published 35.67 km stream states 8.91 h.
        assert!((kirpich_min(35_670.0, 0.0036) / 60.0 / 8.91 - 1.0).abs() < 0.02);
    }

    #[test]
    fn bransby_williams_value_and_other_forms() {
        // Form with 58 (from memory), and the hectare form within 2 %.
        let t = bransby_williams_min(1.2, 0.6, 8.0);
        assert!((t - 48.325).abs() < 1e-3);
        let hectare_form = 92.7 * 1.2 / (60.0_f64.powf(0.1) * 8.0_f64.powf(0.2));
        assert!((t / hectare_form - 1.0).abs() < 0.02);
    }

    #[test]
    fn kinematic_wave_is_the_direct_solution() {
        // Analytic: t = (L / (alpha i^(2/3)))^0.6 with alpha = sqrt(S) / n; the printed constant is rounded to 6.94.
        let (length_m, n, intensity_mm_h, slope) = (100.0, 0.2, 80.0, 0.02_f64);
        let rain_m_s = intensity_mm_h / 3.6e6_f64;
        let direct_min = (length_m / (slope.sqrt() / n * rain_m_s.powf(2.0 / 3.0))).powf(0.6) / 60.0;
        let t = kinematic_wave_min(length_m, n, intensity_mm_h, slope);
        assert!((t - 23.466).abs() < 1e-3);
        assert!((t / direct_min - 1.0).abs() < 0.008);
    }
}
