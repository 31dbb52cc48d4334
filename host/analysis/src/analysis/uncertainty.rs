//! What is known of the rig's channels, and what scatter does to a figure that is a maximum. It computes no figure itself.
//!
//! - Scatter: the figure is computed again on curves with fresh noise of the estimated size (parametric bootstrap: Efron,
//!   Tibshirani, An Introduction to the Bootstrap, 1993, ch. 10). The mean of those over the figure is its bias, which is
//!   taken off; its size and the spread go into the uncertainty, since the bias is itself known from a noisy curve only.
//! - Calibration (GUM 5.1): gains and offsets of line and supply are taken as independent; what cancels in a ratio or a
//!   difference is left out where the figure is formed.
//! - The loom: what a wire and its contact drop is known only as far as the sensed return shows; the supply's wire is taken to
//!   drop the same. What is not known of either counts, independently of each other.
//! - The rig's input, or another logger's, takes a current from the sensor's source resistance R (WIRE.md: at least 1 MΩ), so a line reads low by up to
//!   `ratio·R/1 MΩ`. It is not corrected: a rectangular distribution of that half-width counts (GUM F.2.4.5). R is
//!   what a load step measured, else [`UNKNOWN_SOURCE_OHM`].
//! - Resolution q: q/√12 (GUM F.2.2.1), divided by √(steps that a smoothing window spans).

use super::budget::{Budget, Source};
use super::prepared::{Prepared, SupplySource};
use super::statistics::{self, Resampler};
use super::{leads, line, supply};
use crate::quantity::Channel;

/// Least input resistance of a rig, Ω (protocol/WIRE.md); of other loggers: common practice, no source.
pub const INPUT_OHM: f64 = 1e6;
/// Source resistance of a line that no load step has measured, Ω: a 2 kΩ track at its middle and its wiper. Engineering assumption.
pub const UNKNOWN_SOURCE_OHM: f64 = 600.0;
/// How far the supply's wire may differ from the return's, relative standard uncertainty. Engineering assumption.
const WIRES_ALIKE: f64 = 0.1;
/// What is not known of a mated contact, Ω: ±10 mΩ, rectangular.
const CONTACT_OHM: f64 = supply::CONTACT_OHM / 1.732_050_8;
/// Supply current where it was not recorded, amperes. Engineering assumption.
const UNKNOWN_AMPS: f64 = 0.01;
/// Resistance of a loom's wire where the return was not sensed, Ω: 2 m of 0.34 mm² (IEC 60228: at most 53 mΩ/m), rectangular.
const UNKNOWN_WIRE_OHM: f64 = 2.0 * 0.053 / 1.732_050_8;
/// A stated supply is believed to within this share of it: common practice, no source.
const STATED_SUPPLY: f64 = 0.01;
/// A supply column with no more values than this is coarser than what it measures.
const FEW_VALUES: usize = 4;
/// Repeats of a bootstrap.
const REPEATS: usize = 64;

/// Standard uncertainties of one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ChannelUncertainty {
    /// Relative, of the gain.
    pub gain: f64,
    /// In the channel's unit, of the offset; for the reference the amplitude of its eccentricity, degrees.
    pub offset: f64,
    /// Smallest step in the channel's unit, as stated, else as the data show; 0 = none.
    pub resolution: f64,
    /// Whether a calibration is stated.
    pub calibrated: bool,
}

/// What is known of the channels that figures use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// First and second line, volts.
    pub line: [ChannelUncertainty; 2],
    /// Relative standard uncertainty of the supply.
    pub supply: f64,
    /// Mean supply, volts.
    pub supply_volts: f64,
    /// The reference, degrees.
    pub reference: ChannelUncertainty,
    /// Standard uncertainty of what the supply wire and the return wire still drop, volts.
    pub wire: [f64; 2],
    /// Largest source resistance of each line, Ω.
    pub source_ohm: [f64; 2],
    /// Whether the lines may be a resistive track, whose source resistance changes along the travel.
    pub track: bool,
}

