//! Published curves as recordings, and what linearity comes out of them.

use super::super::grip;
use super::super::synthetic::Synthetic;
use super::*;
use crate::trace::Trace;

/// Travel of the invented part, degrees.
const TRAVEL: f64 = 75.0;

/// A and B of a platinum thermometer, 1/°C and 1/°C², and its range, °C.
const PLATINUM: (f64, f64, f64) = (3.9083e-3, -5.775e-7, 850.0);

/// Closed form of one curve on [0, 1]: the largest deviations from the independent, the terminal and the zero-based line, as shares
/// of the span. For a convex or concave f with chord slope m the independent line is parallel to the chord, halfway to the tangent
/// (Chebyshev; Cheney, Introduction to Approximation Theory, 1966, ch. 3, from memory): terminal d = max |f − chord|, independent d/2.
/// The zero-based line of slope k balances the interior extremum against the open end.
struct Published {
    name: &'static str,
    f: fn(f64) -> f64,
    independent: f64,
    terminal: f64,
    zero_based: f64,
}

/// The zero-based deviation of a convex (sign = 1) or concave (−1) curve through 0 from the balance at both places, by bisection: a second
/// algorithm, independent of hulls.
fn balanced(f: impl Fn(f64) -> f64, sign: f64) -> f64 {
    let inside = |k: f64| {
        // Golden section for the largest sign·(k·x − f).
        let (mut a, mut b) = (0.0, 1.0);
        let ratio = 0.5 * (5.0f64.sqrt() - 1.0);
        let value = |x: f64| sign * (k * x - f(x));
        for _ in 0..200 {
            let (c, d) = (b - ratio * (b - a), a + ratio * (b - a));
            if value(c) < value(d) { a = c } else { b = d }
        }
        value(0.5 * (a + b))
    };
    let chord = f(1.0);
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let share = 0.5 * (low + high);
        let k = chord * (1.0 - sign * share);
        let open = sign * (chord - k);
        if inside(k) > open { low = share } else { high = share }
    }
    chord * 0.5 * (low + high)
}

fn published() -> Vec<Published> {
    let e = std::f64::consts::E;
    // e^x: chord slope m = e − 1, tangent where e^x = m, at x = ln m.
    let m = e - 1.0;
    let of_e = (1.0 + m * m.ln() - m) / m;
    // √(1 + x²): chord slope m = √2 − 1, tangent at x = m/√(1 − m²), where the curve is 1/√(1 − m²).
    let h = 2.0f64.sqrt() - 1.0;
    let of_h = (1.0 - (1.0 - h * h).sqrt()) / h;
    // A platinum thermometer from 0 to 850 °C: R/R0 = 1 + A t + B t² (IEC 60751, A and B from memory). A parabola's deviations are those of
    // x² times |B| t², whatever line is added.
    let (linear, bend) = (PLATINUM.0 * PLATINUM.2, -PLATINUM.1 * PLATINUM.2 * PLATINUM.2);
    let of_platinum = bend / (linear - bend);
    // A Wheatstone bridge of four equal resistances of which one doubles: f = x/(2 + x) of the supply's half, so that f less its chord is
    // x (1 − x)/(2 + x) of the span, largest at x = √6 − 2 (by hand).
    let x = 6.0f64.sqrt() - 2.0;
    let of_bridge = x * (1.0 - x) / (2.0 + x);
    vec![
        Published {
            name: "e^x",
            f: f64::exp,
            independent: 0.5 * of_e,
            terminal: of_e,
            zero_based: balanced(|x| x.exp() - 1.0, 1.0) / m,
        },
        Published {
            name: "x^2",
            f: |x| x * x,
            independent: 0.125,
            terminal: 0.25,
            zero_based: 3.0 - 8.0f64.sqrt(),
        },
        Published {
            name: "sqrt x",
            f: f64::sqrt,
            independent: 0.125,
            terminal: 0.25,
            zero_based: balanced(f64::sqrt, -1.0),
        },
        Published {
            name: "sqrt(1 + x^2)",
            f: |x| (1.0 + x * x).sqrt(),
            independent: 0.5 * of_h,
            terminal: of_h,
            zero_based: balanced(|x| (1.0 + x * x).sqrt() - 1.0, 1.0) / h,
        },
        Published {
            name: "platinum thermometer",
            f: |x| 1.0 + (PLATINUM.0 + PLATINUM.1 * PLATINUM.2 * x) * PLATINUM.2 * x,
            independent: 0.125 * of_platinum,
            terminal: 0.25 * of_platinum,
            zero_based: (3.0 - 8.0f64.sqrt()) * of_platinum,
        },
        Published {
            name: "quarter bridge",
            f: |x| x / (2.0 + x),
            independent: 0.5 * of_bridge,
            terminal: of_bridge,
            zero_based: 3.0 * balanced(|x| x / (2.0 + x), -1.0),
        },
    ]
}

