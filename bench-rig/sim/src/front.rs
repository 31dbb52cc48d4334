//! The rig's input: cable capacitance and RC filter, integrated exactly over every stretch between contact edges.
//!
//! While a signal lead has contact, the input node follows the network (its source resistance on the cable's capacitance takes less
//! than a microsecond). Without contact the node decays with the cable's capacitance through the rig's own resistance. The filter
//! (time constant `tau`) sees a straight line or an exponential; both have closed forms:
//! `y' = (u − y)/τ`, `u = a + b t` → `y = a + b (t − τ) + (y0 − a + b τ) e^(−t/τ)`;
//! `u = L + A e^(−t/σ)` → `y = L + A k e^(−t/σ) + (y0 − L − A k) e^(−t/τ)`, `k = σ/(σ − τ)`.

use std::sync::LazyLock;

use crate::dropout::Outage;
use crate::fault::{Lead, Towards};

/// Length of a slice, µs: also the update period of a Hall sensor's output.
pub const SLICE_US: f64 = 100.0;

/// One input's filter and node at an instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Input {
    /// Filtered volts.
    pub filtered: f64,
    /// Volts of the node before the filter.
    pub node: f64,
}

/// What drives an input during a slice of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slice {
    /// Start, µs.
    pub from_us: f64,
    /// Network voltage at the start, V …
    pub from_volts: f64,
    /// … and its rise, V/µs; 0 for a held output.
    pub volts_per_us: f64,
    /// Filter time constant, µs.
    pub filter_us: f64,
    /// Decay of an open node, µs.
    pub open_us: f64,
    /// Rig supply, V.
    pub supply_volts: f64,
    /// Decay of a sensor that has lost its supply, µs.
    pub starve_us: f64,
}

/// Where the node goes without contact, and how fast.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Fall {
    level: f64,
    tau_us: f64,
}

/// A short is not instant: lead inductance and contact; µs.
const SHORT_US: f64 = 0.05;

impl Slice {
    /// State of input `channel` at `to_us`, given its state at the slice's start.
    pub fn advance(&self, channel: usize, start: Input, to_us: f64, outages: &[Outage]) -> Input {
        let touched = |o: &Outage| touches(o.lead, channel) && o.start_us < to_us && o.end_us > self.from_us;
        if !outages.iter().any(touched) {
            return self.follow(start, self.from_us, to_us);
        }
        let mut state = start;
        let mut now = self.from_us;
        while now < to_us {
            let open =
                outages.iter().filter(|o| touches(o.lead, channel) && o.start_us <= now && o.end_us > now);
            // The hardest hold wins: a short over an open lead.
            let fall = open.map(|o| self.fall(o)).min_by(|a, b| a.tau_us.total_cmp(&b.tau_us));
            let edges =
                outages.iter().filter(|o| touches(o.lead, channel)).flat_map(|o| [o.start_us, o.end_us]);
            let next = edges.filter(|&e| e > now).fold(to_us, f64::min);
            state = match fall {
                Some(fall) => self.decay(state, fall, next - now),
                None => self.follow(state, now, next),
            };
            now = next;
        }
        state
    }

    #[inline]
    fn follow(&self, state: Input, from_us: f64, to_us: f64) -> Input {
        let (t, tau, b) = (to_us - from_us, self.filter_us, self.volts_per_us);
        let a = self.from_volts + b * (from_us - self.from_us);
        let filtered = a + b * (t - tau) + (state.filtered - a + b * tau) * left(t / tau);
        Input { filtered, node: a + b * t }
    }

    fn decay(&self, state: Input, fall: Fall, t: f64) -> Input {
        let (level, tau) = (fall.level, self.filter_us);
        let above = state.node - level;
        // The closed form is singular at σ = τ; a part in 10⁴ beside it changes nothing that can be measured.
        let sigma = if (fall.tau_us / tau - 1.0).abs() < 1e-4 { tau * 1.0001 } else { fall.tau_us };
        let k = sigma / (sigma - tau);
        let (slow, own) = ((-t / sigma).exp(), (-t / tau).exp());
        let filtered = level + above * k * slow + (state.filtered - level - above * k) * own;
        Input { filtered, node: level + above * slow }
    }

    fn fall(&self, outage: &Outage) -> Fall {
        match (outage.lead, outage.towards) {
            (Lead::Supply, _) => Fall { level: 0.0, tau_us: self.starve_us },
            (Lead::Ground, _) => Fall { level: self.supply_volts, tau_us: self.starve_us },
            (_, Towards::Open) => Fall { level: 0.0, tau_us: self.open_us },
            (_, Towards::Ground) => Fall { level: 0.0, tau_us: SHORT_US },
            (_, Towards::Supply) => Fall { level: self.supply_volts, tau_us: SHORT_US },
        }
    }
}

