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

proptest! {
    #[test]
    fn both_ways_of_scaling_give_offset_plus_scale_times_count(
        bytes in vec(any::<u8>(), 0..400),
        code in 0..3u8,
        scale in -10.0..10.0f64,
        offset in -100.0..100.0f64,
    ) {
        let encoding = Encoding::from_code(code).expect("assigned");
        let column = Column { encoding, bytes: &bytes };
        let expected: Vec<f32> = column.counts().map(|c| (offset + scale * f64::from(c)) as f32).collect();
        let (low, high) = encoding.range();
        prop_assert!(column.counts().all(|c| (low..=high).contains(&c)));
        prop_assert_eq!(column.len(), expected.len());

        let mut handed_out = Vec::new();
        column.scaled(scale, offset, |v| handed_out.push(v));
        prop_assert_eq!(&handed_out, &expected);

        let mut into = vec![f32::NAN; expected.len() + 1];
        prop_assert_eq!(column.scaled_into(scale, offset, &mut into), Some(expected.len()));
        prop_assert_eq!(&into[..expected.len()], &expected[..]);
        prop_assert!(into[expected.len()].is_nan(), "nothing is written beyond the counts");
        if !expected.is_empty() {
            prop_assert_eq!(column.scaled_into(scale, offset, &mut into[..expected.len() - 1]), None);
        }
    }
}
