//! The wires between rig and sensor as a resistive network, solved exactly for its node voltages. No time, no filter.
//!
//! Rig supply — loom and supply lead — S; G — ground lead and loom — rig return (0 V). The sensor draws its current from S to G and
//! makes an output voltage `E = G + ratio (S − G)` behind a source resistance at its pin P. At P: leaks to G and S, the signal lead, and
//! behind it the rig's input (resistance, pull-down, load) to 0 V. What an output sources comes from S by its share, the rest from G.

/// One channel's branch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Branch {
    /// Output as ratio of the sensor's own supply.
    pub ratio: f64,
    /// Source resistance, ohm, > 0.
    pub source_ohms: f64,
    /// Share of the output current that comes from S: 1 for an amplifier that sources, the ratio for a divider.
    pub share: f64,
    /// Leak from the pin to G, siemens.
    pub leak_ground: f64,
    /// Leak from the pin to S, siemens.
    pub leak_supply: f64,
    /// Signal lead, ohm.
    pub lead_ohms: f64,
    /// The rig's input to 0 V, siemens, > 0.
    pub input: f64,
}

/// The whole network.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Network {
    /// Rig supply at its terminals, V.
    pub supply_volts: f64,
    /// Resistance from there to S, ohm.
    pub supply_ohms: f64,
    /// Resistance from G to the rig's return, ohm.
    pub ground_ohms: f64,
    /// Constant current of the sensor from S to G, A.
    pub sensor_amps: f64,
    /// Conductance of the sensor from S to G, siemens.
    pub sensor_siemens: f64,
    /// Both channels.
    pub branches: [Branch; 2],
}

/// Node voltages, V, and the current out of the rig's supply, A.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Solution {
    /// At the rig's inputs.
    pub inputs: [f64; 2],
    /// At the sensor's supply pin.
    pub sensor_supply: f64,
    /// At the sensor's ground pin.
    pub sensor_ground: f64,
    /// Out of the rig's supply.
    pub supply_amps: f64,
    /// Into the rig's return, through the ground lead.
    pub ground_amps: f64,
}

/// A voltage as `s·S + g·G`.
#[derive(Clone, Copy)]
struct Linear {
    s: f64,
    g: f64,
}

impl Branch {
    /// Pin voltage and the currents it takes out of S and out of G. With Y the pin's way to 0 V and its leaks, and `q = 1 / (1 + R Y)`:
    /// `pin = q ((r + R leak_S) S + (1 − r + R leak_G) G)`, and what flows through R is `q ((r Y − leak_S) S + ((1 − r) Y − leak_G) G)`.
    #[inline]
    fn linear(&self, onward: f64) -> (Linear, Linear, Linear) {
        let (ohms, ratio, rest) = (self.source_ohms, self.ratio, 1.0 - self.ratio);
        let all = self.leak_ground + self.leak_supply + onward;
        let q = 1.0 / (1.0 + ohms * all);
        let pin =
            Linear { s: (ratio + ohms * self.leak_supply) * q, g: (rest + ohms * self.leak_ground) * q };
        let out = Linear { s: (ratio * all - self.leak_supply) * q, g: (rest * all - self.leak_ground) * q };
        let from_s = Linear {
            s: self.share * out.s + self.leak_supply * (1.0 - pin.s),
            g: self.share * out.g - self.leak_supply * pin.g,
        };
        let from_g = Linear {
            s: (1.0 - self.share) * out.s - self.leak_ground * pin.s,
            g: (1.0 - self.share) * out.g + self.leak_ground * (1.0 - pin.g),
        };
        (pin, from_s, from_g)
    }
}

impl Network {
    /// Solves Kirchhoff's current law at S and G; exact for the linear network.
    #[inline]
    pub fn solve(&self) -> Solution {
        // Of the pin's voltage, what is left at the input behind the lead.
        let left = self.branches.map(|b| 1.0 / (1.0 + b.lead_ohms * b.input));
        let parts = [0, 1].map(|k| self.branches[k].linear(self.branches[k].input * left[k]));
        let (rs, rg, y) = (self.supply_ohms, self.ground_ohms, self.sensor_siemens);
        let both = |a: &Linear, b: &Linear| Linear { s: a.s + b.s, g: a.g + b.g };
        let (from_s, from_g) = (both(&parts[0].1, &parts[1].1), both(&parts[0].2, &parts[1].2));
        // S + rs (I0 + y (S − G) + Σ from S) = supply;  G + rg (−I0 − y (S − G) + Σ from G) = 0
        let (a, b) = (1.0 + rs * (y + from_s.s), rs * (-y + from_s.g));
        let (c, d) = (rg * (-y + from_g.s), 1.0 + rg * (y + from_g.g));
        let (p, q) = (self.supply_volts - rs * self.sensor_amps, rg * self.sensor_amps);
        let per = 1.0 / (a * d - b * c);
        let s = (p * d - b * q) * per;
        let g = (a * q - p * c) * per;
        let at = |l: &Linear| l.s * s + l.g * g;
        let inputs = [0, 1].map(|k| at(&parts[k].0) * left[k]);
        let sensor = self.sensor_amps + y * (s - g);
        Solution {
            inputs,
            sensor_supply: s,
            sensor_ground: g,
            supply_amps: sensor + at(&from_s),
            ground_amps: sensor - at(&from_g),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn branch(ratio: f64) -> Branch {
        let (source_ohms, input) = (50.0, 1e-6);
        Branch { ratio, source_ohms, share: 1.0, leak_ground: 0.0, leak_supply: 0.0, lead_ohms: 0.0, input }
    }

    fn network(branches: [Branch; 2]) -> Network {
        let (supply_ohms, ground_ohms) = (0.0, 0.0);
        Network {
            supply_volts: 5.0,
            supply_ohms,
            ground_ohms,
            sensor_amps: 0.010,
            sensor_siemens: 0.0,
            branches,
        }
    }

    #[track_caller]
    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got} is not {want} ± {within}");
    }

