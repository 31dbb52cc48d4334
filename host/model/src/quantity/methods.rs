//! Where the definitions of figures come from, how they are worked out, and in which file: for whoever wants to check them.

/// Source and algorithm of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Method {
    /// Where its definition is published; "common practice, no source" where it is not.
    pub source: &'static str,
    /// How it is worked out, in a sentence.
    pub algorithm: &'static str,
    /// The file in the analysis's source that does it.
    pub written_in: &'static str,
}

const fn method(source: &'static str, algorithm: &'static str, written_in: &'static str) -> Method {
    Method { source, algorithm, written_in }
}

/// A definition that no standard gives.
const PRACTICE: &str = "common practice, no source";
/// What all three conventions of linearity rest on.
const LINEARITY: &str = "potentiometer standard as quoted in makers' handbooks; 43 CFR 3175.135 for the average of both directions";

pub(super) const ENDS: Method = method(
    PRACTICE,
    "mean of the settled half of every rest at the stop, over all visits but the first; line over supply of the same scan, times 5 V",
    "analysis/ends.rs",
);
pub(super) const SPAN: Method = method(PRACTICE, "open less closed output, magnitude", "analysis/ends.rs");
pub(super) const LINEARITY_INDEPENDENT: Method = method(
    LINEARITY,
    "exact minimax line over the convex hull of the line from stop to stop, vertices between bins; scatter's share by parametric bootstrap (Efron, Tibshirani 1993)",
    "analysis/linearity.rs",
);
pub(super) const LINEARITY_OF_ENDS: Method = method(
    LINEARITY,
    "line through both ends, or through the closed end with the slope that makes the largest deviation smallest; scatter's share by parametric bootstrap (Efron, Tibshirani 1993)",
    "analysis/linearity.rs",
);
pub(super) const CORRELATION: Method = method(
    "difference of both lines from the sheet's line between them, as a controller's plausibility check forms it: common practice, no source",
    "residual on the grid of angles, both directions, smoothed over half a degree; worst by bootstrap, offset as a mean, slope by least squares",
    "analysis/correlation.rs",
);
pub(super) const CORRELATION_OF_SCANS: Method = method(
    "as a controller's plausibility check forms it, scan by scan: common practice, no source",
    "largest residual of any scan, less what noise makes of the largest of so many (normal quantile)",
    "analysis/correlation.rs",
);
pub(super) const HYSTERESIS: Method = method(
    "43 CFR 3175.135: largest difference of ascending and descending output at one input",
    "both directions averaged, means over 2 deg, over the local slope, windows shrunk to their mean (James, Stein 1961)",
    "analysis/hysteresis.rs",
);
pub(super) const REPEATABILITY: Method = method(
    "43 CFR 3175.135 for the average of both directions",
    "largest spread at one angle among strokes of one direction, what noise alone gives taken off in quadrature",
    "analysis/repeatability.rs",
);
pub(super) const DEAD_BAND: Method = method(
    "ISA-51.1 (from memory): range of input at a reversal without change of output",
    "hinge of the arriving stroke's straight part and the value at rest",
    "analysis/dead_band.rs",
);
pub(super) const NOISE: Method = method(
    "von Neumann 1941 for first differences",
    "root mean square of second differences over sqrt 6, trimmed at 5 robust standard deviations",
    "analysis/noise.rs",
);
pub(super) const SKEW: Method = method(
    PRACTICE,
    "regression of the residual on speed; at one speed, half the difference of up and down strokes",
    "analysis/skew.rs",
);
pub(super) const DROPOUTS: Method = method(
    "exact Poisson bounds (Garwood 1936)",
    "events beyond 7 standard deviations of the noise and 10 mV, per minute watched",
    "analysis/dropout/",
);
pub(super) const TRIPS: Method = method(
    "the monitor of the sheet, played over the recording: common practice, no source",
    "expected trips over the monitor's unknown phase",
    "analysis/limp.rs",
);
pub(super) const RELEASES: Method = method(
    PRACTICE,
    "releases by the rig, by the reference's angle; torque by half sum and half difference of the drive's currents",
    "analysis/self_closing/, analysis/body/release.rs",
);
pub(super) const RESTS: Method = method(
    PRACTICE,
    "medians of where the plate stands at its ends and without power, from above and from below",
    "analysis/body/rest.rs",
);
pub(super) const ONSETS: Method = method(
    "order statistics for quantiles; change point of a known shape (Hinkley 1969)",
    "least squares of the current's double integral gives the first motion of every step",
    "analysis/body/latency.rs, analysis/body/onset.rs",
);
pub(super) const STEPS: Method = method(
    PRACTICE,
    "closed-loop steps and ramps under the rig's loop",
    "analysis/body/latency.rs, analysis/body/tracking.rs",
);
pub(super) const LASH: Method = method(
    PRACTICE,
    "rotor's travel by its EMF less the plate's, by swing and by coast arrest; or by a probe through the bore",
    "analysis/body/lash.rs, analysis/body/guided_push.rs",
);
pub(super) const TOOTH_MAP: Method = method(
    "matched filter on whitened data (Kay 1998, 4.4)",
    "rotor's angle less the plate's along the travel, averaged over strokes",
    "analysis/body/tooth_map.rs",
);
pub(super) const RAMPS: Method = method(
    "hysteresis of a slow ramp (Isermann 2017, 7.1.2)",
    "half the sum of the currents up and down is the spring, half their difference the friction, place by place",
    "analysis/body/creep.rs",
);
pub(super) const MOTOR: Method = method(
    "motor's voltage equation (Isermann 2017, 7.1.2)",
    "least squares over slow ramps; the EMF's integral over a coast",
    "analysis/body/motor.rs",
);
pub(super) const FOLLOWING: Method =
    method(PRACTICE, "half-way to half-way of steps; regression of ramps on speed", "analysis/follow/");
