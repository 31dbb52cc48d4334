//! Other loggers' files as they come: good ones in their layouts, and every mistake with its line.

use super::*;
use proptest::prelude::*;

macro_rules! data {
    ($name:literal) => {
        include_bytes!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/csv/", $name))
    };
}

fn options(map: &str) -> CsvOptions {
    CsvOptions {
        map: Some(map.to_owned()),
        part: Some("invented".to_owned()),
        started: "2026-01-02T03:04:05Z".to_owned(),
        ..CsvOptions::default()
    }
}

const MAP: &str = "time=t,reference=a,rising=r,second=f,supply=s";

/// Rows of `t,a,r,f,s` at 1 kHz, without a header.
fn rows(count: usize) -> Vec<String> {
    (0..count)
        .map(|k| format!("{:.3},{},{:.3},{:.3},5.0", k as f64 / 1e3, k, 0.5 + 0.001 * k as f64, 4.5))
        .collect()
}

/// A good file with one row (from 0) replaced.
fn file_with(row: usize, line: &str) -> String {
    let mut rows = rows(200);
    rows[row] = line.to_owned();
    format!("t [s],a,r,f,s\n{}\n", rows.join("\n"))
}

#[track_caller]
fn read(text: &str, options: &CsvOptions) -> (Trace, Vec<CsvWarning>) {
    csv_trace(text.as_bytes(), "invented.csv", options).unwrap_or_else(|e| panic!("{e}"))
}

#[track_caller]
fn refused(text: &str, options: &CsvOptions, words: &[&str]) -> CsvError {
    let error = csv_trace(text.as_bytes(), "invented.csv", options).expect_err("the file must be refused");
    for word in words {
        assert!(error.to_string().contains(word), "{word:?} is not in: {error}");
    }
    error
}

#[track_caller]
fn close(found: f32, expected: f32) {
    assert!((found - expected).abs() < 1e-4, "{found} is not {expected}");
}

#[test]
fn commas_comments_and_units_in_headers_are_read() {
    let options = options("reference=grip,rising=APS1,second=aps2 [v],supply=5");
    let (trace, warnings) = csv_trace(data!("comma-seconds.csv"), "comma-seconds.csv", &options).unwrap();
    assert_eq!((trace.len(), trace.provenance.period_us, trace.time_us[399]), (400, 10_000, 3_990_000));
    close(trace.channel(Channel::Reference).unwrap()[100], 75.0);
    close(trace.channel(Channel::Falling).unwrap()[0], 4.5);
    assert_eq!(trace.provenance.procedure, ProcedureKind::Import);
    assert_eq!(trace.provenance.file.as_deref(), Some("comma-seconds.csv"));
    assert_eq!((trace.provenance.part.as_str(), trace.provenance.time_known), ("invented", true));
    assert_eq!(warnings, [CsvWarning::NotCalibrated]);
}

#[test]
fn semicolons_decimal_commas_a_byte_order_mark_and_a_row_of_units_are_read() {
    let options =
        options("time=Zeit, reference=Winkel, rising=\"Kanal, 1\", second=Kanal 2, supply=Versorgung");
    let (trace, warnings) = csv_trace(data!("semicolon-decimal-comma.csv"), "x.csv", &options).unwrap();
    assert_eq!((trace.len(), trace.provenance.period_us), (400, 10_000));
    close(trace.channel(Channel::Rising).unwrap()[100], 4.5);
    // Written in mV and named so in the row of units.
    close(trace.channel(Channel::Falling).unwrap()[100], 0.5);
    assert!(warnings.contains(&CsvWarning::Converted { column: "falling", factor: 1e-3 }), "{warnings:?}");
}

#[test]
fn a_file_without_header_time_and_supply_says_what_cannot_be_had() {
    let mut options = options("reference=1,rising=2,second=3");
    let bytes = data!("tab-no-header.txt");
    let error = csv_trace(bytes, "x.txt", &options).unwrap_err();
    assert!(matches!(error, CsvError::NoSupply) && error.to_string().contains("--supply VOLTS"), "{error}");
    options.supply_volts = Some(5.0);
    let (trace, warnings) = csv_trace(bytes, "x.txt", &options).unwrap();
    assert_eq!((trace.provenance.time_known, trace.provenance.period_us), (false, 1000));
    assert_eq!(trace.provenance.stated_supply_volts, Some(5.0));
    assert!(warnings.contains(&CsvWarning::TimeUnknown));
    options.rate_hz = Some(100.0);
    let (trace, warnings) = csv_trace(bytes, "x.txt", &options).unwrap();
    assert_eq!((trace.provenance.time_known, trace.provenance.period_us), (true, 10_000));
    assert!(!warnings.contains(&CsvWarning::TimeUnknown));
}

