//! What was searched, and small copies of it in which losses can be planted and searched for in the same way. It states nothing.

use super::detect::{self, Series, Shown};
use super::{EDGE_SHARE, FASTEST_DEG_S, MOTION_SHARE, Pair, edge_scans};
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::sheet::PartSheet;
use std::ops::Range;

/// The lines that were searched, and how.
pub(super) struct Watched<'a> {
    prepared: &'a Prepared<'a>,
    sheet: &'a PartSheet,
    lines: &'a [(usize, &'a [f32])],
    runs: &'a [Range<usize>],
    /// Both lines together, where there are two.
    pair: Option<&'a Pair<'a>>,
    /// Noise of what was searched, one standard deviation.
    sigma: f64,
}

impl<'a> Watched<'a> {
    pub(super) fn new(
        prepared: &'a Prepared<'a>,
        sheet: &'a PartSheet,
        lines: &'a [(usize, &'a [f32])],
        runs: &'a [Range<usize>],
        pair: Option<&'a Pair<'a>>,
        sigma: f64,
    ) -> Self {
        Self { prepared, sheet, lines, runs, pair, sigma }
    }

    pub(super) fn prepared(&self) -> &'a Prepared<'a> {
        self.prepared
    }

    pub(super) fn runs(&self) -> &'a [Range<usize>] {
        self.runs
    }

    /// The lines' numbers.
    pub(super) fn lines(&self) -> Vec<usize> {
        self.lines.iter().map(|(k, _)| *k).collect()
    }

    /// A copy of a few scans.
    pub(super) fn copy(&self, scans: Range<usize>) -> Copy {
        let deg = self.prepared.deg.get(scans.clone()).unwrap_or_default().to_vec();
        let lines = self.lines.iter().map(|(k, line)| (*k, line[scans.clone()].to_vec())).collect();
        Copy { lines, deg }
    }
}

/// A few scans of the lines that can be changed.
pub(super) struct Copy {
    lines: Vec<(usize, Vec<f32>)>,
    deg: Vec<f32>,
}

impl Copy {
    /// A line by its number; an empty one where it was not searched.
    pub(super) fn line_mut(&mut self, index: usize) -> &mut [f32] {
        match self.lines.iter_mut().find(|(k, _)| *k == index) {
            Some((_, line)) => line,
            None => &mut [],
        }
    }

    /// Scans of every excursion that the search finds.
    pub(super) fn search(&self, watched: &Watched<'_>) -> Vec<Range<usize>> {
        let (prepared, sheet) = (watched.prepared, watched.sheet);
        let find = |series: &Series<'_>| -> Vec<Range<usize>> {
            let whole = 0..series.values.len();
            detect::search(series, std::slice::from_ref(&whole), watched.sigma)
                .into_iter()
                .map(|e| e.samples)
                .collect()
        };
        match (self.lines.as_slice(), watched.pair) {
            ([(_, first), (_, second)], Some(pair)) => {
                let residual = pair.residual_of(first, second);
                of_pair(prepared, sheet, pair.slope, [first, second], &residual, &self.deg, find)
            }
            ([(index, line)], _) => {
                let values = detrended(prepared, sheet, *index, line, &self.deg);
                of_line(prepared, sheet, *index, line, values.as_deref().unwrap_or(line), &self.deg, find)
            }
            _ => Vec::new(),
        }
    }
}

/// The series of both lines' residual, with what motion may show in it.
pub(super) fn of_pair<T>(
    prepared: &Prepared<'_>,
    sheet: &PartSheet,
    slope: f64,
    [first, second]: [&[f32]; 2],
    residual: &[f32],
    deg: &[f32],
    then: impl FnOnce(&Series<'_>) -> T,
) -> T {
    let m = slope.abs() as f32;
    let nominal = (sheet.rising.open - sheet.rising.closed).abs() / sheet.travel_deg;
    // The most that motion can change a line by from scan to scan, ratio.
    let fastest = nominal * FASTEST_DEG_S * prepared.period_us * 1e-6;
    let lines = |share| [(first, share * m), (second, share)].map(|(by, share)| Shown { by, share, fastest });
    let (motion, by_lines) = (lines(MOTION_SHARE), lines(EDGE_SHARE));
    let by_angle = [Shown { by: deg, share: EDGE_SHARE * m * nominal as f32, fastest: f64::INFINITY }];
    let referenced = prepared.angle_source == AngleSource::Reference;
    then(&Series {
        values: residual,
        moves: false,
        floor: 0.0,
        motion: &motion,
        edges: if referenced { &by_angle } else { &by_lines },
        edge_scans: edge_scans(prepared),
        rails: &[first, second],
    })
}

/// A line less what its sheet makes of the reference; none without one.
pub(super) fn detrended(
    prepared: &Prepared<'_>,
    sheet: &PartSheet,
    index: usize,
    line: &[f32],
    deg: &[f32],
) -> Option<Vec<f32>> {
    let slope = sheet.slope(index) as f32;
    (prepared.angle_source == AngleSource::Reference)
        .then(|| line.iter().zip(deg).map(|(r, d)| r - slope * d).collect())
}

/// The series of one line without its partner.
pub(super) fn of_line<T>(
    prepared: &Prepared<'_>,
    sheet: &PartSheet,
    index: usize,
    line: &[f32],
    values: &[f32],
    deg: &[f32],
    then: impl FnOnce(&Series<'_>) -> T,
) -> T {
    let slope = sheet.slope(index).abs();
    let referenced = prepared.angle_source == AngleSource::Reference;
    let shown = |share: f32| [Shown { by: deg, share: share * slope as f32, fastest: f64::INFINITY }];
    let (near, edges) = (shown(MOTION_SHARE), shown(EDGE_SHARE));
    then(&Series {
        values,
        moves: !referenced,
        floor: if referenced { 0.0 } else { slope * FASTEST_DEG_S * prepared.period_us * 1e-6 },
        motion: if referenced { &near } else { &[] },
        edges: if referenced { &edges } else { &[] },
        edge_scans: edge_scans(prepared),
        rails: &[line],
    })
}
