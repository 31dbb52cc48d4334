//! What would settle an undecided figure: chosen by what its uncertainty is made of, with how likely it does. Numbers in, numbers out; the
//! sentences are in `words`.
//!
//! - Scatter between cycles averages: its part of the standard uncertainty goes with 1/√cycles (GUM 4.2.3). What all cycles share (gains,
//!   offsets, the reference, the loom) stays as it is, however many there are.
//! - How likely one more sweep settles it is reported beforehand: the distance to the limit is itself known only to within the scatter, so the
//!   distance that the next sweep will find is normal about the present one with the scatter of both sweeps (predictive power:
//!   Spiegelhalter, Freedman, Stat. Med. 5, 1986, 1, from memory). A number of cycles that would just do for the present value
//!   would settle half of the parts.

use super::conformity::{below, guard_factor};
use crate::analysis::Figure;
use crate::analysis::budget::Source;
use crate::quantity::{FigureName, PartKind};

/// Most cycles of one sweep: what `qualify --cycles` takes, 10 minutes at the usual speed.
pub const MOST_CYCLES: u32 = 200;
/// How likely a sweep that is advised is to settle it, where that many cycles can be swept.
pub const HOPED_CHANCE: f64 = 0.9;
/// Below this chance a sweep is not advised.
pub const LEAST_CHANCE: f64 = 0.5;
/// What an unsure finding of the track is looked at again with: scatter falls to a half.
pub const TIMES_FOR_A_FINDING: u32 = 4;

/// What a standard uncertainty is made of, in the figure's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Makeup {
    /// What more cycles shrink.
    pub scatter: f64,
    /// What they do not.
    pub rest: f64,
}

impl Makeup {
    /// From the whole and the scatter in it.
    pub fn new(whole: f64, scatter: f64) -> Self {
        let scatter = scatter.clamp(0.0, whole.max(0.0));
        Self { scatter, rest: (whole * whole - scatter * scatter).max(0.0).sqrt() }
    }

    /// Of a figure; none where its budget does not separate scatter from the rest.
    pub(super) fn of(figure: &Figure) -> Option<Self> {
        let scatter = figure.budget.from(Source::Scatter).hypot(figure.budget.from(Source::Bias));
        let whole = figure.stated_uncertainty();
        let told = figure.budget.from(Source::Combined) == 0.0 && scatter.is_finite() && whole.is_finite();
        told.then(|| Self::new(whole, scatter))
    }

    /// Share of the variance that is scatter, 0..1; 1 without any uncertainty.
    pub fn scatter_share(&self) -> f64 {
        let whole = self.scatter.hypot(self.rest);
        if whole > 0.0 { (self.scatter / whole).powi(2) } else { 1.0 }
    }

    /// How likely a sweep of `cycles` settles a figure that was measured `distance` ≥ 0 from its limit over `cycles_now`, where the guard
    /// band is `guard` standard uncertainties: 0..1.
    pub fn chance(&self, distance: f64, cycles_now: u32, cycles: u32, guard: f64) -> f64 {
        let then = self.scatter * (f64::from(cycles_now.max(1)) / f64::from(cycles.max(1))).sqrt();
        let band = guard * then.hypot(self.rest);
        let moves = self.scatter.hypot(then);
        // On its side of the limit, or on the other.
        below(band - distance, moves, 0.0) + below(band + distance, moves, 0.0)
    }

    /// The sweep that would settle it: as few cycles as will do with [`HOPED_CHANCE`], or the most that there are; none where even they do
    /// it with less than [`LEAST_CHANCE`].
    pub fn sweep(&self, distance: f64, cycles_now: u32, sure: f64) -> Option<Sweep> {
        let guard = guard_factor(sure);
        let at = |cycles: u32| (cycles, self.chance(distance, cycles_now, cycles, guard));
        let more = cycles_now.saturating_add(1)..=MOST_CYCLES;
        let likely = more.clone().map(at).find(|(_, chance)| *chance >= HOPED_CHANCE);
        let most = || more.last().map(at).filter(|(_, chance)| *chance >= LEAST_CHANCE);
        likely.or_else(most).map(|(cycles, chance)| Sweep { cycles, chance: Some(chance.min(1.0)) })
    }
}

/// One more sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sweep {
    /// Its cycles.
    pub cycles: u32,
    /// How likely it settles the matter, 0..1; none where that can't be computed.
    pub chance: Option<f64>,
}

/// What would settle it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remedy {
    /// One more sweep: a rig with a drive can do it by itself.
    Sweep(Sweep),
    /// A calibration: no number of cycles does.
    Calibrate,
    /// Neither.
    Nothing,
}

impl Remedy {
    /// The sweep, if it is one.
    pub const fn sweep(self) -> Option<Sweep> {
        match self {
            Self::Sweep(sweep) => Some(sweep),
            Self::Calibrate | Self::Nothing => None,
        }
    }

