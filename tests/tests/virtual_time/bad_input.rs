//! What goes wrong on a bench and at a desk: strangers on the port, disturbed lines, sheets that can't be used, parts that do not do
//! what they should, places that can't be written (files to judge: `bad_files.rs`). Each gives a clear error or an honest verdict, the documented exit code,
//! and loses nothing that was recorded.

use anyhow::{Context, Result};
use std::ffi::OsStr;
use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::bad_sheets;
use trackpair_tests::cli::{Record, Running, Said, command, files_under, qualify, surround, trackpair};
use trackpair_tests::reading::read_some;

// ---- Who is on the port ----

/// Something that is not a rig, on a TCP port: it does `behave` with whoever connects. Its address.
fn stranger(behave: impl Fn(TcpStream) + Send + 'static) -> Result<String> {
    let listener = TcpListener::bind("127.0.0.1:0")?;
    let address = format!("tcp:{}", listener.local_addr()?);
    std::thread::spawn(move || listener.incoming().flatten().for_each(behave));
    Ok(address)
}

/// `self-check` at an address that is not a rig: the error must hold `words`, and nothing be left that looks like a record.
#[track_caller]
fn check_no_rig(address: &str, words: &[&str]) {
    let archive = tempdir().unwrap();
    let said =
        trackpair(["qualify", "--rig", address, "--archive", archive.path().to_str().unwrap()]).unwrap();
    said.expect(20, words);
    assert!(said.out.is_empty(), "no result is made up:\n{}", said.out);
    assert!(files_under(archive.path()).is_empty(), "no record of nothing");
}

#[test]
fn a_port_that_stays_silent_is_said_to_be_silent() -> Result<()> {
    let address = stranger(|mut stream| while read_some(&mut stream, &mut [0; 256]).is_ok_and(|n| n > 0) {})?;
    check_no_rig(
        &address,
        &[&address, "nothing answers", "check that the rig is on and that this is its port"],
    );
    Ok(())
}

#[test]
fn noise_as_of_a_wrong_baud_rate_is_said_to_be_no_rig() -> Result<()> {
    let address = stranger(|mut stream| {
        let mut state = 1u32;
        let mut bytes = [0; 256];
        while let Ok(1..) = read_some(&mut stream, &mut bytes) {
            // Numerical Recipes' generator; what a receiver makes of the wrong baud rate has no frame in it.
            let noise: Vec<u8> = (0..200)
                .map(|_| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    (state >> 24) as u8
                })
                .collect();
            if stream.write_all(&noise).is_err() {
                return;
            }
        }
    })?;
    check_no_rig(&address, &[&address, "it is not a rig, or the baud rate is wrong", "baud=N"]);
    Ok(())
}

#[test]
fn an_echo_is_said_to_be_one_with_its_address() -> Result<()> {
    let address = stranger(|mut stream| {
        let mut bytes = [0; 256];
        while let Ok(n @ 1..) = read_some(&mut stream, &mut bytes) {
            if stream.write_all(&bytes[..n]).is_err() {
                return;
            }
        }
    })?;
    check_no_rig(&address, &[&address, "an echo, no rig", "transmit and receive"]);
    Ok(())
}

/// A tty with another program at its end; what that program receives is handed to `behave`, which answers.
#[cfg(unix)]
fn tty(mut behave: impl FnMut(&[u8]) -> Vec<u8> + Send + 'static) -> Result<(String, serialport::TTYPort)> {
    use serialport::SerialPort;
    let (mut far, near) = serialport::TTYPort::pair()?;
    let path = near.name().context("the tty has no path")?;
    far.set_timeout(std::time::Duration::from_secs(60))?;
    std::thread::spawn(move || {
        let mut bytes = [0; 256];
        while let Ok(n @ 1..) = read_some(&mut far, &mut bytes) {
            if far.write_all(&behave(&bytes[..n])).is_err() {
                return;
            }
        }
    });
    Ok((format!("serial:{path}"), near))
}

