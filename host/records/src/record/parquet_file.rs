//! Traces as Parquet that other programs open: engineering values in plain columns, everything else as JSON in the footer.
//!
//! Columns: `time_us` (INT64, rig clock) and one FLOAT per channel named with its unit (`rising_volts`, `reference_deg`, …).
//! Every file has the columns of every channel, so that a whole archive reads as one table: one that was not recorded is null.
//! The footer's key [`TRACE_KEY`] holds provenance, gaps, marks, how it ended, and a CRC-32/AUTOSAR of each column's
//! little-endian values: neither Parquet nor its compression would notice a flipped bit.

use crate::quantity::{Channel, Unit};
use crate::trace::{Column, Gap, Mark, Provenance, Trace, TraceEnd};
use parquet::basic::{Compression, Encoding, Repetition, Type as PhysicalType, ZstdLevel};
use parquet::column::reader::ColumnReader;
use parquet::data_type::{FloatType, Int64Type};
use parquet::errors::ParquetError as Cause;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{ChunkReader, FileReader, Length, SerializedFileReader};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{ColumnPath, Type};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use trackpair_protocol::crc::Crc32;

/// Key of the trace's description in the file's metadata.
pub const TRACE_KEY: &str = "trackpair.trace";
/// Column of the times.
const TIME: &str = "time_us";
/// Version of that description.
/// Version 1 had columns of what was recorded alone, and no list of them.
const NOTE_VERSION: u32 = 2;
/// Rows per row group.
const GROUP_ROWS: usize = 1 << 20;
/// Fewer rows are read by one thread.
const FEW_ROWS: i64 = 1 << 16;
/// zstd level: beyond it the files hardly shrink.
const ZSTD: i32 = 3;

/// Why a Parquet file can't be written or read.
#[derive(Debug, thiserror::Error)]
pub enum ParquetError {
    /// Damaged, cut short, or no Parquet at all.
    #[error("this is not a whole Parquet file ({0}); it may be cut short: take it from the archive again")]
    Damaged(#[source] Cause),
    /// Parquet of another program.
    #[error(
        "this Parquet file holds no trace of trackpair: its metadata has no {TRACE_KEY:?}; export it as CSV and use judge with --map"
    )]
    Foreign,
    /// The description can't be read.
    #[error(
        "the trace's description can't be read ({0}); the file may be damaged, or written by a newer program"
    )]
    Note(#[source] serde_json::Error),
    /// Written by a later program.
    #[error(
        "this trace has version {0}, this program reads 1 to {NOTE_VERSION}; use the program that wrote it, or a newer one"
    )]
    Version(u32),
    /// Description and columns contradict each other.
    #[error("the trace contradicts itself: {0}; take the file from the archive again")]
    Contradiction(String),
    /// A column is not what was written.
    #[error(
        "the column {0} is not what was written (its CRC differs): the file is damaged; take it from the archive again"
    )]
    Checksum(String),
    /// It can't be written.
    #[error("the trace can't be turned into Parquet: {0}")]
    Write(#[source] Cause),
}

/// What the footer says of a trace.
#[derive(Serialize, Deserialize)]
struct Note {
    version: u32,
    simulated: bool,
    provenance: Provenance,
    gaps: Vec<Gap>,
    marks: Vec<Mark>,
    end: TraceEnd,
    /// What was recorded, in its order; files of version 1 hold nothing else.
    #[serde(default)]
    recorded: Option<Vec<Channel>>,
    /// By column name; absent from files that others wrote.
    #[serde(default)]
    crc32: BTreeMap<String, u32>,
}

/// Name of a channel's column: the channel, and its unit where the name does not say it.
pub(super) fn column_name(channel: Channel) -> String {
    match channel {
        Channel::Rising | Channel::Falling | Channel::Supply | Channel::Ground => format!("{channel}_volts"),
        Channel::Reference => format!("{channel}_deg"),
        Channel::Temperature => format!("{channel}_celsius"),
        Channel::SupplyAmps | Channel::DriveAmps | Channel::MotorVolts | Channel::MotorAmps => {
            channel.name().to_owned()
        }
    }
}

/// Unit of a channel's column.
pub(super) fn column_unit(channel: Channel) -> Unit {
    match channel {
        Channel::Rising | Channel::Falling | Channel::Supply | Channel::Ground | Channel::MotorVolts => {
            Unit::Volt
        }
        Channel::Reference => Unit::Degree,
        Channel::Temperature => Unit::Celsius,
        Channel::SupplyAmps | Channel::DriveAmps | Channel::MotorAmps => Unit::Ampere,
    }
}