/// Points of the table below to a unit; it ends at 4.
const PER_UNIT: f64 = 64.0;

static LEFT: LazyLock<[f64; 256]> = LazyLock::new(|| std::array::from_fn(|i| (-(i as f64) / PER_UNIT).exp()));

/// `exp(−x)` for x ≥ 0, within 1e-13 of it: from the nearest point below in a table up to 4, by the exponential's series.
#[inline]
fn left(x: f64) -> f64 {
    if x >= 4.0 {
        return (-x).exp();
    }
    let i = (x * PER_UNIT) as usize;
    let r = x - i as f64 * (1.0 / PER_UNIT);
    let series = 1.0 - r * (1.0 - r * (1.0 / 2.0 - r * (1.0 / 6.0 - r * (1.0 / 24.0 - r * (1.0 / 120.0)))));
    LEFT[i & 255] * series
}

fn touches(lead: Lead, channel: usize) -> bool {
    match lead {
        Lead::Rising => channel == 0,
        Lead::Falling => channel == 1,
        Lead::Both | Lead::Supply | Lead::Ground => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLICE: Slice = Slice {
        from_us: 0.0,
        from_volts: 2.5,
        volts_per_us: 0.0,
        filter_us: 100.0,
        open_us: 150.0,
        supply_volts: 5.0,
        starve_us: 50.0,
    };
    const SETTLED: Input = Input { filtered: 2.5, node: 2.5 };

    fn outage(towards: Towards, start_us: f64, end_us: f64) -> Outage {
        Outage { lead: Lead::Rising, towards, start_us, end_us }
    }

    #[track_caller]
    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got} is not {want} ± {within}");
    }

    #[test]
    fn a_short_of_a_few_microseconds_leaves_the_closed_form_of_an_rc() {
        let outages = [outage(Towards::Ground, 20.0, 25.0)];
        let y = SLICE.advance(0, SETTLED, 60.0, &outages).filtered;
        // 2.5 V · (1 − (1 − e^(−5/100)) e^(−35/100)), with the short's own 0.05 µs as a delay of its start.
        let ideal = 2.5 * (1.0 - (1.0 - (-4.95_f64 / 100.0).exp()) * (-35.0_f64 / 100.0).exp());
        near(y, ideal, 2e-6);
        // The other channel does not notice.
        near(SLICE.advance(1, SETTLED, 60.0, &outages).filtered, 2.5, 0.0);
    }

    #[test]
    fn an_open_lead_decays_as_two_time_constants() {
        let outages = [outage(Towards::Open, 10.0, 60.0)];
        let y = SLICE.advance(0, SETTLED, 60.0, &outages);
        near(y.node, 2.5 * (-50.0_f64 / 150.0).exp(), 1e-12);
        // Fine Euler integration of the same two equations as an independent reading.
        let (mut u, mut f, h) = (2.5, 2.5, 1e-4);
        for _ in 0..500_000 {
            f += h * (u - f) / 100.0;
            u -= h * u / 150.0;
        }
        near(y.filtered, f, 1e-6);
    }

    #[test]
    fn cutting_a_slice_anywhere_changes_nothing() {
        let outages = [outage(Towards::Open, 13.0, 47.0), outage(Towards::Ground, 40.0, 52.0)];
        let ramp = Slice { volts_per_us: 1e-4, ..SLICE };
        let whole = ramp.advance(0, SETTLED, 100.0, &outages);
        for cut in [5.0, 13.0, 30.0, 45.0, 60.0] {
            let first = ramp.advance(0, SETTLED, cut, &outages);
            let rest = Slice { from_us: cut, from_volts: 2.5 + 1e-4 * cut, ..ramp };
            let both = rest.advance(0, first, 100.0, &outages);
            near(both.filtered, whole.filtered, 1e-12);
            near(both.node, whole.node, 1e-12);
        }
    }

    #[test]
    fn what_is_left_of_a_decay_is_the_exponential() {
        for i in 0..100_000 {
            let x = 6e-5 * f64::from(i);
            near(left(x) * x.exp(), 1.0, 1e-13);
        }
    }

    #[test]
    fn a_ramp_lags_by_the_filter_time() {
        let ramp = Slice { volts_per_us: 1e-4, ..SLICE };
        let y = ramp.advance(0, SETTLED, 5000.0, &[]).filtered;
        near(y, 2.5 + 1e-4 * (5000.0 - 100.0), 1e-12);
    }
}
