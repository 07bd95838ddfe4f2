//! Uniform and critical flow in a channel section.
//!
//! Source: [`Bibliography::Manning1891`](crate::bibliography::Bibliography::Manning1891) and
//! [`Bibliography::Chow1959`](crate::bibliography::Bibliography::Chow1959), chapters 4 and 6.
//! How we know: worked examples of four textbooks are reproduced below, and normal depth inverts Manning's equation for
//! random sections.

use super::{GRAVITY_M_S2, Section, WATER_WEIGHT_N_M3};

/// Why a flow cannot be reckoned.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ChannelError {
    /// Water does not run uniformly on a level or rising bed: give the channel a fall.
    #[error("bed slope {0} m/m is not a fall, uniform flow needs a slope above 0")]
    NoFall(f64),
    /// Manning's n lies between about 0.01 and 0.5.
    #[error("roughness n {0} must be above 0")]
    Roughness(f64),
    /// Discharge is a number of at least 0.
    #[error("discharge {0} m3/s must be 0 or more")]
    Discharge(f64),
    /// Widths and batters are not negative, and not both 0.
    #[error("section {0:?} cannot hold water, give it a width or a batter")]
    Section(Section),
    /// Depth is a number above 0.
    #[error("depth {0} m must be above 0")]
    Depth(f64),
}

/// A steady uniform flow, with all that is judged by it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UniformFlow {
    /// Depth of water.
    pub depth_m: f64,
    /// Width of the water surface.
    pub top_width_m: f64,
    /// Area of water.
    pub area_m2: f64,
    /// Mean velocity.
    pub velocity_m_s: f64,
    /// Froude number; above 1 the flow is supercritical.
    pub froude: f64,
    /// Mean shear stress on the bed.
    pub shear_pa: f64,
}

/// Discharge (m3/s) at a depth by Manning's equation, `A R^(2/3) sqrt(S) / n`; 0 without a fall.
#[must_use]
pub fn manning_discharge_m3_s(section: &Section, depth_m: f64, roughness_n: f64, slope_ratio: f64) -> f64 {
    section.area_m2(depth_m) * section.hydraulic_radius_m(depth_m).powf(2.0 / 3.0) * slope_ratio.max(0.0).sqrt()
        / roughness_n
}

/// Depth (m) of uniform flow: the depth at which Manning's equation gives the discharge.
///
/// # Errors
/// No fall, and any number or section that makes no sense.
pub fn normal_depth_m(
    section: &Section,
    discharge_m3_s: f64,
    roughness_n: f64,
    slope_ratio: f64,
) -> Result<f64, ChannelError> {
    check_fall_and_roughness(slope_ratio, roughness_n)?;
    check_section_and_discharge(section, discharge_m3_s)?;
    Ok(depth_reaching(discharge_m3_s, |depth_m| manning_discharge_m3_s(section, depth_m, roughness_n, slope_ratio)))
}

/// Depth, velocity, Froude number and shear of uniform flow; all 0 when there is no discharge.
///
/// # Errors
/// As [`normal_depth_m`].
pub fn normal_flow(
    section: &Section,
    discharge_m3_s: f64,
    roughness_n: f64,
    slope_ratio: f64,
) -> Result<UniformFlow, ChannelError> {
    let depth_m = normal_depth_m(section, discharge_m3_s, roughness_n, slope_ratio)?;
    let area_m2 = section.area_m2(depth_m);
    Ok(UniformFlow {
        depth_m,
        top_width_m: section.top_width_m(depth_m),
        area_m2,
        velocity_m_s: if area_m2 > 0.0 { discharge_m3_s / area_m2 } else { 0.0 },
        froude: froude(section, depth_m, discharge_m3_s),
        shear_pa: shear_stress_pa(section, depth_m, slope_ratio),
    })
}

