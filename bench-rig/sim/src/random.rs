//! Seeded random numbers: the same name and seed give the same part; a fast Gaussian for the noise of every scan.

use std::sync::LazyLock;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Layers of the ziggurat.
const LAYERS: usize = 256;
// G. Marsaglia and W. W. Tsang, "The Ziggurat Method for Generating Random Variables", J. Stat. Software 5(8), 2000: base strip
// and area for 256 layers of the normal density.
const TAIL_START: f64 = 3.654_152_885_361_009;
const AREA: f64 = 0.004_928_673_233_99;

#[derive(Debug)]
struct Ziggurat {
    x: [f64; LAYERS + 1],
    density: [f64; LAYERS + 1],
}

static ZIGGURAT: LazyLock<Ziggurat> = LazyLock::new(|| {
    let density = |x: f64| (-0.5 * x * x).exp();
    let mut x = [0.0; LAYERS + 1];
    x[0] = AREA / density(TAIL_START);
    x[1] = TAIL_START;
    for i in 2..LAYERS {
        x[i] = (-2.0 * (AREA / x[i - 1] + density(x[i - 1])).ln()).sqrt();
    }
    x[LAYERS] = 0.0;
    Ziggurat { x, density: x.map(density) }
});

/// A seeded stream of random numbers.
#[derive(Clone, Debug)]
pub struct Random {
    generator: Pcg64Mcg,
    table: &'static Ziggurat,
}

impl Random {
    /// A stream that `name` and `seed` decide: other names give unrelated streams of the same seed.
    pub fn new(name: &str, seed: u64) -> Self {
        // FNV-1a, 64 bit (offset basis and prime from memory): any good hash serves.
        let hash = name
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
        let generator = Pcg64Mcg::seed_from_u64(hash ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        Self { generator, table: &ZIGGURAT }
    }

    /// Uniform in [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Uniform in [`from`, `to`).
    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.unit()
    }

    /// Log-uniform in [`from`, `to`); both > 0.
    pub fn between_log(&mut self, from: f64, to: f64) -> f64 {
        from * (to / from).powf(self.unit())
    }

    /// Exponential with mean 1.
    pub fn exponential(&mut self) -> f64 {
        -(1.0 - self.unit()).ln()
    }

    /// Standard normal, all of its tail.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        loop {
            let bits = self.generator.next_u64();
            let layer = (bits & 0xff) as usize;
            let u = (bits >> 11) as f64 * (1.0 / 4_503_599_627_370_496.0) - 1.0;
            let x = u * self.table.x[layer];
            if x.abs() < self.table.x[layer + 1] {
                return x;
            }
            if let Some(x) = self.edge(layer, x) {
                return x;
            }
        }
    }

    #[cold]
    fn edge(&mut self, layer: usize, x: f64) -> Option<f64> {
        if layer == 0 {
            loop {
                let (a, b) = (self.exponential() / TAIL_START, self.exponential());
                if 2.0 * b > a * a {
                    return Some((TAIL_START + a).copysign(x));
                }
            }
        }
        let (low, high) = (self.table.density[layer], self.table.density[layer + 1]);
        (low + (high - low) * self.unit() < (-0.5 * x * x).exp()).then_some(x)
    }

    /// Normal with standard deviation `sd`, cut at ±2.5 sd: parts farther off do not leave a factory.
    pub fn spread(&mut self, sd: f64) -> f64 {
        sd * self.normal().clamp(-2.5, 2.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_has_the_moments_and_tails_of_a_normal() {
        let mut random = Random::new("moments", 1);
        let n = 2_000_000;
        let (mut sums, mut beyond_2, mut beyond_4) = ([0.0; 4], 0, 0);
        for _ in 0..n {
            let x = random.normal();
            sums.iter_mut().zip(1..).for_each(|(s, p)| *s += x.powi(p));
            beyond_2 += usize::from(x.abs() > 2.0);
            beyond_4 += usize::from(x.abs() > 4.0);
        }
        let m = sums.map(|s| s / f64::from(n));
        // Standard errors of the moments for n = 2e6: 0.0007, 0.001, 0.0027, 0.0069; five of each are allowed.
        for (got, (want, se)) in m.iter().zip([(0.0, 0.0007), (1.0, 0.001), (0.0, 0.0027), (3.0, 0.0069)]) {
            assert!((got - want).abs() < 5.0 * se, "moments {m:?}");
        }
        // P(|x| > 2) = 0.0455003, P(|x| > 4) = 6.33425e-5 (error function).
        assert!((beyond_2 as f64 - 91_000.6).abs() < 5.0 * 295.0, "{beyond_2}");
        assert!((beyond_4 as f64 - 126.7).abs() < 5.0 * 11.3, "{beyond_4}");
    }

    #[test]
    fn name_and_seed_decide_the_stream() {
        let draw = |name: &str, seed| Random::new(name, seed).unit();
        assert_eq!(draw("worn-grip", 7), draw("worn-grip", 7));
        assert_ne!(draw("worn-grip", 7), draw("worn-grip", 8));
        assert_ne!(draw("worn-grip", 7), draw("good-grip", 7));
    }
}
