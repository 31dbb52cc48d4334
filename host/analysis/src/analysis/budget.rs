//! An uncertainty budget: what a figure's standard uncertainty is made of, source by source (JCGM 100:2008, clauses 5 and 8). It computes no figure.
//!
//! Entries are independent of each other: what is common to two inputs (the gain in a difference, the supply in a ratio) is worked out
//! where the entry is formed, so that a sum of squares is all that is left (JCGM 100, equation 10).

/// Where an uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// Scatter between scans, strokes and visits (type A).
    Scatter,
    /// Scatter's own share in a maximum, which was taken off: it goes with the scatter.
    Bias,
    /// Events that were counted (type A, Poisson).
    Counts,
    /// Steps of converter and reference.
    Steps,
    /// Gain of the lines' converter.
    Gain,
    /// Zero of the lines' converter.
    Offset,
    /// Bend of the lines' converter between its ends.
    Bend,
    /// The supply that ratios are formed with.
    Supply,
    /// What the loom's wires and contacts drop.
    Loom,
    /// What the rig's input draws from the line's source.
    Loading,
    /// The angle: eccentricity, steps and noise of the reference.
    Angle,
    /// Slow drift: warming part, warming rig.
    Drift,
    /// Time between line and angle.
    Lag,
    /// Play that looks like the figure.
    Play,
    /// A stop that was perhaps not reached.
    Stop,
    /// The algorithm's own: an extrapolation, a model.
    Algorithm,
    /// What the recording itself may have added or hidden.
    Recording,
    /// Several sources that the procedure combines before it gives the figure.
    Combined,
}

impl Source {
    /// Every source, in the order in which a budget is reported.
    pub const ALL: [Self; 18] = [
        Self::Scatter,
        Self::Bias,
        Self::Counts,
        Self::Steps,
        Self::Gain,
        Self::Offset,
        Self::Bend,
        Self::Supply,
        Self::Loom,
        Self::Loading,
        Self::Angle,
        Self::Drift,
        Self::Lag,
        Self::Play,
        Self::Stop,
        Self::Algorithm,
        Self::Recording,
        Self::Combined,
    ];

    /// Machine name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Scatter => "scatter",
            Self::Bias => "bias",
            Self::Counts => "counts",
            Self::Steps => "steps",
            Self::Gain => "gain",
            Self::Offset => "offset",
            Self::Bend => "converter_linearity",
            Self::Supply => "supply",
            Self::Loom => "loom",
            Self::Loading => "loading",
            Self::Angle => "reference_angle",
            Self::Drift => "drift",
            Self::Lag => "lag",
            Self::Play => "play",
            Self::Stop => "stop",
            Self::Algorithm => "algorithm",
            Self::Recording => "recording",
            Self::Combined => "combined",
        }
    }

    /// For people.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Scatter => "scatter between scans and strokes",
            Self::Bias => "scatter's share in the maximum, taken off",
            Self::Counts => "few events counted",
            Self::Steps => "steps of converter and reference",
            Self::Gain => "gain of the converter",
            Self::Offset => "zero of the converter",
            Self::Bend => "bend of the converter",
            Self::Supply => "supply",
            Self::Loom => "wires and contacts of the loom",
            Self::Loading => "current into the rig's input",
            Self::Angle => "angle of the reference",
            Self::Drift => "slow drift",
            Self::Lag => "time between line and angle",
            Self::Play => "play that looks the same",
            Self::Stop => "stop perhaps not reached",
            Self::Algorithm => "the algorithm's own",
            Self::Recording => "limits of the recording",
            Self::Combined => "all sources, combined by the procedure",
        }
    }

    /// What makes it smaller, as an advice that completes "... would settle it".
    pub const fn smaller_by(self) -> &'static str {
        match self {
            Self::Scatter | Self::Bias => "more cycles",
            Self::Counts => "a longer recording",
            Self::Steps => "a converter or a reference with finer steps",
            Self::Gain | Self::Offset | Self::Bend => "a calibration of the lines' converter",
            Self::Supply => "recording the supply in the same scans",
            Self::Loom => "sensing the supply's return at the part's plug",
            Self::Loading => "a leads check with load steps",
            Self::Angle => "a calibration of the reference angle, or a finer one",
            Self::Drift => "a recording after everything has warmed up",
            Self::Lag | Self::Play => "a sweep with strokes of two speeds",
            Self::Stop => "turning the part onto both stops and resting there",
            Self::Algorithm => "more cycles, sampled more finely",
            Self::Recording => "a better recording, see its limits",
            Self::Combined => "repeating the procedure",
        }
    }
}

