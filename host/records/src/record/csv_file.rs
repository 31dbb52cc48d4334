//! A trace from the CSV of any other logger. Nothing is guessed in silence: what was assumed comes back as a warning.

use super::csv_blocks::{Source as TextSource, Text};
use super::csv_error::{CsvError, CsvWarning};
use super::csv_map::{ColumnName, CsvMap, Target, parse_map};
use super::csv_numbers::{Numbers, Taken, Values, Wanted};
use super::csv_table::{Layout, Unit as CellUnit, clip};
use super::csv_time::{LineOf, TimeColumn, Times, at_rate, few, from_column, unit_us, unknown};
use super::parquet_file::{column_name, column_unit};
use crate::quantity::{Channel, ProcedureKind, Unit};
use crate::trace::{ChannelProvenance, Column, Gap, GapCause, Provenance, Trace, TraceEnd};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// Volts that a sensor line or its supply can have on a bench.
const VOLTS: RangeInclusive<f64> = -1.0..=16.0;

/// What the user says about a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CsvOptions {
    /// Which column is what; without it the headers must name the channels.
    pub map: Option<String>,
    /// Sensor supply where none was logged, volts.
    pub supply_volts: Option<f64>,
    /// Scans per second where no time was logged, Hz.
    pub rate_hz: Option<f64>,
    /// Unit of the time column: s, ms, us or ns.
    pub time_unit: Option<String>,
    /// The part in the user's words.
    pub part: Option<String>,
    /// The host's date and time, RFC 3339.
    pub started: String,
}

/// A column of the file that is used.
struct Source {
    target: Target,
    /// From 0.
    index: usize,
    unit: Option<CellUnit>,
    header: String,
}

impl Source {
    /// What is read of it: times as they stand, samples in the trace's units.
    fn wanted(&self) -> Wanted {
        let taken = match self.target {
            Target::Time => Taken::Exactly,
            Target::Channel(channel) => {
                let unit = column_unit(channel);
                Taken::Times(factor(self.unit, unit), (unit == Unit::Volt).then_some(VOLTS))
            }
        };
        Wanted { index: self.index, taken }
    }
}

/// Reads the bytes of a CSV file. `name` is the file's name without its folder.
///
/// # Errors
/// Says in which line or column what is wrong, and what to do.
pub fn csv_trace(
    bytes: &[u8],
    name: &str,
    options: &CsvOptions,
) -> Result<(Trace, Vec<CsvWarning>), CsvError> {
    csv_trace_from(TextSource::Memory(bytes), name, options)
}

/// Reads a CSV file from wherever it lies, as [`csv_trace`] does.
///
/// # Errors
/// As [`csv_trace`]; and when the file can't be read to its end.
pub(super) fn csv_trace_from(
    source: TextSource<'_>,
    name: &str,
    options: &CsvOptions,
) -> Result<(Trace, Vec<CsvWarning>), CsvError> {
    check_options(options)?;
    let mut text = Text::open(source)?;
    let sources = sources(&text.layout, options)?;
    let wanted: Vec<Wanted> = sources.iter().map(Source::wanted).collect();
    let mut numbers = text.numbers(&wanted)?;
    let line = |row: usize| text.line_of(row, &wanted);
    let mut warnings = vec![CsvWarning::NotCalibrated];
    check_cells(&numbers, &sources, &text.layout, &mut warnings)?;
    let mut times = times(&mut numbers, &sources, options, &line, &mut warnings)?;
    let columns = columns(&mut numbers, &sources, &times, &line, &mut warnings)?;
    times.gaps = missing_data(&times, &numbers, &columns);
    if !times.gaps.is_empty() {
        let scans = times.gaps.iter().map(|g| g.scans).fold(0, u64::saturating_add);
        warnings.push(CsvWarning::Gaps { count: times.gaps.len(), scans });
    }
    let logged = columns.iter().any(|c| c.channel == Channel::Supply);
    if logged && options.supply_volts.is_some() {
        warnings.push(CsvWarning::SupplyLogged);
    }
    let provenance = Provenance {
        procedure: ProcedureKind::Import,
        simulated: false,
        rig: None,
        channels: columns.iter().map(|c| uncalibrated(c.channel)).collect(),
        part: options.part.clone().unwrap_or_default(),
        started: options.started.clone(),
        period_us: times.period_us,
        reference_zero_deg: 0.0,
        sweep: None,
        file: Some(name.to_owned()),
        stated_supply_volts: options.supply_volts.filter(|_| !logged),
        recorded_by: concat!("trackpair ", env!("CARGO_PKG_VERSION")).to_owned(),
        time_known: times.known,
        program: Vec::new(),
        plate: None,
        mapping: Vec::new(),
        places: Vec::new(),
        plan: Vec::new(),
        link: None,
        refused: Vec::new(),
    };
    let trace = Trace {
        provenance,
        time_us: times.time_us,
        columns,
        gaps: times.gaps,
        marks: vec![],
        end: TraceEnd::Complete,
    };
    Ok((trace, warnings))
}

