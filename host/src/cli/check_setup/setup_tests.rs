//! A test for each thing that can be wrong with a machine, and that each says what to do.

use super::ports::{PortState, group_name, port};
use super::*;
use crate::record::seal::ShopKey;
use std::io;
use std::path::Path;

#[track_caller]
fn is(check: &Check, state: State, words: &[&str]) {
    assert_eq!(check.state, state, "{check:?}");
    assert_eq!(check.advice.is_some(), state != State::Ok, "{check:?}");
    let text = check.text();
    for word in words {
        assert!(text.contains(word), "{word:?} missing in {text}");
    }
}

#[test]
fn no_port_at_all_is_a_warning_that_names_the_other_ways() {
    is(&ports::all(&[], false)[0], State::Warning, &["no serial port", "tcp:HOST:PORT", "sim:good-grip"]);
}

#[test]
fn a_port_that_is_missing_busy_or_refused_is_a_problem_with_its_remedy() {
    let path = "/dev/ttyACM0";
    let dialout = PortState::Refused { group: Some("dialout".to_owned()) };
    is(&port(path, &PortState::Opens, false), State::Ok, &["may be opened"]);
    is(&port(path, &PortState::Missing, false), State::Problem, &["does not exist", "trackpair rigs"]);
    is(&port(path, &PortState::Busy, false), State::Problem, &["another program", "close"]);
    is(&port(path, &PortState::Other("I/O error".to_owned()), false), State::Problem, &["I/O error", "plug"]);
    is(
        &port(path, &dialout, false),
        State::Problem,
        &["may not be opened by you", ports::RULE, "usermod -aG dialout $USER", "log in again"],
    );
    is(&port(path, &dialout, true), State::Problem, &["rule is installed", "usermod -aG dialout"]);
    let root = port(path, &PortState::Refused { group: Some("root".to_owned()) }, false);
    assert!(!root.text().contains("usermod"), "nobody should join root: {}", root.text());
}

#[test]
fn the_state_of_a_port_is_what_the_system_says() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("port");
    assert_eq!(ports::state(file.to_str().unwrap()), PortState::Missing);
    std::fs::write(&file, "").unwrap();
    assert_eq!(ports::state(file.to_str().unwrap()), PortState::Opens);
    assert!(matches!(ports::state(folder.path().to_str().unwrap()), PortState::Other(_)));
}

#[test]
fn a_group_is_found_by_its_number_and_nonsense_is_no_group() {
    let groups = "root:x:0:\nbroken\ndialout:x:20:me,you\n:x:21:\n";
    assert_eq!(group_name(groups, 20).as_deref(), Some("dialout"));
    assert_eq!(group_name(groups, 99), None);
    assert_eq!(group_name("", 0), None);
}

#[test]
fn an_archive_that_can_not_be_written_says_why() {
    let (archive, there) = (Path::new("/a/records"), Path::new("/a"));
    for (kind, words) in [
        (io::ErrorKind::StorageFull, "no space is left"),
        (io::ErrorKind::ReadOnlyFilesystem, "read-only"),
        (io::ErrorKind::PermissionDenied, "not allowed"),
        (io::ErrorKind::NotADirectory, "a file in the place"),
        (io::ErrorKind::Other, "refused"),
    ] {
        let check = place::rights(archive, there, Err(kind.into()));
        is(&check, State::Problem, &["/a/records", words, "--archive DIR"]);
    }
    is(&place::rights(archive, there, Ok(())), State::Ok, &["can be made"]);
    is(&place::rights(archive, archive, Ok(())), State::Ok, &["can be written"]);
}

#[test]
fn looking_at_an_archive_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let archive = folder.path().join("shop/records");
    is(&place::checks(&archive)[0], State::Ok, &["can be made"]);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    let file = folder.path().join("file");
    std::fs::write(&file, "").unwrap();
    is(&place::checks(&file.join("records"))[0], State::Problem, &["a file in the place"]);
}

#[test]
fn little_space_is_a_warning_and_too_little_a_problem() {
    is(&place::space(place::LEAST_BYTES - 1), State::Problem, &["not enough"]);
    is(&place::space(place::LEAST_BYTES), State::Warning, &["some records only"]);
    is(&place::space(place::FEW_BYTES), State::Ok, &["free"]);
}

#[cfg(unix)]
#[test]
fn a_key_that_others_can_read_or_that_is_none_is_a_problem_and_one_that_is_not_there_yet_is_none() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("shop.key");
    is(&key::check(None, None), State::Warning, &["no place for it", "TRACKPAIR_KEY"]);
    is(&key::check(Some(&file), None), State::Ok, &["made at the first record"]);
    is(&key::check(Some(folder.path()), None), State::Problem, &["not a file"]);
    std::fs::write(&file, "key").unwrap();
    let mode = |mode| std::fs::set_permissions(&file, PermissionsExt::from_mode(mode)).unwrap();
    mode(0o640);
    is(&key::check(Some(&file), None), State::Problem, &["mode 640", "chmod 600"]);
    mode(0o600);
    is(&key::check(Some(&file), None), State::Problem, &["no private key", "key import"]);
}