impl Calibration {
    /// From the provenance, or from the data's own steps where that says nothing; and from a leads check, if done.
    pub fn of(prepared: &Prepared<'_>, leads: Option<&leads::Report>) -> Self {
        let supply = match prepared.supply_source {
            SupplySource::Measured => {
                let c = channel(prepared, Channel::Supply);
                let step = c.resolution.max(steps_of_supply(prepared)) / 12.0f64.sqrt();
                c.gain.hypot(c.offset.hypot(step) / prepared.supply_volts)
            }
            // A nominal supply is believed to within ±5 %: common practice, no source.
            SupplySource::Stated(_) => STATED_SUPPLY / 3.0f64.sqrt(),
            SupplySource::Nominal(_) => 0.05 / 3.0f64.sqrt(),
        };
        let on_rig = prepared.trace.provenance.rig.is_some();
        let track = leads.is_none_or(|l| l.current != leads::SupplyCurrent::Constant);
        let source_ohm = [0, 1].map(|line| {
            let measured = leads.and_then(|l| l.source_ohm[line].zip(l.loadless_ratio[line]));
            let largest = measured.map(|(ohm, ratio)| {
                let f = ratio.value.clamp(0.05, 0.95);
                // A divider's source is largest at half ratio, as f·(1 − f).
                let middle = if track { 0.25 / (f * (1.0 - f)) } else { 1.0 };
                middle * (ohm.value.max(0.0) + 2.0 * ohm.standard_uncertainty)
            });
            largest.unwrap_or(UNKNOWN_SOURCE_OHM)
        });
        Self {
            line: Channel::SENSORS.map(|c| channel(prepared, c)),
            supply,
            supply_volts: prepared.supply_volts,
            reference: channel(prepared, Channel::Reference),
            wire: if on_rig { wires(prepared) } else { [0.0; 2] },
            source_ohm,
            track,
        }
    }

    /// Standard uncertainty of a ratio of a line at rest.
    pub fn ratio(&self, line: usize, ratio: f64) -> Budget {
        let c = self.line[line];
        let volts = self.supply_volts;
        Budget::of(Source::Gain, ratio * c.gain)
            .with(Source::Supply, ratio * self.supply)
            .with(Source::Offset, c.offset / volts)
            .with(Source::Steps, c.resolution / 12.0f64.sqrt() / volts)
            .with(Source::Loom, ratio * self.wire[0] / volts)
            .with(Source::Loom, (1.0 - ratio) * self.wire[1] / volts)
            .with(Source::Loading, self.most_loaded(line, ratio) / 3.0f64.sqrt())
    }

    /// Standard uncertainty of the difference of two ratios of one line: offsets cancel. A track is drawn down where its source
    /// is large and not where it is small, so there the larger ratio counts whole.
    pub fn difference(&self, line: usize, (a, b): (f64, f64)) -> Budget {
        let difference = (a - b).abs();
        let c = self.line[line];
        let most = self.most_loaded(line, if self.track { a.max(b) } else { difference });
        Budget::of(Source::Gain, difference * c.gain)
            .with(Source::Supply, difference * self.supply)
            .with(Source::Steps, c.resolution / 6.0f64.sqrt() / self.supply_volts)
            .with(Source::Loom, difference * self.wire[0].hypot(self.wire[1]) / self.supply_volts)
            .with(Source::Loading, most / 3.0f64.sqrt())
    }

    /// The most by which the rig's input draws a line at a ratio down, ratio.
    pub fn most_loaded(&self, line: usize, ratio: f64) -> f64 {
        ratio.abs() * self.source_ohm[line] / INPUT_OHM
    }

    /// What the rig's input bends a track's line by, as a ratio: independent, terminal, zero-based. 0 for an active output.
    pub fn loading_bend(&self, line: usize) -> [f64; 3] {
        let share = if self.track { self.source_ohm[line] / INPUT_OHM / 3.0f64.sqrt() } else { 0.0 };
        LOADING_BEND.map(|bend| bend * share)
    }

    /// Resolution of a smoothed curve of a line, as a ratio: converter's step and reference's step.
    pub fn smoothed_step(&self, line: usize, slope: f64, window_deg: f64) -> f64 {
        let step = |q: f64, across: f64| {
            if q > 0.0 { q / 12.0f64.sqrt() / (across / q).max(1.0).sqrt() } else { 0.0 }
        };
        let volts = slope.abs() * window_deg * self.supply_volts;
        let line = step(self.line[line].resolution, volts) / self.supply_volts;
        line.hypot(step(self.reference.resolution, window_deg) * slope.abs())
    }
}

/// Largest deviations of `f·4f(1 − f)`, how a divider's source resistance draws its own reading down, for f from 0.1 to 0.9, from
/// the independent, the terminal and the zero-based line: a test computes them.
const LOADING_BEND: [f64; 3] = [0.1805, 0.3611, 0.2230];