fn check_options(options: &CsvOptions) -> Result<(), CsvError> {
    if let Some(given) = options.supply_volts.filter(|v| !(1.0..=16.0).contains(v)) {
        return Err(CsvError::SupplyRange { given });
    }
    if let Some(given) = options.rate_hz.filter(|r| !(1.0..=1e6).contains(r)) {
        return Err(CsvError::RateRange { given });
    }
    options.time_unit.as_deref().map(unit_us).transpose().map(|_| ())
}

fn uncalibrated(channel: Channel) -> ChannelProvenance {
    ChannelProvenance {
        channel,
        scale: 1.0,
        offset: 0.0,
        resolution: 0.0,
        filter_us: 0,
        gain_uncertainty: 0.0,
        offset_uncertainty: 0.0,
        calibrated_day: 0,
        certificate: String::new(),
    }
}

/// Which columns are used: the mapped ones, or those whose headers name a channel; and a time column when there is one.
fn sources(layout: &Layout, options: &CsvOptions) -> Result<Vec<Source>, CsvError> {
    let mut pairs = match &options.map {
        Some(text) => mapped(&parse_map(text)?, layout)?,
        None => named(layout),
    };
    if pairs.is_empty() {
        return Err(CsvError::NoMap { columns: columns_seen(layout) });
    }
    if !pairs.iter().any(|(t, _)| matches!(t, Target::Channel(c) if Channel::SENSORS.contains(c))) {
        return Err(CsvError::NoSensor);
    }
    if pairs.iter().all(|(t, _)| *t != Target::Channel(Channel::Supply)) && options.supply_volts.is_none() {
        return Err(CsvError::NoSupply);
    }
    let timed = pairs.iter().any(|(t, _)| *t == Target::Time);
    if !timed && options.rate_hz.is_none() {
        let free = |k: &usize| pairs.iter().all(|(_, used)| used != k);
        let found = (0..layout.headers.len()).find(|k| free(k) && is_time_name(&layout.headers[*k]));
        pairs.extend(found.map(|k| (Target::Time, k)));
    }
    let unit_of = |k: usize| {
        let below = layout.units.get(k).and_then(|u| CellUnit::from_word(u));
        below.or_else(|| layout.headers.get(k).and_then(|h| CellUnit::of_header(h)))
    };
    let header = |k: usize| layout.headers.get(k).map_or_else(|| format!("number {}", k + 1), |h| clip(h));
    let source = |(target, index)| Source { target, index, unit: unit_of(index), header: header(index) };
    Ok(pairs.into_iter().map(source).collect())
}

/// The columns of a map, each found and each used once.
fn mapped(map: &CsvMap, layout: &Layout) -> Result<Vec<(Target, usize)>, CsvError> {
    let mut pairs: Vec<(Target, usize)> = Vec::new();
    for (target, name) in map {
        let index = find(name, layout)?;
        if let Some((other, _)) = pairs.iter().find(|(_, k)| *k == index) {
            return Err(CsvError::SameColumn {
                column: index + 1,
                first: other.name(),
                second: target.name(),
            });
        }
        pairs.push((*target, index));
    }
    Ok(pairs)
}

/// The voltage that was written in place of a column: `5V`.
fn volts(name: &ColumnName) -> Option<f64> {
    let ColumnName::Header(text) = name else { return None };
    let number = text.trim().strip_suffix(['V', 'v'])?;
    number.trim().parse::<f64>().ok().filter(|v| v.is_finite())
}

/// The place of a named column, from 0.
fn find(name: &ColumnName, layout: &Layout) -> Result<usize, CsvError> {
    let missing = || CsvError::NoColumn {
        given: name.clone(),
        separator: match layout.separator {
            b'\t' => "tab",
            b';' => "semicolon",
            _ => "comma",
        },
        columns: columns_seen(layout),
        instead: volts(name)
            .map_or(String::new(), |v| format!("; for a fixed supply of {v} V give --supply {v}")),
    };
    let wanted = match name {
        ColumnName::Number(number) => {
            return number.checked_sub(1).filter(|k| *k < layout.width).ok_or_else(missing);
        }
        ColumnName::Header(wanted) => wanted.trim(),
    };
    // As written, then whatever the case, then without the unit.
    let tests: [&dyn Fn(&str) -> bool; 3] =
        [&|h| h == wanted, &|h| h.to_lowercase() == wanted.to_lowercase(), &|h| stem(h) == stem(wanted)];
    for fits in tests {
        let found: Vec<usize> =
            (0..layout.headers.len()).filter(|k| fits(layout.headers[*k].trim())).collect();
        match found.as_slice() {
            [] => {}
            [one] => return Ok(*one),
            _ => return Err(CsvError::Ambiguous { given: name.clone() }),
        }
    }
    Err(missing())
}

