//! What is written comes back bit for bit; what is damaged or another's is refused.

use super::*;
use crate::quantity::ProcedureKind;
use crate::trace::{ChannelProvenance, GapCause, MarkKind, RigProvenance, SweepConditions};
use proptest::prelude::*;

/// An invented trace of a moving grip.
pub(in crate::record) fn invented(rows: usize) -> Trace {
    let rising: Vec<f32> = (0..rows).map(|k| 0.5 + 4.0 * (k as f32) / rows as f32).collect();
    let column = |channel, values: Vec<f32>| Column { channel, unit: column_unit(channel), values };
    let calibration = ChannelProvenance {
        channel: Channel::Rising,
        scale: 7.8125e-5,
        offset: 0.1,
        resolution: 7.8125e-5,
        filter_us: 100,
        gain_uncertainty: 1.0 / 3.0,
        offset_uncertainty: 6e-5,
        calibrated_day: 20_454,
        certificate: "invented \"€\"".to_owned(),
    };
    let provenance = Provenance {
        simulated: true,
        rig: Some(RigProvenance {
            address: "sim:invented".to_owned(),
            model: "invented".to_owned(),
            serial: "0".to_owned(),
            firmware: "0".to_owned(),
            protocol: 1,
            boot: 7,
            lets_go: false,
        }),
        channels: vec![calibration],
        part: "invented".to_owned(),
        started: "2026-01-02T03:04:05Z".to_owned(),
        reference_zero_deg: -0.1 / 3.0,
        sweep: Some(SweepConditions { cycles: 5, speed_deg_s: 60.0 }),
        recorded_by: "test".to_owned(),
        ..Provenance::bare(ProcedureKind::Sweep, 200)
    };
    Trace {
        provenance,
        time_us: (0..rows as u64).map(|k| 1_000_000 + 200 * k).collect(),
        columns: vec![
            column(Channel::Falling, rising.iter().map(|v| 5.0 - v).collect()),
            column(Channel::Rising, rising),
            column(Channel::Supply, vec![5.0; rows]),
            column(Channel::SupplyAmps, vec![0.01; rows]),
            column(Channel::Temperature, vec![f32::NAN; rows]),
        ],
        gaps: vec![],
        marks: vec![Mark { at_us: 1_000_000, kind: MarkKind::Segment { segment: 1, pass: 2 } }],
        end: TraceEnd::Complete,
    }
}

/// Equal with NaN equal to the same NaN.
#[track_caller]
pub(in crate::record) fn same(a: &Trace, b: &Trace) {
    assert_eq!(
        (&a.provenance, &a.time_us, &a.gaps, &a.marks, a.end),
        (&b.provenance, &b.time_us, &b.gaps, &b.marks, b.end)
    );
    assert_eq!(a.columns.len(), b.columns.len());
    for (x, y) in a.columns.iter().zip(&b.columns) {
        assert_eq!((x.channel, x.unit), (y.channel, y.unit));
        let bits = |c: &Column| c.values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(x), bits(y), "{}", x.channel);
    }
}

#[track_caller]
fn check_round_trip(trace: &Trace) {
    same(&trace_from_parquet(trace_to_parquet(trace).unwrap()).unwrap(), trace);
}

#[test]
fn traces_come_back_bit_for_bit_from_none_to_more_than_one_row_group() {
    for rows in [0, 1, 2, 1000, GROUP_ROWS, GROUP_ROWS + 3] {
        check_round_trip(&invented(rows));
    }
}

