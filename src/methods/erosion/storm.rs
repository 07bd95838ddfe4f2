//! Single storms: the energy of rain and the sediment one runoff event carries away.
//!
//! Source: energy of rain [`Renard1997`](crate::bibliography::Bibliography::Renard1997); sediment yield
//! [`Williams1975`](crate::bibliography::Bibliography::Williams1975). Formulas as remembered.
//! How we know: values computed apart; no printed table of either was at hand.

/// Energy of rain (MJ/ha for each mm) at an intensity, revised equation: `0.29 (1 - 0.72 exp(-0.05 i))`.
#[must_use]
pub fn rain_energy_mj_ha_mm(intensity_mm_h: f64) -> f64 {
    0.29 * (1.0 - 0.72 * (-0.05 * intensity_mm_h).exp())
}

/// Sediment (t) one storm carries to the outlet: `11.8 (V q)^0.56 K LS C P`.
///
/// `volume_m3` is the runoff, `peak_m3_s` its peak. `erodibility_us` is K in US customary units, as the constant 11.8
/// was fitted (SI K divided by [`K_SI_PER_US`](super::soil_loss::K_SI_PER_US)). No delivery ratio is applied after it:
/// runoff already carries the delivery.
#[must_use]
pub fn storm_sediment_t(
    volume_m3: f64,
    peak_m3_s: f64,
    erodibility_us: f64,
    length_steepness: f64,
    cover: f64,
    practice: f64,
) -> f64 {
    11.8 * (volume_m3 * peak_m3_s).powf(0.56) * erodibility_us * length_steepness * cover * practice
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rain_energy() {
        // AH-703 (from memory), by hand.
        assert!((rain_energy_mj_ha_mm(50.0) - 0.272_861).abs() < 1e-6);
        assert!((rain_energy_mj_ha_mm(20.0) - 0.213_187).abs() < 1e-6);
        // By the formula's form: 0.28 of the ceiling for drizzle, 0.29 MJ/ha for each mm in the heaviest rain.
        assert!((rain_energy_mj_ha_mm(0.0) - 0.0812).abs() < 1e-12);
        assert!((rain_energy_mj_ha_mm(1_000.0) - 0.29).abs() < 1e-12);
    }

    #[test]
    fn storm_sediment() {
        // Williams (1975), form of the SWAT manual (from memory), by hand.
        assert!((storm_sediment_t(2_200.0, 0.4, 0.31, 0.35, 0.3, 1.0) / 17.113_7 - 1.0).abs() < 1e-4);
    }
}
