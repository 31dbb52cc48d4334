//! Where a figure's definition comes from, how it is worked out, and where that is written: for whoever wants to check it. It computes nothing.

use crate::quantity::FigureName;

/// Source and algorithm of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Method {
    /// Where its definition is published; "common practice, no source" where it is not.
    pub source: &'static str,
    /// How it is worked out, in a sentence.
    pub algorithm: &'static str,
    /// The file in the program's source that does it.
    pub written_in: &'static str,
}

const fn method(source: &'static str, algorithm: &'static str, written_in: &'static str) -> Method {
    Method { source, algorithm, written_in }
}

/// A definition that no standard gives.
const PRACTICE: &str = "common practice, no source";
/// How both directions become one line.
const AVERAGED: &str = "43 CFR 3175.135 for the average of both directions";
/// What all three conventions of linearity rest on.
const LINEARITY: &str = "potentiometer standard as quoted in makers' handbooks; 43 CFR 3175.135 for the average of both directions";

impl Method {
    /// The method of a figure.
    pub fn of(name: FigureName) -> Self {
        use FigureName as F;
        match name {
            F::ClosedVolts | F::OpenVolts => method(
                PRACTICE,
                "mean of the settled half of every rest at the stop, over all visits but the first; line over supply of the same scan, times 5 V",
                "analysis/ends.rs",
            ),
            F::Span => method(PRACTICE, "open less closed output, magnitude", "analysis/ends.rs"),
            F::LinearityIndependent => method(
                LINEARITY,
                "exact minimax line over the convex hull of the line from stop to stop, vertices between bins; scatter's share by parametric bootstrap \
                 (Efron, Tibshirani 1993)",
                "analysis/linearity.rs",
            ),
            F::LinearityTerminal | F::LinearityZeroBased => method(
                LINEARITY,
                "line through both ends, or through the closed end with the slope that makes the largest deviation smallest; scatter's share by \
                 parametric bootstrap (Efron, Tibshirani 1993)",
                "analysis/linearity.rs",
            ),
            F::CorrelationWorst | F::CorrelationOffset | F::CorrelationSlope => method(
                "difference of both lines from the sheet's line between them, as a controller's plausibility check forms it: common practice, no source",
                "residual on the grid of angles, both directions, smoothed over half a degree; worst by bootstrap, offset as a mean, slope by least squares",
                "analysis/correlation.rs",
            ),
            F::CorrelationMomentary => method(
                "as a controller's plausibility check forms it, scan by scan: common practice, no source",
                "largest residual of any scan, less what noise makes of the largest of so many (normal quantile)",
                "analysis/correlation.rs",
            ),
            F::Hysteresis => method(
                "43 CFR 3175.135: largest difference of ascending and descending output at one input",
                "both directions averaged, means over 2 deg, over the local slope, windows shrunk to their mean (James, Stein 1961)",
                "analysis/hysteresis.rs",
            ),
            F::Repeatability => method(
                AVERAGED,
                "largest spread at one angle among strokes of one direction, what noise alone gives taken off in quadrature",
                "analysis/repeatability.rs",
            ),
            F::DeadBandClosed | F::DeadBandOpen => method(
                "ISA-51.1 (from memory): range of input at a reversal without change of output",
                "hinge of the arriving stroke's straight part and the value at rest",
                "analysis/dead_band.rs",
            ),
            F::Noise => method(
                "von Neumann 1941 for first differences",
                "root mean square of second differences over sqrt 6, trimmed at 5 robust standard deviations",
                "analysis/noise.rs",
            ),
            F::Skew => method(
                PRACTICE,
                "regression of the residual on speed; at one speed, half the difference of up and down strokes",
                "analysis/skew.rs",
            ),
            F::DropoutRate => method(
                "exact Poisson bounds (Garwood 1936)",
                "events beyond 7 standard deviations of the noise and 10 mV, per minute watched",
                "analysis/dropout/",
            ),
            F::LimpTrips | F::PlateTrips => method(
                "the monitor of the sheet, played over the recording: common practice, no source",
                "expected trips over the monitor's unknown phase",
                "analysis/limp.rs",
            ),
            F::ReturnRest | F::ReturnTime | F::ReturnTorque => method(
                PRACTICE,
                "releases by the rig, by the reference's angle; torque by half sum and half difference of the drive's currents",
                "analysis/self_closing/, analysis/body/release.rs",
            ),
            F::RestPosition | F::RestRepeatability | F::ClosedStop | F::OpenStop => method(
                PRACTICE,
                "medians of where the plate stands at its ends and without power, from above and from below",
                "analysis/body/rest.rs",
            ),
            F::LatencyP50 | F::LatencyP90 | F::LatencyP99 | F::LatencyMax => method(
                "order statistics for quantiles; change point of a known shape (Hinkley 1969)",
                "least squares of the current's double integral gives the first motion of every step",
                "analysis/body/latency.rs, analysis/body/onset.rs",
            ),
            F::RiseTime | F::Overshoot | F::Settling | F::TrackingError => method(
                PRACTICE,
                "closed-loop steps and ramps under the rig's loop",
                "analysis/body/latency.rs, analysis/body/tracking.rs",
            ),
            F::Lash | F::LashByPush => method(
                PRACTICE,
                "rotor's travel by its EMF less the plate's, by swing and by coast arrest; or by a probe through the bore",
                "analysis/body/lash.rs, analysis/body/guided_push.rs",
            ),
            F::LostMotion => method(
                "matched filter on whitened data (Kay 1998, 4.4)",
                "rotor's angle less the plate's along the travel, averaged over strokes",
                "analysis/body/tooth_map.rs",
            ),
            F::PreloadMain
            | F::PreloadDefault
            | F::StiffnessMain
            | F::Friction
            | F::Sticking
            | F::ReturnMargin => method(
                "hysteresis of a slow ramp (Isermann 2017, 7.1.2)",
                "half the sum of the currents up and down is the spring, half their difference the friction, place by place",
                "analysis/body/creep.rs",
            ),
            F::WindingResistance | F::BackEmfConstant => method(
                "motor's voltage equation (Isermann 2017, 7.1.2)",
                "least squares over slow ramps; the EMF's integral over a coast",
                "analysis/body/motor.rs",
            ),
            F::FollowLatencyP50 | F::FollowLatencyP95 | F::FollowLag | F::FollowDeviation => method(
                PRACTICE,
                "half-way to half-way of steps; regression of ramps on speed",
                "analysis/follow/",
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_files_named_are_there() {
        let source = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        for name in FigureName::ALL {
            let method = Method::of(name);
            assert!(!method.source.is_empty() && !method.algorithm.is_empty());
            for file in method.written_in.split(", ") {
                assert!(source.join(file).exists(), "{}: {file}", name.name());
            }
        }
    }
}
