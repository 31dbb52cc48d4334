//! Sample blocks: layout, columns by channel, scaling.

use proptest::collection::vec;
use proptest::prelude::*;
use trackpair_protocol::channel::Encoding;
use trackpair_protocol::samples::{BLOCK_HEADER, Column, SampleBlock};

/// Channels 0, 2 and 3 of four: two 16-bit columns around one of 32 bits.
const ENCODINGS: [Encoding; 4] = [Encoding::I16, Encoding::U16, Encoding::I32, Encoding::U16];

fn block(columns: &[u8], scans: u16, channels: u16) -> SampleBlock<'_> {
    SampleBlock {
        run: 1,
        number: 2,
        first_us: 3,
        period_us: 100,
        scans,
        channels,
        overrun_before: 0,
        columns,
    }
}

fn counts(column: Option<Column<'_>>) -> Vec<i32> {
    column.expect("the column is there").counts().collect()
}

#[test]
fn columns_are_found_by_channel_number() {
    let columns = [0xFF, 0xFF, 1, 0, 0xFE, 0xFF, 0xFF, 0xFF, 2, 0, 0, 0, 0xFF, 0xFF, 3, 0];
    let block = block(&columns, 2, 0b1101);
    assert_eq!(counts(block.column(0, &ENCODINGS)), [-1, 1]);
    assert_eq!(counts(block.column(2, &ENCODINGS)), [-2, 2]);
    assert_eq!(counts(block.column(3, &ENCODINGS)), [65_535, 3]);
    assert_eq!(block.column(1, &ENCODINGS), None, "not sampled");
    assert_eq!(block.column(200, &ENCODINGS), None, "no such channel");
    assert_eq!(block.column(0, &ENCODINGS[..3]), None, "a sampled channel that is not in the table");
}

#[test]
fn columns_of_a_size_that_does_not_fit_the_table_give_nothing() {
    let columns = [0; 17];
    assert_eq!(block(&columns, 2, 0b1101).column(0, &ENCODINGS), None, "one byte too many");
    assert_eq!(block(&columns[..15], 2, 0b1101).column(0, &ENCODINGS), None, "one byte too few");
    assert!(block(&columns[..16], 2, 0b1101).column(0, &ENCODINGS).is_some());
}

#[test]
fn a_block_is_read_as_written_and_an_empty_one_is_not_read() {
    let columns = [1, 2, 3, 4];
    let mut out = [0; BLOCK_HEADER + 4];
    let written = block(&columns, 2, 1);
    assert_eq!(written.write(&mut out[1..]), None);
    assert_eq!(written.write(&mut out), Some(out.len()));
    assert_eq!(SampleBlock::read(&out), Some(written));
    assert_eq!(SampleBlock::read(&out[..BLOCK_HEADER - 1]), None, "shorter than its header");
    for (scans, channels) in [(0, 1), (2, 0)] {
        block(&columns, scans, channels).write(&mut out).expect("fits");
        assert_eq!(SampleBlock::read(&out), None, "{scans} scans of channels {channels:#b}");
    }
}

/// How many `f32` lie between two finite ones, sign included.
fn steps_between(a: f32, b: f32) -> u32 {
    let place = |v: f32| {
        if v.is_sign_negative() { -((v.to_bits() & 0x7FFF_FFFF) as i32) } else { v.to_bits() as i32 }
    };
    place(a).abs_diff(place(b))
}

fn every_16_bit_count() -> Vec<u8> {
    (0..=u16::MAX).flat_map(u16::to_le_bytes).collect()
}

/// The most steps between a scaled value and the same computed in `f64`, over every count of a column.
#[track_caller]
fn largest_error(column: Column<'_>, scale: f64, offset: f64) -> u32 {
    let mut values = vec![f32::NAN; column.len()];
    column.scaled_into(scale, offset, &mut values).expect("room");
    let exact = column.counts().map(|count| (offset + scale * f64::from(count)) as f32);
    values.iter().zip(exact).map(|(&value, exact)| steps_between(value, exact)).max().expect("not empty")
}

