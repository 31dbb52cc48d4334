//! Decoding a stream of sample blocks: the protocol crate against the serde path (postcard + cobs + crc crates).
//!
//! Both read the same counts from memory, check the same CRC-32/AUTOSAR (the host's protocol crate by the processor's carry-less
//! multiplication, the peer by its largest tables), undo byte stuffing, and deliver the same `f32` columns, by the same product in `f32`.
//! `items` are samples (scans × channels), `bytes` are bytes on the line. The last lines set whole job against whole job:
//! both in turns, so that what else the machine does hits both, the best round of each; once with caches as in a stream that goes on, once
//! with caches that were filled with something else before each round.

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use serde::{Deserialize, Serialize};
use std::time::Instant;
use trackpair_protocol::channel::Encoding;
use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::Message;
use trackpair_protocol::samples::SampleBlock;

const CHANNELS: usize = 8;
const SCANS: usize = 60;
const BLOCKS: usize = 2_000;
/// Bytes per read, as a serial driver hands them over.
const CHUNK: usize = 4096;
const SCALE: f64 = 5.12 / 65_536.0;

/// Turns of each way in the last lines.
const TURNS: usize = 20;
/// Rounds of one turn: the caches are then as in a stream that goes on, not as the other way left them.
const ROUNDS: usize = 10;
/// Bytes that are touched between rounds where caches are cold: more than any of them holds.
const OTHER: usize = 64 << 20;
/// Bytes of a line of a cache.
const LINE: usize = 64;

fn main() {
    divan::main();
    // Cargo runs benches as tests with `--test`: nothing is measured then.
    if !std::env::args().any(|argument| argument == "--test") {
        side_by_side();
    }
}

/// Prints the best of both ways to read frames into columns, and their ratio, with warm and with cold caches.
fn side_by_side() {
    let (own, peer) = (own_stream(), peer_stream());
    let mut columns = vec![vec![0.0_f32; BLOCKS * SCANS]; CHANNELS];
    let mut other = vec![1_u8; OTHER];
    for (caches, turns, rounds) in [("warm", TURNS, ROUNDS), ("cold", TURNS * ROUNDS, 1)] {
        let mut best = [f64::INFINITY; 2];
        for _ in 0..turns {
            for way in 0..2 {
                for _ in 0..rounds {
                    if caches == "cold" {
                        other.iter_mut().step_by(LINE).for_each(|byte| *byte = byte.wrapping_add(1));
                        black_box(&mut other);
                    }
                    let taken = match way {
                        0 => seconds(|| own_columns(&own, &mut columns)),
                        _ => seconds(|| peer_columns(&peer, &mut columns)),
                    };
                    best[way] = best[way].min(taken);
                }
            }
        }
        let samples = (BLOCKS * SCANS * CHANNELS) as f64;
        for (name, stream, seconds) in
            [("trackpair", &own, best[0]), ("postcard + cobs + crc", &peer, best[1])]
        {
            println!(
                "bytes to f32 columns, {caches} caches, {name}: {:.0} M samples/s, {:.2} GB/s of frames",
                samples / seconds / 1e6,
                stream.len() as f64 / seconds / 1e9
            );
        }
        println!(
            "bytes to f32 columns, {caches} caches: trackpair is {:.2} times as fast in samples/s",
            best[1] / best[0]
        );
    }
}

fn seconds(job: impl FnOnce() -> u64) -> f64 {
    let start = Instant::now();
    assert_eq!(black_box(job()), (BLOCKS * SCANS) as u64);
    start.elapsed().as_secs_f64()
}

