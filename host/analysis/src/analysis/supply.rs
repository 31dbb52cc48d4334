//! The supply that lines are divided by, scan by scan, and the return that they are counted from. It forms no figure.
//!
//! A ratio of supply needs the supply of the same scan: ripple, sag and hum must go out of the ratio. A supply that is logged with
//! noise or steps of its own puts these into the ratio instead. Which of the two it is, the recording itself shows, band by band: where
//! a line moves with what the supply reads, the supply moved; where it does not, that was the supply's noise.
//!
//! - The supply is split into its mean over 5 ms and octave bands above that (differences of centred moving means). In every band the
//!   lines' own content is regressed on the supply's and on its quadrature: the Wiener filter (Wiener 1949) with two taps a band. Lines that
//!   run against one another are regressed by their sum: motion is not in it, and a motor that moves the plate makes the supply sag. The gain
//!   is the share of the band that is real; its phase takes out a time between the channels, or filters that differ. A band that shows
//!   nothing beyond chance counts with nothing: it is then too small to matter.
//! - Where the supply leaves that by far more than it usually does and the lines go along (a sag, a lost contact), the scan's own
//!   reading counts whole. Where the lines do not go along, the supply's reading is at fault and is not believed.
//! - What can't be had is named with its size: steps or noise of the supply that stay in the ratio, a supply logged less often than the lines.

use super::moving_means::{Mixed, Sums};
use super::prepared::SupplySource;
use super::side_by_side;
use super::statistics;
use crate::quantity::Channel;
use crate::sheet::PartSheet;
use crate::trace::Trace;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::Range;

/// Time over which supply and return are averaged at least, µs: slower changes are the supply's.
const WINDOW_US: f64 = 5000.0;
/// Scans on each side that this window has at least, at slow rates.
const LEAST_HALF: usize = 2;
/// Places at which the bands are compared.
const PLACES: usize = 40_000;
/// Places that a comparison needs.
const ENOUGH: usize = 200;
/// A band counts when it explains this many times what chance would (F with two degrees of freedom; 12: chance below 1 in 10⁵).
const CHANCE: f64 = 12.0;
/// Robust standard deviations beyond which a line's content is left out of the comparison: lost contact is no supply.
const OUTLIER: f64 = 5.0;
/// Standard deviations beyond which the supply's own reading of a scan counts, or is not believed.
const EVENT: f64 = 8.0;
/// Largest gain of a band: the lines can't move by more than the supply, but for the noise of the comparison.
const LARGEST_GAIN: f64 = 1.25;
/// Least share of the supply in a sum of the lines that is compared with it.
const LEAST_STAYS: f64 = 0.5;
/// What of the supply's noise stays in a line is named from this on, volts.
const NAMED_VOLTS: f64 = 0.5e-3;
/// A supply is held from so many scans on.
const HELD_SCANS: f64 = 1.5;
/// Steps of the converter that a value that is held goes back and forth by at most.
const CHATTER_STEPS: f64 = 1.5;
/// Shorter runs are counted in an array.
const SHORT_RUNS: usize = 64;
/// Fewest times that a supply is held for, to be distinguished from one that changes rarely.
const FEWEST_RUNS: usize = 10;
/// A time between supply and lines is named from this on, µs.
const NAMED_SKEW_US: f64 = 20.0;
/// A mated contact, Ω: 0 to 20 mΩ when good, the middle is taken off (common practice, no source).
pub const CONTACT_OHM: f64 = 0.01;
/// A return that lies further than this share of the supply from the rig's ground is no drop of a loom: it is not believed.
const LARGEST_LOOM_DROP: f64 = 0.05;
/// A sensor that takes more is broken, and no contact's drop is reckoned from it, amperes. Engineering assumption.
const LARGEST_AMPS: f64 = 0.05;

