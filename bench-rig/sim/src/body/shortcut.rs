//! Tables that stand in for the functions a step would spend its time on. Each error is far below the step's own; tests hold that.

use std::sync::LazyLock;

const GAUSS_PER_UNIT: f64 = 64.0;
const TANH_PER_UNIT: f64 = 32.0;
const LAST: f64 = 255.999;

static GAUSS: LazyLock<[f64; 257]> =
    LazyLock::new(|| std::array::from_fn(|i| (-(i as f64 / GAUSS_PER_UNIT).powi(2)).exp()));
static TANH: LazyLock<[f64; 257]> =
    LazyLock::new(|| std::array::from_fn(|i| (i as f64 / TANH_PER_UNIT).tanh()));

/// The tables, looked up once before many steps.
#[derive(Clone, Copy, Debug)]
pub struct Shortcuts {
    gauss: &'static [f64; 257],
    tanh: &'static [f64; 257],
}

impl Shortcuts {
    /// Makes the tables at the first use.
    pub fn new() -> Self {
        Self { gauss: &GAUSS, tanh: &TANH }
    }

    /// `exp(−x²)`; 0 beyond 4. Within 7e-5.
    #[inline]
    pub fn gauss(self, x: f64) -> f64 {
        let x = x.abs();
        if x >= LAST / GAUSS_PER_UNIT { 0.0 } else { between(self.gauss, x * GAUSS_PER_UNIT) }
    }

    /// `tanh x`. Within 1e-4.
    #[inline]
    pub fn tanh(self, x: f64) -> f64 {
        between(self.tanh, (x.abs() * TANH_PER_UNIT).min(LAST)).copysign(x)
    }
}

impl Default for Shortcuts {
    fn default() -> Self {
        Self::new()
    }
}

/// Linear between the points of a table; `at` from 0 to below 256.
#[inline]
fn between(table: &[f64; 257], at: f64) -> f64 {
    let i = at as i32;
    let k = (i & 255) as usize;
    table[k] + (table[k + 1] - table[k]) * (at - f64::from(i))
}

/// `(1 − exp(−x))/x` for x ≥ 0, within 1e-6: what a first-order lag of time constant T moves in h = x T, over x.
#[inline]
pub fn lag_share(x: f64) -> f64 {
    if x < 0.1 { 1.0 - x * (0.5 - x * (1.0 / 6.0 - x * (1.0 / 24.0))) } else { (1.0 - (-x).exp()) / x }
}

/// Points of a ripple table over one period.
const POINTS: usize = 256;

/// Three quantities that repeat [`super::numbers::RIPPLES`] times a rotor turn: torque constant, resistance over its mean, cogging.
#[derive(Clone, Debug)]
pub struct Ripples {
    rows: Box<[[f64; 3]; POINTS + 1]>,
    per_rad: f64,
}

/// Keeps table positions positive: 64 periods, more than a rotor ever turns backwards from the closed stop.
const AHEAD: f64 = 64.0 * POINTS as f64;

impl Ripples {
    /// Tabulates `f` over its phase, 0 to 2π.
    pub fn tabulate(f: impl Fn(f64) -> [f64; 3]) -> Self {
        let rows = std::array::from_fn(|i| f(std::f64::consts::TAU * i as f64 / POINTS as f64));
        let per_rad = super::numbers::RIPPLES * POINTS as f64 / std::f64::consts::TAU;
        Self { rows: Box::new(rows), per_rad }
    }

    /// At a rotor angle, rad. Within the second derivative times 8e-5.
    #[inline]
    pub fn at(&self, rotor: f64) -> [f64; 3] {
        let place = rotor * self.per_rad + AHEAD;
        let i = place as i32;
        let share = place - f64::from(i);
        let k = (i & (POINTS as i32 - 1)) as usize;
        let (a, b) = (&self.rows[k], &self.rows[k + 1]);
        [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share, a[2] + (b[2] - a[2]) * share]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Largest difference over a fine grid that does not fall on the tables' points.
    fn worst(from: f64, to: f64, difference: impl Fn(f64) -> f64) -> f64 {
        (0..200_000)
            .map(|i| difference(from + (to - from) * f64::from(i) / 199_999.0).abs())
            .fold(0.0, f64::max)
    }

    #[test]
    fn the_tables_are_as_near_to_their_functions_as_they_say() {
        let tables = Shortcuts::new();
        assert!(worst(-6.0, 6.0, |x| tables.gauss(x) - (-x * x).exp()) < 7e-5);
        assert!(worst(-12.0, 12.0, |x| tables.tanh(x) - x.tanh()) < 1e-4);
        assert!(worst(1e-9, 0.0999, |x| lag_share(x) * x / -(-x).exp_m1() - 1.0) < 1e-6);
        assert!(worst(0.1, 50.0, |x| lag_share(x) * x / -(-x).exp_m1() - 1.0) < 1e-12);
    }

    #[test]
    fn ripples_follow_their_functions_on_both_sides_of_the_closed_stop() {
        let f =
            |phase: f64| [1.0 + 0.05 * (phase + 0.3).cos(), 1.0 + 0.04 * (phase + 1.3).cos(), phase.sin()];
        let ripples = Ripples::tabulate(f);
        for k in 0..3 {
            let amplitude = [0.05, 0.04, 1.0][k];
            let error = worst(-2.0, 32.0, |rotor| ripples.at(rotor)[k] - f(14.0 * rotor)[k]);
            assert!(error < 8e-5 * amplitude, "{k}: {error}");
        }
    }
}
