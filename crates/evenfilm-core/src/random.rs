//! The one random generator: counter-based, so that any number can be had by its index alone, in any order and on any thread, with the
//! same bits on every machine.
//!
//! Philox4x32-10 of J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC '11 (2011),
//! doi 10.1145/2063384.2063405: ten rounds of two 32 × 32 → 64 bit products. The seed is the key; index and stream are the counter.

/// Mean above which a Poisson number is a rounded normal one; at 30 the skewness left out is 0.18.
pub const POISSON_NORMAL_ABOVE: f64 = 30.0;

/// One stream of random numbers, each found by its index. Streams of one seed, and seeds, are independent of each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    seed: u64,
    stream: u64,
}

impl Source {
    /// The stream of this number under this seed.
    pub const fn new(seed: u64, stream: u64) -> Self {
        Self { seed, stream }
    }

    /// The 128 random bits at `index`.
    pub fn block(self, index: u64) -> [u64; 2] {
        let ([i0, i1], [s0, s1]) = (halves(index), halves(self.stream));
        let [a, b, c, d] = philox([i0, i1, s0, s1], halves(self.seed));
        [u64::from(a) | u64::from(b) << 32, u64::from(c) | u64::from(d) << 32]
    }

    /// 64 random bits at `index`.
    pub fn bits(self, index: u64) -> u64 {
        self.block(index)[0]
    }

    /// Uniform in [0, 1), a multiple of 2⁻⁵³.
    pub fn uniform(self, index: u64) -> f64 {
        unit(self.bits(index))
    }

    /// Two independent numbers, uniform in [0, 1).
    pub fn uniforms(self, index: u64) -> [f64; 2] {
        self.block(index).map(unit)
    }

    /// Two independent standard normal numbers (G. E. P. Box, M. E. Muller, Ann. Math. Stat. 29 (1958) 610).
    pub fn normals(self, index: u64) -> [f64; 2] {
        let [a, b] = self.uniforms(index);
        // 1 − a lies in (0, 1], so the logarithm is finite.
        let radius = (-2.0 * libm::log(1.0 - a)).sqrt();
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * b);
        [radius * cos, radius * sin]
    }

    /// A Poisson number of this mean, as a whole `f64`; 0 for a mean that is not above 0. Exact by inversion up to
    /// [`POISSON_NORMAL_ABOVE`], a rounded normal number above.
    pub fn poisson(self, index: u64, mean: f64) -> f64 {
        if mean > POISSON_NORMAL_ABOVE { poisson_normal(mean, self.normals(index)[0]) } else { poisson_exact(mean, self.uniform(index)) }
    }
}

/// The Poisson number of a large mean that a standard normal number stands for.
pub fn poisson_normal(mean: f64, normal: f64) -> f64 {
    (mean + mean.sqrt() * normal).round().max(0.0)
}

/// The Poisson number of a small mean at which the distribution function passes `uniform`.
fn poisson_exact(mean: f64, uniform: f64) -> f64 {
    if mean.is_nan() || mean <= 0.0 {
        return 0.0;
    }
    let mut count = 0.0;
    let mut share = libm::exp(-mean);
    let mut below = share;
    // Rounding may leave the sum of shares just below 1; no number of a mean of 30 reaches 200.
    while uniform >= below && count < 200.0 {
        count += 1.0;
        share *= mean / count;
        below += share;
    }
    count
}

/// Numbers of one [`Source`] drawn one after the other.
#[derive(Clone, Debug)]
pub struct Draws {
    source: Source,
    next: u64,
}

impl Draws {
    /// Starts at index 0.
    pub const fn new(source: Source) -> Self {
        Self { source, next: 0 }
    }

    fn advance(&mut self) -> u64 {
        self.next += 1;
        self.next - 1
    }

    /// Uniform in [0, 1).
    pub fn uniform(&mut self) -> f64 {
        let index = self.advance();
        self.source.uniform(index)
    }

    /// Uniform between `from` and `to`.
    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.uniform()
    }

    /// Uniform among `0..count`; 0 where `count` is 0.
    pub fn below(&mut self, count: usize) -> usize {
        let index = self.advance();
        let scaled = (u128::from(self.source.bits(index)) * count as u128) >> 64;
        usize::try_from(scaled).unwrap_or(0)
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        let index = self.advance();
        self.source.normals(index)[0]
    }

    /// Log-normal with this median and geometric standard deviation (≥ 1).
    pub fn log_normal(&mut self, median: f64, gsd: f64) -> f64 {
        median * libm::exp(libm::log(gsd) * self.normal())
    }

    /// Poisson, as [`Source::poisson`].
    pub fn poisson(&mut self, mean: f64) -> f64 {
        let index = self.advance();
        self.source.poisson(index, mean)
    }
}

/// The top 53 bits as a number in [0, 1).
fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 * (1.0 / (1_u64 << 53) as f64)
}