/// The supply to divide by, and the return to count from, both at the part's plug.
pub(super) struct Supply {
    /// Where it comes from.
    pub source: SupplySource,
    /// Mean at the plug, volts.
    pub mean: f64,
    /// Mean drop of the loom's return, volts.
    pub loom: Option<f64>,
    /// What of the supply's own noise stays in each line, standard deviation, volts.
    pub cost: [f64; 2],
    /// Time by which the lines follow the supply's ripple later than its column, µs; 0 where it is not known.
    pub late_us: f64,
    /// Time from one fresh value to the next, µs; none where every scan has its own.
    pub held_us: Option<f64>,
    /// Standing for each line, volts; one for both where nothing was compared.
    divisor: Option<[Vec<f32>; 2]>,
    ground: Option<Vec<f32>>,
}

impl Supply {
    /// Of a trace; `lines` as recorded, volts.
    pub fn of(
        trace: &Trace,
        sheet: &PartSheet,
        segments: &[Range<usize>],
        period_us: f64,
        warnings: &mut Vec<String>,
    ) -> Self {
        if let Some(volts) = trace.channel(Channel::Supply) {
            match measured(trace, sheet, volts, segments, period_us, warnings) {
                Some(supply) => return supply,
                None => warnings.push("the supply column holds no usable value; it was left out".into()),
            }
        }
        let (source, mean) = match trace.provenance.stated_supply_volts.filter(|v| v.is_finite() && *v > 0.0)
        {
            Some(volts) => (SupplySource::Stated(volts), volts),
            None => (SupplySource::Nominal(sheet.supply_volts), sheet.supply_volts),
        };
        warnings.push(match source {
            SupplySource::Stated(v) => format!("the supply was not recorded; ratios use the stated {v} V"),
            _ => {
                format!("the supply was neither recorded nor stated; ratios use the sheet's nominal {mean} V")
            }
        });
        Self {
            source,
            mean,
            loom: None,
            cost: [0.0; 2],
            late_us: 0.0,
            held_us: None,
            divisor: None,
            ground: None,
        }
    }

    /// A line as a ratio; NaN where there is no supply to form one with. To be asked once of each line: the supply becomes the ratio.
    pub fn take_ratio_of(&mut self, line: usize, volts: &[f32]) -> Vec<f32> {
        // Below a tenth of the mean there is no supply to form a ratio with.
        let least = (0.1 * self.mean) as f32;
        let over = |v: f32, s: f32| if s > least { v / s } else { f32::NAN };
        match (self.divisor.as_mut().map(|d| std::mem::take(&mut d[line])), &self.ground) {
            (Some(mut by), Some(ground)) => {
                by.iter_mut().zip(volts.iter().zip(ground)).for_each(|(s, (v, g))| *s = over(v - g, *s));
                by
            }
            (Some(mut by), None) => {
                by.iter_mut().zip(volts).for_each(|(s, v)| *s = over(*v, *s));
                by
            }
            _ => {
                let factor = (1.0 / self.mean) as f32;
                volts.iter().map(|v| v * factor).collect()
            }
        }
    }
}

/// From a recorded supply; none when it holds no usable value.
fn measured(
    trace: &Trace,
    sheet: &PartSheet,
    volts: &[f32],
    segments: &[Range<usize>],
    period_us: f64,
    warnings: &mut Vec<String>,
) -> Option<Supply> {
    let half = ((0.5 * WINDOW_US / period_us.max(1.0)).floor() as usize).max(LEAST_HALF);
    let filled = filled(volts, segments, 2 * half);
    let sums = Sums::new(Mixed::only(&filled), segments);
    let mut mean = sums.mean_of_means(half).filter(|m| *m > 0.0)?;
    let every = fresh_every(volts, segments);
    let held_us = (every >= HELD_SCANS).then_some(every * period_us);
    if let Some(us) = held_us {
        warnings.push(format!(
            "the supply has a new value every {every:.0} scans only ({:.1} ms): what it does faster than that stays in the lines; log it \
             with the lines",
            us * 1e-3
        ));
    }
    let lines = Channel::SENSORS.map(|c| trace.channel(c).map(Mixed::only));
    let lines = without_motion(trace, sheet).map_or(lines, |still| [Some(still), None]);
    let followed = Followed::new(&filled, &sums, lines, half, period_us);
    followed.say(warnings);
    let late_us = followed.strongest().late_us;
    let mut divisor = followed.divisor;
    let ground = trace.channel(Channel::Ground).map(|g| Sums::new(Mixed::only(g), segments).means(half));
    let loom = ground.as_deref().and_then(finite_mean);
    let believed = loom.filter(|l| l.abs() < LARGEST_LOOM_DROP * mean);
    if loom.is_some() && believed.is_none() {
        warnings.push(format!(
            "the supply return reads {:.2} V against the rig's ground: too much for a loom, it was left out",
            loom.unwrap_or_default()
        ));
    }
    let amps = trace.channel(Channel::SupplyAmps).and_then(finite_mean).unwrap_or(0.0);
    let contact = CONTACT_OHM * amps.clamp(0.0, LARGEST_AMPS);
    let ground = believed.zip(ground).map(|(mean, mut ground)| {
        for g in &mut ground {
            *g = if g.is_finite() { *g } else { mean as f32 } + contact as f32;
        }
        ground
    });
    let loom = believed.map(|mean| mean + contact);
    for by in &mut divisor {
        by.iter_mut().zip(ground.iter().flatten()).for_each(|(s, g)| *s -= 2.0 * *g);
    }
    mean -= 2.0 * loom.unwrap_or(0.0);
    let (source, cost) = (SupplySource::Measured, followed.cost);
    Some(Supply { source, mean, loom, cost, late_us, held_us, divisor: Some(divisor), ground })
}

