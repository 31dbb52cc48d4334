//! Files to judge that can't be believed as they are: damaged Parquet, logs with gaps, text, wrong separators, time that runs
//! backwards. Each gives a clear error or an honest verdict, and the documented exit code.

use anyhow::Result;
use std::sync::LazyLock;
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{Record, Said, qualify, trackpair};

/// A record of a good grip, made once.
static GOOD: LazyLock<(TempDir, Record)> = LazyLock::new(|| {
    let archive = tempdir().unwrap();
    let record = qualify("sim:good-grip?seed=1", archive.path(), &["--skip-leads"]).unwrap();
    (archive, record)
});

/// `judge` on a file with these bytes.
fn judge(name: &str, bytes: &[u8], more: &[&str]) -> Said {
    let folder = tempdir().unwrap();
    let file = folder.path().join(name);
    std::fs::write(&file, bytes).unwrap();
    trackpair([&["judge", "--full", file.to_str().unwrap()][..], more].concat()).unwrap()
}

#[test]
fn a_truncated_parquet_file_is_said_to_be_damaged_wherever_it_is_cut() -> Result<()> {
    let whole = std::fs::read(GOOD.1.trace("sweep")?)?;
    for cut in [0, 3, 4, 100, whole.len() / 2, whole.len() - 1] {
        let said = judge("trace.parquet", &whole[..cut], &[]);
        assert_eq!(said.code, Some(2), "cut at {cut}: {}{}", said.out, said.err);
        assert!(said.err.contains("trace.parquet") && !said.err.contains("panicked"), "{}", said.err);
        assert!(said.out.is_empty());
    }
    Ok(())
}

#[test]
fn a_parquet_file_with_a_damaged_middle_is_never_judged_as_if_it_were_whole() -> Result<()> {
    let mut bytes = std::fs::read(GOOD.1.trace("sweep")?)?;
    let middle = bytes.len() / 2;
    bytes[middle..middle + 64].fill(0xA5);
    let said = judge("trace.parquet", &bytes, &[]);
    assert!(!said.err.contains("panicked"), "{}", said.err);
    assert_eq!(said.code, Some(2), "{}{}", said.out, said.err);
    Ok(())
}

/// A logger's export of an invented perfect complementary pair, 200 scans/s: two cycles of 5 s each way with a second's rest at
/// every stop. Time, angle, lines, supply.
fn rows() -> Vec<[f64; 5]> {
    (0..4800)
        .map(|k| {
            let phase = f64::from(k) / 200.0 % 12.0;
            let share = (phase / 5.0).min((11.0 - phase) / 5.0).clamp(0.0, 1.0);
            [f64::from(k) * 0.005, 75.0 * share, 0.5 + 4.0 * share, 4.5 - 4.0 * share, 5.0]
        })
        .collect()
}

const HEADER: &str = "time_s,angle,APS1,APS2,Vref";
const MAP: [&str; 2] = ["--map", "time=time_s,reference=angle,rising=APS1,falling=APS2,supply=Vref"];

fn csv(rows: &[[f64; 5]]) -> Vec<String> {
    let line = |r: &[f64; 5]| format!("{:.4},{:.3},{:.4},{:.4},{:.4}", r[0], r[1], r[2], r[3], r[4]);
    std::iter::once(HEADER.to_owned()).chain(rows.iter().map(line)).collect()
}

fn judge_lines(lines: &[String]) -> Said {
    judge("log.csv", lines.join("\n").as_bytes(), &MAP)
}

#[test]
fn a_csv_with_rows_missing_has_gaps_and_is_not_within() {
    let mut lines = csv(&rows());
    lines.drain(1300..1400);
    let said = judge_lines(&lines);
    assert_ne!(said.code, Some(0), "{}", said.out);
    said.expect(11, &["missing"]);
}

