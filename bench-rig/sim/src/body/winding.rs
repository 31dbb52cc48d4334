//! The winding's warmth and what it does to its resistance: one thermal mass between the copper's losses and the room.

/// Resistance is given at this temperature, °C.
pub const REFERENCE_CELSIUS: f64 = 20.0;
/// Temperature coefficient of copper at 20 °C, 1/K (IEC 60028: 0.003 93).
pub const COPPER_PER_K: f64 = 0.003_93;
/// Heat capacity of winding and rotor iron, J/K. Engineering assumption: 20 g of copper and 50 g of iron.
pub const JOULE_PER_K: f64 = 30.0;
/// Time constant towards the room, s. Engineering assumption.
pub const COOLING_S: f64 = 120.0;

/// A winding's temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Winding {
    celsius: f64,
    /// Temperature of the room, °C.
    pub ambient_celsius: f64,
    frozen: bool,
}

impl Winding {
    /// As warm as its room, °C.
    pub fn at(celsius: f64) -> Self {
        Self { celsius, ambient_celsius: celsius, frozen: false }
    }

    /// Temperature, °C.
    pub fn celsius(&self) -> f64 {
        self.celsius
    }

    /// Keeps its temperature whatever happens: for comparisons with what knows no warmth.
    pub fn set_frozen(&mut self, frozen: bool) {
        self.frozen = frozen;
    }

    /// Resistance over that at 20 °C.
    pub fn factor(&self) -> f64 {
        1.0 + COPPER_PER_K * (self.celsius - REFERENCE_CELSIUS)
    }

    /// After `seconds` with `joule` of copper losses in them; `seconds` far below [`COOLING_S`].
    #[inline]
    pub fn advance(&mut self, seconds: f64, joule: f64) {
        if !self.frozen {
            self.celsius +=
                joule * (1.0 / JOULE_PER_K) + (self.ambient_celsius - self.celsius) * (seconds / COOLING_S);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_winding_warms_exponentially_to_its_losses_and_cools_to_its_room() {
        let mut winding = Winding::at(23.0);
        let run = |winding: &mut Winding, watts: f64, seconds: u32| {
            (0..seconds * 100).for_each(|_| winding.advance(0.01, 0.01 * watts));
        };
        run(&mut winding, 10.0, 120);
        // 10 W · 120 s / 30 J/K = 40 K in the end; 1 − 1/e of it after one time constant. Euler's error: h/(2 T) = 4e-5.
        let want = 23.0 + 40.0 * (1.0 - (-1.0_f64).exp());
        assert!((winding.celsius() - want).abs() < 0.01, "{}", winding.celsius());
        run(&mut winding, 0.0, 1200);
        assert!((winding.celsius() - 23.0).abs() < 0.01);
    }

    #[test]
    fn copper_gains_two_fifths_of_a_percent_per_kelvin() {
        let mut winding = Winding::at(20.0);
        assert!((winding.factor() - 1.0).abs() < 1e-12);
        winding.celsius = 80.0;
        assert!((winding.factor() - 1.2358).abs() < 1e-9);
    }
}