#[test]
fn every_16_bit_count_is_scaled_to_within_one_unit_in_the_last_place() {
    let bytes = every_16_bit_count();
    // Converter of 5.12 V, shunts, an encoder's degree; the worst significands of a scale; the ends of the plain range.
    let scales = [
        5.12 / 65_536.0,
        1e-5,
        -0.000_25,
        360.0 / 40_000.0,
        1.0 + 2_f64.powi(-24),
        1.999_999_97,
        1e-30,
        1e30,
        1e-44,
    ];
    for encoding in [Encoding::I16, Encoding::U16] {
        let column = Column { encoding, bytes: &bytes };
        for scale in scales {
            assert!(largest_error(column, scale, 0.0) <= 1, "{encoding:?} by {scale}");
        }
    }
}

#[test]
fn an_offset_that_cancels_the_counts_leaves_no_error() {
    let bytes = every_16_bit_count();
    let column = Column { encoding: Encoding::U16, bytes: &bytes };
    assert_eq!(largest_error(column, 0.1, -0.1 * 32_768.0), 0);
}

#[test]
fn a_32_bit_count_beyond_what_f32_holds_is_scaled_from_its_full_value() {
    // 2^24 + 1 is the first whole number that f32 cannot hold.
    let bytes: Vec<u8> =
        [16_777_217, -16_777_217, i32::MAX, i32::MIN].iter().flat_map(|c: &i32| c.to_le_bytes()).collect();
    let column = Column { encoding: Encoding::I32, bytes: &bytes };
    assert_eq!(largest_error(column, 360.0 / 33_554_432.0, 0.0), 0);
    let mut values = [0.0; 4];
    column.scaled_into(1.0, -16_777_216.0, &mut values).expect("room");
    assert_eq!(values[0], 1.0);
}

#[test]
fn all_columns_come_in_order_with_their_channels() {
    let columns = [0xFF, 0xFF, 1, 0, 0xFE, 0xFF, 0xFF, 0xFF, 2, 0, 0, 0, 0xFF, 0xFF, 3, 0];
    let block = block(&columns, 2, 0b1101);
    let all: Vec<(u8, Column<'_>)> = block.columns(&ENCODINGS).expect("they fit").collect();
    assert_eq!(all.len(), 3);
    for (number, column) in all {
        assert_eq!(Some(column), block.column(number, &ENCODINGS), "channel {number}");
    }
    assert!(block.columns(&ENCODINGS[..3]).is_none(), "a sampled channel that is not in the table");
}

proptest! {
    #[test]
    fn both_ways_of_scaling_give_offset_plus_scale_times_count(
        bytes in vec(any::<u8>(), 0..400),
        code in 0..3u8,
        scale in -10.0..10.0f64,
        offset in -100.0..100.0f64,
        with_offset in any::<bool>(),
    ) {
        let encoding = Encoding::from_code(code).expect("assigned");
        let column = Column { encoding, bytes: &bytes };
        let offset = if with_offset { offset } else { 0.0 };
        let expected: Vec<f32> = column.counts().map(|c| (offset + scale * f64::from(c)) as f32).collect();
        let (low, high) = encoding.range();
        prop_assert!(column.counts().all(|c| (low..=high).contains(&c)));
        prop_assert_eq!(column.len(), expected.len());

        let mut handed_out = Vec::new();
        column.scaled(scale, offset, |v| handed_out.push(v));
        prop_assert_eq!(handed_out.len(), expected.len());
        for (value, expected) in handed_out.iter().zip(&expected) {
            prop_assert!(steps_between(*value, *expected) <= 1, "{value} for {expected}");
        }

        let mut into = vec![f32::NAN; expected.len() + 1];
        prop_assert_eq!(column.scaled_into(scale, offset, &mut into), Some(expected.len()));
        prop_assert_eq!(&into[..expected.len()], &handed_out[..], "both ways give the same");
        prop_assert!(into[expected.len()].is_nan(), "nothing is written beyond the counts");
        if !expected.is_empty() {
            prop_assert_eq!(column.scaled_into(scale, offset, &mut into[..expected.len() - 1]), None);
        }
    }
}
