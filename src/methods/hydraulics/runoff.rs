//! Peak discharge and volume of runoff from rain.
//!
//! Source: rational formula and composite coefficient as taught in the NRCS Hydrology Training Series, module 206D;
//! curve numbers [`Bibliography::Tr55`](crate::bibliography::Bibliography::Tr55).
//! How we know: the worked examples of module 206D, a reported farm drain and table 2-1 of TR-55 are reproduced below.

/// Peak discharge (m3/s) by the rational formula, `C i A / 360`.
///
/// `intensity_mm_h` is the rain of the chosen return period over the time of concentration. The formula overstates the
/// peak where water stands on flat ground for a day; see [`drainage_coefficient_m3_s`].
#[must_use]
pub fn rational_m3_s(runoff_coefficient_ratio: f64, intensity_mm_h: f64, area_ha: f64) -> f64 {
    runoff_coefficient_ratio * intensity_mm_h * area_ha / 360.0
}

/// Area-weighted runoff coefficient of parts given as (coefficient, area); `None` when the areas sum to nothing.
#[must_use]
pub fn composite_coefficient_ratio(parts: &[(f64, f64)]) -> Option<f64> {
    let area: f64 = parts.iter().map(|&(_, area)| area).sum();
    let weighted: f64 = parts.iter().map(|&(coefficient, area)| coefficient * area).sum();
    (area > 0.0).then(|| weighted / area)
}

/// Discharge (m3/s) that takes a depth of water off an area in 24 hours.
#[must_use]
pub fn drainage_coefficient_m3_s(depth_mm_day: f64, area_ha: f64) -> f64 {
    runoff_volume_m3(depth_mm_day, area_ha) / 86_400.0
}

/// Volume (m3) of a depth of water over an area.
#[must_use]
pub fn runoff_volume_m3(depth_mm: f64, area_ha: f64) -> f64 {
    depth_mm * 10.0 * area_ha
}

/// Runoff depth (mm) of a storm of `rain_mm` on ground of a curve number, with initial loss 0.2 S.
///
/// Curve numbers lie in (0, 100]; a number outside is held to that span.
#[must_use]
pub fn curve_number_runoff_mm(curve_number: f64, rain_mm: f64) -> f64 {
    let retention_mm = 25_400.0 / curve_number.clamp(1e-6, 100.0) - 254.0;
    let excess_mm = rain_mm - 0.2 * retention_mm;
    if excess_mm <= 0.0 {
        return 0.0;
    }
    excess_mm * excess_mm / (rain_mm + 0.8 * retention_mm)
}

/// Curve number of dry ground (antecedent condition I) from the average one (II).
#[must_use]
pub fn dry_curve_number(average: f64) -> f64 {
    4.2 * average / (10.0 - 0.058 * average)
}