#[test]
fn columns_have_names_types_and_encodings_that_other_programs_expect() {
    let reader =
        SerializedFileReader::new(bytes::Bytes::from(trace_to_parquet(&invented(5000)).unwrap())).unwrap();
    let schema = reader.metadata().file_metadata().schema_descr_ptr();
    let columns: Vec<_> = schema.columns().iter().map(|c| (c.name().to_owned(), c.physical_type())).collect();
    let float = |name: &str| (name.to_owned(), PhysicalType::FLOAT);
    assert_eq!(
        columns,
        [
            ("time_us".to_owned(), PhysicalType::INT64),
            float("rising_volts"),
            float("falling_volts"),
            float("supply_volts"),
            float("reference_deg"),
            float("supply_amps"),
            float("drive_amps"),
            float("temperature_celsius"),
            float("ground_volts"),
            float("motor_volts"),
            float("motor_amps"),
        ]
    );
    let group = reader.metadata().row_group(0);
    assert!(group.column(0).encodings().any(|e| e == Encoding::DELTA_BINARY_PACKED));
    assert!(group.column(1).encodings().any(|e| e == Encoding::BYTE_STREAM_SPLIT));
    assert!(matches!(group.column(1).compression(), Compression::ZSTD(_)));
}

#[test]
fn a_file_cut_short_anywhere_is_refused() {
    let bytes = trace_to_parquet(&invented(300)).unwrap();
    for length in (0..bytes.len()).step_by(7) {
        let error = trace_from_parquet(bytes[..length].to_vec()).unwrap_err();
        assert!(matches!(error, ParquetError::Damaged(_)), "{length}: {error}");
        assert!(error.to_string().contains("cut short"), "{error}");
    }
}

#[test]
fn parquet_of_another_program_is_told_as_such() {
    let schema = Type::group_type_builder("x").with_fields(vec![Arc::new(
        Type::primitive_type_builder("a", PhysicalType::FLOAT)
            .with_repetition(Repetition::REQUIRED)
            .build()
            .unwrap(),
    )]);
    let schema = Arc::new(schema.build().unwrap());
    let writer =
        SerializedFileWriter::new(Vec::new(), schema, Arc::new(WriterProperties::builder().build())).unwrap();
    let error = trace_from_parquet(writer.into_inner().unwrap()).unwrap_err();
    assert!(matches!(error, ParquetError::Foreign), "{error}");
    assert!(error.to_string().contains("--map"), "{error}");
}

/// The bytes of a trace with its description changed.
fn with_note(change: impl Fn(&str) -> String) -> Vec<u8> {
    let trace = invented(50);
    let schema_bytes = trace_to_parquet(&trace).unwrap();
    let reader = SerializedFileReader::new(bytes::Bytes::from(schema_bytes)).unwrap();
    let file = reader.metadata().file_metadata();
    let note = file
        .key_value_metadata()
        .unwrap()
        .iter()
        .find(|kv| kv.key == TRACE_KEY)
        .unwrap()
        .value
        .clone()
        .unwrap();
    let entry = KeyValue::new(TRACE_KEY.to_owned(), change(&note));
    let properties = WriterProperties::builder().set_key_value_metadata(Some(vec![entry])).build();
    let schema = Arc::new(file.schema().clone());
    let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties)).unwrap();
    write_group(&mut writer, &trace, 0..trace.len()).unwrap();
    writer.into_inner().unwrap()
}

#[test]
fn a_later_version_and_a_damaged_description_are_told_apart() {
    same(&trace_from_parquet(with_note(str::to_owned)).unwrap(), &invented(50));
    let later = with_note(|note| note.replacen("\"version\":2", "\"version\":3", 1));
    assert!(matches!(trace_from_parquet(later), Err(ParquetError::Version(3))));
    let damaged = with_note(|note| note[..note.len() / 2].to_owned());
    assert!(matches!(trace_from_parquet(damaged), Err(ParquetError::Note(_))));
    let other = with_note(|note| {
        let sum = format!("\"rising_volts\":{}", checksums(&invented(50))["rising_volts"]);
        assert!(note.contains(&sum));
        note.replacen(&sum, "\"rising_volts\":1", 1)
    });
    let error = trace_from_parquet(other).unwrap_err();
    assert!(matches!(&error, ParquetError::Checksum(name) if name == "rising_volts"), "{error}");
    let before_checksums = with_note(|note| format!("{}}}", &note[..note.find(",\"crc32\"").unwrap()]));
    same(&trace_from_parquet(before_checksums).unwrap(), &invented(50));
}

