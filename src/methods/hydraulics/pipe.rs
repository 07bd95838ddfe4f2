//! Round pipes flowing full.
//!
//! Source: [`Bibliography::Manning1891`](crate::bibliography::Bibliography::Manning1891); outlet control of culverts
//! [`Bibliography::Hds5`](crate::bibliography::Bibliography::Hds5).
//! How we know: hand-computed values of both formulas.

use super::GRAVITY_M_S2;
use std::f64::consts::PI;

/// Discharge (m3/s) of a round pipe just full under its own slope: `pi / 4^(5/3) D^(8/3) sqrt(S) / n`.
///
/// 0 without a fall.
#[must_use]
pub fn pipe_full_discharge_m3_s(diameter_m: f64, roughness_n: f64, slope_ratio: f64) -> f64 {
    PI / 4.0_f64.powf(5.0 / 3.0) * diameter_m.powf(8.0 / 3.0) * slope_ratio.max(0.0).sqrt() / roughness_n
}

/// Discharge (m3/s) of a round culvert drowned at both ends, driven by the difference of the two water levels.
///
/// `H = (1 + Ke + 19.63 n^2 L / R^1.333) V^2 / 2g` with the entrance loss `Ke` (0.5 for a square edge). It says nothing of
/// inlet control, which may allow less when the outlet is free.
#[must_use]
pub fn culvert_discharge_m3_s(
    diameter_m: f64,
    length_m: f64,
    roughness_n: f64,
    entrance_loss_ratio: f64,
    head_m: f64,
) -> f64 {
    let radius_m = diameter_m / 4.0;
    let friction = 2.0 * GRAVITY_M_S2 * roughness_n.powi(2) * length_m / radius_m.powf(4.0 / 3.0);
    let velocity_m_s = (2.0 * GRAVITY_M_S2 * head_m.max(0.0) / (1.0 + entrance_loss_ratio + friction)).sqrt();
    velocity_m_s * PI * diameter_m.powi(2) / 4.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_pipe() {
        // Analytic: A = pi D^2 / 4 and R = D / 4 in Manning's equation.
        assert!((pipe_full_discharge_m3_s(0.6, 0.013, 0.01) - 0.614_012).abs() < 1e-6);
        assert!(pipe_full_discharge_m3_s(0.6, 0.013, -0.01).abs() < 1e-12);
    }

    #[test]
    fn drowned_culvert() {
        // FHWA HDS-5 outlet control equation (from memory), arithmetic by hand.
        let q = culvert_discharge_m3_s(0.6, 12.0, 0.013, 0.5, 0.5);
        assert!((q / 0.626_170 - 1.0).abs() < 1e-3, "{q}");
    }
}