/// Both lines added so that motion goes out; none where little of the supply would stay.
fn without_motion<'a>(trace: &'a Trace, sheet: &PartSheet) -> Option<Mixed<'a>> {
    let [Some(first), Some(second)] = Channel::SENSORS.map(|c| trace.channel(c)) else { return None };
    let (a, b) = (sheet.rising, sheet.falling);
    let by = -(a.open - a.closed) / (b.open - b.closed);
    let stays = a.closed + by * b.closed;
    (by.is_finite() && stays.abs() >= LEAST_STAYS).then(|| Mixed::only(first).with(by as f32, second))
}

/// Holes of a supply that is logged less often than the lines, filled along a straight line; longer ones stay.
fn filled<'a>(volts: &'a [f32], segments: &[Range<usize>], longest: usize) -> Cow<'a, [f32]> {
    if volts.iter().all(|v| v.is_finite()) {
        return Cow::Borrowed(volts);
    }
    let mut out = volts.to_vec();
    for segment in segments {
        let mut last: Option<usize> = None;
        for i in segment.clone() {
            if !volts[i].is_finite() {
                continue;
            }
            if let Some(from) = last.filter(|from| i > from + 1 && i - from <= longest) {
                let step = (volts[i] - volts[from]) / (i - from) as f32;
                (from + 1..i).for_each(|k| out[k] = volts[from] + step * (k - from) as f32);
            }
            last = Some(i);
        }
    }
    Cow::Owned(out)
}

/// Scans from one fresh value of a supply to the next; 1 where every scan has its own, or where too little changes to show.
fn fresh_every(volts: &[f32], segments: &[Range<usize>]) -> f64 {
    let total: usize = segments.iter().map(ExactSizeIterator::len).sum();
    let known = volts.iter().filter(|v| v.is_finite()).count();
    if total < ENOUGH || known == 0 {
        return 1.0;
    }
    let holes = total as f64 / known as f64;
    let step = statistics::quantum(volts);
    // A value that is held may still go back and forth by a step of the converter.
    [0.0, CHATTER_STEPS * step]
        .into_iter()
        .filter_map(|least| held(volts, segments, least))
        .fold(holes, f64::max)
}

/// Scans for which values are held, when they are; a change by no more than `least` is none. A value that is held changes at every n-th scan
/// only: runs of one length, and longer ones by chance. Changes by chance follow each other as closely as they like.
fn held(volts: &[f32], segments: &[Range<usize>], least: f64) -> Option<f64> {
    // How many runs of each length: there may be as many runs as scans.
    let mut runs: BTreeMap<usize, usize> = BTreeMap::new();
    let mut short = [0usize; SHORT_RUNS];
    for segment in segments {
        let mut start = None;
        for i in segment.start + 1..segment.end {
            if f64::from((volts[i] - volts[i - 1]).abs()) > least {
                match start.map(|s: usize| i - s) {
                    Some(length) if length < SHORT_RUNS => short[length] += 1,
                    Some(length) => *runs.entry(length).or_default() += 1,
                    None => {}
                }
                start = Some(i);
            }
        }
    }
    runs.extend(short.into_iter().enumerate().filter(|(_, count)| *count > 0));
    let count: usize = runs.values().sum();
    let usual = median_run(&runs, count)?;
    let is_short = |length: usize| (length as f64) < usual && (length as f64) < (0.5 * usual).max(2.0);
    let short: usize = runs.iter().filter(|(length, _)| is_short(**length)).map(|(_, count)| count).sum();
    (count >= FEWEST_RUNS && usual >= 2.0 && short * 20 <= count).then_some(usual)
}

