//! Numbers that look random.

/// A sequence of numbers that look random, the same each time (G. Steele and others, "Fast
/// Splittable Pseudorandom Number Generators", OOPSLA 2014, from memory).
pub(crate) struct Noise(pub u64);

impl Noise {
    /// From 0 to below 1.
    pub(crate) fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Normal, of mean 0 and deviation 1 (Box and Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        let (a, b) = (self.unit().max(1e-300), self.unit());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}