#[test]
fn a_csv_with_text_in_a_cell_has_a_gap_there_and_with_text_everywhere_it_is_refused() {
    let mut lines = csv(&rows());
    let rising = |line: &str, cell: &str| {
        let mut cells: Vec<&str> = line.split(',').collect();
        cells[2] = cell;
        cells.join(",")
    };
    lines[1234] = rising(&lines[1234], "OVERLOAD");
    let said = judge_lines(&lines);
    said.expect(
        11,
        &["UNDECIDED", "line 1235", "OVERLOAD", "1 cell is not a number and counts as missing data"],
    );
    said.expect(11, &["1 scan missing in the file", "repeat the"]);
    for line in lines[1..].iter_mut().step_by(2) {
        *line = rising(line, "ERR");
    }
    judge_lines(&lines).expect(2, &["log.csv", "line 2", "ERR", "not a number", "map another column"]);
}

#[test]
fn a_csv_with_separators_that_do_not_fit_the_map_says_what_it_saw() {
    let lines = csv(&rows());
    let pipes: Vec<String> = lines.iter().map(|l| l.replace(',', "|")).collect();
    judge_lines(&pipes).expect(2, &["log.csv", "separator must be a comma, a semicolon or a tab"]);
    // Semicolons, but decimal commas too: that is a dialect, and read.
    let semicolons: Vec<String> = lines.iter().map(|l| l.replace(',', ";").replace('.', ",")).collect();
    let (read, plain) = (judge_lines(&semicolons), judge_lines(&lines));
    assert_eq!(read.code, plain.code, "{}{}", read.out, read.err);
}

#[test]
fn a_csv_whose_time_runs_backwards_is_refused_with_the_line() {
    let mut lines = csv(&rows());
    lines.swap(2000, 2500);
    judge_lines(&lines).expect(2, &["log.csv", "line", "time goes back", "--rate HZ"]);
}

#[test]
fn a_csv_without_what_it_needs_says_what_to_add() {
    let lines = csv(&rows()).join("\n");
    let bytes = lines.as_bytes();
    judge("log.csv", bytes, &["--map", "rising=APS1"]).expect(2, &["--supply VOLTS"]);
    judge("log.csv", bytes, &["--map", "rising=APS9,supply=Vref"]).expect(2, &["APS9", "APS1"]);
    judge("log.csv", bytes, &["--map", "rising=APS1,rising=APS2"]).expect(2, &["rising"]);
    judge("log.csv", bytes, &["--map", "up=APS1"]).expect(2, &["up", "rising"]);
    judge("log.csv", b"", &[]).expect(2, &["empty"]);
    trackpair(["judge", "no-such-file.csv"]).unwrap().expect(2, &["no-such-file.csv"]);
}

/// Whatever makes a row useless, in whatever column: the part is never within over it.
#[test]
fn no_row_that_lacks_a_value_goes_by_as_if_it_were_there() {
    judge_lines(&csv(&rows())).expect(0, &["WITHIN"]);
    for (column, cell) in
        [(0, "?"), (1, "OL"), (2, ""), (2, "9.9E+37"), (3, "OVERLOAD"), (4, "ERR"), (3, "1.0,2.0")]
    {
        let mut lines = csv(&rows());
        let mut cells: Vec<&str> = lines[2000].split(',').collect();
        cells[column] = cell;
        lines[2000] = cells.join(",");
        let said = judge_lines(&lines);
        assert_eq!(said.code, Some(11), "{cell:?} in column {column}: {}{}", said.out, said.err);
        said.expect(11, &["missing"]);
    }
}

/// A log alone can't distinguish exchanged lines from an angle that was counted from wide open: neither is within.
#[test]
fn in_a_log_exchanged_lines_and_an_angle_that_runs_backwards_are_undecided() {
    let swapped: Vec<_> = rows().into_iter().map(|[t, deg, a, b, v]| [t, deg, b, a, v]).collect();
    let backwards: Vec<_> = rows().into_iter().map(|[t, deg, a, b, v]| [t, -deg, a, b, v]).collect();
    for rows in [swapped, backwards] {
        judge_lines(&csv(&rows)).expect(11, &["UNDECIDED", "against the angle column", "correct the map"]);
    }
    judge_lines(&csv(&rows())).expect(0, &["WITHIN"]);
}
