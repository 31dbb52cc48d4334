//! What a recording can't carry: limits of the logger and of what was logged, recognised before the part is blamed for them.
//!
//! - `clipping`: the logger's range ends below a line.
//! - `steps`: coarse steps of a line or of the angle, scans too far apart.
//! - `hum`: mains on the lines.
//! - `angle`: an angle column that is late, that can't be distinguished from hysteresis, or that slips.
//! - `part`: what a grip can't be.
//! - `supply`: a supply that was not logged, or coarsely, or that fell by itself.
//!
//! Each says what was found, what that costs, and what to log instead. A figure it spoils is not reported, or its uncertainty holds it; a
//! finding it could have made does not condemn.

mod angle;
mod clipping;
mod hum;
mod part;
mod steps;
mod supply;

use super::budget::Source;
use super::curve::Curves;
use super::prepared::Prepared;
use super::{Figure, Finding, NotTestable, PartAnalysis};
use crate::quantity::{Channel, FigureName, FindingKind};
use crate::sheet::PartSheet;

/// Most confidence in a finding that the recording itself could have made.
const MOST_CONFIDENCE: f64 = 0.9;

/// A jump of this many steps of a converter can be its own: there and back within its error.
const JUMP_STEPS: f64 = 2.0;

/// What limits a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitKind {
    /// The logger's range ends before the line does.
    Clipping,
    /// The steps of a line are as large as what is to be measured.
    Quantisation,
    /// Mains hum on a line.
    Hum,
    /// Scans lie too far apart for the speed.
    SlowRate,
    /// The steps of the angle are coarse.
    CoarseAngle,
    /// The angle is late or early against both lines.
    LateAngle,
    /// The angle moved against both lines from stroke to stroke.
    AngleSlips,
    /// The supply was not logged, or in coarse steps.
    Supply,
    /// The supply fell where it was logged.
    SupplyFell,
    /// The recording is not of a grip, or not of one like the sheet's.
    OtherPart,
}

impl LimitKind {
    /// The name in `not_testable`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Clipping => "recording_clipping",
            Self::Quantisation => "recording_quantisation",
            Self::Hum => "recording_hum",
            Self::SlowRate => "recording_rate",
            Self::CoarseAngle => "recording_coarse_angle",
            Self::LateAngle => "recording_late_angle",
            Self::AngleSlips => "recording_angle_slips",
            Self::Supply => "recording_supply",
            Self::SupplyFell => "recording_supply_fell",
            Self::OtherPart => "recording_other_part",
        }
    }

    /// Whether a part stays undecided for it, whatever the figures say.
    pub const fn holds_back(self) -> bool {
        matches!(self, Self::Clipping | Self::OtherPart)
    }
}

/// One limit of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordingLimit {
    /// What.
    pub kind: LimitKind,
    /// Of which line; none = of the recording as a whole.
    pub channel: Option<Channel>,
    /// What was found, what it costs, and what to log instead, in a sentence.
    pub text: String,
    /// Figures that can't be had because of it.
    pub spoils: Vec<(FigureName, Option<Channel>)>,
    /// Variance that it may have added to figures, in their unit squared.
    pub adds: Vec<(FigureName, Option<Channel>, f64)>,
    /// By how much it may have moved figures either way, in their unit: of a largest deviation all of it counts, not its square.
    pub moves: Vec<(FigureName, Option<Channel>, f64)>,
    /// Kinds of finding that it could have made, of any line.
    pub imitates: Vec<FindingKind>,
    /// A flat spot this deep or less, degrees lost, could be its work.
    pub imitates_depth_deg: f64,
    /// A dropout this deep or less, mV at 5 V, could be its work; then the dropout rate can't be had either.
    pub imitates_jump_mv: f64,
    /// The same of what both lines do together.
    pub imitates_common_mv: f64,
    /// A dropout that lasts no longer than this, µs, and is no deeper than that, mV at 5 V, could be its work.
    pub imitates_short_us: f64,
    /// See `imitates_short_us`.
    pub imitates_short_mv: f64,
    /// Whether losses together with the supply could be its work.
    pub imitates_supply_fall: bool,
    /// Figures all of which may be the recording's: they say at most how large the part's can be.
    pub may_be_all: Vec<(FigureName, Option<Channel>)>,
}

impl RecordingLimit {
    fn new(kind: LimitKind, channel: Option<Channel>, text: String) -> Self {
        Self {
            kind,
            channel,
            text,
            spoils: Vec::new(),
            adds: Vec::new(),
            moves: Vec::new(),
            imitates: Vec::new(),
            imitates_depth_deg: 0.0,
            imitates_jump_mv: 0.0,
            imitates_common_mv: 0.0,
            imitates_short_us: 0.0,
            imitates_short_mv: 0.0,
            imitates_supply_fall: false,
            may_be_all: Vec::new(),
        }
    }

    /// By how much it may have moved a figure, in its unit; 0 where it has nothing to do with it.
    pub fn effect_on(&self, figure: &Figure) -> f64 {
        let is = |name: FigureName, channel| (name, channel) == (figure.name, figure.channel);
        let added = self.adds.iter().filter(|a| is(a.0, a.1)).map(|a| a.2.sqrt());
        let moved = self.moves.iter().filter(|m| is(m.0, m.1)).map(|m| m.2);
        let all = self.may_be_all.iter().filter(|f| is(f.0, f.1)).map(|_| figure.value.abs());
        added.chain(moved).chain(all).fold(0.0, f64::max)
    }
}