/// A header without its unit, in small letters.
fn stem(header: &str) -> String {
    let header = header.trim();
    let bare = match (CellUnit::of_header(header), header.rfind(['_', ' ', '[', '(', '/'])) {
        (Some(_), Some(at)) => &header[..at],
        _ => header,
    };
    bare.trim_end_matches(['_', ' ', '[', '(', '/']).to_lowercase()
}

/// Columns whose headers name a channel, as the program's own files do.
fn named(layout: &Layout) -> Vec<(Target, usize)> {
    let mut pairs: Vec<(Target, usize)> = Vec::new();
    for (index, header) in layout.headers.iter().enumerate() {
        let lower = header.trim().to_lowercase();
        let channel = Channel::from_name(&stem(header))
            .or_else(|| Channel::from_name(&lower))
            .or_else(|| Channel::ALL.into_iter().find(|c| column_name(*c) == lower));
        if let Some(channel) = channel
            && pairs.iter().all(|(t, _)| *t != Target::Channel(channel))
        {
            pairs.push((Target::Channel(channel), index));
        }
    }
    pairs
}

fn is_time_name(header: &str) -> bool {
    matches!(
        stem(header).as_str(),
        "time" | "t" | "timestamp" | "elapsed" | "elapsed time" | "seconds" | "zeit"
    )
}

fn columns_seen(layout: &Layout) -> String {
    if layout.headers.is_empty() {
        return format!("no header row and {} columns, numbered from 1", layout.width);
    }
    let shown: Vec<String> = layout.headers.iter().take(30).map(|h| format!("{:?}", clip(h))).collect();
    format!("the columns {}", shown.join(", "))
}

/// Refuses a file with many odd cells or rows, and warns of few.
fn check_cells(
    numbers: &Numbers,
    sources: &[Source],
    layout: &Layout,
    warnings: &mut Vec<CsvWarning>,
) -> Result<(), CsvError> {
    let rows = numbers.rows;
    let ragged = &numbers.ragged;
    if ragged.count > 0 {
        if !few(ragged.count, rows + ragged.count) {
            let hint = if layout.separator == b',' {
                "with decimal commas, export it with semicolons or decimal points"
            } else {
                "export it again with the same columns in every row"
            };
            let (line, found, count) = (ragged.line(), ragged.content.clone(), ragged.count);
            return Err(CsvError::Ragged { line, found, expected: layout.width, count, hint });
        }
        warnings.push(CsvWarning::Ragged {
            count: ragged.count,
            lines: ragged.lines.clone(),
            found: ragged.content.clone(),
        });
    }
    if rows < 2 {
        return Err(CsvError::TooFew { rows });
    }
    for (k, source) in sources.iter().enumerate() {
        let column = source.target.name();
        let odd = &numbers.text[k];
        if odd.count > 0 {
            let (line, content, count) = (odd.line(), odd.content.clone(), odd.count);
            if !few(count, rows) {
                return Err(CsvError::Text { line, column, content, count, rows });
            }
            warnings.push(CsvWarning::Text { column, count, lines: odd.lines.clone(), content });
        }
        if numbers.columns[k].are_missing() {
            return Err(CsvError::NoValues { column });
        }
        // The supply changes slowly: a sparse one is good enough.
        let needed = matches!(source.target, Target::Channel(c) if is_needed(c));
        if needed && 2 * numbers.empty[k] > rows {
            return Err(CsvError::Sparse { column, count: numbers.empty[k], rows });
        }
        if numbers.empty[k] > 0 {
            warnings.push(CsvWarning::Empty { column, count: numbers.empty[k], rows });
        }
    }
    Ok(())
}

fn times(
    numbers: &mut Numbers,
    sources: &[Source],
    options: &CsvOptions,
    line: &LineOf<'_>,
    warnings: &mut Vec<CsvWarning>,
) -> Result<Times, CsvError> {
    let rows = numbers.rows;
    let column = sources.iter().position(|s| s.target == Target::Time);
    if let Some(rate) = options.rate_hz {
        warnings.extend(column.map(|k| CsvWarning::RateOverTime { column: sources[k].header.clone() }));
        return at_rate(rows, rate);
    }
    let Some(k) = column else {
        warnings.push(CsvWarning::TimeUnknown);
        return Ok(unknown(rows));
    };
    let named = match sources[k].unit {
        Some(CellUnit::Time(us)) => Some(us),
        _ => None,
    };
    let unit_us = match options.time_unit.as_deref() {
        Some(word) => Some(unit_us(word)?),
        None => named,
    };
    let values = match &mut numbers.columns[k] {
        Values::Exact(values) => std::mem::take(values),
        Values::Samples { .. } => Vec::new(),
    };
    from_column(TimeColumn { header: &sources[k].header, values, unit_us, line }, warnings)
}