    #[test]
    fn two_metres_each_way_of_fine_wire_drop_two_millivolts_at_ten_milliamperes() {
        // VDE 0295 / IEC 60228: 0.34 mm² fine strand has at most 53 mΩ/m; 4 m × 53 mΩ/m × 10 mA = 2.12 mV.
        let mut net = network([branch(0.5), branch(0.5)]);
        net.branches.iter_mut().for_each(|b| b.input = 1e-12);
        (net.supply_ohms, net.ground_ohms) = (2.0 * 0.053, 2.0 * 0.053);
        let s = net.solve();
        near(5.0 - (s.sensor_supply - s.sensor_ground), 2.12e-3, 1e-9);
        // Half of each lead's drop cancels at half ratio.
        near(s.inputs[0], 2.5, 1e-8);
    }

    #[test]
    fn both_channels_of_a_complementary_pair_read_half_supply_at_half_travel_and_always_total_the_supply() {
        // Common practice, no source: 2.5 V both at half travel, sum 5 V.
        for x in [0.0, 0.25, 0.5, 0.9, 1.0] {
            let mut net = network([branch(0.1 + 0.8 * x), branch(0.9 - 0.8 * x)]);
            net.branches.iter_mut().for_each(|b| b.input = 1e-12);
            let s = net.solve();
            near(s.inputs[0] + s.inputs[1], 5.0, 1e-8);
            if x == 0.5 {
                near(s.inputs[0], 2.5, 1e-8);
            }
        }
    }

    #[test]
    fn a_load_divides_with_source_and_lead_as_by_hand() {
        let mut net = network([branch(0.6), branch(0.4)]);
        net.branches[0] = Branch { lead_ohms: 200.0, input: 1e-4, ..branch(0.6) };
        let s = net.solve();
        // 3 V · 10 kΩ / (10 kΩ + 200 Ω + 50 Ω)
        near(s.inputs[0], 3.0 * 10_000.0 / 10_250.0, 1e-9);
        // Sensor current plus what flows through the load and the other input (2 V into 1 MΩ behind 50 Ω).
        near(s.supply_amps, 0.010 + 3.0 / 10_250.0 + 2.0 / 1_000_050.0, 1e-12);
        near(s.ground_amps, 0.010, 1e-12);
    }

    #[test]
    fn a_hall_sensor_on_a_bad_ground_shifts_up_and_steps_with_the_supply() {
        let mut net = network([branch(0.5), branch(0.5)]);
        net.branches.iter_mut().for_each(|b| b.input = 1e-12);
        net.ground_ohms = 20.0;
        let ratio = |volts: f64| {
            let s = Network { supply_volts: volts, ..net }.solve();
            s.inputs[0] / volts
        };
        // G = 0.2 V: (0.2 + 0.5 · 4.8) / 5 and (0.2 + 0.5 · 3.8) / 4.
        near(ratio(5.0), 2.6 / 5.0, 1e-9);
        near(ratio(4.0), 2.1 / 4.0, 1e-9);
    }

    #[test]
    fn a_potentiometer_with_resistive_leads_is_its_own_divider() {
        // 1 kΩ track, wiper at 0.3, unloaded, 10 Ω in the ground lead, 20 Ω in the supply lead: one series chain of 1030 Ω.
        let wiper = Branch { share: 0.3, source_ohms: 210.0, input: 1e-15, ..branch(0.3) };
        let mut net = network([wiper, Branch { input: 1e-15, ..branch(0.5) }]);
        (net.sensor_amps, net.sensor_siemens) = (0.0, 1e-3);
        (net.supply_ohms, net.ground_ohms) = (20.0, 10.0);
        near(net.solve().inputs[0], 5.0 * 310.0 / 1030.0, 1e-9);
        // Loaded with 10 kΩ: nodal analysis by hand of the same chain: I through the load leaves at the wiper.
        net.branches[0].input = 1e-4;
        let s = net.solve();
        let current = s.inputs[0] * 1e-4;
        let upper = (5.0 - s.inputs[0]) / 720.0;
        let lower = s.inputs[0] / 310.0;
        near(upper - lower, current, 1e-9);
    }

    #[test]
    fn leaks_pull_towards_where_they_lead() {
        let mut net = network([branch(0.5), branch(0.5)]);
        net.branches.iter_mut().for_each(|b| b.input = 1e-12);
        net.branches[0].leak_ground = 1.0 / 450.0;
        net.branches[1].leak_supply = 1.0 / 450.0;
        let s = net.solve();
        near(s.inputs[0], 2.5 * 450.0 / 500.0, 1e-8);
        near(s.inputs[1], 2.5 + 2.5 * 50.0 / 500.0, 1e-8);
    }
}