/// A trace as the bytes of a Parquet file.
///
/// # Errors
/// [`ParquetError::Write`] when the library refuses; not expected for a trace whose columns are equally long.
pub fn trace_to_parquet(trace: &Trace) -> Result<Vec<u8>, ParquetError> {
    write(trace).map_err(ParquetError::Write)
}

fn write(trace: &Trace) -> Result<Vec<u8>, Cause> {
    let field = |name: &str, kind, repetition| {
        Type::primitive_type_builder(name, kind).with_repetition(repetition).build().map(Arc::new)
    };
    let mut fields = vec![field(TIME, PhysicalType::INT64, Repetition::REQUIRED)?];
    for channel in Channel::ALL {
        fields.push(field(&column_name(channel), PhysicalType::FLOAT, Repetition::OPTIONAL)?);
    }
    let schema = Arc::new(Type::group_type_builder("trace").with_fields(fields).build()?);
    let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties(trace)?))?;
    for first in (0..trace.len()).step_by(GROUP_ROWS) {
        write_group(&mut writer, trace, first..trace.len().min(first + GROUP_ROWS))?;
    }
    writer.into_inner()
}

/// Writes some rows.
fn write_group(
    writer: &mut SerializedFileWriter<Vec<u8>>,
    trace: &Trace,
    rows: Range<usize>,
) -> Result<(), Cause> {
    let mut group = writer.next_row_group()?;
    let times: Vec<i64> = trace.time_us[rows.clone()].iter().map(|t| *t as i64).collect();
    write_column::<Int64Type>(&mut group, &times, None)?;
    let (there, absent) = (vec![1; rows.len()], vec![0; rows.len()]);
    for channel in Channel::ALL {
        match trace.columns.iter().find(|c| c.channel == channel) {
            Some(column) => {
                write_column::<FloatType>(&mut group, &column.values[rows.clone()], Some(&there))?
            }
            None => write_column::<FloatType>(&mut group, &[], Some(&absent))?,
        }
    }
    group.close().map(|_| ())
}

/// Writes a column; of an optional one `defined` shows for each row whether it has a value (1) or none (0).
fn write_column<T: parquet::data_type::DataType>(
    group: &mut SerializedRowGroupWriter<'_, Vec<u8>>,
    values: &[T::T],
    defined: Option<&[i16]>,
) -> Result<(), Cause> {
    let mut column =
        group.next_column()?.ok_or_else(|| Cause::General("fewer columns than the schema".into()))?;
    column.typed::<T>().write_batch(values, defined, None)?;
    column.close()
}

fn properties(trace: &Trace) -> Result<WriterProperties, Cause> {
    let note = Note {
        version: NOTE_VERSION,
        simulated: trace.provenance.simulated,
        provenance: trace.provenance.clone(),
        gaps: trace.gaps.clone(),
        marks: trace.marks.clone(),
        end: trace.end,
        recorded: Some(trace.columns.iter().map(|c| c.channel).collect()),
        crc32: checksums(trace),
    };
    let note = serde_json::to_string(&note).map_err(|e| Cause::External(Box::new(e)))?;
    Ok(WriterProperties::builder()
        .set_created_by(concat!("trackpair ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(ZSTD)?))
        .set_dictionary_enabled(false)
        .set_encoding(Encoding::BYTE_STREAM_SPLIT)
        .set_column_encoding(ColumnPath::from(TIME), Encoding::DELTA_BINARY_PACKED)
        .set_key_value_metadata(Some(vec![KeyValue::new(TRACE_KEY.to_owned(), note)]))
        .build())
}

/// CRC of each column's little-endian bytes, by name.
fn checksums(trace: &Trace) -> BTreeMap<String, u32> {
    let mut sums = BTreeMap::from([(TIME.to_owned(), checksum(&trace.time_us, |t| t.to_le_bytes()))]);
    for column in &trace.columns {
        sums.insert(column_name(column.channel), checksum(&column.values, |v| v.to_le_bytes()));
    }
    sums
}

/// CRC of a column's little-endian bytes, a few thousand at a time.
fn checksum<T: Copy, const N: usize>(values: &[T], bytes: impl Fn(T) -> [u8; N]) -> u32 {
    let (mut crc, mut piece) = (Crc32::new(), [[0; N]; 512]);
    for values in values.chunks(piece.len()) {
        piece.iter_mut().zip(values).for_each(|(bytes_of, value)| *bytes_of = bytes(*value));
        crc.update(piece[..values.len()].as_flattened());
    }
    crc.value()
}

/// Reads a trace from the bytes of a Parquet file.
///
/// # Errors
/// Says whether the file is damaged, another program's, from a newer program, or contradicts itself.
pub fn trace_from_parquet(bytes: Vec<u8>) -> Result<Trace, ParquetError> {
    caught(|| read(bytes::Bytes::from(bytes)))
}

/// Reads a trace from a Parquet file, of which no more is held than the pages that are being read.
///
/// # Errors
/// As [`trace_from_parquet`].
pub(super) fn trace_from_parquet_file(file: File) -> Result<Trace, ParquetError> {
    let length = file.metadata().map_err(|e| ParquetError::Damaged(e.into()))?.len();
    caught(|| read(Shared { file: Arc::new(Mutex::new(file)), length }))
}

/// The Parquet reader asserts here and there on damaged bytes; that is damage, not the end of the program.
fn caught(read: impl FnOnce() -> Result<Trace, ParquetError>) -> Result<Trace, ParquetError> {
    let panicked = |_| ParquetError::Damaged(Cause::General("its reader gave up".to_owned()));
    catch_unwind(AssertUnwindSafe(read)).map_err(panicked)?
}

/// A file from which several threads read.
struct Shared {
    file: Arc<Mutex<File>>,
    length: u64,
}

/// Reads on from a place, whatever others read in between.
struct At {
    file: Arc<Mutex<File>>,
    at: u64,
}

impl Read for At {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(self.at))?;
        let read = file.read(into)?;
        self.at += read as u64;
        Ok(read)
    }
}

