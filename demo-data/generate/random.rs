//! Seeded random numbers that stay the same on every machine and with every library version.

/// SplitMix64 (Steele, Lea and Flood, 2014, "Fast splittable pseudorandom number generators").
pub struct SplitMix64 {
    state: u64,
}

impl SplitMix64 {
    /// A stream that is fixed by `seed`.
    pub fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        scramble(self.state)
    }

    /// Uniform on [0, 1).
    pub fn uniform(&mut self) -> f64 {
        unit(self.next())
    }

    /// Uniform on [low, high).
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller, 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// A number on [0, 1) that depends only on `key`.
pub fn hashed(key: u64) -> f64 {
    unit(scramble(key))
}

/// Mixes the bits of `z` so that neighbours have nothing in common.
pub fn scramble(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1u64 << 53) as f64
}