/// Low and high half.
#[expect(clippy::cast_possible_truncation, reason = "each half is taken on purpose")]
const fn halves(x: u64) -> [u32; 2] {
    [x as u32, (x >> 32) as u32]
}

/// Philox4x32-10.
fn philox(mut counter: [u32; 4], mut key: [u32; 2]) -> [u32; 4] {
    for _ in 0..10 {
        let [low0, high0] = halves(u64::from(counter[0]) * 0xD251_1F53);
        let [low1, high1] = halves(u64::from(counter[2]) * 0xCD9E_8D57);
        counter = [high1 ^ counter[1] ^ key[0], low1, high0 ^ counter[3] ^ key[1], low0];
        key = [key[0].wrapping_add(0x9E37_79B9), key[1].wrapping_add(0xBB67_AE85)];
    }
    counter
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Known answers published with the paper's reference code (Random123, `kat_vectors`, "philox4x32 10").
    #[test]
    fn known_answers() {
        assert_eq!(philox([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
        assert_eq!(philox([u32::MAX; 4], [u32::MAX; 2]), [0x408f_276d, 0x41c8_3b0e, 0xa20b_c7c6, 0x6d54_51fd]);
        assert_eq!(
            philox([0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344], [0xa409_3822, 0x299f_31d0]),
            [0xd16c_fe09, 0x94fd_cceb, 0x5001_e420, 0x2412_6ea1]
        );
    }

    fn moments(of: impl Fn(u64) -> f64, n: u64) -> (f64, f64) {
        let mean = (0..n).map(&of).sum::<f64>() / n as f64;
        let variance = (0..n).map(|i| (of(i) - mean) * (of(i) - mean)).sum::<f64>() / (n - 1) as f64;
        (mean, variance)
    }

    /// A uniform number has mean 1/2 and variance 1/12; 4 standard errors allowed.
    #[test]
    fn uniform_moments() {
        let source = Source::new(7, 1);
        let (mean, variance) = moments(|i| source.uniform(i), 200_000);
        assert!((mean - 0.5).abs() < 0.0026, "{mean}");
        assert!((variance - 1.0 / 12.0).abs() < 0.0007, "{variance}");
    }

    #[test]
    fn normals_have_unit_variance_and_are_uncorrelated() {
        let source = Source::new(7, 2);
        let (mean, variance) = moments(|i| source.normals(i)[0], 200_000);
        assert!(mean.abs() < 0.009 && (variance - 1.0).abs() < 0.013, "{mean} {variance}");
        let (product, _) = moments(|i| source.normals(i)[0] * source.normals(i)[1], 200_000);
        assert!(product.abs() < 0.009, "{product}");
    }

    /// Mean and variance of a Poisson number are equal, below and above the change of method.
    #[test]
    fn poisson_variance_is_its_mean() {
        for (stream, mean) in [(3, 0.3), (4, 4.0), (5, 29.9), (6, 31.0), (7, 900.0)] {
            let source = Source::new(11, stream);
            let (found, variance) = moments(|i| source.poisson(i, mean), 100_000);
            assert!((found - mean).abs() < 4.0 * (mean / 1e5_f64).sqrt(), "{mean} {found}");
            // Variance of the sample variance: (μ + 2μ²)/n; rounding adds 1/12 above the change.
            let allowed = 4.0 * ((mean + 2.0 * mean * mean) / 1e5).sqrt() + 0.084;
            assert!((variance - mean).abs() < allowed, "{mean} {variance}");
        }
        assert_eq!(Source::new(1, 1).poisson(0, -1.0).to_bits(), 0.0_f64.to_bits());
    }

    /// P(0) of a mean of 2 is e⁻² (closed form).
    #[test]
    fn poisson_zero_share() {
        let source = Source::new(11, 8);
        let zeros = (0..100_000).filter(|&i| source.poisson(i, 2.0) < 0.5).count();
        assert!((zeros as f64 / 1e5 - 0.135_335).abs() < 0.0044, "{zeros}");
    }

    /// Hatch and Choate 1929: the mean of a log-normal number is its median times exp(ln²(GSD)/2).
    #[test]
    fn log_normal_mean() {
        let mut draws = Draws::new(Source::new(3, 9));
        let mean = (0..200_000).map(|_| draws.log_normal(2.0, 1.5)).sum::<f64>() / 2e5;
        let expected = 2.0 * libm::exp(0.5 * libm::log(1.5) * libm::log(1.5));
        assert!((mean / expected - 1.0).abs() < 0.004, "{mean} {expected}");
    }

    #[test]
    fn below_covers_its_range_evenly() {
        let mut draws = Draws::new(Source::new(3, 10));
        let mut seen = [0_u32; 5];
        (0..50_000).for_each(|_| seen[draws.below(5)] += 1);
        assert!(seen.iter().all(|&n| n.abs_diff(10_000) < 400), "{seen:?}");
        assert_eq!(draws.below(0), 0);
    }
}