/// Step of a supply column that shows no more than a few values, volts: what it shows is then no noise that steps could average over. One that
/// never changes is believed as far as a stated one.
fn steps_of_supply(prepared: &Prepared<'_>) -> f64 {
    let Some(column) = prepared.trace.channel(Channel::Supply) else { return 0.0 };
    let mut seen: Vec<f32> = Vec::with_capacity(FEW_VALUES + 1);
    for v in column.iter().filter(|v| v.is_finite()) {
        if !seen.contains(v) {
            seen.push(*v);
            if seen.len() > FEW_VALUES {
                return 0.0;
            }
        }
    }
    seen.sort_unstable_by(f32::total_cmp);
    let least = seen.windows(2).map(|w| f64::from(w[1]) - f64::from(w[0])).fold(f64::INFINITY, f64::min);
    if least.is_finite() { least } else { 2.0 * STATED_SUPPLY * prepared.supply_volts }
}

/// What is not known of the supply wire's and of the return wire's drop, volts.
fn wires(prepared: &Prepared<'_>) -> [f64; 2] {
    let amps = prepared
        .trace
        .channel(Channel::SupplyAmps)
        .and_then(supply::finite_mean)
        .map_or(UNKNOWN_AMPS, f64::abs);
    let contact = CONTACT_OHM * amps;
    match prepared.loom_volts {
        Some(drop) => {
            let c = channel(prepared, Channel::Ground);
            let meter = c.offset.hypot(drop * c.gain).hypot(c.resolution / 12.0f64.sqrt());
            [meter.hypot(drop * WIRES_ALIKE).hypot(contact), meter.hypot(contact)]
        }
        None => [contact.hypot(UNKNOWN_WIRE_OHM * amps); 2],
    }
}

fn channel(prepared: &Prepared<'_>, channel: Channel) -> ChannelUncertainty {
    let stated = prepared.trace.provenance.channel(channel);
    let resolution = stated.map(|c| c.resolution).filter(|q| *q > 0.0);
    let guessed = || prepared.trace.channel(channel).map_or(0.0, statistics::quantum);
    ChannelUncertainty {
        gain: stated.map_or(0.0, |c| c.gain_uncertainty),
        offset: stated.map_or(0.0, |c| c.offset_uncertainty),
        resolution: resolution.unwrap_or_else(guessed),
        calibrated: stated.is_some_and(|c| c.gain_uncertainty > 0.0 || c.offset_uncertainty > 0.0),
    }
}

/// A figure that scatter has been taken out of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corrected {
    /// Value less its bias, ≥ 0.
    pub value: f64,
    /// Standard uncertainty of scatter.
    pub scatter: f64,
    /// The bias that was taken off: it is itself known from a noisy curve only.
    pub bias: f64,
}

impl Corrected {
    /// Scatter, and what was taken off.
    pub fn budget(&self) -> Budget {
        Budget::of(Source::Scatter, self.scatter).with(Source::Bias, self.bias)
    }
}

/// Computes N figures ≥ 0 of a curve, and what its standard errors do to them. None when `figures` gives none.
pub fn bootstrap<const N: usize>(
    curve: &[f64],
    error: &[f64],
    seed: u64,
    figures: impl Fn(&[f64]) -> Option<[f64; N]>,
) -> Option<[Corrected; N]> {
    bootstrap_about(curve, curve, error, seed, figures)
}

/// Same, with fresh noise about another curve, a smoother one: what is noise in the curve itself is not taken for its shape.
///
/// Noise comes in pairs of opposite sign (antithetic variates: Hammersley, Morton, Proc. Camb. Phil. Soc. 52, 1956, 449), so that what a figure
/// follows of it in proportion cancels in the mean and leaves the bias alone.
pub fn bootstrap_about<const N: usize>(
    curve: &[f64],
    about: &[f64],
    error: &[f64],
    seed: u64,
    figures: impl Fn(&[f64]) -> Option<[f64; N]>,
) -> Option<[Corrected; N]> {
    let (plain, without) = (figures(curve)?, figures(about)?);
    let mut random = Resampler::new(seed);
    let mut noisy = about.to_vec();
    let mut noise = vec![0.0; about.len()];
    let mut repeats: Vec<[f64; N]> = Vec::with_capacity(REPEATS);
    for _ in 0..REPEATS / 2 {
        for (v, error) in noise.iter_mut().zip(error) {
            *v = if error.is_finite() { error * random.normal() } else { 0.0 };
        }
        for sign in [1.0, -1.0] {
            for ((out, about), noise) in noisy.iter_mut().zip(about).zip(&noise) {
                *out = about + sign * noise;
            }
            repeats.extend(figures(&noisy));
        }
    }
    Some(std::array::from_fn(|i| {
        let values: Vec<f64> = repeats.iter().map(|r| r[i]).collect();
        let bias = statistics::mean(&values).map_or(0.0, |m| m - without[i]);
        let spread = statistics::standard_deviation(&values).unwrap_or(0.0);
        Corrected { value: (plain[i] - bias).max(0.0), scatter: spread, bias }
    }))
}

