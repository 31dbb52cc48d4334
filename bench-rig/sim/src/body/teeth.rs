//! The sector's teeth: transmission error and wear of both flanks along the travel, indexed by the idler's angle over its ratio.
//!
//! With `x = idler/5 − plate`, the opening flank touches when `x > opening(φ)` and the closing flank when `x < −closing(φ)`:
//! `opening = lash/2 + error + wear`, `closing = lash/2 − error + wear`. A tooth takes part over its pitch of 4°: wholly within 0.2
//! pitches of its centre, then a raised cosine to nothing at half a pitch. Errors and shapes are engineering assumptions.

use std::f64::consts::{PI, TAU};

use serde::{Deserialize, Serialize};

use super::numbers::RATIO;
use crate::random::Random;

/// Pitch of the sector's teeth, degrees of plate.
pub const PITCH_DEG: f64 = 4.0;
/// Teeth that the travel uses.
pub const TEETH: usize = 24;

/// Waves of a healthy gear train's transmission error: nominal amplitude and period, degrees of plate. Idler once a turn, rotor once
/// a turn, sector tooth by tooth, pinion tooth by tooth.
const WAVES: [(f64, f64); 4] = [(0.035, 72.0), (0.020, 360.0 / RATIO), (0.010, 4.0), (0.006, 1.6)];

/// One wave of the transmission error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wave {
    /// Amplitude, degrees of plate.
    pub amplitude_deg: f64,
    /// Period, degrees of plate.
    pub period_deg: f64,
    /// Phase, rad.
    pub phase: f64,
}

/// What is gone of the flanks at a place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wear {
    /// Middle, degrees of plate.
    pub centre_deg: f64,
    /// Gone of the opening flank, degrees of plate.
    pub opening_deg: f64,
    /// Gone of the closing flank, degrees of plate.
    pub closing_deg: f64,
    /// Wholly gone over this width, degrees of plate …
    pub flat_deg: f64,
    /// … and fading out over this on either side.
    pub fade_deg: f64,
}

impl Wear {
    /// A whole tooth's.
    pub fn tooth(centre_deg: f64, opening_deg: f64, closing_deg: f64) -> Self {
        Self { centre_deg, opening_deg, closing_deg, flat_deg: 0.4 * PITCH_DEG, fade_deg: 0.3 * PITCH_DEG }
    }

    /// Share of its depth at an angle, 0 to 1.
    fn share(&self, deg: f64) -> f64 {
        let past = (deg - self.centre_deg).abs() - 0.5 * self.flat_deg;
        if past < 0.0 {
            1.0
        } else if past < self.fade_deg {
            0.5 * (1.0 + (PI * past / self.fade_deg).cos())
        } else {
            0.0
        }
    }
}

/// The teeth of one body.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Teeth {
    /// Transmission error of the whole train.
    pub waves: Vec<Wave>,
    /// Error of each tooth, degrees of plate; the first is centred at 2°.
    pub tooth_deg: Vec<f64>,
    /// What is gone of the flanks.
    pub wear: Vec<Wear>,
}

impl Teeth {
    /// Healthy, with its own errors.
    pub fn draw(random: &mut Random) -> Self {
        let wave = |&(amplitude, period_deg): &(f64, f64)| Wave {
            amplitude_deg: amplitude * random.between(0.3, 1.5),
            period_deg,
            phase: random.between(0.0, TAU),
        };
        let waves = WAVES.iter().map(wave).collect();
        let tooth_deg = (0..TEETH).map(|_| random.spread(0.012)).collect();
        Self { waves, tooth_deg, wear: Vec::new() }
    }

    /// Transmission error at an angle, degrees of plate.
    pub fn error_deg(&self, deg: f64) -> f64 {
        let waves = self.waves.iter().map(|w| w.amplitude_deg * (TAU * deg / w.period_deg + w.phase).sin());
        let teeth = self.tooth_deg.iter().enumerate().map(|(k, error)| {
            let centre = PITCH_DEG * (k as f64 + 0.5);
            error * Wear::tooth(centre, 0.0, 0.0).share(deg)
        });
        waves.sum::<f64>() + teeth.sum::<f64>()
    }