#[test]
fn a_key_that_did_not_make_the_last_seal_is_a_warning_that_names_both() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("shop.key");
    let [own, other] = [1, 2].map(|seed| ShopKey::from_seed(&[seed; 32]));
    let [own_hex, other_hex] = [&own, &other].map(|key| key.public().to_hex());
    is(
        &key::check(Some(&file), Some(&other_hex)),
        State::Warning,
        &["is not there", &other_hex, "key import"],
    );
    own.save(&file).unwrap();
    is(&key::check(Some(&file), None), State::Ok, &["you alone", &own_hex]);
    is(&key::check(Some(&file), Some(&own_hex)), State::Ok, &["you alone", &own_hex]);
    is(&key::check(Some(&file), Some(&other_hex)), State::Warning, &["another key", &own_hex, &other_hex]);
}

#[test]
fn an_index_that_is_no_archives_is_a_problem_and_none_at_all_is_not() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(key::last_seal(folder.path()), Ok(None));
    std::fs::write(
        folder.path().join("archive.sqlite"),
        "nonsense, and more of it than a header is long: ".repeat(20),
    )
    .unwrap();
    is(&key::last_seal(folder.path()).unwrap_err(), State::Problem, &["damaged", "--archive DIR"]);
}

fn at(text: &str) -> jiff::ZonedDateTime {
    text.parse().unwrap()
}

#[test]
fn a_clock_that_begins_anew_is_a_problem() {
    is(&clock::checks(&at("1970-01-01T00:10:00+00:00[UTC]"))[0], State::Problem, &["1970", "timedatectl"]);
    is(&clock::checks(&at("2101-01-01T00:10:00+00:00[UTC]"))[0], State::Problem, &["2101"]);
    let good = clock::checks(&at("2026-11-25T12:00:00+01:00[Europe/Zurich]"));
    is(&good[0], State::Ok, &["2026-11-25 12:00:00"]);
    is(&good[1], State::Ok, &["Europe/Zurich", "+01:00"]);
}

#[test]
fn a_time_zone_that_nobody_named_is_a_warning() {
    let nowhere =
        jiff::Timestamp::from_second(1_800_000_000).unwrap().to_zoned_datetime(jiff::tz::TimeZone::unknown());
    is(&clock::checks(&nowhere)[1], State::Warning, &["does not name one", "UTC"]);
}

#[test]
fn a_clock_behind_the_newest_record_is_a_problem() {
    let archive = tempfile::tempdir().unwrap();
    let now = at("2026-11-25T12:00:00+00:00[UTC]");
    is(&clock::newest_record(archive.path(), &now), State::Ok, &["none yet"]);
    for name in ["20261125-110000-grip", "notes", "20269999", "99999999-999999", "2026112é-110000-x"] {
        std::fs::create_dir(archive.path().join(name)).unwrap();
    }
    is(&clock::newest_record(archive.path(), &now), State::Ok, &["20261125-110000"]);
    // Across time zones an honest clock may go back by a day.
    std::fs::create_dir(archive.path().join("20261126-110000-grip-2")).unwrap();
    is(&clock::newest_record(archive.path(), &now), State::Ok, &["20261126"]);
    std::fs::create_dir_all(archive.path().join("records/20261127-150000-body")).unwrap();
    is(&clock::newest_record(archive.path(), &now), State::Problem, &["20261127-150000", "set the clock"]);
}

#[test]
fn a_configuration_that_can_not_be_used_is_a_problem_on_one_line() {
    let missing = ConfigError::Missing("/nowhere.toml".into());
    is(&configuration(&Err(missing))[0], State::Problem, &["/nowhere.toml", "config example"]);
}

#[test]
fn a_logo_that_documents_would_leave_out_is_a_warning_with_its_remedy() {
    let with = |bytes: &[u8]| logo(&Shop { logo: Some(bytes.to_vec()), ..Shop::default() });
    is(
        &with(b"\x89PNG\r\n\x1a\ncut off"),
        State::Warning,
        &["made without it", "PNG is damaged", "save it anew"],
    );
    let script = b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><script>x</script></svg>";
    is(&with(script), State::Warning, &["made without it", "not allowed", "shapes alone"]);
    let good = b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'><path d='M0 0h9v9z'/></svg>";
    is(&with(good), State::Ok, &["bytes"]);
}

#[test]
fn a_plain_locale_is_a_warning() {
    is(&terminal(true), State::Warning, &["ASCII", "C.UTF-8"]);
    is(&terminal(false), State::Ok, &[]);
}

#[test]
fn hostile_names_reach_no_terminal() {
    let check = Check::problem("port", "/dev/\u{1b}[2J\u{202e}", "a\nb");
    assert!(check.text().lines().count() == 2 && !check.text().contains('\u{1b}'), "{:?}", check.text());
}