/// Standard uncertainties by source, in the figure's unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    entries: Vec<(Source, f64)>,
}

impl Budget {
    /// Without any uncertainty.
    pub const fn new() -> Self {
        Self { entries: Vec::new() }
    }

    /// Of one source.
    pub fn of(source: Source, uncertainty: f64) -> Self {
        Self::new().with(source, uncertainty)
    }

    /// With a further independent uncertainty of a source; its sign does not count, and 0 leaves no entry.
    #[must_use]
    pub fn with(mut self, source: Source, uncertainty: f64) -> Self {
        self.add(source, uncertainty);
        self
    }

    /// Adds a further independent uncertainty of a source.
    pub fn add(&mut self, source: Source, uncertainty: f64) {
        if uncertainty == 0.0 {
            return;
        }
        match self.entries.iter_mut().find(|e| e.0 == source) {
            Some(entry) => entry.1 = entry.1.hypot(uncertainty),
            None => self.entries.push((source, uncertainty.abs())),
        }
    }

    /// With the entries of another one, independent of these.
    #[must_use]
    pub fn and(mut self, other: &Self) -> Self {
        for (source, uncertainty) in &other.entries {
            self.add(*source, *uncertainty);
        }
        self
    }

    /// Each entry times a sensitivity (JCGM 100, 5.1.3).
    #[must_use]
    pub fn scaled(mut self, by: f64) -> Self {
        for entry in &mut self.entries {
            entry.1 *= by.abs();
        }
        self
    }

    /// Standard uncertainty (k = 1): the root of the sum of squares.
    pub fn total(&self) -> f64 {
        self.entries.iter().map(|e| e.1 * e.1).sum::<f64>().sqrt()
    }

    /// The standard uncertainty of one source; 0 when it has none.
    pub fn from(&self, source: Source) -> f64 {
        self.entries.iter().find(|e| e.0 == source).map_or(0.0, |e| e.1)
    }

    /// Entries from the largest to the smallest, each with its share of the variance, 0..1.
    pub fn shares(&self) -> Vec<(Source, f64, f64)> {
        let variance = self.total().powi(2);
        let mut out: Vec<(Source, f64, f64)> = self
            .entries
            .iter()
            .map(|(source, u)| (*source, *u, if variance > 0.0 { u * u / variance } else { 0.0 }))
            .collect();
        out.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        out
    }

    /// The source with more than half of the variance; none where no single one has it.
    pub fn dominant(&self) -> Option<Source> {
        self.shares().first().filter(|e| e.2 > 0.5).map(|e| e.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_end_gauge_of_the_guide_adds_up() {
        // JCGM 100:2008, H.1, table H.1: components of the length of an end gauge in nm; combined 32 (1002 nm² as printed in H.1.4:
        // 25² + 9.7² + 2.9² + 16.6²), the rest 0.
        let budget = Budget::of(Source::Scatter, 25.0)
            .with(Source::Gain, 9.7)
            .with(Source::Offset, 0.0)
            .with(Source::Drift, 2.9)
            .with(Source::Loom, -16.6);
        assert!((budget.total().powi(2) - 1002.0).abs() < 1.5, "{}", budget.total().powi(2));
        assert_eq!(budget.total().round(), 32.0);
        let shares = budget.shares();
        assert_eq!(shares.len(), 4, "a source without uncertainty has no entry");
        assert!((shares.iter().map(|s| s.2).sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(budget.dominant(), Some(Source::Scatter));
    }

    #[test]
    fn entries_of_one_source_become_one_and_scale_together() {
        let budget = Budget::of(Source::Scatter, 3.0).and(&Budget::of(Source::Scatter, 4.0)).scaled(-2.0);
        assert_eq!(
            (budget.total(), budget.from(Source::Scatter), budget.from(Source::Gain)),
            (10.0, 10.0, 0.0)
        );
        assert_eq!(Budget::new().total(), 0.0);
        assert_eq!(Budget::of(Source::Gain, 1.0).with(Source::Lag, 1.0).dominant(), None);
    }

    #[test]
    fn every_source_has_its_own_name() {
        let mut names: Vec<&str> = Source::ALL.iter().map(|s| s.name()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Source::ALL.len());
    }
}
