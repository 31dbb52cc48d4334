//! Whether this machine's clock can date records.

use super::check::Check;
use jiff::ZonedDateTime;
use std::path::Path;

const CLOCK: &str = "clock";
const ZONE: &str = "time zone";
const RECORDS: &str = "records";

/// This program is not older: a clock that says so stands still or begins anew.
pub const EARLIEST_YEAR: i16 = 2026;
/// Beyond this a clock is wrong rather than a program old. Engineering assumption.
pub const LATEST_YEAR: i16 = 2100;
/// Names of record folders begin with the local date and time: so many digits and a hyphen.
const STEM: usize = "20260131-140506".len();
/// A journey across time zones, in which an honest clock may be set back.
const TRAVEL_HOURS: i64 = 26;

/// Year and zone.
pub fn checks(now: &ZonedDateTime) -> Vec<Check> {
    vec![year(now), zone(now)]
}

fn year(now: &ZonedDateTime) -> Check {
    let shown = now.strftime("%Y-%m-%d %H:%M:%S").to_string();
    if (EARLIEST_YEAR..=LATEST_YEAR).contains(&now.year()) {
        return Check::ok(CLOCK, shown);
    }
    let advice = "set the clock (`timedatectl set-ntp true`): every record is dated by it";
    Check::problem(CLOCK, format!("it says {shown}, which can't be"), advice)
}

fn zone(now: &ZonedDateTime) -> Check {
    let zone = now.time_zone();
    if zone.is_unknown() {
        let advice = "set it (`timedatectl set-timezone`): dates are written in UTC until then";
        return Check::warning(ZONE, "this system does not name one", advice);
    }
    let name = zone.iana_name().unwrap_or("a fixed offset");
    Check::ok(ZONE, format!("{name}, now {}", now.strftime("%:z")))
}

/// Whether the clock is behind the newest record.
pub fn newest_record(archive: &Path, now: &ZonedDateTime) -> Check {
    let newest = [archive.join("records"), archive.to_path_buf()]
        .iter()
        .filter_map(|folder| std::fs::read_dir(folder).ok())
        .flatten()
        .flatten()
        .filter_map(|entry| record_stem(&entry.file_name().to_string_lossy()))
        .max();
    let Some(newest) = newest else { return Check::ok(RECORDS, "there is none yet") };
    let latest = now.checked_add(jiff::Span::new().hours(TRAVEL_HOURS));
    let latest = latest.map_or(String::new(), |t| t.strftime("%Y%m%d-%H%M%S").to_string());
    if newest > latest {
        let advice = "set the clock right before anything is recorded: the order of records would be doubted";
        return Check::problem(
            RECORDS,
            format!("the newest is from {newest}, later than the clock says"),
            advice,
        );
    }
    Check::ok(RECORDS, format!("the newest is from {newest}"))
}

/// The date at the beginning of a record folder's name.
fn record_stem(name: &str) -> Option<String> {
    let stem = name.get(..STEM)?;
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let (day, time) = stem.split_once('-')?;
    (day.len() == 8 && digits(day) && digits(time) && name[STEM..].starts_with('-')).then(|| stem.to_owned())
}