/// A slow sweep with noise, as the counts of one channel: 16-bit, few zero bytes, like a real one.
fn count(channel: usize, scan: usize) -> i16 {
    let phase = scan as f64 / 6_000.0 + channel as f64;
    let noise = ((scan as u64 * 8 + channel as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 60) as i16;
    (20_000.0 * phase.sin()) as i16 + noise
}

fn own_stream() -> Vec<u8> {
    let mut stream = Vec::new();
    let mut frame = [0; MAX_ENCODED];
    for block in 0..BLOCKS {
        let columns: Vec<u8> = (0..CHANNELS)
            .flat_map(|c| (0..SCANS).flat_map(move |s| count(c, block * SCANS + s).to_le_bytes()))
            .collect();
        let message = Message::Samples(SampleBlock {
            run: 1,
            number: block as u32,
            first_us: (block * SCANS * 100) as u64,
            period_us: 100,
            scans: SCANS as u16,
            channels: 0xFF,
            overrun_before: 0,
            columns: &columns,
        });
        let n = message.encode(0, 0, &mut frame).expect("fits a frame");
        stream.extend_from_slice(&frame[..n]);
    }
    stream
}

/// The same block as serde sees it.
#[derive(Serialize, Deserialize)]
struct PeerBlock {
    run: u32,
    number: u32,
    first_us: u64,
    period_us: u32,
    overrun_before: u32,
    columns: Vec<Vec<i16>>,
}

const PEER_CRC: crc::Crc<u32, crc::Table<16>> = crc::Crc::<u32, crc::Table<16>>::new(&crc::CRC_32_AUTOSAR);

fn peer_stream() -> Vec<u8> {
    let mut stream = Vec::new();
    for block in 0..BLOCKS {
        let columns =
            (0..CHANNELS).map(|c| (0..SCANS).map(|s| count(c, block * SCANS + s)).collect()).collect();
        let block = PeerBlock {
            run: 1,
            number: block as u32,
            first_us: (block * SCANS * 100) as u64,
            period_us: 100,
            overrun_before: 0,
            columns,
        };
        let mut raw = postcard::to_allocvec(&block).expect("serialises");
        raw.extend_from_slice(&PEER_CRC.checksum(&raw).to_le_bytes());
        let mut stuffed = vec![0; cobs::max_encoding_length(raw.len())];
        let n = cobs::encode(&raw, &mut stuffed);
        stream.extend_from_slice(&stuffed[..n]);
        stream.push(0);
    }
    stream
}

/// One of the ways to read a stream, timed over the whole stream.
fn timed(bencher: Bencher, stream: &[u8], mut read: impl FnMut(&[u8]) -> u64) {
    bencher
        .counter(BytesCount::new(stream.len()))
        .counter(ItemsCount::new(BLOCKS * SCANS * CHANNELS))
        .bench_local(|| assert_eq!(read(black_box(stream)), (BLOCKS * SCANS) as u64));
}

/// Frames found, checked and read as blocks; columns left where they are.
#[divan::bench]
fn frames_by_trackpair_protocol(bencher: Bencher) {
    timed(bencher, &own_stream(), |stream| {
        let mut deframer = Deframer::new();
        let mut scans = 0;
        for chunk in stream.chunks(CHUNK) {
            deframer.push(chunk, |frame| {
                if let Ok(Message::Samples(block)) = Message::decode(&frame) {
                    scans += u64::from(block.scans);
                    black_box(block.columns);
                }
            });
        }
        scans
    });
}

/// The same, and every count scaled into its channel's column of engineering values.
#[divan::bench]
fn columns_by_trackpair_protocol(bencher: Bencher) {
    let mut columns = vec![vec![0.0_f32; BLOCKS * SCANS]; CHANNELS];
    timed(bencher, &own_stream(), |stream| own_columns(stream, &mut columns));
}

fn own_columns(stream: &[u8], columns: &mut [Vec<f32>]) -> u64 {
    let mut deframer = Deframer::new();
    let mut scans = 0;
    for chunk in stream.chunks(CHUNK) {
        deframer.push(chunk, |frame| {
            if let Ok(Message::Samples(block)) = Message::decode(&frame) {
                let end = scans + usize::from(block.scans);
                for (number, column) in block.columns(&[Encoding::I16; CHANNELS]).expect("declared") {
                    let values = &mut columns[usize::from(number)][scans..end];
                    column.scaled_into(SCALE, 0.0, values).expect("room");
                }
                scans = end;
            }
        });
    }
    black_box(columns);
    scans as u64
}

/// The serde path: find the delimiter, cobs, crc, postcard; the block's own vectors are the columns.
#[divan::bench]
fn frames_by_postcard_cobs_crc(bencher: Bencher) {
    timed(bencher, &peer_stream(), |stream| {
        let mut scans = 0;
        peer_blocks(stream, |block| {
            scans += block.columns[0].len() as u64;
            black_box(block.columns);
        });
        scans
    });
}

/// The serde path, and every count scaled into its channel's column of engineering values.
#[divan::bench]
fn columns_by_postcard_cobs_crc(bencher: Bencher) {
    let mut columns = vec![vec![0.0_f32; BLOCKS * SCANS]; CHANNELS];
    timed(bencher, &peer_stream(), |stream| peer_columns(stream, &mut columns));
}

fn peer_columns(stream: &[u8], columns: &mut [Vec<f32>]) -> u64 {
    let mut scans = 0;
    peer_blocks(stream, |block| {
        let end = scans + block.columns[0].len();
        for (values, counts) in columns.iter_mut().zip(&block.columns) {
            for (value, &count) in values[scans..end].iter_mut().zip(counts) {
                *value = SCALE as f32 * f32::from(count);
            }
        }
        scans = end;
    });
    black_box(columns);
    scans as u64
}

fn peer_blocks(stream: &[u8], mut on_block: impl FnMut(PeerBlock)) {
    let mut frame = Vec::new();
    for stuffed in stream.split(|&b| b == 0).filter(|f| !f.is_empty()) {
        frame.clear();
        frame.extend_from_slice(stuffed);
        let n = cobs::decode_in_place(&mut frame).expect("valid stuffing");
        let (raw, check) = frame[..n].split_at(n - 4);
        assert_eq!(PEER_CRC.checksum(raw).to_le_bytes(), check);
        on_block(postcard::from_bytes(raw).expect("a block"));
    }
}