/// At the wrong baud rate a rig hears no request and says nothing, or its own blocks come as noise. Over a real tty.
#[cfg(unix)]
#[test]
fn a_wrong_baud_rate_over_a_real_tty_is_named_as_a_possibility() -> Result<()> {
    let (silent, _near) = tty(|_| Vec::new())?;
    check_no_rig(&silent, &[&silent, "nothing answers", "wrong baud rate", "?baud=N"]);
    // What a receiver makes of bytes at a third of their rate: few values, and no frame.
    let (noisy, _near) = tty(|heard| heard.iter().flat_map(|b| [b | 0xE0, 0x00, !b | 0x07, 0xF8]).collect())?;
    check_no_rig(&noisy, &[&noisy, "it is not a rig, or the baud rate is wrong", "?baud=N"]);
    Ok(())
}

#[test]
fn a_rig_of_another_protocol_version_is_named_with_both_versions() -> Result<()> {
    use trackpair_protocol::frame::{DELIMITER, Deframer, MAX_ENCODED};
    // Any frame of version 9: an event that says so in its header. The frame is made by its own rules: COBS and CRC.
    let address = stranger(|mut stream| {
        let mut bytes = [0; 256];
        let mut deframer = Deframer::new();
        while let Ok(n @ 1..) = read_some(&mut stream, &mut bytes) {
            let mut answers = Vec::new();
            deframer.push(&bytes[..n], |frame| answers.extend(foreign(frame.kind | 0x80, frame.id)));
            if stream.write_all(&answers).is_err() {
                return;
            }
        }
        assert!(bytes.len() < MAX_ENCODED && DELIMITER == 0);
    })?;
    check_no_rig(
        &address,
        &[&address, "speaks protocol version 9, this program version 2", "update the older"],
    );
    Ok(())
}

/// A frame of protocol version 9 with an empty payload, by WIRE.md with other crates than the protocol's own.
fn foreign(kind: u8, id: u16) -> Vec<u8> {
    let mut body = vec![9, kind];
    body.extend(id.to_le_bytes());
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_AUTOSAR).checksum(&body);
    body.extend(crc.to_le_bytes());
    let mut frame = vec![0; cobs::max_encoding_length(body.len()) + 1];
    let n = cobs::encode(&body, &mut frame);
    frame.truncate(n + 1);
    frame
}

#[test]
fn nobody_on_the_port_and_an_address_that_is_none() -> Result<()> {
    trackpair(["qualify", "--rig", "tcp:127.0.0.1:1"])?.expect(20, &["tcp:127.0.0.1:1", "refused"]);
    trackpair(["qualify", "--rig", "serial:/dev/no-such-port"])?.expect(20, &["/dev/no-such-port"]);
    trackpair(["qualify", "--rig", "usb3"])?.expect(2, &["usb3", "serial:PATH", "tcp:HOST:PORT", "sim:"]);
    trackpair(["qualify", "--rig", "sim:no-such-grip"])?.expect(2, &["no-such-grip", "trackpair-rig parts"]);
    trackpair(["qualify", "--rig", "sim:good-grip?seed=x"])?.expect(2, &["seed"]);
    trackpair(["qualify"])?.expect(2, &["--rig"]);
    Ok(())
}

// ---- A disturbed line ----

/// The figures of a whole plan over a line, and what was lost.
fn over_a_line(
    rates: trackpair_tests::faulty::FaultRates,
) -> (trackpair_tests::bench::Run, trackpair::sheet::PartSheet) {
    use trackpair_tests::bench::{link, run_plan};
    use trackpair_tests::faulty::FaultyLink;
    let sheet = trackpair::sheet::shipped("grip-complementary").expect("shipped");
    let line = FaultyLink::new(link("worn-grip?seed=2"), 11, rates, rates);
    (run_plan(Box::new(line), &sheet), sheet)
}

/// What late, doubled, reordered and damaged frames must leave of a sweep.
#[track_caller]
fn check_disturbed(rates: trackpair_tests::faulty::FaultRates, loses: bool) {
    let (clean, sheet) = over_a_line(trackpair_tests::faulty::FaultRates::default());
    let (disturbed, _) = over_a_line(rates);
    assert_eq!(disturbed.failure, None);
    let (before, after) = (clean.sweep.as_ref().unwrap(), disturbed.sweep.as_ref().unwrap());
    assert!(after.time_us.is_sorted_by(|a, b| a < b));
    let lost: u64 = after.gaps.iter().map(|gap| gap.scans).sum();
    assert_eq!(lost > 0, loses, "{lost} scans");
    assert!(
        before.len().abs_diff(after.len() + lost as usize) < 50,
        "{} {} {lost}",
        before.len(),
        after.len()
    );
    let ((_, honest), (_, found)) = (clean.judge(&sheet), disturbed.judge(&sheet));
    assert_eq!(found.overall, honest.overall);
    assert!(found.findings.iter().any(|f| f.finding.kind.name() == "flat_spot"), "{:?}", found.findings);
}