impl Length for Shared {
    fn len(&self) -> u64 {
        self.length
    }
}

impl ChunkReader for Shared {
    type T = BufReader<At>;

    fn get_read(&self, start: u64) -> Result<Self::T, Cause> {
        Ok(BufReader::new(At { file: self.file.clone(), at: start }))
    }

    fn get_bytes(&self, start: u64, length: usize) -> Result<bytes::Bytes, Cause> {
        let mut bytes = Vec::new();
        let read = At { file: self.file.clone(), at: start }.take(length as u64).read_to_end(&mut bytes)?;
        if read < length {
            return Err(Cause::EOF(format!("{length} bytes from {start} on, of which {read} are there")));
        }
        Ok(bytes.into())
    }
}

fn read<R: ChunkReader + 'static>(file: R) -> Result<Trace, ParquetError> {
    let reader = SerializedFileReader::new(file).map_err(ParquetError::Damaged)?;
    let note = read_note(&reader)?;
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let names: Vec<&str> = schema.columns().iter().map(|c| c.name()).collect();
    let place = |name: &str| {
        let found = names.iter().position(|n| *n == name);
        found.ok_or_else(|| ParquetError::Contradiction(format!("it has no column {name}")))
    };
    let recorded = note.recorded.unwrap_or_else(|| {
        names.iter().filter_map(|n| Channel::ALL.into_iter().find(|c| column_name(*c) == *n)).collect()
    });
    let time = place(TIME)?;
    let places = recorded.iter().map(|c| place(&column_name(*c))).collect::<Result<Vec<_>, _>>()?;
    let mut found = BTreeMap::new();
    let (time_us, values) = read_columns(&reader, time, &places)?;
    found.insert(TIME.to_owned(), time_us.1);
    let mut columns = Vec::new();
    for (channel, (values, crc)) in recorded.into_iter().zip(values) {
        found.insert(column_name(channel), crc);
        columns.push(Column { channel, unit: column_unit(channel), values });
    }
    if let Some((name, _)) = note.crc32.iter().find(|(name, sum)| found.get(*name) != Some(sum)) {
        return Err(ParquetError::Checksum(name.clone()));
    }
    check(Trace {
        provenance: note.provenance,
        time_us: time_us.0,
        columns,
        gaps: note.gaps,
        marks: note.marks,
        end: note.end,
    })
}

/// Something with its CRC.
type Summed<T> = (T, u32);
/// Times and columns.
type Columns = (Summed<Vec<u64>>, Vec<Summed<Vec<f32>>>);

