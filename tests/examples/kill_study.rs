//! Kills programs that keep records at random moments, as often as asked, and says what the archive survived.
//!
//!     kill_study [COUNT] [SEED]

use anyhow::{Context, Result};
use std::time::Instant;
use trackpair_tests::crash::survive;

fn main() -> Result<()> {
    let number = |k: usize, default: u64| -> Result<u64> {
        std::env::args()
            .nth(k)
            .map_or(Ok(default), |a| a.parse().with_context(|| format!("{a:?} is not a whole number")))
    };
    let (count, seed) = (number(1, 1000)?, number(2, 1)?);
    let archive = tempfile::tempdir()?;
    let begun = Instant::now();
    let survived = survive(archive.path(), count, seed)?;
    println!("{survived:?}");
    println!("the archive is whole; {:.0} s", begun.elapsed().as_secs_f64());
    Ok(())
}