#[test]
fn frames_that_come_late_twice_or_out_of_order_change_nothing() {
    use std::time::Duration;
    use trackpair_tests::faulty::FaultRates;
    let late = FaultRates {
        duplicate: 0.05,
        delay: 0.02,
        longest_delay: Duration::from_millis(80),
        ..FaultRates::default()
    };
    check_disturbed(late, false);
}

#[test]
fn frames_that_are_damaged_or_lost_are_gaps_and_never_numbers() {
    use trackpair_tests::faulty::FaultRates;
    let damaged = FaultRates { drop: 0.002, corrupt: 0.002, swallow: 0.002, ..FaultRates::default() };
    check_disturbed(damaged, true);
}

// ---- Part sheets ----

#[track_caller]
fn check_sheet(from: &str, to: &str, words: &[&str]) {
    bad_sheets::check_sheet("grip-complementary", "sim:good-grip", (from, to), words);
}

#[test]
fn a_sheet_with_an_unknown_key_names_it_with_its_place() {
    check_sheet("speed_deg_s = 60.0", "sped_deg_s = 60.0", &["unknown key `sped_deg_s`", "speed_deg_s"]);
}

#[test]
fn a_sheet_with_limits_that_nothing_can_keep_is_refused() {
    check_sheet("min = 0.35", "min = 0.75", &["0.75", "0.65"]);
}

#[test]
fn a_sheet_with_the_wrong_unit_says_which_is_right() {
    check_sheet("unit = \"% span\"", "unit = \"mV\"", &["mV", "% span"]);
}

#[test]
fn a_sheet_with_a_number_out_of_range_says_the_range() {
    check_sheet("travel_deg = 75.0", "travel_deg = -75.0", &["-75"]);
}

#[test]
fn a_sheet_that_does_not_exist_and_one_that_is_no_toml_are_usage_errors() -> Result<()> {
    trackpair(["sheet", "check", "no-such-sheet"])?.expect(2, &["no-such-sheet", "grip-complementary"]);
    trackpair(["sheet", "show", "no-such-sheet"])?.expect(2, &["no-such-sheet", "grip-half-slope"]);
    let folder = tempdir()?;
    let file = folder.path().join("binary.toml");
    std::fs::write(&file, [0xFF, 0xFE, 0, 1])?;
    trackpair([OsStr::new("sheet"), OsStr::new("check"), file.as_os_str()])?.expect(2, &["binary.toml"]);
    Ok(())
}

#[test]
fn every_shipped_sheet_can_be_shown_saved_and_checked() -> Result<()> {
    let folder = tempdir()?;
    for name in trackpair(["sheet", "list"])?.out.lines().filter_map(|l| l.split_whitespace().next()) {
        let shown = trackpair(["sheet", "show", name])?;
        let file = folder.path().join(format!("{name}.toml"));
        std::fs::write(&file, &shown.expect(0, &[]).out)?;
        trackpair([OsStr::new("sheet"), OsStr::new("check"), file.as_os_str()])?.expect(0, &[name, "limits"]);
    }
    Ok(())
}

// ---- Parts that do not do what they should ----

/// A good part and a sheet for another kind: the sheet is named first, and the part is not condemned.
#[test]
fn a_good_part_with_a_sheet_for_another_topology_is_undecided_and_the_fitting_sheet_is_named_first()
-> Result<()> {
    for (part, wrong, right) in [
        ("offset-grip", "grip-complementary", "grip-parallel-offset"),
        ("good-grip", "grip-half-slope", "grip-complementary"),
        ("half-slope-grip", "grip-parallel-offset", "grip-half-slope"),
    ] {
        let archive = tempdir()?;
        let record = qualify(&format!("sim:{part}"), archive.path(), &["--skip-leads", "--sheet", wrong])?;
        record.said.expect(11, &["UNDECIDED", "the sheet does not fit the part"]);
        let first = record.outcome["reasons"][0].as_str().context("a reason")?;
        assert!(first.contains("does not fit") && first.contains(&format!("--sheet {right}")), "{first}");
        assert!(!record.said.out.contains("OUTSIDE"), "{}", record.said.out);
    }
    Ok(())
}

