//! Machine names in the words of the trade. It does not know numbers.

use super::text::{SENTENCE, plain};
use crate::outcome::Outcome;
use crate::quantity::{Channel, FigureName, FindingKind, PartKind};
use crate::sheet::Topology;
use crate::verdict::{self, Verdict};

/// What the lines and their residual are called in text for people. Machine names stay `rising` and `falling`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lines {
    topology: Option<Topology>,
}

impl Lines {
    /// From the topology that the data show, or else the one that the sheet expects.
    pub fn of(outcome: &Outcome) -> Self {
        let found = outcome.part.topology_found.as_deref().map(Self::of_topology).unwrap_or_default();
        if found == Self::default() { Self::of_topology(&outcome.sheet.topology) } else { found }
    }

    /// From a topology's name; an unknown one is none.
    pub fn of_topology(name: &str) -> Self {
        let all = [Topology::Complementary, Topology::HalfSlope, Topology::ParallelOffset];
        Self { topology: all.into_iter().find(|t| t.name() == name) }
    }

    /// From the topology of a sheet, where no part was measured.
    pub const fn of_sheet(topology: Topology) -> Self {
        Self { topology: Some(topology) }
    }

    /// A line's name: only in a complementary sensor does the second line fall.
    pub fn name(self, channel: Channel) -> &'static str {
        verdict::line_name(channel, self.topology)
    }

    /// The same from a stored name; none is `nobody`'s word. Unknown names are shown as they are.
    pub fn stored(self, channel: Option<&str>, nobody: &str) -> String {
        match channel {
            None => nobody.to_owned(),
            Some(name) => Channel::from_name(name).map_or(name, |c| self.name(c)).to_owned(),
        }
    }

    /// What the correlation residual is called.
    pub fn residual(self) -> &'static str {
        match self.topology {
            Some(Topology::Complementary) => "sum deviation",
            _ => "correlation residual",
        }
    }

    /// What the correlation residual is.
    pub fn residual_meaning(self) -> &'static str {
        match self.topology {
            Some(Topology::Complementary) => "rising + falling − supply: 0 in a perfect pair",
            Some(Topology::HalfSlope) => "second − ½ first: 0 in a perfect pair",
            Some(Topology::ParallelOffset) => "second − first − their constant distance: 0 in a perfect pair",
            None => "second line against what the first one calls for: 0 in a perfect pair",
        }
    }
}

/// A figure's name in words.
pub fn figure(name: &str) -> String {
    FigureName::from_name(name).map_or_else(|| name.replace('_', " "), |f| f.title().to_owned())
}

/// What a self-check read, in words.
pub fn reading(name: &str) -> &str {
    match name {
        "turning takes" => "drive current, turning",
        "pressing takes" => "drive current, against the stop",
        "travel seen" => "travel",
        other => other,
    }
}

/// A finding's kind in words.
pub fn finding(kind: &str) -> String {
    FindingKind::from_name(kind).map_or_else(|| kind.replace('_', " "), |k| k.title().to_owned())
}

/// Whether a motor is driven in the tests of a kind of part.
pub fn has_motor(kind: &str) -> bool {
    PartKind::from_name(kind).is_some_and(PartKind::has_motor)
}

/// A kind of part in words.
pub fn kind(kind: &str) -> String {
    match PartKind::from_name(kind) {
        Some(PartKind::Body) => "throttle body".to_owned(),
        Some(PartKind::Pair) => "grip and throttle body".to_owned(),
        _ => kind.to_owned(),
    }
}

/// A procedure's name in words.
pub fn procedure(name: &str) -> String {
    name.replace('_', " ").replace("self check", "self-check")
}

/// What was judged, in words.
pub fn scope(scope: &str) -> String {
    match scope {
        "part" => "the whole part".to_owned(),
        "dropouts" => "lost contact".to_owned(),
        "leads" => "leads, leakage and both stops".to_owned(),
        "soak" => "what cycling for long tells".to_owned(),
        "readiness" => "whether rig and part are ready".to_owned(),
        name => format!("what the procedure {} tells", procedure(name)),
    }
}

/// How a procedure ended, in words.
pub fn end(end: &str) -> String {
    match end {
        "complete" => "complete",
        "aborted" => "stopped by the user or the host",
        "guard" => "stopped by a guard",
        "link_lost" => "link lost",
        "ended_early" => "ended by the rig before its time",
        other => return other.replace('_', " "),
    }
    .to_owned()
}

/// The word of a verdict, by what it is about: a self-check judges no part, so it must not look like a part's verdict.
pub fn headline(verdict: Verdict, scope: &str) -> &'static str {
    match (scope, verdict) {
        ("readiness", Verdict::Within) => "ready",
        ("readiness", _) => "not ready",
        _ => verdict.name(),
    }
}

