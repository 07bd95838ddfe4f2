//! Roughness of grassed channels, and freeboard.
//!
//! Source: grass [`Temple1987`](crate::bibliography::Bibliography::Temple1987); freeboard
//! [`Usbr1978`](crate::bibliography::Bibliography::Usbr1978). Both as remembered.
//! How we know: values computed apart for the four retardance classes used in the field; the curves fall with flow.

/// Manning's `n` of a grassed channel from the product of velocity and hydraulic radius.
///
/// `curve_index` is the retardance curve index: 10.0, 7.64, 5.60, 4.44 and 2.88 for the classes A (tall and dense) to E
/// (short or burnt). The fit holds from `0.0025 C^2.5` to 36 ft2/s; a product outside is held to that span.
#[must_use]
pub fn vegetal_n(curve_index: f64, velocity_times_radius_m2_s: f64) -> f64 {
    const FOOT2_M2: f64 = 0.3048 * 0.3048;
    let low = (0.0025 * curve_index.powf(2.5)).min(36.0);
    let log = (velocity_times_radius_m2_s / FOOT2_M2).max(low).min(36.0).ln();
    (curve_index * (0.01329 * log * log - 0.09543 * log + 0.2971) - 4.16).exp()
}

/// Freeboard (m) of an earth channel, `sqrt(C y)` in feet.
///
/// C rises from 1.5 at 0.57 m3/s (20 cfs) to 2.5 at 85 m3/s (3,000 cfs), here in a straight line between the two and
/// held outside. It is meant for canals; field drains that may overflow safely need less.
#[must_use]
pub fn freeboard_m(depth_m: f64, discharge_m3_s: f64) -> f64 {
    const FOOT_M: f64 = 0.3048;
    let cfs = discharge_m3_s / FOOT_M.powi(3);
    let coefficient = 1.5 + ((cfs - 20.0) / 2_980.0).clamp(0.0, 1.0);
    (coefficient * depth_m.max(0.0) / FOOT_M).sqrt() * FOOT_M
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn retardance_classes() {
        // Temple and others (1987), AH-667, equation from memory, at VR = 1, 2, 4, 10 ft2/s (computed apart).
        let table = [
            (7.64, [0.1510, 0.0957, 0.0668, 0.0483]),
            (5.60, [0.0824, 0.0590, 0.0453, 0.0357]),
            (4.44, [0.0584, 0.0448, 0.0363, 0.0301]),
            (2.88, [0.0367, 0.0309, 0.0270, 0.0239]),
        ];
        for (index, row) in table {
            for (vr, expected) in [1.0, 2.0, 4.0, 10.0].into_iter().zip(row) {
                assert!((vegetal_n(index, vr * 0.092_903_04) - expected).abs() < 1e-4, "{index} at {vr}");
            }
            assert!(vegetal_n(index, 0.0).is_finite() && vegetal_n(index, 0.0) >= vegetal_n(index, 0.1));
        }
    }

    #[test]
    fn canal_freeboard() {
        // USBR (from memory): 3 ft of water at 20 cfs has 2.1213 ft.
        let cfs = 0.028_316_846_592;
        assert!((freeboard_m(3.0 * 0.3048, 20.0 * cfs) - 0.6466).abs() < 1e-4);
        assert!((freeboard_m(3.0 * 0.3048, 3_000.0 * cfs) / 0.3048 - 7.5_f64.sqrt()).abs() < 1e-6);
    }
}
