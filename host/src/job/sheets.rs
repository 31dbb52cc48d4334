//! Which sheet is meant: the given one, or the shipped one whose topology the part shows.

use super::failure::Failure;
use crate::analysis::grip::topology_shown;
use crate::quantity::{Channel, PartKind};
use crate::record::sheet_file;
use crate::sheet::{PartSheet, Topology, shipped_of};
use crate::trace::Trace;
use anyhow::anyhow;

/// The sheets that come into question, the likeliest first.
pub struct Shelf {
    sheets: Vec<PartSheet>,
    /// For a throttle body, when none was given.
    body: Option<PartSheet>,
    given: bool,
}

impl Shelf {
    /// The given sheet alone, or all shipped ones for grips.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the given one is unknown or can't be used.
    pub fn new(given: Option<&str>) -> Result<Self, Failure> {
        match given {
            Some(name) => {
                let sheet = sheet_file::load(name).map_err(|e| Failure::Usage(e.into()))?;
                Ok(Self { sheets: vec![sheet], body: None, given: true })
            }
            None => Ok(Self {
                sheets: shipped_of(PartKind::Grip).collect(),
                body: shipped_of(PartKind::Body).next(),
                given: false,
            }),
        }
    }

    /// The given sheet alone, which must be a pair's, or the shipped one.
    ///
    /// # Errors
    /// As [`Shelf::new`], and when it is for one part.
    pub fn for_pair(given: Option<&str>) -> Result<Self, Failure> {
        let shelf = match given {
            Some(_) => Self::new(given)?,
            None => Self { sheets: shipped_of(PartKind::Pair).collect(), body: None, given: false },
        };
        shelf.check_kind(shelf.first(), PartKind::Pair)?;
        Ok(shelf)
    }

    /// Changes every sheet, for what the command line overrides.
    pub fn change(&mut self, change: impl Fn(&mut PartSheet)) {
        self.sheets.iter_mut().for_each(change);
    }

    /// Whether one was given, so that none is chosen by what the lines show.
    pub const fn is_given(&self) -> bool {
        self.given
    }

    /// The sheet to begin with, before anything is known of the part.
    pub fn first(&self) -> &PartSheet {
        &self.sheets[0]
    }

    /// The one of a name population those that come into question.
    pub fn named(&self, name: &str) -> Option<&PartSheet> {
        self.sheets.iter().find(|s| s.name == name)
    }

    /// The sheet for a throttle body.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the given one is for another kind of part.
    pub fn for_body(&self) -> Result<&PartSheet, Failure> {
        let sheet = self.body.as_ref().unwrap_or(self.first());
        self.check_kind(sheet, PartKind::Body)?;
        Ok(sheet)
    }

    /// Checks that a grip can be tested by these sheets.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the given one is for another kind of part.
    pub fn check_for_grip(&self) -> Result<(), Failure> {
        self.check_kind(self.first(), PartKind::Grip)
    }

    fn check_kind(&self, sheet: &PartSheet, kind: PartKind) -> Result<(), Failure> {
        if sheet.kind == kind {
            return Ok(());
        }
        Err(Failure::Usage(anyhow!(
            "the sheet {} is for a {}, and what is to be tested is a {}; give a sheet for that, or leave --sheet out \
             (`trackpair config show` tells whether one is configured)",
            sheet.name,
            sheet.kind.name(),
            kind.name()
        )))
    }

    /// The sheet to judge by, and a sentence on why when it was not given.
    pub fn choose(&self, moved: Option<&Trace>) -> (&PartSheet, Option<String>) {
        if self.given {
            return (self.first(), None);
        }
        let found = moved.and_then(|trace| topology_shown(trace, self.first()));
        let of = |wanted: Topology| self.sheets.iter().find(|s| s.topology == wanted);
        match found.and_then(|t| of(t).map(|s| (s, t))) {
            Some((sheet, topology)) => {
                let note = format!(
                    "no sheet was given: {} was chosen because the lines move as a {} pair; --sheet fixes it",
                    sheet.name,
                    topology.name()
                );
                (sheet, Some(note))
            }
            None => {
                let note = format!(
                    "no sheet was given and the lines do not show a topology: {} was taken; --sheet fixes it",
                    self.first().name
                );
                (self.first(), Some(note))
            }
        }
    }