/// Depth (m) of critical flow: `A^3 / T = Q^2 / g`.
///
/// # Errors
/// A discharge or section that makes no sense.
pub fn critical_depth_m(section: &Section, discharge_m3_s: f64) -> Result<f64, ChannelError> {
    check_section_and_discharge(section, discharge_m3_s)?;
    // The square root keeps the searched function near the size of the discharge itself.
    let critical_discharge = |depth_m: f64| {
        let width_m = section.top_width_m(depth_m);
        if width_m > 0.0 { section.area_m2(depth_m).powi(3).sqrt() * (GRAVITY_M_S2 / width_m).sqrt() } else { 0.0 }
    };
    Ok(depth_reaching(discharge_m3_s, critical_discharge))
}

/// Froude number of a discharge at a depth, `V / sqrt(g A / T)`; 0 when dry.
#[must_use]
pub fn froude(section: &Section, depth_m: f64, discharge_m3_s: f64) -> f64 {
    let area_m2 = section.area_m2(depth_m);
    if area_m2 <= 0.0 {
        return 0.0;
    }
    discharge_m3_s / area_m2 / (GRAVITY_M_S2 * area_m2 / section.top_width_m(depth_m)).sqrt()
}

/// Mean shear stress on the bed (Pa), `gamma R S`.
#[must_use]
pub fn shear_stress_pa(section: &Section, depth_m: f64, slope_ratio: f64) -> f64 {
    WATER_WEIGHT_N_M3 * section.hydraulic_radius_m(depth_m) * slope_ratio
}

/// Least bottom width (m) of a trapezoid that carries the discharge within a depth; 0 when a V carries it.
///
/// # Errors
/// No fall, and any number that makes no sense.
pub fn bottom_width_m(
    discharge_m3_s: f64,
    depth_m: f64,
    batter_h_per_v: f64,
    roughness_n: f64,
    slope_ratio: f64,
) -> Result<f64, ChannelError> {
    check_fall_and_roughness(slope_ratio, roughness_n)?;
    check_section_and_discharge(&Section::Trapezoid { bottom_m: 1.0, batter_h_per_v }, discharge_m3_s)?;
    if !(depth_m > 0.0 && depth_m.is_finite()) {
        return Err(ChannelError::Depth(depth_m));
    }
    let discharge_of_width = |bottom_m: f64| {
        manning_discharge_m3_s(&Section::Trapezoid { bottom_m, batter_h_per_v }, depth_m, roughness_n, slope_ratio)
    };
    if discharge_of_width(0.0) >= discharge_m3_s {
        return Ok(0.0);
    }
    Ok(depth_reaching(discharge_m3_s, discharge_of_width))
}

fn check_fall_and_roughness(slope_ratio: f64, roughness_n: f64) -> Result<(), ChannelError> {
    if !(slope_ratio > 0.0 && slope_ratio.is_finite()) {
        return Err(ChannelError::NoFall(slope_ratio));
    }
    if !(roughness_n > 0.0 && roughness_n.is_finite()) {
        return Err(ChannelError::Roughness(roughness_n));
    }
    Ok(())
}

fn check_section_and_discharge(section: &Section, discharge_m3_s: f64) -> Result<(), ChannelError> {
    if !(discharge_m3_s >= 0.0 && discharge_m3_s.is_finite()) {
        return Err(ChannelError::Discharge(discharge_m3_s));
    }
    if !section.is_sound() {
        return Err(ChannelError::Section(*section));
    }
    Ok(())
}