    /// For a value that was measured `distance` from its limit over `cycles`.
    pub(super) fn of(makeup: &Makeup, distance: f64, cycles: u32, sure: f64) -> Self {
        if let Some(sweep) = makeup.sweep(distance, cycles, sure) {
            return Self::Sweep(sweep);
        }
        // Without what all cycles share, the scatter of these would do.
        let room = distance / guard_factor(sure);
        if makeup.rest > makeup.scatter && room > makeup.scatter { Self::Calibrate } else { Self::Nothing }
    }
}

/// Whether a figure of a kind of part comes from the sweep, so that one more may settle it.
pub(super) fn comes_from_a_sweep(figure: FigureName, kind: PartKind) -> bool {
    kind == PartKind::Grip && figure.row().procedure.is_none()
}

/// What most of a figure's uncertainty beside scatter comes from.
pub(super) fn rests_on(figure: &Figure) -> Option<Source> {
    figure
        .budget
        .shares()
        .into_iter()
        .map(|(source, ..)| source)
        .find(|s| !matches!(s, Source::Scatter | Source::Bias))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;
    use crate::verdict::{CONFORMANCE_PROBABILITY, GUARD_FACTOR, Verdict, conformity};

    const SURE: f64 = CONFORMANCE_PROBABILITY;

    #[test]
    fn scatter_alone_needs_the_square_of_the_factor_and_a_margin_for_its_own_scatter() {
        let makeup = Makeup::new(0.03, 0.03);
        // 0.03 from the limit with a guard band of 0.049: 14 cycles in place of 5 would just do for that value. On its side that settles half
        // of the parts, Φ(0.0144), and on the other a few, Φ(−1.7025): 0.5057 + 0.0443 by Python's statistics.NormalDist.
        let half = makeup.chance(0.03, 5, 14, GUARD_FACTOR);
        assert!((half - 0.5502).abs() < 0.0005, "{half}");
        let sweep = makeup.sweep(0.045, 5, SURE).unwrap();
        assert!(sweep.cycles > 14 && sweep.chance.unwrap() >= HOPED_CHANCE, "{sweep:?}");
        let fewer = makeup.chance(0.045, 5, sweep.cycles - 1, GUARD_FACTOR);
        assert!(fewer < HOPED_CHANCE, "fewer cycles would do: {fewer}");
        // A value at the limit: the part lies to one side of it all the same, and the most cycles most likely show to which.
        let near = makeup.sweep(0.0, 5, SURE).unwrap();
        assert!(near.cycles == MOST_CYCLES && near.chance.unwrap() < HOPED_CHANCE, "{near:?}");
        assert_eq!(makeup.sweep(0.03, MOST_CYCLES, SURE), None, "there are no more cycles");
    }

    #[test]
    fn what_all_cycles_share_is_not_swept_away() {
        let makeup = Makeup::new(0.03, 0.005);
        assert_eq!(makeup.sweep(0.03, 5, SURE), None);
        assert_eq!(Remedy::of(&makeup, 0.03, 5, SURE), Remedy::Calibrate);
        assert!(makeup.scatter_share() < 0.03);
        // At the limit itself neither does.
        assert_eq!(Remedy::of(&makeup, 0.0, 5, SURE), Remedy::Nothing);
        assert_eq!(Remedy::of(&Makeup { scatter: 0.03, rest: 0.03 }, 0.001, 5, SURE), Remedy::Nothing);
    }

    #[test]
    fn the_chance_that_is_told_is_the_share_that_is_settled() {
        const PARTS: u32 = 20_000;
        let mut random = Resampler::new(55);
        for (scatter, rest, distance, now, then) in [
            (0.03, 0.0, 0.04, 5, 30),
            (0.03, 0.01, 0.05, 5, 12),
            (0.02, 0.02, 0.02, 10, 200),
            (0.03, 0.0, 0.0, 5, 50),
        ] {
            let makeup = Makeup { scatter, rest };
            let told = makeup.chance(distance, now, then, GUARD_FACTOR);
            let u = (scatter * (f64::from(now) / f64::from(then)).sqrt()).hypot(rest);
            let settled = (0..PARTS).filter(|_| {
                // The part as far from the limit as the first sweep leaves possible, and the second sweep's own scatter. What both
                // share moves both alike.
                let found = distance
                    + scatter * random.normal()
                    + scatter * (f64::from(now) / f64::from(then)).sqrt() * random.normal();
                conformity(-found, u, None, Some(0.0)).verdict != Verdict::Undecided
            });
            let share = f64::from(settled.count() as u32) / f64::from(PARTS);
            // Five standard deviations of a binomial share.
            assert!((share - told).abs() < 5.0 * (0.25 / f64::from(PARTS)).sqrt(), "{share} {told}");
        }
    }

    #[test]
    fn a_makeup_adds_up_to_the_whole_and_scatter_is_never_more_than_it() {
        let makeup = Makeup::new(5.0, 3.0);
        assert_eq!((makeup.scatter, makeup.rest), (3.0, 4.0));
        assert_eq!(Makeup::new(1.0, 2.0), Makeup { scatter: 1.0, rest: 0.0 });
        assert_eq!(Makeup::new(0.0, 0.0).scatter_share(), 1.0);
    }
}