    /// The sheet for a flex, from a self-check before it and from the flex itself: where nothing moves, the place where the
    /// lines stand shows.
    pub fn choose_for_flex(&self, check: Option<&Trace>, flex: Option<&Trace>) -> FlexSheet<'_> {
        let moving = |trace: &Trace| topology_shown(trace, self.first()).map(|one| vec![one]);
        let shown = check
            .and_then(moving)
            .or_else(|| flex.and_then(moving))
            .or_else(|| flex.map(standing_topologies))
            .unwrap_or_default();
        let chosen = shown.first().and_then(|t| self.sheets.iter().find(|s| s.topology == *t));
        let sheet = if self.given { self.first() } else { chosen.unwrap_or(self.first()) };
        let note = match shown.as_slice() {
            _ if self.given => None,
            [topology] => Some(format!(
                "no sheet was given: {} was chosen because the lines stand as those of a {} pair; --sheet fixes it",
                sheet.name,
                topology.name()
            )),
            _ => Some(
                "no sheet was given and where the lines stand does not tell their topology: limp-home trips are not judged; give \
                 --sheet NAME, or hold a place with --at DEG"
                    .to_owned(),
            ),
        };
        FlexSheet { sheet, limp_trips: self.given || shown.len() == 1, shown, note }
    }

    /// Largest travel of the sheets that come into question, degrees.
    pub fn longest_travel_deg(&self) -> f64 {
        self.sheets.iter().map(|s| s.travel_deg).fold(0.0, f64::max)
    }
}

/// What a flex is judged by.
pub struct FlexSheet<'s> {
    /// The sheet.
    pub sheet: &'s PartSheet,
    /// The topologies that fit how the lines move, or where they stand.
    pub shown: Vec<Topology>,
    /// Whether limp-home trips may be judged.
    pub limp_trips: bool,
    /// A sentence on the choice, when the sheet was not given.
    pub note: Option<String>,
}

/// Scans that are looked at.
const LOOKED_AT: usize = 2_000;

/// Topologies whose nominal lines fit where both lines stand, for the most part, within half of the monitor's threshold.
fn standing_topologies(trace: &Trace) -> Vec<Topology> {
    let (Some(first), Some(second)) = (trace.channel(Channel::Rising), trace.channel(Channel::Falling))
    else {
        return Vec::new();
    };
    let supply = trace.channel(Channel::Supply);
    let every = (trace.len() / LOOKED_AT).max(1);
    let fits = |sheet: &PartSheet| {
        let (m, k) = sheet.correlation_line();
        let ratio = |volts: f32, scan: usize| {
            let stated = trace.provenance.stated_supply_volts.unwrap_or(sheet.supply_volts);
            f64::from(volts) / supply.map_or(stated, |s| f64::from(s[scan]))
        };
        let residual = |scan: usize| (ratio(second[scan], scan) - m * ratio(first[scan], scan) - k).abs();
        let mut residuals: Vec<f64> =
            (0..trace.len()).step_by(every).map(residual).filter(|r| r.is_finite()).collect();
        residuals.sort_by(f64::total_cmp);
        residuals.get(residuals.len() / 2).is_some_and(|r| *r < 0.5 * sheet.monitor.threshold_percent / 100.0)
    };
    shipped_of(PartKind::Grip).filter(fits).map(|s| s.topology).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::ProcedureKind;
    use crate::quantity::Unit;
    use crate::trace::{Column, Provenance, TraceEnd};

    /// Lines that stand still, as ratios of a supply of 5 V.
    fn standing(first: f32, second: f32) -> Vec<Topology> {
        let column = |channel, volts| Column { channel, unit: Unit::Volt, values: vec![volts; 10] };
        standing_topologies(&Trace {
            provenance: Provenance {
                simulated: true,
                part: "invented".to_owned(),
                recorded_by: "test".to_owned(),
                ..Provenance::bare(ProcedureKind::Flex, 200)
            },
            time_us: (0..10).map(|k| k * 200).collect(),
            columns: vec![
                column(Channel::Rising, 5.0 * first),
                column(Channel::Falling, 5.0 * second),
                column(Channel::Supply, 5.0),
            ],
            gaps: vec![],
            marks: vec![],
            end: TraceEnd::Complete,
        })
    }

    #[test]
    fn lines_that_stand_tell_their_topology_where_only_one_fits() {
        assert_eq!(standing(0.10, 0.90), [Topology::Complementary]);
        assert_eq!(standing(0.60, 0.30), [Topology::HalfSlope]);
        assert_eq!(standing(0.60, 0.55), [Topology::ParallelOffset]);
        assert_eq!(standing(0.60, 0.80), []);
        // At the closed stop of these two kinds both lines stand alike.
        assert_eq!(standing(0.10, 0.05), [Topology::HalfSlope, Topology::ParallelOffset]);
    }
}
