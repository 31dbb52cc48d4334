//! How many parts a test draws: a few at every change, as many times that as `TRACKPAIR_TEST_DRAWS` says where it is set.

use std::ops::RangeInclusive;

/// Seeds from 1 to `few`, or to that many times as many.
pub fn draws(few: u64) -> RangeInclusive<u64> {
    let times =
        std::env::var("TRACKPAIR_TEST_DRAWS").map_or(1, |times| times.parse().expect("a whole number"));
    1..=few * times
}
