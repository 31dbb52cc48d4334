//! How long contact was lost, and how well that is known.
//!
//! - A line behind an RC filter keeps the area of what it misses: length = area over depth, for a fall and a rise through the same filter. The
//!   depth is what the excursion settles at; where it had no time to settle, a full open.
//! - Where supply or ground of the part was lost, both lines stay away for longer than the contact: a sensor that lost its power runs down
//!   from its decoupling capacitor and starts again afterwards, a bare track does neither. Nothing in the recording shows which it is, so
//!   the contact was lost for the lines' time less 0 to 1 ms (power-on time of linear Hall sensors: 0.1 to 1 ms, from memory; engineering
//!   assumption): the middle is given, rectangular (GUM F.2.3.3).
//! - A supply that drops itself is timed on its own volts: lines and supply fall and rise through different filters, and a ratio of both
//!   has neither's shape (`supply_lost`).

use super::Wire;
use super::detect::Excursion;
use crate::analysis::prepared::Prepared;

/// An excursion whose middle is this share of its peak is flat on top: it was not smeared by a filter.
const FLAT_TOP: f64 = 0.8;
/// Standard uncertainty of an event's length: a share of it and a share of the scan period, at most so many scan periods. An opening shorter
/// than a period leaves one sample on a line that its cable still holds up, so length and depth can hardly be distinguished. Set on simulated
/// openings of 40 to 900 µs, to ground and floating, at 200 µs.
const LENGTH_U: (f64, f64, f64) = (0.3, 0.07, 0.29);
/// Longest time by which a sensor's output comes back later than its power, µs.
const RESTART_US: f64 = 1000.0;
/// Half-width of a rectangular distribution over its standard deviation.
const ROOT_3: f64 = 1.732_050_8;

/// A length with its standard uncertainty, µs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Length {
    pub us: f64,
    pub u_us: f64,
}

/// Of an excursion of one line, or of what both say together.
pub(super) fn of_lines(
    prepared: &Prepared<'_>,
    e: &Excursion,
    wire: Wire,
    full_scale: f64,
    filter_us: f64,
) -> Length {
    let scale = if is_flat(e) {
        e.plateau
    } else if filter_us > 0.0 {
        // Behind a filter a short event is smeared: its area stays, and a full open is what most short events are.
        full_scale.max(e.peak.abs())
    } else {
        e.peak.abs()
    };
    // A long event may see motion, and its ends matter little: its scans are counted, without the tails.
    let scans = if e.samples.len() >= 16 { e.wide as f64 } else { e.area / scale.max(1e-9) };
    let of_output = Length {
        us: scans * prepared.period_us,
        u_us: of_one_line(scans * prepared.period_us, prepared.period_us),
    };
    if matches!(wire, Wire::Common | Wire::Supply) && e.deep { without_restart(of_output) } else { of_output }
}

/// Whether an excursion has settled at its depth.
pub(super) fn is_flat(e: &Excursion) -> bool {
    e.samples.len() >= 4 && e.plateau >= FLAT_TOP * e.peak.abs()
}

/// Standard uncertainty of a length reported on one line, µs.
pub(super) fn of_one_line(length_us: f64, period_us: f64) -> f64 {
    let (share, of_period, most) = LENGTH_U;
    (share * length_us + of_period * period_us).min(most * period_us)
}

/// Of the contact, from how long the output of a sensor without power was lost.
fn without_restart(of_output: Length) -> Length {
    let half = 0.5 * RESTART_US.min(of_output.us);
    Length { us: of_output.us - half, u_us: of_output.u_us.hypot(half / ROOT_3) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_sensor_may_need_to_start_again_is_taken_off_by_half_and_is_uncertain_by_the_rest() {
        let long = without_restart(Length { us: 5300.0, u_us: 58.0 });
        // 5.0 ms without power and 0.3 ms to start: within two standard uncertainties, and so is none at all.
        assert!((long.us - 5000.0).abs() < 2.0 * long.u_us && (long.us - 5300.0).abs() < 2.0 * long.u_us);
        let short = without_restart(Length { us: 40.0, u_us: 5.0 });
        assert!(short.us == 20.0 && short.us + 2.0 * short.u_us >= 40.0);
    }
}
