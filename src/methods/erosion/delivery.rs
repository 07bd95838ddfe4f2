//! How much eroded soil travels on, and what traps it.
//!
//! Source: [`Vanoni1975`](crate::bibliography::Bibliography::Vanoni1975) and
//! [`Boyce1975`](crate::bibliography::Bibliography::Boyce1975) (delivery),
//! [`Neitsch2011`](crate::bibliography::Bibliography::Neitsch2011) (filter strips),
//! [`Stokes1851`](crate::bibliography::Bibliography::Stokes1851) (settling),
//! [`Hazen1904`](crate::bibliography::Bibliography::Hazen1904) (basins). All as remembered.
//! How we know: values computed apart from the printed constants; caps at 1.

use crate::methods::hydraulics::GRAVITY_M_S2;

/// Share of the eroded soil that leaves a catchment of `area_km2`, at most 1.
#[must_use]
pub fn delivery_ratio(area_km2: f64) -> f64 {
    const KM2_PER_MILE2: f64 = 2.589_988_110_336;
    (0.42 * (area_km2 / KM2_PER_MILE2).powf(-0.125)).min(1.0)
}

/// Share of the eroded soil that leaves a catchment of `area_km2`, at most 1, after Boyce: the steeper of the two
/// published lines, kept to show how wide the guess is.
#[must_use]
pub fn small_catchment_delivery_ratio(area_km2: f64) -> f64 {
    (0.41 * area_km2.powf(-0.3)).min(1.0)
}

/// Share of sediment a grass strip of `width_m` holds back where water crosses it as a sheet, at most 1. Where the
/// flow is channelled the strip holds back nothing.
#[must_use]
pub fn filter_strip_trap_ratio(width_m: f64) -> f64 {
    (0.367 * width_m.max(0.0).powf(0.2967)).min(1.0)
}

/// Velocity a quartz grain settles at in still water, by Stokes' law (fine silt only), metres a second.
#[must_use]
pub fn settling_velocity_m_s(diameter_m: f64, kinematic_viscosity_m2_s: f64) -> f64 {
    const SPECIFIC_GRAVITY: f64 = 2.65;
    GRAVITY_M_S2 * (SPECIFIC_GRAVITY - 1.0) * diameter_m * diameter_m / (18.0 * kinematic_viscosity_m2_s)
}

/// Surface a settling basin needs for grains of a settling velocity, square metres, with the usual factor 1.2 for
/// turbulence.
#[must_use]
pub fn basin_area_m2(discharge_m3_s: f64, settling_m_s: f64) -> f64 {
    1.2 * discharge_m3_s / settling_m_s
}

/// Hazen's ratio of a basin: its surface over the surface that just settles the grain in still water. Above 1 the
/// grain is caught in theory; 1.2 allows for turbulence.
#[must_use]
pub fn basin_overflow_ratio(area_m2: f64, settling_m_s: f64, discharge_m3_s: f64) -> f64 {
    area_m2 * settling_m_s / discharge_m3_s
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delivery_of_vanoni() {
        for (km2, ratio) in [(0.1, 0.63083), (1.0, 0.47305), (10.0, 0.35474), (100.0, 0.26602)] {
            assert!((delivery_ratio(km2) - ratio).abs() < 1e-4, "{km2}");
        }
        assert_eq!(delivery_ratio(1e-6), 1.0);
        // Square miles, as printed.
        assert!((delivery_ratio(2.589_988_110_336) - 0.42).abs() < 1e-9);
        assert!((small_catchment_delivery_ratio(10.0) - 0.205_49).abs() < 1e-5);
        assert_eq!(small_catchment_delivery_ratio(0.01), 1.0);
    }

    #[test]
    fn strips_and_basins() {
        for (width, ratio) in [(1.0, 0.3670), (5.0, 0.59163), (10.0, 0.72672), (20.0, 0.89265)] {
            assert!((filter_strip_trap_ratio(width) - ratio).abs() < 1e-4, "{width}");
        }
        assert_eq!(filter_strip_trap_ratio(60.0), 1.0);
        // 20 micrometres at 10 degrees Celsius (viscosity 1.3065e-6 m2/s).
        assert!((settling_velocity_m_s(20e-6, 1.306_5e-6) - 2.754_2e-4).abs() < 2e-6);
        // The same grain at 15 and 20 degrees (1.1394e-6 and 1.0043e-6 m2/s); 50 micrometres at 10 degrees.
        assert!((settling_velocity_m_s(20e-6, 1.139_4e-6) - 3.158_0e-4).abs() < 2e-6);
        assert!((settling_velocity_m_s(20e-6, 1.004_3e-6) - 3.582_7e-4).abs() < 2e-6);
        assert!((settling_velocity_m_s(50e-6, 1.306_5e-6) - 1.721_4e-3).abs() < 1e-5);
        assert!((basin_overflow_ratio(300.0, 2.9e-4, 0.1) - 0.87).abs() < 1e-9);
        // EPA's 20-micrometre design velocity, 0.00096 ft/s.
        assert!((basin_area_m2(0.1, 2.926_1e-4) - 410.1).abs() < 0.1);
    }
}