#[test]
fn a_part_that_does_not_move_is_undecided_and_says_why() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:seized-grip?seed=2", archive.path(), &[])?;
    record.said.expect(11, &["UNDECIDED", "the part moved only", "clamp or grip is stuck"]);
    // Nothing is swept that does not turn, and no curve is made up.
    record.trace("self_check")?;
    assert!(record.trace("sweep").is_err());
    for figure in ["span", "closed_volts", "correlation_worst", "linearity_independent"] {
        assert!(
            record.figure(figure, Some("rising")).is_err() && record.figure(figure, None).is_err(),
            "{figure}"
        );
    }
    assert_eq!(record.outcome["not_testable"].as_array().map(Vec::is_empty), Some(false));
    Ok(())
}

#[test]
fn exchanged_lines_on_a_rig_are_named_and_outside() -> Result<()> {
    let archive = tempdir()?;
    qualify("sim:swapped-grip?seed=3", archive.path(), &[])?.said.expect(10, &["LINES EXCHANGED"]);
    Ok(())
}

#[test]
fn a_dead_line_is_outside_and_the_other_line_is_still_measured() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:dead-channel-grip?seed=1", archive.path(), &[])?;
    record.said.expect(10, &["DEAD LINE", "falling line"]);
    assert_eq!(record.figure("span", Some("rising"))?["verdict"], "within");
    Ok(())
}

// ---- Places that can't be written ----

/// The record that a failing archive leaves elsewhere: the program says where.
fn told_folder(said: &Said) -> PathBuf {
    let line = said.out.lines().chain(said.err.lines()).find_map(|l| l.strip_prefix("Record  "));
    PathBuf::from(line.unwrap_or_else(|| panic!("no record was told:\n{}\n{}", said.out, said.err)).trim())
}

/// `qualify` with an archive that can't be written: the verdict arrives, and the record is kept elsewhere.
#[track_caller]
fn check_elsewhere(archive: &Path, words: &[&str]) {
    let temporary = tempdir().unwrap();
    let mut qualify = command(["qualify", "--rig", "sim:worn-grip", "--skip-leads", "--archive"]).unwrap();
    qualify.arg(archive).env("TMPDIR", temporary.path());
    let said = Running::start(qualify).unwrap().finish().unwrap();
    said.expect(10, &[&["OUTSIDE", "--archive DIR", "kept in"][..], words].concat());
    let folder = told_folder(&said);
    assert!(folder.starts_with(temporary.path()), "{}", folder.display());
    let files = files_under(temporary.path());
    for file in ["outcome.json", "report.html", "trace-2-sweep.parquet"] {
        assert!(files.iter().any(|f| f.ends_with(file)), "{file} in {files:?}");
    }
}

#[test]
fn an_archive_in_the_place_of_a_file_is_told_and_the_record_kept_elsewhere() -> Result<()> {
    let folder = tempdir()?;
    let file = folder.path().join("a-file");
    std::fs::write(&file, "in the way")?;
    check_elsewhere(&file.join("records"), &["there is a file in the place of the folder"]);
    check_elsewhere(&file, &["there is a file in the place of the folder"]);
    Ok(())
}

/// Not even the system's administrator can make a folder in `/proc`.
#[cfg(target_os = "linux")]
#[test]
fn a_read_only_archive_is_told_and_the_record_kept_elsewhere() {
    check_elsewhere(Path::new("/proc/trackpair-records"), &["/proc/trackpair-records"]);
}