    /// What is gone of the opening and the closing flank at an angle, degrees of plate.
    pub fn wear_deg(&self, deg: f64) -> (f64, f64) {
        self.wear.iter().fold((0.0, 0.0), |(opening, closing), wear| {
            let share = wear.share(deg);
            (opening + share * wear.opening_deg, closing + share * wear.closing_deg)
        })
    }

    /// Where both flanks touch, tabulated.
    pub fn flanks(&self, lash_deg: f64) -> Flanks {
        Flanks::tabulate(|deg| {
            let (error, (opening, closing)) = (self.error_deg(deg), self.wear_deg(deg));
            (0.5 * lash_deg + error + opening, 0.5 * lash_deg - error + closing)
        })
    }
}

/// First angle of the tables, degrees.
const FROM_DEG: f64 = -8.0;
/// Their pitch, degrees: a thirty-second of the shortest wave.
const STEP_DEG: f64 = 0.05;
const POINTS: usize = 2048;

/// Where the flanks touch, rad of plate against `φ` in rad of plate, linear between points 0.05° apart.
#[derive(Clone, Debug)]
pub struct Flanks {
    rows: Box<[[f64; 2]; POINTS + 1]>,
}

/// Contact distances and their slopes at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flank {
    /// The opening flank touches beyond this, rad.
    pub opening: f64,
    /// Its slope along the travel.
    pub opening_slope: f64,
    /// The closing flank touches beyond minus this, rad.
    pub closing: f64,
    /// Its slope along the travel.
    pub closing_slope: f64,
}

impl Flanks {
    fn tabulate(f: impl Fn(f64) -> (f64, f64)) -> Self {
        let row = |i: usize| {
            let (opening, closing) = f(FROM_DEG + STEP_DEG * i as f64);
            [opening.to_radians(), closing.to_radians()]
        };
        Self { rows: Box::new(std::array::from_fn(row)) }
    }

    /// At `phi`, rad of plate; the end values beyond the ends (−8° and 94°).
    #[inline]
    pub fn at(&self, phi: f64) -> Flank {
        const PER_RAD: f64 = 180.0 / PI / STEP_DEG;
        let place = (phi * PER_RAD - FROM_DEG / STEP_DEG).clamp(0.0, POINTS as f64 - 1e-3);
        let i = place as i32;
        let share = place - f64::from(i);
        let k = (i & (POINTS as i32 - 1)) as usize;
        let ([a, b], [a1, b1]) = (self.rows[k], self.rows[k + 1]);
        let (da, db) = (a1 - a, b1 - b);
        Flank {
            opening: a + da * share,
            opening_slope: da * PER_RAD,
            closing: b + db * share,
            closing_slope: db * PER_RAD,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_follows_the_shortest_wave_and_a_worn_tooth() {
        let mut teeth = Teeth::draw(&mut Random::new("teeth", 3));
        teeth.wear.push(Wear::tooth(14.0, 0.18, 0.12));
        let flanks = teeth.flanks(0.2);
        for i in 0..20_000 {
            let deg = -3.0 + 90.0 * f64::from(i) / 19_999.0;
            let (error, (opening, closing)) = (teeth.error_deg(deg), teeth.wear_deg(deg));
            let at = flanks.at(deg.to_radians());
            // Curvature of 0.009° over 1.6° and of 0.18° over 1.2° times (0.05°)²/8: 0.0004°, a fiftieth of the step's own error.
            assert!((at.opening.to_degrees() - (0.1 + error + opening)).abs() < 4e-4, "{deg}");
            assert!((at.closing.to_degrees() - (0.1 - error + closing)).abs() < 4e-4, "{deg}");
        }
    }

    #[test]
    fn a_worn_tooth_is_worn_over_its_pitch_and_its_neighbours_are_not() {
        let wear = vec![Wear::tooth(14.0, 0.3, 0.2)];
        let teeth = Teeth { wear, ..Teeth::default() };
        assert_eq!(teeth.wear_deg(14.0), (0.3, 0.2));
        assert_eq!(teeth.wear_deg(14.7), (0.3, 0.2));
        assert_eq!((teeth.wear_deg(11.9), teeth.wear_deg(16.1)), ((0.0, 0.0), (0.0, 0.0)));
        let (half, _) = teeth.wear_deg(14.0 + 0.8 + 0.6);
        assert!((half - 0.15).abs() < 1e-12);
    }
}