/// The times and the columns at these places, in order, with their CRCs. Those of a long trace by as many threads as there are
/// processors: each takes the next column.
fn read_columns<R: ChunkReader + 'static>(
    reader: &SerializedFileReader<R>,
    time: usize,
    places: &[usize],
) -> Result<Columns, ParquetError> {
    let times = || -> Result<Summed<Vec<u64>>, ParquetError> {
        let times: Vec<u64> =
            read_column::<Int64Type, _>(reader, time)?.into_iter().map(|t| t as u64).collect();
        let crc = checksum(&times, |t| t.to_le_bytes());
        Ok((times, crc))
    };
    let values = |place: usize| -> Result<Summed<Vec<f32>>, ParquetError> {
        let values = read_column::<FloatType, _>(reader, place)?;
        let crc = checksum(&values, |v| v.to_le_bytes());
        Ok((values, crc))
    };
    let rows = reader.metadata().file_metadata().num_rows();
    let threads =
        if rows < FEW_ROWS { 1 } else { std::thread::available_parallelism().map_or(1, usize::from) };
    // The times take least and go last, so that no thread waits long for another.
    let next = AtomicUsize::new(0);
    let (next, times, values) = (&next, &times, &values);
    let work = move || {
        let (mut of_times, mut of_values) = (None, Vec::new());
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            match places.get(number) {
                Some(place) => of_values.push((number, values(*place))),
                None if number == places.len() => of_times = Some(times()),
                None => return (of_times, of_values),
            }
        }
    };
    let parts: Vec<_> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads.min(places.len())).map(|_| scope.spawn(work)).collect();
        let own = work();
        let joined = others.into_iter().map(|t| t.join().unwrap_or_else(|panic| resume_unwind(panic)));
        std::iter::once(own).chain(joined).collect()
    });
    let (mut time_us, mut columns) = (None, Vec::new());
    for (of_times, of_values) in parts {
        time_us = time_us.or(of_times);
        columns.extend(of_values);
    }
    columns.sort_by_key(|(number, _)| *number);
    let time_us = time_us.unwrap_or_else(times)?;
    Ok((time_us, columns.into_iter().map(|(_, column)| column).collect::<Result<_, _>>()?))
}

fn read_note<R: ChunkReader + 'static>(reader: &SerializedFileReader<R>) -> Result<Note, ParquetError> {
    #[derive(Deserialize)]
    struct Head {
        version: u32,
    }
    let entries = reader.metadata().file_metadata().key_value_metadata();
    let text = entries
        .and_then(|all| all.iter().find(|kv| kv.key == TRACE_KEY))
        .and_then(|kv| kv.value.as_deref())
        .ok_or(ParquetError::Foreign)?;
    let head: Head = serde_json::from_str(text).map_err(ParquetError::Note)?;
    if head.version == 0 || head.version > NOTE_VERSION {
        return Err(ParquetError::Version(head.version));
    }
    serde_json::from_str(text).map_err(ParquetError::Note)
}

/// A column's values over all row groups: one for every row.
fn read_column<T: parquet::data_type::DataType, R: ChunkReader + 'static>(
    reader: &SerializedFileReader<R>,
    index: usize,
) -> Result<Vec<T::T>, ParquetError> {
    let (mut values, mut defined) = (Vec::new(), Vec::new());
    for group in 0..reader.num_row_groups() {
        let group = reader.get_row_group(group).map_err(ParquetError::Damaged)?;
        let rows = usize::try_from(group.metadata().num_rows()).unwrap_or(0);
        let column = group.get_column_reader(index).map_err(ParquetError::Damaged)?;
        let mut typed = typed::<T>(column)?;
        let mut left = rows;
        while left > 0 {
            defined.clear();
            let (read, found, _) = typed
                .read_records(left, Some(&mut defined), None, &mut values)
                .map_err(ParquetError::Damaged)?;
            if read == 0 || found < read {
                let missing = if read == 0 { left } else { read - found };
                return Err(ParquetError::Contradiction(format!("column {index} lacks {missing} values")));
            }
            left -= read;
        }
    }
    values.shrink_to_fit();
    Ok(values)
}

fn typed<T: parquet::data_type::DataType>(
    column: ColumnReader,
) -> Result<parquet::column::reader::ColumnReaderImpl<T>, ParquetError> {
    let wanted = T::get_physical_type();
    let found = match &column {
        ColumnReader::Int64ColumnReader(_) => PhysicalType::INT64,
        ColumnReader::FloatColumnReader(_) => PhysicalType::FLOAT,
        _ => return Err(ParquetError::Contradiction("a column is neither INT64 nor FLOAT".to_owned())),
    };
    if found != wanted {
        return Err(ParquetError::Contradiction(format!("a column is {found}, not {wanted}")));
    }
    Ok(parquet::column::reader::get_typed_column_reader(column))
}

/// What every trace keeps: columns as long as its times, times that rise.
fn check(trace: Trace) -> Result<Trace, ParquetError> {
    if let Some(odd) = trace.columns.iter().find(|c| c.values.len() != trace.len()) {
        let what = format!("{} has {} values for {} times", odd.channel, odd.values.len(), trace.len());
        return Err(ParquetError::Contradiction(what));
    }
    if let Some(k) = trace.time_us.windows(2).position(|w| w[1] <= w[0]) {
        return Err(ParquetError::Contradiction(format!("its times do not rise at row {}", k + 2)));
    }
    Ok(trace)
}

#[cfg(test)]
#[path = "parquet_tests.rs"]
pub(super) mod tests;