/// A record of a program that wrote only the columns it had recorded, none of them optional.
#[test]
fn a_trace_of_version_1_stays_readable() {
    for (name, scans, columns) in [("trace-2-sweep", 66, 8), ("trace-3-leads_check", 433, 8)] {
        let path = format!("{}/../../tests/data/records/note-1/{name}.parquet", env!("CARGO_MANIFEST_DIR"));
        let trace = trace_from_parquet(std::fs::read(path).unwrap()).unwrap();
        assert_eq!((trace.len(), trace.columns.len()), (scans, columns), "{name}");
        // What it was is written anew as what is written today.
        same(&trace_from_parquet(trace_to_parquet(&trace).unwrap()).unwrap(), &trace);
    }
}

#[test]
fn times_that_do_not_rise_are_refused() {
    let mut trace = invented(10);
    trace.time_us[5] = trace.time_us[4];
    let error = trace_from_parquet(trace_to_parquet(&trace).unwrap()).unwrap_err();
    assert!(error.to_string().contains("do not rise at row 6"), "{error}");
}

fn traces() -> impl Strategy<Value = Trace> {
    let steps = proptest::collection::vec(1u64..1 << 40, 0..200);
    (steps, any::<u64>(), any::<[f64; 3]>(), "\\PC{0,20}", any::<u8>()).prop_map(
        |(steps, seed, numbers, part, kind)| {
            let mut trace = invented(steps.len());
            let mut at = 0u64;
            trace.time_us = steps
                .iter()
                .map(|s| {
                    at += s;
                    at
                })
                .collect();
            for (k, column) in trace.columns.iter_mut().enumerate() {
                for (j, value) in column.values.iter_mut().enumerate() {
                    // Any bit pattern is a value: infinities and NaN with their payload.
                    let bits = (seed ^ ((k as u64) << 32))
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(j as u64 * 40_503);
                    *value = f32::from_bits((bits >> 24) as u32);
                }
            }
            let finite = |x: f64| if x.is_finite() { x } else { 0.0 };
            trace.provenance.reference_zero_deg = finite(numbers[0]);
            trace.provenance.channels[0].scale = finite(numbers[1]);
            trace.provenance.stated_supply_volts = Some(finite(numbers[2]));
            trace.provenance.part = part;
            trace.end = [TraceEnd::Complete, TraceEnd::Aborted, TraceEnd::Guard, TraceEnd::LinkLost]
                [usize::from(kind % 4)];
            trace.gaps =
                vec![Gap { index: 0, from_us: seed, to_us: u64::MAX, scans: seed, cause: GapCause::Rig }];
            trace.marks = vec![
                Mark { at_us: seed, kind: MarkKind::Guard { guard: kind, value: -3 } },
                Mark {
                    at_us: seed,
                    kind: MarkKind::Input { channel: Channel::Rising, load: true, pull_down: false },
                },
                Mark { at_us: seed, kind: MarkKind::Supply { millivolts: 4000 } },
            ];
            trace
        },
    )
}

proptest! {
    #[test]
    fn any_trace_comes_back_bit_for_bit(trace in traces()) {
        check_round_trip(&trace);
    }

    #[test]
    fn damaged_bytes_give_an_error_or_the_same_samples(at in 0.0..1.0f64, flip in 1u8..=255) {
        let trace = invented(300);
        let mut bytes = trace_to_parquet(&trace).unwrap();
        let k = ((bytes.len() - 1) as f64 * at) as usize;
        bytes[k] ^= flip;
        // Unused bytes of the container, or the words of the description, may differ; the samples may not.
        if let Ok(read) = trace_from_parquet(bytes) {
            prop_assert_eq!(&read.time_us, &trace.time_us);
            for (x, y) in read.columns.iter().zip(&trace.columns) {
                prop_assert!(x.values.iter().zip(&y.values).all(|(p, q)| p.to_bits() == q.to_bits()));
            }
        }
    }

    #[test]
    fn any_bytes_give_an_error(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let framed = [b"PAR1".as_slice(), &bytes, b"PAR1"].concat();
        prop_assert!(trace_from_parquet(bytes).is_err());
        prop_assert!(trace_from_parquet(framed).is_err());
    }
}