/// Median length of so many runs, counted by length; none without any.
fn median_run(runs: &BTreeMap<usize, usize>, count: usize) -> Option<f64> {
    let nth = |n: usize| {
        let mut up_to = 0;
        let mut lengths = runs.iter();
        lengths.find(|(_, count)| {
            up_to += **count;
            up_to > n
        })
    };
    let (low, high) = (nth(count.checked_sub(1)? / 2)?.0, nth(count / 2)?.0);
    Some(0.5 * (*low as f64 + *high as f64))
}

/// One octave of the supply, between two moving means.
#[derive(Clone, Copy)]
struct Band {
    inner: usize,
    outer: usize,
}

impl Band {
    /// From single scans up to means over `half` on each side.
    fn all(half: usize) -> Vec<Self> {
        let (mut inner, mut out) = (0, Vec::new());
        while inner < half {
            let outer = (2 * inner).max(1).min(half);
            out.push(Self { inner, outer });
            inner = outer;
        }
        out
    }

    /// Scans by which the quadrature looks to either side.
    fn delay(self) -> usize {
        self.inner.max(1)
    }

    fn at(self, sums: &Sums<'_>, segment: &Range<usize>, i: usize) -> f64 {
        let narrow = f64::from(sums.at(segment, i, self.inner));
        narrow - f64::from(sums.at(segment, i, self.outer))
    }

    /// The band at a scan, and its quadrature.
    fn pair(self, sums: &Sums<'_>, segment: &Range<usize>, i: usize) -> (f64, f64) {
        let before = i.saturating_sub(self.delay()).max(segment.start);
        let after = (i + self.delay()).min(segment.end - 1);
        (self.at(sums, segment, i), 0.5 * (self.at(sums, segment, before) - self.at(sums, segment, after)))
    }
}

/// How a line follows one band of the supply.
#[derive(Clone, Copy, Default)]
struct Gain {
    /// In phase, and in quadrature.
    by: [f64; 2],
    /// What remains of the supply's noise, and of what the gain does not pass: variance, V².
    cost: f64,
    /// How much of the line's variance it explains, V².
    explained: f64,
    /// Time by which the line is later than the supply, µs.
    late_us: f64,
    /// Standard error of that, µs.
    late_error_us: f64,
}

impl Gain {
    /// Least squares of (y, x, q) with its test; none of it where chance would do as much.
    fn fit(rows: &mut Vec<[f64; 3]>, like: f64, delay_us: f64) -> Self {
        rows.retain(|r| r.iter().all(|v| v.is_finite()));
        let mut sizes: Vec<f64> = rows.iter().map(|r| r[0]).collect();
        let Some(spread) = statistics::robust_sd(&mut sizes) else { return Self::default() };
        if spread > 0.0 {
            rows.retain(|r| r[0].abs() <= OUTLIER * spread);
        }
        let n = rows.len();
        let sum = |f: &dyn Fn(&[f64; 3]) -> f64| rows.iter().map(f).sum::<f64>();
        let (xx, xq, qq) = (sum(&|r| r[1] * r[1]), sum(&|r| r[1] * r[2]), sum(&|r| r[2] * r[2]));
        let (xy, qy, yy) = (sum(&|r| r[0] * r[1]), sum(&|r| r[0] * r[2]), sum(&|r| r[0] * r[0]));
        let determinant = xx * qq - xq * xq;
        if n < ENOUGH || determinant <= 1e-9 * xx * qq {
            return Self::default();
        }
        let by = [(xy * qq - qy * xq) / determinant, (qy * xx - xy * xq) / determinant];
        let explained = by[0] * xy + by[1] * qy;
        let noise = ((yy - explained) / (n - 2) as f64).max(f64::MIN_POSITIVE);
        if explained < 2.0 * CHANCE * noise {
            return Self::default();
        }
        // cos ωδ from the band's resemblance to itself.
        let turn = like.clamp(-0.999, 0.999).acos();
        let (real, imaginary) = (by[0], by[1] * turn.sin());
        let late_us = imaginary.atan2(real) / turn * delay_us;
        let size = real.hypot(imaginary);
        let late_error_us = (noise * xx / determinant).sqrt() * turn.sin() / size.max(1e-6) / turn * delay_us;
        let short = (LARGEST_GAIN / size).min(1.0);
        let share = size.min(1.0);
        let cost = share * (1.0 - share) * xx / n as f64;
        Self { by: by.map(|b| b * short), cost, explained: explained / n as f64, late_us, late_error_us }
    }
}