#[test]
fn one_line_alone_and_a_map_by_headers_of_our_own_are_enough() {
    let text = "time_us,rising_volts,supply_volts\n0,1.0,5\n200,1.1,5\n400,1.2,5\n";
    let (trace, _) = read(text, &CsvOptions::default());
    assert_eq!(trace.time_us, [0, 200, 400]);
    assert_eq!(
        trace.columns.iter().map(|c| c.channel).collect::<Vec<_>>(),
        [Channel::Rising, Channel::Supply]
    );
    refused("a,b\n1,2\n3,4\n", &CsvOptions::default(), &["--map", "\"a\", \"b\""]);
}

#[test]
fn mistakes_in_the_map_name_the_columns_that_are_there() {
    let good = file_with(0, "0.000,0,0.5,4.5,5.0");
    refused(
        &good,
        &options("rising=x,supply=s"),
        &["no column \"x\"", "each comma", "\"t [s]\", \"a\", \"r\""],
    );
    refused(&good, &options("rising=r,supply=5V"), &["no column \"5V\"", "give --supply 5"]);
    refused(&good, &options("rising=9,supply=s"), &["no column number 9"]);
    refused(&good, &options("rising=r,second=3,supply=s"), &["column 3", "rising and falling"]);
    refused(&good, &options("reference=a,supply=s"), &["neither the first nor the second line"]);
    refused(&good, &options("rising=r"), &["supply is not known"]);
    refused("r,r,s\n1,2,5\n1,2,5\n", &options("rising=r,supply=s"), &["two columns", "number"]);
    refused("1,2,5\n1,2,5\n", &options("rising=r,supply=3"), &["no header row and 3 columns"]);
    // A wrong separator: everything is one column.
    refused(
        "r|s\n1|5\n2|5\n",
        &options("rising=r,supply=s"),
        &["no row of numbers", "comma, a semicolon or a tab"],
    );
}

#[test]
fn options_out_of_range_are_refused() {
    let good = file_with(0, "0.000,0,0.5,4.5,5.0");
    let with = |change: fn(&mut CsvOptions)| {
        let mut options = options(MAP);
        change(&mut options);
        options
    };
    refused(&good, &with(|o| o.supply_volts = Some(5000.0)), &["5000", "1 to 16 V"]);
    refused(&good, &with(|o| o.supply_volts = Some(f64::NAN)), &["1 to 16 V"]);
    refused(&good, &with(|o| o.rate_hz = Some(0.0)), &["1 to 1000000"]);
    refused(&good, &with(|o| o.time_unit = Some("h".to_owned())), &["s, ms, us or ns"]);
}

#[test]
fn a_little_text_becomes_a_missing_sample_and_much_text_is_refused_with_its_line() {
    let (trace, warnings) = read(&file_with(10, "0.010,10,open,4.5,5.0"), &options(MAP));
    assert!(trace.channel(Channel::Rising).unwrap()[10].is_nan());
    let told = CsvWarning::Text { column: "rising", count: 1, lines: vec![12], content: "open".to_owned() };
    assert!(warnings.contains(&told), "{warnings:?}");
    let said = told.to_string();
    assert_eq!(said, "rising: 1 cell is not a number and counts as missing data, in line 12: \"open\"");
    check_gap(&trace, (11, 9_000, 11_000, 1));
    let text = file_with(0, "0.000,0,0.5,4.5,5.0").replace(",4.500,", ",off,");
    refused(&text, &options(MAP), &["line 3", "falling holds \"off\"", "199 of 200 rows"]);
    refused("t,r,s\n0,,5\n1,,5\n", &options("rising=r,supply=s"), &["rising holds no number"]);
}

#[test]
fn empty_cells_are_counted() {
    let (trace, warnings) = read(&file_with(10, "0.010,10,,4.5,5.0"), &options(MAP));
    assert!(trace.channel(Channel::Rising).unwrap()[10].is_nan());
    assert!(warnings.contains(&CsvWarning::Empty { column: "rising", count: 1, rows: 200 }), "{warnings:?}");
    check_gap(&trace, (11, 9_000, 11_000, 1));
}

#[track_caller]
fn check_gap(trace: &Trace, expected: (usize, u64, u64, u64)) {
    let gaps: Vec<_> = trace.gaps.iter().map(|g| (g.index, g.from_us, g.to_us, g.scans)).collect();
    assert_eq!(gaps, [expected]);
}

