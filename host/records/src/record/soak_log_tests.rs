//! Logs of soaks: torn ends, altered lines, one holder.

use super::*;
use crate::outcome::SoakEnd;
use crate::quantity::Written;

fn begin() -> SoakBegin {
    SoakBegin {
        schema: SOAK_LOG_SCHEMA,
        rig: "sim:good-grip".to_owned(),
        kind: Written::of("grip"),
        part: "invented".to_owned(),
        sheet: "grip-complementary".to_owned(),
        hours: 1.0,
        every_s: 60.0,
        cycles: None,
        disk: 1_000_000,
        patience_s: 600.0,
        case: None,
        still_plugged: false,
        date: "2026-01-31T14:05:06+01:00".to_owned(),
        simulated: true,
    }
}

fn end(text: &str) -> SoakLine {
    let (date, why) = ("2026-01-31T15:05:06+01:00".to_owned(), "user".to_owned());
    SoakLine::End(SoakEnd { date, why, text: text.to_owned() })
}

/// An archive with a soak that was begun; its folder.
fn begun() -> (tempfile::TempDir, PathBuf, SoakLog) {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = Archive::open(dir.path()).unwrap().begin_record("invented", &begin().date).unwrap();
    let log = SoakLog::begin(&mut folder, begin()).unwrap();
    (dir, folder.path(), log)
}

fn again(folder: &Path) -> Result<(usize, u64), SoakLogError> {
    let mut count = 0;
    SoakLog::again(folder, "r", &mut |_| count += 1).map(|(_, torn)| (count, torn))
}

#[test]
fn a_log_cut_at_any_byte_keeps_the_lines_before_and_goes_on() {
    let (_dir, folder, mut log) = begun();
    log.append(&end("one")).unwrap();
    drop(log);
    let path = folder.join(SOAK_LOG);
    let whole = fs::read(&path).unwrap();
    let first = whole.iter().position(|b| *b == b'\n').unwrap() + 1;
    for cut in first..whole.len() {
        fs::write(&path, &whole[..cut]).unwrap();
        assert_eq!(again(&folder).unwrap(), (1, (cut - first) as u64), "cut at {cut}");
        assert_eq!(fs::read(&path).unwrap(), &whole[..first]);
    }
    let (mut log, _) = SoakLog::again(&folder, "r", &mut |_| {}).unwrap();
    log.append(&end("two")).unwrap();
    let mut lines = Vec::new();
    log.read(&mut |line| lines.push(line)).unwrap();
    assert_eq!(lines, [SoakLine::Begin(begin()), end("two")]);
    drop(log);
    for cut in 0..first {
        fs::write(&path, &whole[..cut]).unwrap();
        assert!(matches!(again(&folder), Err(SoakLogError::NoSoak { .. })), "cut at {cut}");
    }
}

#[test]
fn a_line_that_makes_no_sense_before_another_is_no_torn_end() {
    let (_dir, folder, mut log) = begun();
    log.append(&end("one")).unwrap();
    drop(log);
    let path = folder.join(SOAK_LOG);
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen("\"hours\":1.0", "\"hours\":", 1)).unwrap();
    assert!(matches!(again(&folder), Err(SoakLogError::Altered { line: 1, .. })));
}

#[test]
fn a_log_has_one_holder_and_is_free_when_that_ends() {
    let (_dir, folder, log) = begun();
    assert!(matches!(again(&folder), Err(SoakLogError::Taken { .. })));
    drop(log);
    assert_eq!(again(&folder).unwrap(), (1, 0));
}
