//! Hands the fuzzer's bytes to `trackpair_protocol::fuzzing`, which says what is checked.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    trackpair_protocol::fuzzing::deframe_and_decode(data);
});
