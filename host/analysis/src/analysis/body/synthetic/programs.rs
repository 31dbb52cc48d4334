//! The procedures as lists of stimuli, for tests alone.

use crate::trace::Stimulus::{self, Brake, Hold, Release, Step, Volts, VoltsRamp};

fn ramp(to_deg: f64, speed_deg_s: f64) -> Stimulus {
    Stimulus::Ramp { to_deg, speed_deg_s, accel_deg_s2: 5000.0 }
}

fn repeated(times: usize, of: &[Stimulus]) -> Vec<Stimulus> {
    of.repeat(times)
}

/// Rest position, both stops.
pub fn rest() -> Vec<Stimulus> {
    repeated(
        3,
        &[
            Volts { volts: -3.0, seconds: 0.25 },
            Release { seconds: 1.2 },
            Volts { volts: 4.0, seconds: 0.45 },
            Release { seconds: 1.5 },
        ],
    )
}

/// Coasts from a place.
pub fn releases() -> Vec<Stimulus> {
    let mut out = Vec::new();
    for deg in [80.0, 60.0, 40.0, 20.0, 10.0] {
        out.extend([Step { to_deg: deg, seconds: 0.5 }, Hold { seconds: 0.2 }, Release { seconds: 1.5 }]);
        out.extend([Step { to_deg: deg, seconds: 0.5 }, Hold { seconds: 0.2 }, Brake { seconds: 2.0 }]);
    }
    out
}

/// Slow ramps and the coasts after them.
pub fn creep() -> Vec<Stimulus> {
    let mut out = vec![ramp(0.8, 15.0), Hold { seconds: 0.1 }];
    for _ in 0..2 {
        out.extend([ramp(83.0, 20.0), Hold { seconds: 0.1 }, ramp(0.8, 20.0), Hold { seconds: 0.1 }]);
    }
    out.extend(repeated(
        3,
        &[Step { to_deg: 45.0, seconds: 0.25 }, Hold { seconds: 0.2 }, Release { seconds: 0.6 }],
    ));
    out
}

/// Break-away, swing, coast arrests.
pub fn lash(rest_deg: f64) -> Vec<Stimulus> {
    let mut out = vec![Release { seconds: 0.3 }];
    for sign in [1.0, -1.0] {
        out.extend([
            Volts { volts: 0.0, seconds: 0.02 },
            VoltsRamp { to_volts: sign * 3.0, seconds: 0.5 },
            Release { seconds: 0.5 },
        ]);
    }
    for k in 0..11 {
        let v = if k == 0 { -1.2 } else { 1.2 };
        let half = |v: f64| {
            [
                Volts { volts: v, seconds: 0.08 },
                Volts { volts: 0.8 * v, seconds: 0.012 },
                Volts { volts: 0.62 * v, seconds: 0.012 },
                Volts { volts: 0.0, seconds: 0.02 },
            ]
        };
        out.extend(half(v));
        if k > 0 {
            out.extend(half(-v));
        }
    }
    out.push(Release { seconds: 0.2 });
    out.extend(repeated(5, &[Step { to_deg: rest_deg + 5.0, seconds: 0.4 }, Release { seconds: 0.4 }]));
    out
}

/// Constant-volts openings from rest.
pub fn tooth_map() -> Vec<Stimulus> {
    repeated(8, &[Release { seconds: 0.3 }, Volts { volts: 5.0, seconds: 0.25 }])
}

/// Closed-loop steps.
pub fn responses() -> Vec<Stimulus> {
    let of = |to_deg| Step { to_deg, seconds: 0.6 };
    repeated(3, &[of(10.0), of(30.0), of(60.0), of(20.0)])
}

/// Open-loop steps from a hold, towards open and towards closed.
pub fn steps(hold_deg: f64, times: usize) -> Vec<Stimulus> {
    let mut out = Vec::new();
    for volts in [8.0, -8.0] {
        out.extend(repeated(
            times,
            &[
                Step { to_deg: hold_deg - 3.0, seconds: 0.25 },
                Step { to_deg: hold_deg, seconds: 0.25 },
                Hold { seconds: 0.06 },
                Volts { volts, seconds: 0.025 },
            ],
        ));
    }
    out
}