#[test]
fn rows_that_lack_a_value_side_by_side_at_the_ends_and_beside_a_hole_are_one_gap_each() {
    let mut lines = rows(500);
    for k in [0, 50, 51, 499] {
        let mut cells: Vec<&str> = lines[k].split(',').collect();
        cells[1] = "OVERLOAD";
        lines[k] = cells.join(",");
    }
    lines.drain(52..60);
    let (trace, warnings) = read(&format!("t [s],a,r,f,s\n{}\n", lines.join("\n")), &options(MAP));
    let gaps: Vec<_> = trace.gaps.iter().map(|g| (g.index, g.from_us, g.to_us, g.scans)).collect();
    assert_eq!(gaps, [(1, 0, 1_000, 1), (52, 49_000, 60_000, 10), (492, 498_000, 499_000, 1)]);
    assert!(warnings.contains(&CsvWarning::Gaps { count: 3, scans: 12 }), "{warnings:?}");
    let said = warnings.iter().find(|w| matches!(w, CsvWarning::Text { .. })).unwrap().to_string();
    assert!(
        said.contains("4 cells are not numbers and count as missing data, in lines 2, 52, 53 and more"),
        "{said}"
    );
}

#[test]
fn columns_that_were_logged_at_different_rates_are_refused_by_name() {
    let lines: Vec<_> = (0..100).map(|k| format!("{k},{},5", if k % 3 == 0 { "1" } else { "" })).collect();
    let text = format!("t_ms,r,s\n{}\n", lines.join("\n"));
    refused(
        &text,
        &options("time=t,rising=r,supply=s"),
        &["rising holds a value in 34 of 100 rows", "one rate"],
    );
}

#[test]
fn a_ragged_row_is_left_out_and_many_are_refused_with_a_hint() {
    let (trace, warnings) = read(&file_with(10, "0.010,10"), &options(MAP));
    assert_eq!(trace.len(), 199);
    assert!(
        warnings.iter().any(|w| matches!(w, CsvWarning::Ragged { count: 1, lines, .. } if lines == &[12])),
        "{warnings:?}"
    );
    check_gap(&trace, (10, 9_000, 11_000, 1));
    let decimal_commas = "t,r,s\n0,0,1,5,5,0\n0,1,1,6,5,0\n0,2,1,7,5,0\n";
    refused(decimal_commas, &options("time=t,rising=r,supply=s"), &["line 2", "6 cells", "decimal commas"]);
    // The last line cut off in the middle is the same as a ragged one.
    let cut = file_with(199, "0.199,1");
    assert_eq!(read(cut.trim_end(), &options(MAP)).0.len(), 199);
}

#[test]
fn time_going_back_is_refused_with_its_line_even_below_comments() {
    refused(
        &file_with(10, "0.005,10,0.5,4.5,5.0"),
        &options(MAP),
        &["line 12", "from 0.009 to 0.005", "--rate"],
    );
    let commented = file_with(10, "# a note\n\n# another\n0.005,10,0.5,4.5,5.0");
    refused(&commented, &options(MAP), &["line 15"]);
}

#[test]
fn a_repeated_time_is_left_out_and_a_coarse_clock_is_refused() {
    let (trace, warnings) = read(&file_with(10, "0.009,10,0.5,4.5,5.0"), &options(MAP));
    assert_eq!(trace.len(), 199);
    assert!(warnings.contains(&CsvWarning::Repeats { count: 1, line: 12 }), "{warnings:?}");
    let coarse: Vec<_> = (0..100).map(|k| format!("{},1,5", k / 10)).collect();
    refused(
        &format!("t_ms,r,s\n{}\n", coarse.join("\n")),
        &options("rising=r,supply=s"),
        &["line 3", "90 of 100", "--rate"],
    );
}

#[test]
fn a_hole_in_time_becomes_a_gap_with_its_scans() {
    let mut lines = rows(200);
    lines.drain(50..70);
    let (trace, warnings) = read(&format!("t [s],a,r,f,s\n{}\n", lines.join("\n")), &options(MAP));
    assert_eq!(trace.gaps.len(), 1);
    let gap = trace.gaps[0];
    assert_eq!((gap.index, gap.from_us, gap.to_us, gap.scans), (50, 49_000, 70_000, 20));
    assert!(warnings.contains(&CsvWarning::Gaps { count: 1, scans: 20 }));
    assert_eq!(trace.provenance.period_us, 1000);
}

#[test]
fn a_row_without_a_time_is_left_out() {
    let (trace, warnings) = read(&file_with(10, ",10,0.5,4.5,5.0"), &options(MAP));
    assert_eq!(trace.len(), 199);
    assert!(warnings.contains(&CsvWarning::NoTime { count: 1 }), "{warnings:?}");
    check_gap(&trace, (10, 9_000, 11_000, 1));
}

