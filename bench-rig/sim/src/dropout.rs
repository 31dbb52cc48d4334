//! Broken contacts: when, on which lead, for how long. What the volts do meanwhile is `front`'s business.

use serde::{Deserialize, Serialize};

use crate::fault::{Fault, Lead, Towards};
use crate::random::Random;

/// One loss of contact.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outage {
    /// Which lead.
    pub lead: Lead,
    /// Where a signal goes meanwhile.
    pub towards: Towards,
    /// First instant without contact, µs on the rig's clock.
    pub start_us: f64,
    /// First instant with contact again, µs.
    pub end_us: f64,
}

/// A stretch of time and travel, and whether the pigtail is flexed in it.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    /// From, µs.
    pub from_us: f64,
    /// To, µs.
    pub to_us: f64,
    /// Grip or plate at the start, degrees.
    pub from_deg: f64,
    /// Grip or plate at the end, degrees.
    pub to_deg: f64,
    /// Largest acceleration of a plate in the last stretch, rad/s².
    pub shock_rad_s2: f64,
    /// Whether somebody flexes the pigtail.
    pub flexed: bool,
    /// Where, by number; 0 where it is not one place.
    pub place: u8,
    /// How warm it is, °C.
    pub celsius: f64,
}

/// An impact rings: within this time after one there is no other, µs.
const RINGING_US: f64 = 3000.0;

/// How hard a plate must be struck, and how likely the contact then breaks.
#[derive(Clone, Copy, Debug, Default)]
struct Impact {
    from_rad_s2: f64,
    chance: f64,
    quiet_from_us: f64,
}

/// One dropout fault at work.
#[derive(Clone, Debug)]
pub struct Breaker {
    lead: Lead,
    towards: Towards,
    rate_per_s: f64,
    flex_rate_per_s: f64,
    burst_us: f64,
    pause_us: f64,
    at_deg: f64,
    chance_per_pass: f64,
    impact: Impact,
    /// Only while it is flexed at this place; 0: wherever.
    only_at: u8,
    /// Only from this temperature on, °C.
    only_from_celsius: f64,
    length_us: (f64, f64),
    random: Random,
    /// What is left of the exponential until the next one by chance.
    until_next: f64,
}

impl Breaker {
    /// Of a fault, when it is a dropout.
    pub fn of(fault: &Fault, mut random: Random) -> Option<Self> {
        let until_next = random.exponential();
        let silent = |lead: Lead, towards: Towards, length_us: (f64, f64), random: Random| Self {
            lead,
            towards,
            rate_per_s: 0.0,
            flex_rate_per_s: 0.0,
            burst_us: 0.0,
            pause_us: 0.0,
            at_deg: 0.0,
            chance_per_pass: 0.0,
            impact: Impact::default(),
            only_at: 0,
            only_from_celsius: f64::NEG_INFINITY,
            length_us,
            random,
            until_next,
        };
        match *fault {
            Fault::Dropout {
                lead,
                rate_per_s,
                burst_s,
                pause_s,
                flex_rate_per_s,
                at_deg,
                chance_per_pass,
                min_us,
                max_us,
                towards,
            } => Some(Self {
                rate_per_s,
                flex_rate_per_s,
                burst_us: burst_s * 1e6,
                pause_us: pause_s * 1e6,
                at_deg,
                chance_per_pass,
                ..silent(lead, towards, (min_us, max_us), random)
            }),
            Fault::ImpactDropout { lead, impact_rad_s2, chance_per_impact, min_us, max_us, towards } => {
                let impact =
                    Impact { from_rad_s2: impact_rad_s2, chance: chance_per_impact, quiet_from_us: 0.0 };
                Some(Self { impact, ..silent(lead, towards, (min_us, max_us), random) })
            }
            Fault::FlexDropout { lead, place, rate_per_s, min_us, max_us, towards } => Some(Self {
                flex_rate_per_s: rate_per_s,
                only_at: place,
                ..silent(lead, towards, (min_us, max_us), random)
            }),
            Fault::WarmDropout { lead, from_celsius, rate_per_s, min_us, max_us, towards } => Some(Self {
                rate_per_s,
                only_from_celsius: from_celsius,
                ..silent(lead, towards, (min_us, max_us), random)
            }),
            _ => None,
        }
    }