/// How the part is moved: strokes between the stops at 60°/s and 5 kHz, with or without rests.
#[derive(Clone, Copy, Debug)]
enum Moved {
    Triangles,
    OneTriangle,
    WithRests,
}

fn motion(moved: Moved) -> Vec<f64> {
    let scans = 6250;
    let (strokes, rest) = match moved {
        Moved::Triangles => (6, 0),
        Moved::OneTriangle => (2, 0),
        Moved::WithRests => (6, 500),
    };
    let mut out = vec![0.0; rest];
    for stroke in 0..strokes {
        let up = stroke % 2 == 0;
        let place = |i: usize| TRAVEL * i as f64 / scans as f64;
        out.extend((0..scans).map(|i| if up { place(i) } else { TRAVEL - place(i) }));
        out.extend(std::iter::repeat_n(if up { TRAVEL } else { 0.0 }, rest));
    }
    out.push(0.0);
    out
}

/// A recording of f, spread from 10 to 90 % of a supply of 5 V, without noise.
fn recording(f: impl Fn(f64) -> f64, moved: Moved) -> (Trace, Synthetic) {
    let part = Synthetic {
        travel_deg: TRAVEL,
        ripple_v: 0.0,
        rig_noise_v: 0.0,
        noise_v: [0.0; 2],
        rig_errors: false,
        sensor_step_v: 0.0,
        converter_step_v: 0.0,
        reference_step_deg: 0.0,
        ..Synthetic::hall(1)
    };
    let motion = motion(moved);
    let mut trace = part.trace_of(&motion);
    let (closed, open) = (f(0.0), f(1.0));
    for column in &mut trace.columns {
        match column.channel {
            Channel::Rising => {
                let volts = |d: &f64| 0.5 + 4.0 * (f(d / TRAVEL) - closed) / (open - closed);
                column.values = motion.iter().map(|d| volts(d) as f32).collect();
            }
            Channel::Supply => column.values.fill(5.0),
            _ => {}
        }
    }
    (trace, part)
}

#[test]
fn published_curves_come_out_to_six_digits() {
    let mut off_by = Vec::new();
    for case in published() {
        for moved in [Moved::Triangles, Moved::OneTriangle, Moved::WithRests] {
            let (trace, part) = recording(case.f, moved);
            let found =
                grip::analyse(grip::GripTraces { sweep: &trace, leads: None, flex: None }, &part.sheet());
            let expected = [
                (FigureName::LinearityIndependent, case.independent),
                (FigureName::LinearityTerminal, case.terminal),
                (FigureName::LinearityZeroBased, case.zero_based),
            ];
            for (name, share) in expected {
                let figure = found
                    .figures
                    .iter()
                    .find(|f| f.name == name && f.channel == Some(Channel::Rising))
                    .unwrap_or_else(|| panic!("{} {moved:?}: no {name:?}", case.name));
                let off = figure.value / (100.0 * share) - 1.0;
                // Samples are kept with 24 bits: 6e-8 of the span.
                off_by.push((
                    if off.abs() * share < 6e-8 { 0.0 } else { off.abs() },
                    format!(
                        "{} {moved:?} {name:?}: {} for {share}, off by {off:.1e}",
                        case.name, figure.value
                    ),
                ));
            }
        }
    }
    let wrong: Vec<&String> = off_by.iter().filter(|o| o.0 >= 1e-6).map(|o| &o.1).collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}