/// A figure of each line.
fn of_lines(figure: FigureName) -> [(FigureName, Option<Channel>); 2] {
    Channel::SENSORS.map(|c| (figure, Some(c)))
}

/// Every limit of a sweep, a hand sweep or an imported file.
pub fn find(prepared: &Prepared<'_>, curves: Option<&Curves>, sheet: &PartSheet) -> Vec<RecordingLimit> {
    let mut out: Vec<RecordingLimit> = part::find(prepared, sheet).into_iter().collect();
    for line in 0..2 {
        out.extend(clipping::find(prepared, line));
        out.extend(steps::of_line(prepared, line));
        out.extend(hum::find(prepared, line));
    }
    out.extend(supply::find(prepared, sheet));
    out.extend(steps::of_rate(prepared));
    out.extend(steps::of_angle(prepared));
    if let Some(curves) = curves {
        out.extend(angle::find(prepared, curves));
    }
    out
}

/// Takes limits into account: in figures, findings, and what is named as not testable.
pub fn apply(limits: &[RecordingLimit], out: &mut PartAnalysis) {
    for limit in limits {
        // Nothing fell: nothing to say.
        if limit.kind == LimitKind::SupplyFell && !out.findings.iter().any(|f| imitated(limit, f)) {
            continue;
        }
        let counted = out.findings.iter().any(|f| f.kind == FindingKind::Dropout && imitated(limit, f));
        let mut spoils = limit.spoils.clone();
        spoils.extend(counted.then_some((FigureName::DropoutRate, None)));
        let spoiled = |f: &Figure| spoils.contains(&(f.name, f.channel));
        for (name, channel) in &spoils {
            let what = channel.map_or(name.name().to_owned(), |c| format!("{} {c}", name.name()));
            out.not_testable.retain(|n| n.what != what);
            out.not_testable.insert(0, NotTestable { what, why: limit.text.clone() });
        }
        out.figures.retain(|f| !spoiled(f));
        for (name, channel, variance) in &limit.adds {
            for f in out.figures.iter_mut().filter(|f| (f.name, f.channel) == (*name, *channel)) {
                widen(f, *variance);
            }
        }
        for (name, channel, by) in &limit.moves {
            for f in out.figures.iter_mut().filter(|f| (f.name, f.channel) == (*name, *channel)) {
                f.budget.add(Source::Recording, f.value.abs().min(*by));
            }
        }
        for f in out.figures.iter_mut().filter(|f| limit.may_be_all.contains(&(f.name, f.channel))) {
            widen(f, f.value * f.value);
        }
        out.findings.iter_mut().filter(|f| imitated(limit, f)).for_each(|f| {
            f.confidence = f.confidence.min(MOST_CONFIDENCE);
            f.text.push_str(&format!("; the recording could have made this by itself: {}", limit.text));
        });
        if limit.kind.holds_back() {
            let what =
                limit.channel.map_or(limit.kind.name().to_owned(), |c| format!("{} {c}", limit.kind.name()));
            out.not_testable.push(NotTestable { what, why: limit.text.clone() });
        }
        out.warnings.push(limit.text.clone());
    }
    out.recording = limits.to_vec();
}

/// A figure of which a part may be the recording's: it reaches down to what is left without. Spreads are only raised by what adds to them; of
/// others it may have hidden as much.
fn widen(figure: &mut Figure, variance: f64) {
    let left = (figure.value * figure.value - variance).max(0.0).sqrt();
    let by = figure.value.abs() - left;
    if matches!(figure.name, FigureName::Noise | FigureName::Repeatability) {
        figure.added = figure.added.hypot(by).min(figure.value.abs());
    } else {
        figure.budget.add(Source::Recording, by);
    }
}

/// Whether the recording could have made a finding.
fn imitated(limit: &RecordingLimit, finding: &Finding) -> bool {
    let detail = |name| finding.details.iter().find(|d| d.name == name).map(|d| d.value);
    let shallow = || {
        let lost = detail("width").zip(detail("slope_loss")).map(|(w, l)| 0.01 * w * l);
        finding.kind == FindingKind::FlatSpot && lost.is_some_and(|l| l <= limit.imitates_depth_deg)
    };
    let small = || {
        finding.kind == FindingKind::Dropout
            && limit.channel.is_none_or(|c| finding.channel.is_none_or(|of| of == c))
            && detail("deepest").is_some_and(|d| d <= limit.imitates_jump_mv)
    };
    let short = || {
        finding.kind == FindingKind::Dropout
            && detail("longest").is_some_and(|us| us <= limit.imitates_short_us)
            && detail("deepest").is_some_and(|d| d <= limit.imitates_short_mv)
    };
    let fell = detail("supply_fell").is_some();
    let together = || {
        finding.kind == FindingKind::Dropout
            && finding.channel.is_none()
            && !fell
            && detail("deepest").is_some_and(|d| d <= limit.imitates_common_mv)
    };
    let with_it = limit.imitates_supply_fall && fell;
    limit.imitates.contains(&finding.kind) || shallow() || small() || short() || together() || with_it
}

#[cfg(test)]
mod tests;