/// The supply as the lines follow it.
struct Followed {
    divisor: [Vec<f32>; 2],
    cost: [f64; 2],
    strongest: [Gain; 2],
    /// Scans whose reading of the supply was not believed.
    disbelieved: usize,
}

impl Followed {
    fn new(
        volts: &[f32],
        sums: &Sums<'_>,
        lines: [Option<Mixed<'_>>; 2],
        half: usize,
        period_us: f64,
    ) -> Self {
        let of_lines = side_by_side::each(lines.to_vec(), |l| l.map(|l| Sums::new(l, sums.segments)));
        let bands = Band::all(half);
        let places = places(sums.segments);
        let fitted = side_by_side::each(bands.clone(), |band| {
            let seen: Vec<(f64, f64)> = places.iter().map(|(s, i)| band.pair(sums, s, *i)).collect();
            let like = resemblance(band, sums, &places, &seen);
            [0, 1].map(|line| {
                let Some(of_line) = &of_lines[line] else { return Gain::default() };
                let row = |((s, i), (x, q)): (&(&Range<usize>, usize), &(f64, f64))| {
                    let share = f64::from(of_line.at(s, *i, half)) / f64::from(sums.at(s, *i, half));
                    [band.at(of_line, s, *i), share * x, share * q]
                };
                let mut rows: Vec<[f64; 3]> = places.iter().zip(&seen).map(row).collect();
                Gain::fit(&mut rows, like, band.delay() as f64 * period_us)
            })
        });
        let mut gains = [0, 1].map(|line| fitted.iter().map(|of_band| of_band[line]).collect::<Vec<_>>());
        if of_lines[1].is_none() {
            gains[1] = gains[0].clone();
        }
        let mut divisor = divisors(volts.len(), sums, half, &bands, &gains);
        // A line that was not recorded, or shows nothing, is not divided by less than the other.
        let cost = [0, 1].map(|l| gains[l].iter().map(|g| g.cost).sum::<f64>().sqrt());
        let strongest = gains
            .map(|g| g.into_iter().max_by(|a, b| a.explained.total_cmp(&b.explained)).unwrap_or_default());
        let disbelieved = take_events(&mut divisor, volts, sums, lines, &of_lines, half);
        Self { divisor, cost, strongest, disbelieved }
    }

    /// The band that explains most of either line.
    fn strongest(&self) -> Gain {
        let [a, b] = self.strongest;
        if b.explained > a.explained { b } else { a }
    }

    fn say(&self, warnings: &mut Vec<String>) {
        let cost = self.cost[0].max(self.cost[1]);
        if cost >= NAMED_VOLTS {
            warnings.push(format!(
                "the supply was logged with noise or steps of its own while it moved: up to {:.1} mV of that remain in the lines; log it as \
                 finely as the lines",
                1000.0 * cost
            ));
        }
        let g = self.strongest();
        if g.late_us.abs() > NAMED_SKEW_US.max(4.0 * g.late_error_us) {
            warnings.push(format!(
                "the lines follow the supply's ripple {:.0} +- {:.0} us {} than the supply's own column: that time was taken out",
                g.late_us.abs(),
                2.0 * g.late_error_us,
                if g.late_us > 0.0 { "later" } else { "earlier" }
            ));
        }
        if self.disbelieved > 0 {
            warnings.push(format!(
                "{} readings of the supply jumped while no line went along: a fault of that channel, they were not believed",
                self.disbelieved
            ));
        }
    }
}

/// Up to [`PLACES`] scans with their segment, evenly over all.
fn places(segments: &[Range<usize>]) -> Vec<(&Range<usize>, usize)> {
    let total: usize = segments.iter().map(ExactSizeIterator::len).sum();
    // An odd step, so that no even period of a ripple hides between the places.
    let every = (total / PLACES).max(1) | 1;
    segments.iter().flat_map(|s| s.clone().step_by(every).map(move |i| (s, i))).collect()
}

/// cos ωδ of a band: how much it resembles itself one delay on.
fn resemblance(band: Band, sums: &Sums<'_>, places: &[(&Range<usize>, usize)], seen: &[(f64, f64)]) -> f64 {
    let (mut own, mut next) = (0.0, 0.0);
    for ((segment, i), (x, _)) in places.iter().zip(seen) {
        let on = band.at(sums, segment, (i + band.delay()).min(segment.end - 1));
        if x.is_finite() && on.is_finite() {
            own += x * x;
            next += x * on;
        }
    }
    if own > 0.0 { next / own } else { 0.0 }
}

/// The smoothed supply, and to it for each line what that line follows of every band.
fn divisors(
    scans: usize,
    sums: &Sums<'_>,
    half: usize,
    bands: &[Band],
    gains: &[Vec<Gain>; 2],
) -> [Vec<f32>; 2] {
    let mut out = [vec![f32::NAN; scans], vec![f32::NAN; scans]];
    let (mut tasks, mut at) = (Vec::new(), 0);
    let [mut first, mut second] = out.each_mut().map(Vec::as_mut_slice);
    for (segment, piece) in sums.pieces() {
        let lengths = (piece.start - at, piece.len());
        let [a, b] = [&mut first, &mut second].map(|rest| {
            let (own, behind) = std::mem::take(rest)[lengths.0..].split_at_mut(lengths.1);
            *rest = behind;
            own
        });
        at = piece.end;
        tasks.push((segment, piece, [a, b]));
    }
    // A band looks its delay to either side, and there as far as its outer mean.
    let reach = 2 * half + 2;
    side_by_side::each(tasks, |(segment, piece, mut out)| {
        let start = piece.start;
        let mut of_band = Vec::new();
        sums.windows(&segment, piece, reach, |range, window| {
            for i in range.clone() {
                let smooth = window.at(i, half);
                out.iter_mut().for_each(|out| out[i - start] = smooth);
            }
            for (k, band) in bands.iter().enumerate() {
                let turned = |line: usize| gains[line][k].by;
                if (0..2).all(|line| turned(line) == [0.0; 2]) {
                    continue;
                }
                let delay = band.delay();
                let from = range.start.saturating_sub(delay).max(segment.start);
                let to = (range.end + delay).min(segment.end);
                of_band.clear();
                of_band.extend((from..to).map(|i| {
                    let narrow = f64::from(window.at(i, band.inner));
                    (narrow - f64::from(window.at(i, band.outer))) as f32
                }));
                for line in (0..2).filter(|line| turned(*line) != [0.0; 2]) {
                    let [by, turned] = turned(line).map(|b| b as f32);
                    for i in range.clone() {
                        let before = of_band[i.saturating_sub(delay).max(segment.start) - from];
                        let after = of_band[(i + delay).min(segment.end - 1) - from];
                        let add = by * of_band[i - from] + turned * 0.5 * (before - after);
                        out[line][i - start] += if add.is_finite() { add } else { 0.0 };
                    }
                }
            }
        });
    });
    out
}

/// Stretches in which the supply's reading is further than `near` from its mean over 5 ms, each with its segment.
fn stretches_away(
    volts: &[f32],
    sums: &Sums<'_>,
    half: usize,
    near: f32,
) -> Vec<(Range<usize>, Range<usize>)> {
    let parts = side_by_side::each(sums.pieces(), |(segment, piece)| {
        let mut runs: Vec<(Range<usize>, Range<usize>)> = Vec::new();
        sums.windows(&segment, piece, half + 1, |range, window| {
            for i in range.filter(|i| (volts[*i] - window.at(*i, half)).abs() > near) {
                match runs.last_mut().filter(|(_, run)| run.end == i) {
                    Some((_, run)) => run.end = i + 1,
                    None => runs.push((segment.clone(), i..i + 1)),
                }
            }
        });
        runs
    });
    let mut all: Vec<(Range<usize>, Range<usize>)> = Vec::new();
    for (segment, run) in parts.into_iter().flatten() {
        match all.last_mut().filter(|(of, last)| last.end == run.start && *of == segment) {
            Some((_, last)) => last.end = run.end,
            None => all.push((segment, run)),
        }
    }
    all
}

/// Where the supply's reading leaves what was made of it by far: its own reading where the lines go along. Returns how many did not.
fn take_events(
    divisor: &mut [Vec<f32>; 2],
    volts: &[f32],
    sums: &Sums<'_>,
    lines: [Option<Mixed<'_>>; 2],
    of_lines: &[Option<Sums<'_>>],
    half: usize,
) -> usize {
    let every = (volts.len() / PLACES).max(1);
    let mut away: Vec<f64> = volts
        .iter()
        .zip(&divisor[0])
        .step_by(every)
        .map(|(v, d)| f64::from(v - d))
        .filter(|v| v.is_finite())
        .collect();
    let usual = statistics::robust_sd(&mut away).unwrap_or(0.0).max(statistics::quantum(volts)).max(1e-5);
    let (near, far) = ((4.0 * usual) as f32, (EVENT * usual) as f32);
    let mut disbelieved = 0;
    // A stretch away from the mean over 5 ms: its flanks lie off because the mean holds the event.
    for (segment, stretch) in stretches_away(volts, sums, half, near) {
        if stretch.clone().all(|k| (0..2).all(|l| (volts[k] - divisor[l][k]).abs() <= far)) {
            continue;
        }
        let smooth = |k: usize| sums.at(&segment, k, half);
        let (mut follows, mut asked) = (0.0, 0.0);
        for k in stretch.clone() {
            for (line, of_line) in lines.iter().zip(of_lines) {
                let (Some(line), Some(of_line)) = (line, of_line) else { continue };
                let level = f64::from(of_line.at(&segment, k, half));
                let predicted = level / f64::from(smooth(k)) * f64::from(volts[k] - smooth(k));
                let moved = f64::from(line.at(k)) - level;
                if predicted.is_finite() && moved.is_finite() {
                    follows += moved * predicted;
                    asked += predicted * predicted;
                }
            }
        }
        if follows > 0.5 * asked {
            for k in stretch {
                divisor.iter_mut().for_each(|d| d[k] = volts[k]);
            }
        } else {
            disbelieved += stretch.clone().filter(|k| (volts[*k] - smooth(*k)).abs() > far).count();
            bridge(divisor, smooth, &segment, stretch);
        }
    }
    disbelieved
}

/// A stretch whose readings are not believed: a straight line between what stood before and after it.
fn bridge(
    divisor: &mut [Vec<f32>; 2],
    smooth: impl Fn(usize) -> f32,
    segment: &Range<usize>,
    stretch: Range<usize>,
) {
    let before = (stretch.start > segment.start).then(|| smooth(stretch.start - 1));
    let after = (stretch.end < segment.end).then(|| smooth(stretch.end));
    let (Some(from), Some(to)) = (before.or(after), after.or(before)) else { return };
    let step = (to - from) / stretch.len() as f32;
    for (n, k) in stretch.enumerate() {
        divisor.iter_mut().for_each(|d| d[k] = from + step * (n as f32 + 0.5));
    }
}

/// Mean of the finite values; none without any.
pub(super) fn finite_mean(values: &[f32]) -> Option<f64> {
    let (mut n, mut sum) = (0u64, 0.0);
    for v in values.iter().filter(|v| v.is_finite()) {
        n += 1;
        sum += f64::from(*v);
    }
    (n > 0).then(|| sum / n as f64)
}

#[cfg(test)]
#[path = "supply_tests.rs"]
mod tests;