#[test]
fn the_unit_of_time_comes_from_the_header_the_option_or_from_what_alone_makes_sense() {
    let file = |header: &str, step: f64, count: usize| {
        let lines: Vec<_> = (0..count).map(|k| format!("{},1,5", k as f64 * step)).collect();
        format!("{header},r,s\n{}\n", lines.join("\n"))
    };
    let map = options("rising=r,supply=s");
    for (header, step, taken) in
        [("t_us", 200.0, None), ("time", 200.0, Some("us")), ("Timestamp", 0.0002, Some("s"))]
    {
        let (trace, warnings) = read(&file(header, step, 10_000), &map);
        assert_eq!(trace.provenance.period_us, 200, "{header}");
        let told = warnings.iter().find_map(|w| match w {
            CsvWarning::TimeUnitTaken { unit, .. } => Some(*unit),
            _ => None,
        });
        assert_eq!(told, taken, "{header}");
    }
    // 50 scans 0.02 apart: a second of something in s, and nothing sensible in any other unit.
    let (trace, _) = read(&file("t", 0.02, 51), &map);
    assert_eq!(trace.provenance.period_us, 20_000);
    // 40 s at one scan each second is no sweep; 40 ms neither.
    refused(&file("t", 1.0, 40), &map, &["unit of the time column", "--time-unit"]);
    let stated = CsvOptions { time_unit: Some("ms".to_owned()), ..map.clone() };
    assert_eq!(read(&file("t", 1.0, 40), &stated).0.provenance.period_us, 1000);
    refused(&file("t_ns", 200.0, 40), &map, &["whole microseconds"]);
    let rate = CsvOptions { rate_hz: Some(5000.0), ..options("time=t,rising=r,supply=s") };
    let (trace, warnings) = read(&file("t", 1.0, 40), &rate);
    assert_eq!(trace.provenance.period_us, 200);
    assert!(warnings.contains(&CsvWarning::RateOverTime { column: "t".to_owned() }));
}

#[test]
fn what_cannot_be_volts_is_refused_and_a_few_such_values_are_told() {
    let millivolts = file_with(0, "0.000,0,0.5,4.5,4.9").replace(",5.0\n", ",5000\n");
    refused(
        &millivolts,
        &options(MAP),
        &["line 3", "199 of 200 rows", "supply is 5000", "-1 to 16 V", "[mV]"],
    );
    let (trace, warnings) = read(&file_with(10, "0.010,10,99,4.5,5.0"), &options(MAP));
    assert!(trace.channel(Channel::Rising).unwrap()[10].is_nan());
    check_gap(&trace, (11, 9_000, 11_000, 1));
    assert!(
        warnings.contains(&CsvWarning::NotVolts { channel: Channel::Rising, count: 1, line: 12 }),
        "{warnings:?}"
    );
}

#[test]
fn what_is_no_text_is_told_as_such() {
    let check = |bytes: &[u8], word: &str| {
        let error = csv_trace(bytes, "x", &options(MAP)).unwrap_err().to_string();
        assert!(error.contains(word), "{error}");
    };
    check(b"", "empty");
    check(b" \r\n\n", "empty");
    check(&[0xff, 0xfe, b'a', 0], "UTF-16");
    check(b"PK\x03\x04\0\0", "binary");
    check(b"hello\nworld\n", "no row of numbers");
    check(b"t,a,r,f,s\n", "no row of numbers");
    check(b"t,a,r,f,s\n0,1,2,3,5\n", "at least 2");
}

#[test]
fn a_logged_supply_goes_before_a_stated_one() {
    let stated = CsvOptions { supply_volts: Some(5.0), ..options(MAP) };
    let (trace, warnings) = read(&file_with(0, "0.000,0,0.5,4.5,5.0"), &stated);
    assert_eq!(trace.provenance.stated_supply_volts, None);
    assert!(warnings.contains(&CsvWarning::SupplyLogged));
}

proptest! {
    #[test]
    fn any_text_gives_a_sound_trace_or_an_error(text in "[0-9a-z.,;\\t\\n\"# -]{0,300}", map in prop_oneof![Just("rising=1,supply=2"), Just("rising=r,supply=s")]) {
        if let Ok((trace, _)) = csv_trace(text.as_bytes(), "x", &options(map)) {
            prop_assert!(trace.time_us.windows(2).all(|w| w[0] < w[1]));
            prop_assert!(trace.columns.iter().all(|c| c.values.len() == trace.len()));
        }
    }

    #[test]
    fn any_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _ = csv_trace(&bytes, "x", &options("rising=1,supply=2"));
    }

    #[test]
    fn a_mutated_file_gives_a_sound_trace_or_an_error(at in 0usize..5000, put in "[ -~\\n]{0,8}") {
        let mut text = file_with(0, "0.000,0,0.5,4.5,5.0");
        let at = at.min(text.len());
        let end = (at + 3).min(text.len());
        text.replace_range(at..end, &put);
        if let Ok((trace, _)) = csv_trace(text.as_bytes(), "x", &options(MAP)) {
            prop_assert!(trace.time_us.windows(2).all(|w| w[0] < w[1]));
            prop_assert!(trace.columns.iter().all(|c| c.values.len() == trace.len()));
        }
    }
}