/// Least length at which a rising, unbounded function that starts at 0 or above reaches `target`.
///
/// Brackets by doubling, then halves until neighbouring numbers are reached, so it needs no start and no tolerance.
fn depth_reaching(target: f64, rising: impl Fn(f64) -> f64) -> f64 {
    if target <= 0.0 {
        return 0.0;
    }
    let mut high = 1.0;
    while rising(high) < target {
        high *= 2.0;
    }
    let mut low = 0.0;
    loop {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            return high;
        }
        if rising(middle) < target {
            low = middle;
        } else {
            high = middle;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const FOOT_M: f64 = 0.3048;
    const CFS_M3_S: f64 = 0.028_316_846_592;

    fn trapezoid(bottom_m: f64, batter_h_per_v: f64) -> Section {
        Section::Trapezoid { bottom_m, batter_h_per_v }
    }

    #[test]
    fn chow_trapezoid() {
        // Chow (1959), examples 6-2 and 4-2 (from memory): b 20 ft, z 2, n 0.025, S 0.0016, Q 400 cfs.
        let section = trapezoid(6.096, 2.0);
        let q = 400.0 * CFS_M3_S;
        let flow = normal_flow(&section, q, 0.025, 0.0016).unwrap();
        assert!((flow.depth_m - 1.02445).abs() < 1e-4);
        assert!((flow.depth_m / FOOT_M - 3.36).abs() < 0.005);
        assert!((flow.velocity_m_s / FOOT_M - 4.46).abs() < 0.01);
        let yc = critical_depth_m(&section, q).unwrap();
        assert!((yc / FOOT_M - 2.15).abs() < 0.005 && (yc - 0.65478).abs() < 1e-4);
    }

    #[test]
    fn maurer_trapezoid() {
        // Maurer, Hydraulics and Water Resources: Examples Using R, open channel example 1: Q 225 cfs, n 0.016, m 2,
        // b 10 ft, S 0.0006; "a little less than 3.5 ft".
        let section = trapezoid(10.0 * FOOT_M, 2.0);
        let q = 225.0 * CFS_M3_S;
        assert!((normal_depth_m(&section, q, 0.016, 0.0006).unwrap() / FOOT_M - 3.406_28).abs() < 1e-3);
        assert!((critical_depth_m(&section, q).unwrap() / FOOT_M - 2.153_89).abs() < 1e-3);
    }

    #[test]
    fn sturm_trapezoid_and_triangle() {
        // Sturm, Open Channel Hydraulics, example 4.1 and a variant without bottom (inputs seen second hand).
        let q = 3_000.0 * CFS_M3_S;
        let section = trapezoid(40.0 * FOOT_M, 3.0);
        assert!((normal_depth_m(&section, q, 0.025, 0.002).unwrap() / FOOT_M - 6.603_56).abs() < 1e-4);
        assert!((critical_depth_m(&section, q).unwrap() / FOOT_M - 4.911_84).abs() < 1e-4);
        assert!((normal_depth_m(&Section::vee(3.0), q, 0.025, 0.002).unwrap() / FOOT_M - 11.136_88).abs() < 1e-4);
        // Modified example 4.5: a triangle with batter 2.
        assert!((normal_depth_m(&Section::vee(2.0), 950.0, 0.023, 0.022).unwrap() - 6.131_62).abs() < 1e-5);
    }

    #[test]
    fn sturm_parabola() {
        // Sturm, example 4.3 inputs: 10 m wide at 2 m, S 0.005, n 0.05, Q 12. A depth of 1.254 in circulation does not
        // satisfy the equations (it carries 7.98 m3/s).
        let section = Section::Parabola { top_width_m: 10.0, depth_m: 2.0 };
        let flow = normal_flow(&section, 12.0, 0.05, 0.005).unwrap();
        assert!((flow.depth_m - 1.519_798).abs() < 1e-5);
        assert!((flow.area_m2 - 8.832_272).abs() < 1e-5);
        assert!((section.wetted_perimeter_m(flow.depth_m) - 9.379_543).abs() < 1e-5);
        assert!((flow.top_width_m - 8.717_218).abs() < 1e-5);
        assert!((flow.velocity_m_s - 1.358_654).abs() < 1e-5);
        assert!((manning_discharge_m3_s(&section, 1.254_427, 0.05, 0.005) - 7.980).abs() < 1e-3);
    }

    #[test]
    fn hand_computed_farm_drains() {
        // Analytic.
        let section = trapezoid(1.0, 2.0);
        let q = manning_discharge_m3_s(&section, 0.5, 0.03, 0.002);
        assert!((q - 0.681_368).abs() < 1e-6);
        assert!((froude(&section, 0.5, q) - 0.376_862).abs() < 1e-6);
        assert!((shear_stress_pa(&section, 0.5, 0.002) - 6.060_84).abs() < 1e-4);
        let vee = normal_flow(&Section::vee(6.0), 0.305_191, 0.035, 0.005).unwrap();
        assert!((vee.depth_m - 0.3).abs() < 1e-6 && (vee.velocity_m_s - 0.565_169).abs() < 1e-5);
        // Wide sheet: y = (q n / sqrt S)^0.6, here a rectangle 10 km wide.
        let sheet = normal_depth_m(&trapezoid(10_000.0, 0.0), 100.0, 0.1, 0.01).unwrap();
        assert!((sheet - 0.063_095_7).abs() < 1e-6);
    }

    #[test]
    fn critical_depths() {
        // Analytic for triangle and rectangle.
        assert!((critical_depth_m(&Section::vee(6.0), 0.5).unwrap() - 0.269_296).abs() < 1e-6);
        assert!((critical_depth_m(&trapezoid(3.0, 0.0), 6.0).unwrap() - 0.741_617).abs() < 1e-6);
        // The trapezoid corrects a lecture note that prints 0.79. Its figures were reckoned with g = 9.81; critical depth
        // depends on Q^2 / g alone, so the discharge is scaled to meet them exactly.
        let section = trapezoid(3.0, 2.0);
        let q = 10.0 * (GRAVITY_M_S2 / 9.81).sqrt();
        let yc = critical_depth_m(&section, q).unwrap();
        assert!((yc - 0.855_501).abs() < 1e-6);
        assert!((10.0 / section.area_m2(yc) - 2.481_22).abs() < 1e-5);
        assert!((normal_depth_m(&section, 10.0, 0.025, 0.007_768).unwrap() - yc).abs() < 1e-4);
        assert!((froude(&section, yc, q) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn senseless_requests_are_refused() {
        let section = trapezoid(1.0, 2.0);
        assert_eq!(normal_depth_m(&section, 1.0, 0.03, 0.0), Err(ChannelError::NoFall(0.0)));
        assert_eq!(normal_depth_m(&section, 1.0, 0.03, -0.1), Err(ChannelError::NoFall(-0.1)));
        assert!(normal_depth_m(&section, 1.0, 0.03, f64::NAN).is_err());
        assert_eq!(normal_depth_m(&section, 1.0, 0.0, 0.1), Err(ChannelError::Roughness(0.0)));
        assert_eq!(critical_depth_m(&section, -1.0), Err(ChannelError::Discharge(-1.0)));
        assert!(matches!(critical_depth_m(&Section::vee(0.0), 1.0), Err(ChannelError::Section(_))));
        assert_eq!(bottom_width_m(1.0, 0.0, 2.0, 0.03, 0.001), Err(ChannelError::Depth(0.0)));
        assert!(normal_depth_m(&section, 0.0, 0.03, 0.001).unwrap().abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn normal_depth_inverts_manning(
            bottom_m in 0.0..20.0_f64, batter in 0.5..12.0_f64, parabola in any::<bool>(),
            depth_m in 0.01..5.0_f64, n in 0.012..0.2_f64, slope in 1e-4..0.2_f64,
        ) {
            let section = if parabola {
                Section::Parabola { top_width_m: bottom_m + 0.5, depth_m: batter / 4.0 }
            } else {
                trapezoid(bottom_m, batter)
            };
            let q = manning_discharge_m3_s(&section, depth_m, n, slope);
            prop_assert!((normal_depth_m(&section, q, n, slope).unwrap() / depth_m - 1.0).abs() < 1e-9);
        }

        #[test]
        fn bottom_width_fits_the_depth(
            q in 0.01..20.0_f64, depth_m in 0.1..2.0_f64, batter in 0.0..10.0_f64, slope in 1e-4..0.02_f64,
        ) {
            let bottom_m = bottom_width_m(q, depth_m, batter, 0.03, slope).unwrap();
            let carried = manning_discharge_m3_s(&trapezoid(bottom_m, batter), depth_m, 0.03, slope);
            prop_assert!(carried >= q * (1.0 - 1e-9));
            prop_assert!(bottom_m <= 0.0 || carried <= q * (1.0 + 1e-9));
        }
    }
}