    /// Outages that begin within a stretch. By chance: a Poisson process whose rate is constant within the stretch (its hazard is
    /// counted down from an exponential); by place: every pass over the angle, at the instant of the pass; by impact: just after it.
    pub fn advance(&mut self, stretch: &Stretch, found: &mut Vec<Outage>) {
        let length = stretch.to_us - stretch.from_us;
        let hazard = self.rate(stretch) * 1e-6 * length;
        let mut used = 0.0;
        while hazard - used >= self.until_next {
            used += self.until_next;
            self.until_next = self.random.exponential();
            self.begin(stretch.from_us + length * used / hazard, found);
        }
        self.until_next -= hazard - used;
        let (a, b) = (stretch.from_deg - self.at_deg, stretch.to_deg - self.at_deg);
        if self.chance_per_pass > 0.0 && (a < 0.0) != (b < 0.0) && self.random.unit() < self.chance_per_pass {
            self.begin(stretch.from_us + length * a / (a - b), found);
        }
        if self.impact.chance > 0.0 && stretch.shock_rad_s2 >= self.impact.from_rad_s2 {
            let first = stretch.from_us >= self.impact.quiet_from_us;
            self.impact.quiet_from_us = stretch.from_us + RINGING_US;
            if first && self.random.unit() < self.impact.chance {
                let start_us = stretch.from_us + length * self.random.unit();
                self.begin(start_us, found);
            }
        }
    }

    fn rate(&self, stretch: &Stretch) -> f64 {
        let period = self.burst_us + self.pause_us;
        let quiet = self.burst_us > 0.0 && stretch.from_us.rem_euclid(period) >= self.burst_us;
        if stretch.celsius < self.only_from_celsius {
            return 0.0;
        }
        let flexed = stretch.flexed && (self.only_at == 0 || self.only_at == stretch.place);
        (if quiet { 0.0 } else { self.rate_per_s }) + if flexed { self.flex_rate_per_s } else { 0.0 }
    }

    fn begin(&mut self, start_us: f64, found: &mut Vec<Outage>) {
        let (min, max) = self.length_us;
        let length = if max > min { self.random.between_log(min, max) } else { min };
        found.push(Outage { lead: self.lead, towards: self.towards, start_us, end_us: start_us + length });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(rate_per_s: f64, at_deg: f64, chance_per_pass: f64) -> Fault {
        Fault::Dropout {
            lead: Lead::Rising,
            rate_per_s,
            burst_s: 0.2,
            pause_s: 0.8,
            flex_rate_per_s: 0.0,
            at_deg,
            chance_per_pass,
            min_us: 10.0,
            max_us: 1000.0,
            towards: Towards::Open,
        }
    }

    fn run(fault: &Fault, seconds: u32, deg: impl Fn(f64) -> f64) -> Vec<Outage> {
        let mut breaker = Breaker::of(fault, Random::new("breaker", 3)).unwrap();
        let mut found = Vec::new();
        for k in 0..seconds * 10_000 {
            let (from_us, to_us) = (f64::from(k) * 100.0, f64::from(k + 1) * 100.0);
            let stretch = Stretch {
                from_us,
                to_us,
                from_deg: deg(from_us),
                to_deg: deg(to_us),
                shock_rad_s2: 0.0,
                flexed: false,
                place: 0,
                celsius: 23.0,
            };
            breaker.advance(&stretch, &mut found);
        }
        found
    }

    #[test]
    fn random_dropouts_come_at_their_rate_within_their_bursts_and_lengths() {
        let found = run(&fault(50.0, 0.0, 0.0), 1000, |_| 20.0);
        // 50/s in a fifth of the time over 1000 s: 10 000 ± 100 (Poisson).
        assert!((found.len() as f64 - 10_000.0).abs() < 500.0, "{}", found.len());
        assert!(found.iter().all(|o| o.start_us.rem_euclid(1e6) <= 200_000.0));
        assert!(found.iter().all(|o| (10.0..=1000.0).contains(&(o.end_us - o.start_us))));
    }

    #[test]
    fn place_locked_dropouts_begin_where_they_were_told() {
        // 60°/s up and down between 0 and 60: two passes over 31.7° every 2 s.
        let deg = |us: f64| 60.0 - (60.0 - (us * 60e-6).rem_euclid(120.0)).abs();
        let found = run(&fault(0.0, 31.7, 1.0), 20, deg);
        assert_eq!(found.len(), 20);
        for outage in found {
            assert!((deg(outage.start_us) - 31.7).abs() < 1e-6, "{}", deg(outage.start_us));
        }
    }
}
