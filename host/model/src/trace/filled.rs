//! A recording on an even clock although scans of it were lost: each lost scan gets its time and no value. It decides nothing.

use super::{Column, Gap, Trace};
use std::borrow::Cow;

/// Longer holes stay holes, µs: what went on in them is not known from their edges.
const LONGEST_US: u64 = 200_000;

impl Trace {
    /// The same with a scan without values (NaN) for each that was lost on the way from the rig, so that samples can be counted as time. Holes
    /// longer than 0.2 s, and those of files and supplies, stay as they are. Itself where there is none to fill.
    pub fn filled(&self) -> Cow<'_, Self> {
        let fills = |gap: &Gap| {
            let spans = gap.to_us.saturating_sub(gap.from_us);
            gap.cause.is_on_the_way()
                && spans <= LONGEST_US
                && (1..self.len()).contains(&gap.index)
                && (1..spans).contains(&gap.scans)
        };
        if !self.gaps.iter().any(fills) {
            return Cow::Borrowed(self);
        }
        let mut out = Self {
            time_us: Vec::with_capacity(self.len()),
            columns: self
                .columns
                .iter()
                .map(|c| Column { values: Vec::with_capacity(self.len()), ..*c })
                .collect(),
            gaps: Vec::with_capacity(self.gaps.len()),
            provenance: self.provenance.clone(),
            marks: self.marks.clone(),
            end: self.end,
        };
        let mut done = 0;
        for gap in &self.gaps {
            let next = gap.index.clamp(done, self.len());
            out.append(self, done..next);
            done = next;
            if fills(gap) {
                out.append_lost(gap);
            }
            out.gaps.push(Gap { index: out.len(), ..*gap });
        }
        out.append(self, done..self.len());
        Cow::Owned(out)
    }

    fn append(&mut self, from: &Self, scans: std::ops::Range<usize>) {
        self.time_us.extend(from.time_us.get(scans.clone()).unwrap_or(&[]));
        for (column, values) in self.columns.iter_mut().zip(&from.columns) {
            column.values.extend(values.values.get(scans.clone()).unwrap_or(&[]));
        }
    }

    fn append_lost(&mut self, gap: &Gap) {
        let step = (gap.to_us - gap.from_us) as f64 / (gap.scans + 1) as f64;
        self.time_us.extend((1..=gap.scans).map(|k| gap.from_us + (step * k as f64).round() as u64));
        for column in &mut self.columns {
            column.values.resize(self.time_us.len(), f32::NAN);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::ProcedureKind;
    use crate::quantity::{Channel, Unit};
    use crate::trace::{GapCause, Provenance, TraceEnd};

    /// Ten scans 1 ms apart, of which `lost` are missing.
    fn lacking(lost: std::ops::Range<u64>, cause: GapCause) -> Trace {
        let kept = || (0..10u64).filter(|k| !lost.contains(k));
        let gap = Gap {
            index: lost.start as usize,
            from_us: 1_000 * (lost.start - 1),
            to_us: 1_000 * lost.end,
            scans: lost.end - lost.start,
            cause,
        };
        Trace {
            provenance: Provenance::bare(ProcedureKind::Creep, 1_000),
            time_us: kept().map(|k| 1_000 * k).collect(),
            columns: vec![Column {
                channel: Channel::Rising,
                unit: Unit::Volt,
                values: kept().map(|k| k as f32).collect(),
            }],
            gaps: vec![gap],
            marks: Vec::new(),
            end: TraceEnd::Complete,
        }
    }

    #[test]
    fn lost_scans_get_their_time_and_no_value() {
        let trace = lacking(4..7, GapCause::Line);
        let filled = trace.filled();
        assert_eq!(filled.time_us, (0..10).map(|k| 1_000 * k).collect::<Vec<u64>>());
        let values = &filled.columns[0].values;
        assert!((0..10).all(|k| if (4..7).contains(&k) {
            values[k].is_nan()
        } else {
            values[k] == k as f32
        }));
        assert_eq!((filled.gaps[0].index, filled.gaps[0].scans), (7, 3), "the first scan after them");
    }

    #[test]
    fn holes_of_a_file_and_whole_recordings_stay_as_they_are() {
        let file = lacking(4..7, GapCause::File);
        assert_eq!(*file.filled(), file);
        let whole = Trace { gaps: Vec::new(), ..lacking(4..7, GapCause::Line) };
        assert!(matches!(whole.filled(), Cow::Borrowed(_)));
    }
}