/// Curve number of wet ground (antecedent condition III) from the average one (II).
#[must_use]
pub fn wet_curve_number(average: f64) -> f64 {
    23.0 * average / (10.0 + 0.13 * average)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CFS_M3_S: f64 = 0.028_316_846_592;
    const ACRE_HA: f64 = 0.404_685_642_24;
    const INCH_MM: f64 = 25.4;

    #[test]
    fn rational_formula_in_metric_units() {
        // Analytic: 1 mm/h on 1 ha is 1/360 m3/s.
        assert!((rational_m3_s(0.35, 80.0, 12.0) - 0.933_333).abs() < 1e-6);
        assert!((rational_m3_s(0.3, 60.0, 100.0) - 5.0).abs() < 1e-12);
        // A farm drain of 20 ha as reported in a Brazilian drainage project (seen second hand): 0.83 m3/s.
        assert!((rational_m3_s(0.3, 49.8, 20.0) / 0.83 - 1.0).abs() < 1e-3);
    }

    #[test]
    fn rational_formula_worked_examples() {
        // NRCS Hydrology Training Series, module 206D, examples 1 and 2 (seen second hand). The printed answers use
        // 1 cfs for 1 inch/h on 1 acre; the exact unit factor is 1.00833.
        let unit_factor = 43_560.0 / 12.0 / 3_600.0;
        let c = composite_coefficient_ratio(&[(0.40, 6.0), (0.15, 3.0), (0.90, 3.0)]).unwrap();
        assert!((c - 0.4625).abs() < 1e-12);
        let q_cfs = 1.1 * rational_m3_s(c, 5.1 * INCH_MM, 12.0 * ACRE_HA) / CFS_M3_S;
        assert!((q_cfs / unit_factor / 31.14 - 1.0).abs() < 1e-3, "{q_cfs}");

        let c = composite_coefficient_ratio(&[(0.35, 1.0), (0.50, 10.0), (0.90, 2.0), (0.60, 5.0)]).unwrap();
        assert!((c - 0.563_889).abs() < 1e-6);
        let q_cfs = 1.25 * rational_m3_s(c, 5.5 * INCH_MM, 18.0 * ACRE_HA) / CFS_M3_S;
        assert!((q_cfs / unit_factor / 69.78 - 1.0).abs() < 1e-3, "{q_cfs}");
    }

    #[test]
    fn no_area_has_no_coefficient() {
        assert_eq!(composite_coefficient_ratio(&[]), None);
        assert_eq!(composite_coefficient_ratio(&[(0.5, 0.0)]), None);
    }

    #[test]
    fn a_days_depth_becomes_a_discharge() {
        // Arithmetic: 100 mm off 15 ha in 86,400 s.
        assert!((drainage_coefficient_m3_s(100.0, 15.0) - 0.173_611_1).abs() < 1e-7);
        assert!((runoff_volume_m3(25.0, 4.0) - 1_000.0).abs() < 1e-9);
    }

    #[test]
    fn curve_numbers_give_table_2_1_of_tr55() {
        // USDA SCS (1986) TR-55, table 2-1, inches (seen second hand in a public test suite quoting the table).
        let rain_in = [
            1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0,
            14.0, 15.0,
        ];
        let table: [(f64, [f64; 22]); 5] = [
            (
                55.0,
                [
                    0.0, 0.0, 0.0, 0.0, 0.0, 0.02, 0.08, 0.19, 0.35, 0.53, 0.74, 0.98, 1.52, 2.12, 2.78, 3.49, 4.23,
                    5.00, 5.79, 6.61, 7.44, 8.29,
                ],
            ),
            (
                70.0,
                [
                    0.0, 0.03, 0.06, 0.11, 0.17, 0.24, 0.46, 0.71, 1.01, 1.33, 1.67, 2.04, 2.81, 3.62, 4.46, 5.33,
                    6.22, 7.13, 8.05, 8.98, 9.91, 10.85,
                ],
            ),
            (
                80.0,
                [
                    0.08, 0.15, 0.24, 0.34, 0.44, 0.56, 0.89, 1.25, 1.64, 2.04, 2.46, 2.89, 3.78, 4.69, 5.63, 6.57,
                    7.52, 8.48, 9.45, 10.42, 11.39, 12.37,
                ],
            ),
            (
                90.0,
                [
                    0.32, 0.46, 0.61, 0.76, 0.93, 1.09, 1.53, 1.98, 2.45, 2.92, 3.40, 3.88, 4.85, 5.82, 6.81, 7.79,
                    8.78, 9.77, 10.76, 11.76, 12.75, 13.74,
                ],
            ),
            (
                95.0,
                [
                    0.56, 0.74, 0.92, 1.11, 1.29, 1.48, 1.96, 2.45, 2.94, 3.43, 3.92, 4.42, 5.41, 6.41, 7.40, 8.40,
                    9.40, 10.39, 11.39, 12.39, 13.39, 14.39,
                ],
            ),
        ];
        for (curve_number, runoff_in) in table {
            for (rain, expected) in rain_in.into_iter().zip(runoff_in) {
                let got = curve_number_runoff_mm(curve_number, rain * INCH_MM) / INCH_MM;
                // The table is rounded to 0.01 inch.
                assert!((got - expected).abs() < 0.0051, "CN {curve_number} P {rain}: {got} against {expected}");
            }
        }
    }

    #[test]
    fn curve_numbers_in_millimetres() {
        // Analytic from S = 25400/CN - 254.
        for (cn, rain, expected) in
            [(80.0, 100.0, 50.5391), (75.0, 120.0, 56.5842), (60.0, 50.0, 1.4034), (80.0, 10.0, 0.0)]
        {
            assert!((curve_number_runoff_mm(cn, rain) - expected).abs() < 1e-4);
        }
    }

    #[test]
    fn antecedent_moisture_moves_the_curve_number() {
        // National Engineering Handbook part 4 (from memory).
        for (average, dry, wet) in [(75.0, 55.75, 87.34), (60.0, 38.65, 77.53), (85.0, 70.41, 92.87)] {
            assert!((dry_curve_number(average) - dry).abs() < 0.01);
            assert!((wet_curve_number(average) - wet).abs() < 0.01);
        }
    }
}
