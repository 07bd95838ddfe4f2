//! Arithmetic of rows and machines: metres of row, capacity, time lost in turns, land lost at the ends.
//!
//! Shapes and units: in the names; every function takes positive finite numbers and answers with a
//! non-finite number otherwise.
//! Source: [`Bibliography::AsabeEp496`](crate::bibliography::Bibliography::AsabeEp496) for field capacity; the rest is arithmetic.
//! How we know: tables recomputed by hand (`row_metres`, `capacity`, `turns`, `headlands`).

use crate::units::M2_PER_HA;

/// Metres of row in a hectare; dual rows count by their centres.
#[must_use]
pub fn row_m_per_ha(spacing_m: f64) -> f64 {
    M2_PER_HA / spacing_m
}

/// Effective field capacity, hectares an hour, of a machine `width_m` wide at `speed_km_h`.
///
/// `efficiency_ratio` is the share of time and width really used.
#[must_use]
pub fn field_capacity_ha_h(speed_km_h: f64, width_m: f64, efficiency_ratio: f64) -> f64 {
    speed_km_h * width_m * efficiency_ratio / 10.0
}

/// Material flow through a harvester, tonnes an hour, while it is in the row.
#[must_use]
pub fn pour_rate_t_h(yield_t_ha: f64, spacing_m: f64, speed_km_h: f64) -> f64 {
    yield_t_ha * field_capacity_ha_h(speed_km_h, spacing_m, 1.0)
}

/// Share of the time spent in the row: time in it over that time and a turn.
#[must_use]
pub fn turn_efficiency_ratio(row_m: f64, speed_km_h: f64, turn_s: f64) -> f64 {
    let row_s = row_m / (speed_km_h / 3.6);
    row_s / (row_s + turn_s)
}

/// Share of the row length taken by a headland of `headland_m` at each end.
#[must_use]
pub fn headland_loss_ratio(headland_m: f64, row_m: f64) -> f64 {
    2.0 * headland_m / row_m
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn row_metres() {
        // 10,000 m2 / spacing, arithmetic; 1.52 m is the five-foot row.
        for (spacing_m, expected) in [
            (1.5, 6666.67),
            (1.52, 6578.95),
            (1.65, 6060.61),
            (1.8, 5555.56),
            (1.83, 5464.48),
            (1.88, 5319.15),
            (1.9, 5263.16),
            (2.0, 5000.0),
        ] {
            assert!((row_m_per_ha(spacing_m) - expected).abs() < 0.005, "{spacing_m}");
        }
    }

    #[test]
    fn capacity() {
        // ASABE EP496 (from memory): C = S w E / 10.
        assert!((field_capacity_ha_h(5.0, 1.8, 0.7) - 0.63).abs() < 1e-12);
        // Imperial twin: 5 mph, 20 ft, 0.8 = 9.697 acres an hour (S w E / 8.25).
        let acres = field_capacity_ha_h(5.0 * 1.609_344, 20.0 * 0.3048, 0.8) / 0.404_685_642_24;
        assert!((acres - 9.697).abs() < 0.001, "{acres}");
        // Harvester throughput at ground speeds and pour rates reported for trials (Meyer; Khawprateep 2019), recomputed.
        assert!((pour_rate_t_h(90.0, 1.8, 5.0) - 81.0).abs() < 1e-9);
        assert!((pour_rate_t_h(80.0, 1.5, 6.0) - 72.0).abs() < 1e-9);
    }

    #[test]
    fn turns() {
        // 5 km/h, 40 s a turn, 1.8 m wide; arithmetic.
        for (row_m, efficiency, ha_h, min_ha) in [
            (100.0, 0.642_857, 0.57857, 103.70),
            (200.0, 0.782_609, 0.70435, 85.19),
            (400.0, 0.878_049, 0.79024, 75.93),
            (800.0, 0.935_065, 0.84156, 71.30),
        ] {
            let e = turn_efficiency_ratio(row_m, 5.0, 40.0);
            assert!((e - efficiency).abs() < 1e-6, "{row_m}");
            let c = field_capacity_ha_h(5.0, 1.8, e);
            assert!((c - ha_h).abs() < 1e-5 && (60.0 / c - min_ha).abs() < 0.005, "{row_m}");
        }
    }

    #[test]
    fn headlands() {
        assert!((headland_loss_ratio(6.0, 400.0) - 0.03).abs() < 1e-12);
        // 400 m x 250 m at 1.8 m with 6 m headlands: 138 whole rows of 388 m = 53.544 km (whole rows only, arithmetic).
        let rows = (250.0_f64 / 1.8).floor();
        assert!((rows * 400.0 * (1.0 - headland_loss_ratio(6.0, 400.0)) - 53_544.0).abs() < 1e-6);
    }
}
