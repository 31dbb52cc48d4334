//! The rule by which densities are integrated. Numbers in, number out.

/// Abscissae and weights of the ten-point Gauss–Legendre rule on −1..1, positive half (Abramowitz, Stegun, table 25.4).
pub const GAUSS: [(f64, f64); 5] = [
    (0.148_874_338_981_631_21, 0.295_524_224_714_752_87),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_36),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
];

/// Integrals of N functions at once between `from` and `to`, in so many panels of equal width. 0 where `to` is not above `from`.
pub(crate) fn integrals<const N: usize>(
    (from, to): (f64, f64),
    panels: usize,
    f: impl Fn(f64) -> [f64; N],
) -> [f64; N] {
    let mut sums = [0.0; N];
    if from.is_nan() || to.is_nan() || to <= from {
        return sums;
    }
    let half = 0.5 * (to - from) / panels.max(1) as f64;
    for panel in 0..panels.max(1) {
        let middle = from + half * (2 * panel + 1) as f64;
        for (x, weight) in GAUSS {
            for at in [middle - half * x, middle + half * x] {
                for (sum, value) in sums.iter_mut().zip(f(at)) {
                    *sum += half * weight * value;
                }
            }
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    // ∫ sin over 0..π is 2; the rule is exact for polynomials up to degree 19, so is ∫ x¹⁹ over 0..1 = 1/20.
    #[test]
    fn known_integrals_come_out() {
        let [sine] = integrals((0.0, std::f64::consts::PI), 2, |x| [x.sin()]);
        let [power] = integrals((0.0, 1.0), 1, |x| [x.powi(19)]);
        assert!((sine - 2.0).abs() < 1e-14 && (power - 0.05).abs() < 1e-15, "{sine} {power}");
        assert_eq!(integrals((1.0, 0.0), 3, |x| [x]), [0.0]);
    }
}