/// What a reference error of `sin(θ + φ)` degrees does to independent, terminal and zero-based linearity over a travel:
/// root mean square over φ of the largest deviation, degrees per degree of amplitude.
pub fn eccentricity_gain(travel_deg: f64) -> [f64; 3] {
    const PHASES: usize = 36;
    let mut squares = [0.0; 3];
    for phase in 0..PHASES {
        let phi = std::f64::consts::TAU * phase as f64 / PHASES as f64;
        let points: Vec<(f64, f64)> = (0..=100)
            .map(|i| travel_deg * f64::from(i) / 100.0)
            .map(|x| (x, (x.to_radians() + phi).sin()))
            .collect();
        let (first, last) = (points[0], points[100]);
        let lines =
            [line::minimax(&points), line::terminal(&points, first, last), line::zero_based(&points, first)];
        for (sum, found) in squares.iter_mut().zip(lines) {
            *sum += found.map_or(0.0, |l| l.deviation * l.deviation) / PHASES as f64;
        }
    }
    squares.map(f64::sqrt)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_eccentricity_gain_of_the_terminal_line_agrees_with_its_closed_form_at_small_travel() {
        // Chord of sin(θ + φ) over a small travel T: sagitta T²/8·|sin|, rms over φ T²/8/√2; independent is half of it.
        let travel = 10.0f64;
        let sagitta = travel.to_radians().powi(2) / 8.0 / 2.0f64.sqrt();
        let [independent, terminal, zero] = eccentricity_gain(travel);
        assert!((terminal / sagitta - 1.0).abs() < 0.02, "{terminal} {sagitta}");
        assert!((independent / (0.5 * sagitta) - 1.0).abs() < 0.02, "{independent}");
        assert!(independent < zero && zero < terminal);
    }

    #[test]
    fn what_an_input_bends_a_track_by_is_as_computed() {
        let drawn = |f: f64| 4.0 * f * f * (1.0 - f);
        let points: Vec<(f64, f64)> =
            (0..=800).map(|i| 0.1 + f64::from(i) / 1000.0).map(|f| (f, drawn(f))).collect();
        let lines = [
            line::minimax(&points),
            line::terminal(&points, points[0], points[800]),
            line::zero_based(&points, points[0]),
        ];
        let found = lines.map(|l| l.unwrap().deviation);
        for (found, stated) in found.iter().zip(LOADING_BEND) {
            assert!((found - stated).abs() < 0.001, "{found:.4} {stated}");
        }
    }

    #[test]
    fn the_bootstrap_takes_the_bias_of_a_maximum_off() {
        // A flat curve at 1 with noise 0.01: the largest of 100 lies about 2.5 sd above; half or more must go.
        let mut random = Resampler::new(7);
        let curve: Vec<f64> = (0..100).map(|_| 1.0 + 0.01 * random.normal()).collect();
        let worst = |y: &[f64]| Some([y.iter().fold(0.0f64, |a, v| a.max(v.abs()))]);
        let plain = worst(&curve).unwrap()[0];
        let [corrected] = bootstrap(&curve, &[0.01; 100], 1, worst).unwrap();
        assert!(plain > 1.015 && corrected.value < plain - 0.005, "{plain} {corrected:?}");
        assert!((corrected.value - 1.0).abs() < 2.0 * corrected.budget().total(), "{corrected:?}");
    }

    #[test]
    fn without_scatter_the_bootstrap_changes_nothing() {
        let [corrected] = bootstrap(&[1.0, 2.0], &[0.0, f64::NAN], 1, |y| Some([y[1]])).unwrap();
        assert_eq!(corrected, Corrected { value: 2.0, scatter: 0.0, bias: 0.0 });
    }
}