/// What the verdict means for the person with the part in hand, by what it is about.
pub fn advice(verdict: Verdict, scope: &str) -> &'static str {
    match (scope, verdict) {
        (_, Verdict::Outside) => "Do not refit this part.",
        ("dropouts", Verdict::Within) => "No contact was lost. Only that was tested.",
        ("leads", Verdict::Within) => {
            "Leads, leakage and both stops are as they should be. Only that was tested."
        }
        ("soak", Verdict::Within) => "Cycling for long found nothing against the part. Only that was tested.",
        ("readiness", Verdict::Within) => {
            "Rig and mounting are as they should be. The part itself was not judged."
        }
        ("readiness", Verdict::Undecided) => "What to do stands below.",
        (scope, Verdict::Within) if scope != "part" => {
            "This procedure found nothing against the part. Only that was tested."
        }
        (_, Verdict::Within) => "Fit for refit as far as this bench can tell.",
        (_, Verdict::Undecided) => "Neither cleared nor condemned; what would decide it stands below.",
    }
}

/// A stored time as "2026-11-03 14:22:05 +01:00"; anything else as it is.
pub fn time(rfc3339: &str) -> String {
    let looks_right = rfc3339.len() >= 20 && rfc3339.is_ascii() && rfc3339.as_bytes()[10] == b'T';
    if !looks_right {
        return rfc3339.to_owned();
    }
    let (date, rest) = rfc3339.split_at(10);
    let (clock, rest) = rest[1..].split_at(8);
    let zone = rest.trim_start_matches(|c: char| c == '.' || c.is_ascii_digit());
    let zone = if zone == "Z" { "UTC" } else { zone };
    format!("{date} {clock} {zone}").trim_end().to_owned()
}

/// A detail's name and unit in words: `depth_percent` is ("depth", "%").
pub fn detail(name: &str) -> (String, &'static str) {
    const UNITS: [(&str, &str); 20] = [
        ("_newton_metres_per_radian", "N·m/rad"),
        ("_volt_seconds_per_radian", "V·s/rad"),
        ("_newton_metres", "N·m"),
        ("_amps", "A"),
        ("_percent_span", "% of span"),
        ("_percent_supply", "% of supply"),
        ("_percent", "%"),
        ("_deg", "°"),
        ("_us", "µs"),
        ("_ms", "ms"),
        ("_s", "s"),
        ("_mv", "mV"),
        ("_millivolts", "mV"),
        ("_volts", "V"),
        ("_v", "V"),
        ("_ohms", "Ω"),
        ("_ohm", "Ω"),
        ("_kohm", "kΩ"),
        ("_per_minute", "/min"),
        ("_hz", "Hz"),
    ];
    let (stem, unit) = UNITS
        .iter()
        .find_map(|(end, unit)| name.strip_suffix(end).map(|stem| (stem, *unit)))
        .unwrap_or((name, ""));
    (stem.replace('_', " "), unit)
}

/// The cautions of a report: the outcome's own, or those for any removed part.
pub fn cautions(outcome: &Outcome) -> Vec<String> {
    if outcome.cautions.is_empty() {
        return CAUTIONS.map(str::to_owned).to_vec();
    }
    outcome.cautions.iter().map(|c| plain(c, SENTENCE)).collect()
}

/// The cautions on every report about a removed part that brings none of its own.
const CAUTIONS: [&str; 5] = [
    "A bench result does not clear the vehicle: the fault may be in wiring, terminals or the controller.",
    "Disconnect the vehicle battery before removing or refitting a part.",
    "Do not open a powered rig; keep fingers and tools away from whatever it drives.",
    "Follow the maker's service manual and local rules for refitting and relearning.",
    "The decision to return a vehicle to the road is a qualified technician's.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_figure_and_finding_has_its_own_words() {
        let figures: std::collections::BTreeSet<_> =
            FigureName::ALL.iter().map(|f| figure(f.name())).collect();
        assert_eq!(figures.len(), FigureName::ALL.len());
        let findings: std::collections::BTreeSet<_> =
            FindingKind::ALL.iter().map(|k| finding(k.name())).collect();
        assert_eq!(findings.len(), FindingKind::ALL.len());
        assert!(figures.iter().chain(&findings).all(|w| !w.contains('_')));
    }

    #[test]
    fn times_are_split_and_strange_ones_left_alone() {
        assert_eq!(time("2026-11-03T14:22:05.123+01:00"), "2026-11-03 14:22:05 +01:00");
        assert_eq!(time("2026-11-03T14:22:05Z"), "2026-11-03 14:22:05 UTC");
        assert_eq!(time("yesterday"), "yesterday");
    }

    #[test]
    fn a_detail_tells_its_unit() {
        assert_eq!(detail("depth_percent_span"), ("depth".to_owned(), "% of span"));
        assert_eq!(detail("cycles"), ("cycles".to_owned(), ""));
    }
}