/// A full disk, by the limit on a file's size: every write beyond it fails, as on a disk without space. SIGXFSZ is ignored, so
/// that the write returns its error.
#[cfg(unix)]
#[test]
fn a_full_disk_is_told_the_verdict_is_still_given_and_small_files_are_kept() -> Result<()> {
    let archive = tempdir()?;
    let program = trackpair_tests::programs::trackpair()?;
    let mut shell = Command::new("bash");
    // 400 KiB: room for the outcome and the self-check, not for a sweep.
    let script =
        "trap '' XFSZ; ulimit -f 400; exec \"$0\" qualify --rig sim:worn-grip --skip-leads --archive \"$1\"";
    shell.args(["-c", script]).arg(program).arg(archive.path());
    surround(&mut shell)?;
    let record = Record::only(archive.path(), Running::start(shell)?.finish()?)?;
    record
        .said
        .expect(20, &["OUTSIDE", "Flat spot", "can't write", "trace-2-sweep.parquet", "--archive DIR"]);
    record.trace("self_check")?;
    assert!(record.trace("sweep").is_err(), "what could not be written is not said to be there");
    let left = record.files();
    assert!(
        left.iter().all(|name| !name.to_string_lossy().ends_with(".part")),
        "nothing half written: {left:?}"
    );
    Ok(())
}

/// Nothing at all can be written: not even the outcome. It is printed.
#[cfg(unix)]
#[test]
fn when_nothing_at_all_can_be_stored_the_outcome_is_still_printed() -> Result<()> {
    let archive = tempdir()?;
    let program = trackpair_tests::programs::trackpair()?;
    let mut shell = Command::new("bash");
    // 4 KiB: the folder can be proven, no file fits.
    let script = "trap '' XFSZ; ulimit -f 4; exec \"$0\" qualify --rig sim:worn-grip --skip-leads --json --archive \"$1\"";
    shell.args(["-c", script]).arg(program).arg(archive.path());
    surround(&mut shell)?;
    let said = Running::start(shell)?.finish()?;
    said.expect(1, &["can't write", "--archive DIR"]);
    let outcome: serde_json::Value = serde_json::from_str(&said.out)?;
    assert_eq!(outcome["verdict"], "outside");
    Ok(())
}

/// `/dev/full` answers every write with "no space left on device".
#[cfg(target_os = "linux")]
#[test]
fn a_report_that_finds_no_space_is_told_after_the_verdict() -> Result<()> {
    let archive = tempdir()?;
    let sweep = qualify("sim:good-grip?seed=1", archive.path(), &["--skip-leads"])?.trace("sweep")?;
    let said =
        trackpair([OsStr::new("judge"), sweep.as_os_str(), OsStr::new("--report"), OsStr::new("/dev/full")])?;
    said.expect(
        1,
        &["WITHIN", "can't write the report to /dev/full", "No space left", "another --report FILE"],
    );
    Ok(())
}

/// A reader that goes away (`trackpair … | head -1`) costs neither the verdict nor the record.
#[cfg(unix)]
#[test]
fn a_closed_pipe_loses_nothing() -> Result<()> {
    let archive = tempdir()?;
    let program = trackpair_tests::programs::trackpair()?;
    let mut shell = Command::new("bash");
    let script = "set -o pipefail; \"$0\" qualify --rig sim:worn-grip --skip-leads --archive \"$1\" | true";
    shell.args(["-c", script]).arg(program).arg(archive.path());
    surround(&mut shell)?;
    let record = Record::only(archive.path(), Running::start(shell)?.finish()?)?;
    record.said.expect(10, &[]);
    record.file("report.html")?;
    Ok(())
}

// ---- Words on the command line ----

#[test]
fn numbers_out_of_range_say_their_range() -> Result<()> {
    for (flag, value, words) in [
        ("--speed", "0", "1 to 720"),
        ("--rate", "1", "50 to 20000"),
        ("--cycles", "0", "1..=200"),
        ("--cycles", "many", "many"),
    ] {
        trackpair(["qualify", "--rig", "sim:good-grip", flag, value])?.expect(2, &[flag, words]);
    }
    trackpair(["procedure", "hand-sweep", "--rig", "sim:good-grip", "--for", "0s"])?
        .expect(2, &["--for 0 s", "0.5 s to"]);
    trackpair(["rigs", "--ping", "5"])?.expect(2, &["--rig ADDRESS"]);
    Ok(())
}