/// The channels' columns in their order.
fn columns(
    numbers: &mut Numbers,
    sources: &[Source],
    times: &Times,
    line: &LineOf<'_>,
    warnings: &mut Vec<CsvWarning>,
) -> Result<Vec<Column>, CsvError> {
    let mut columns = Vec::new();
    for (source, found) in sources.iter().zip(&mut numbers.columns) {
        let (Target::Channel(channel), Values::Samples { values, outside }) = (source.target, found) else {
            continue;
        };
        let unit = column_unit(channel);
        let factor = factor(source.unit, unit);
        if factor != 1.0 {
            warnings.push(CsvWarning::Converted { column: channel.name(), factor });
        }
        let mut values = std::mem::take(values);
        times.keep(&mut values);
        outside.retain(|(row, _)| times.left_out.binary_search(row).is_err());
        check_volts(channel, (&mut values, outside), times, line, warnings)?;
        columns.push(Column { channel, unit, values });
    }
    columns.sort_by_key(|c| c.channel);
    Ok(columns)
}

/// Channels whose every value counts: without it there is no reading at that moment.
const fn is_needed(channel: Channel) -> bool {
    matches!(channel, Channel::Rising | Channel::Falling | Channel::Reference)
}

/// Gaps of a file: holes in time, rows that were left out, and rows kept that lack a value. Nothing is within over them.
fn missing_data(times: &Times, numbers: &Numbers, columns: &[Column]) -> Vec<Gap> {
    let length = times.time_us.len();
    // Scans missing just before a kept row, by its place; the last place is the end.
    let mut before: BTreeMap<usize, u64> = BTreeMap::new();
    for row in numbers.ragged_before.iter().chain(&times.timeless) {
        *before.entry(times.place(*row)).or_default() += 1;
    }
    // A hole in time counts what left-out rows in it would have held.
    for gap in &times.gaps {
        let missing = before.entry(gap.index).or_default();
        *missing = gap.scans.max(*missing);
    }
    // Ahead of the first row and after the last nothing is known to be missing.
    before.retain(|place, _| *place > 0 && *place < length);
    let needed: Vec<&[f32]> =
        columns.iter().filter(|c| is_needed(c.channel)).map(|c| c.values.as_slice()).collect();
    let kept = numbers.text_rows.iter().filter(|row| times.left_out.binary_search(row).is_err());
    let mut text_places = kept.map(|row| times.place(*row)).peekable();
    let mut before = before.into_iter().peekable();
    let mut gaps: Vec<Gap> = Vec::new();
    let (mut first, mut scans) = (0, 0);
    for k in 0..=length {
        let holds_text = text_places.next_if_eq(&k).is_some();
        let lacking = k < length && (holds_text || needed.iter().any(|values| !values[k].is_finite()));
        scans += before.next_if(|(place, _)| *place == k).map_or(0, |(_, missing)| missing);
        if lacking {
            scans += 1;
            continue;
        }
        if scans > 0 {
            let (from, to) = (first, k.min(length - 1));
            let (from_us, to_us) = (times.time_us[from], times.time_us[to]);
            gaps.push(Gap { index: k, from_us, to_us, scans, cause: GapCause::File });
        }
        (first, scans) = (k, 0);
    }
    gaps
}

/// What makes the trace's unit of the file's; 1 where the file names none, or one of another kind.
fn factor(named: Option<CellUnit>, wanted: Unit) -> f64 {
    match (named, wanted) {
        (Some(CellUnit::Volt(factor)), Unit::Volt) | (Some(CellUnit::Angle(factor)), Unit::Degree) => factor,
        _ => 1.0,
    }
}

/// Refuses a line whose values are no volts, and leaves out a few of them: those `outside`, with their rows.
fn check_volts(
    channel: Channel,
    (values, outside): (&mut [f32], &[(usize, f64)]),
    times: &Times,
    line: &LineOf<'_>,
    warnings: &mut Vec<CsvWarning>,
) -> Result<(), CsvError> {
    let Some((row, value)) = outside.first().copied() else { return Ok(()) };
    let (line, count) = (line(row)?, outside.len());
    if few(count, values.len()) {
        warnings.push(CsvWarning::NotVolts { channel, count, line });
        // A logger's way to say that it could not measure, as its own text would be.
        outside.iter().for_each(|(row, _)| values[times.place(*row)] = f32::NAN);
        return Ok(());
    }
    Err(CsvError::NotVolts { line, channel, value, count, rows: values.len() })
}

#[cfg(test)]
#[path = "csv_tests.rs"]
mod tests;
