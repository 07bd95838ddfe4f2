//! Earth as it lies (bank), dug loose, and compacted: one mass, three volumes.
//!
//! Shapes and units: m3; ratios of a volume to the bank volume of the same mass.
//! The cut:fill ratio of levelling is bank over compacted; it is usually taken larger than the soil alone would need, because
//! some earth is lost on the way and settles after.
//! Source: [`Bibliography::Fm5434`](crate::bibliography::Bibliography::Fm5434), table 1-1 (from memory; compacted sand and
//! loam seen in an erratum of it).
//! How we know: that table's worked kind of sum and published examples of swell (`swell_and_shrinkage`), there and back
//! (`there_and_back`).

/// In which state a volume is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measure {
    /// As it lies before digging.
    Bank,
    /// Dug and not compacted: in the bowl, on the heap.
    Loose,
    /// Placed and compacted: the room of a fill.
    Compacted,
}

impl Measure {
    /// The word used in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bank => "bank",
            Self::Loose => "loose",
            Self::Compacted => "compacted",
        }
    }
}

/// How a soil swells and shrinks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bulking {
    /// Loose volume of one m3 bank.
    pub loose_per_bank: f64,
    /// Compacted volume of one m3 bank.
    pub compacted_per_bank: f64,
}

impl Bulking {
    /// Sand.
    pub const SAND: Self = Self { loose_per_bank: 1.11, compacted_per_bank: 0.95 };
    /// Loam, the common earth of the table.
    pub const LOAM: Self = Self { loose_per_bank: 1.25, compacted_per_bank: 0.90 };
    /// Clay.
    pub const CLAY: Self = Self { loose_per_bank: 1.43, compacted_per_bank: 0.90 };
    /// Blasted rock, which takes more room even when compacted.
    pub const BLASTED_ROCK: Self = Self { loose_per_bank: 1.50, compacted_per_bank: 1.30 };

    const fn per_bank(self, measure: Measure) -> f64 {
        match measure {
            Measure::Bank => 1.0,
            Measure::Loose => self.loose_per_bank,
            Measure::Compacted => self.compacted_per_bank,
        }
    }

    /// A volume in another measure, m3. Not finite when a ratio is zero.
    #[must_use]
    pub const fn convert(self, volume_m3: f64, from: Measure, to: Measure) -> f64 {
        volume_m3 * self.per_bank(to) / self.per_bank(from)
    }

    /// Bank m3 that one m3 of compacted fill needs, before losses.
    #[must_use]
    pub const fn cut_fill_ratio(self) -> f64 {
        self.convert(1.0, Measure::Compacted, Measure::Bank)
    }

    /// Bank m3 in one loose m3: the load factor of a bowl or body.
    #[must_use]
    pub const fn load_factor(self) -> f64 {
        self.convert(1.0, Measure::Loose, Measure::Bank)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn swell_and_shrinkage() {
        // US Army FM 5-434 table 1-1 (from memory): loam 1.25 loose, 0.90 compacted per bank.
        let loam = Bulking::LOAM;
        assert!((loam.convert(1000.0, Measure::Bank, Measure::Loose) - 1250.0).abs() < 1e-9);
        assert!((loam.convert(1000.0, Measure::Bank, Measure::Compacted) - 900.0).abs() < 1e-9);
        let bank = loam.convert(1000.0, Measure::Compacted, Measure::Bank);
        assert!((bank - 1111.11).abs() < 0.005 && (loam.cut_fill_ratio() - 1.1111).abs() < 1e-4);
        assert!((loam.convert(bank, Measure::Bank, Measure::Loose) - 1388.89).abs() < 0.005);
        // Published examples of swell: 8000 m3 bank at 40 % are 11 200 loose; basalt at 67 % has a load factor of 0.599.
        let swell = |share: f64| Bulking { loose_per_bank: 1.0 + share, compacted_per_bank: 1.0 };
        assert!((swell(0.4).convert(8000.0, Measure::Bank, Measure::Loose) - 11_200.0).abs() < 1e-9);
        assert!((swell(0.67).load_factor() - 0.599).abs() < 5e-4);
        // Sand, clay and blasted rock of the same table, as cut needed for 1000 m3 of fill (arithmetic).
        for (soil, needed) in [(Bulking::SAND, 1052.63), (Bulking::CLAY, 1111.11), (Bulking::BLASTED_ROCK, 769.23)] {
            assert!((soil.convert(1000.0, Measure::Compacted, Measure::Bank) - needed).abs() < 0.005);
        }
    }

    proptest! {
        #[test]
        fn there_and_back(volume in 0.0..1e6f64, loose in 1.0..2.0f64, compacted in 0.5..1.5f64) {
            let soil = Bulking { loose_per_bank: loose, compacted_per_bank: compacted };
            let all = [Measure::Bank, Measure::Loose, Measure::Compacted];
            for from in all {
                for to in all {
                    let back = soil.convert(soil.convert(volume, from, to), to, from);
                    prop_assert!((back - volume).abs() <= 1e-9 * (1.0 + volume));
                }
            }
        }
    }
}
