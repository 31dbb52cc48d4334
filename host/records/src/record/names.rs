//! Names of records and of the files that belong to them. It does not touch the disk.

/// Longest part of a record's name that comes from the user's words, characters.
const LABEL_CHARS: usize = 40;

/// Folder of the traces, in the archive's.
pub const TRACES: &str = "traces";
/// Folder of outcomes, reports and seals, in the archive's.
pub const RECORDS: &str = "records";

/// Folder of the cases, in the archive's.
pub const CASES: &str = "cases";

/// Date and words as a case's name: `case-20260131-140506-blue-twin`. No record's name begins so.
pub(super) fn case_stem(opened: &str, vehicle: &str) -> String {
    format!("case-{}-{}", date_stem(opened), label_stem(vehicle, "vehicle"))
}

/// Whether a name is a case's.
pub(super) fn is_case(name: &str) -> bool {
    name.starts_with("case-")
}

/// Where the seal of an outcome or of a case's entry lies.
pub(super) fn seal_path(name: &str, number: u32) -> String {
    if is_case(name) {
        case_path(name, number, "seal", "json")
    } else {
        outcome_path(name, number, "seal", "json")
    }
}

/// Where a file of a case's entry lies: `entry`, `json` → `cases/C/entry-2.json`.
pub(super) fn case_path(case: &str, number: u32, stem: &str, ending: &str) -> String {
    format!("{CASES}/{case}/{stem}-{number}.{ending}")
}

/// Date and words as a name: `2026-01-31T14:05:06+01:00`, `Grip 12/B` → `20260131-140506-grip-12-b`.
pub(super) fn record_stem(started: &str, label: &str) -> String {
    format!("{}-{}", date_stem(started), label_stem(label, "part"))
}

/// The month of a date: `2026-01`; `undated` of what is none.
pub(super) fn month(started: &str) -> String {
    let digits = date_digits(started);
    if digits.len() < 8 { "undated".to_owned() } else { format!("{}-{}", &digits[..4], &digits[4..6]) }
}

/// Where a trace lies, from the archive's folder. `key=value` folders are columns to DuckDB, pandas, polars and Spark.
pub(super) fn trace_path(kind: &str, month: &str, procedure: &str, record: &str, position: u32) -> String {
    format!(
        "{TRACES}/kind={kind}/month={month}/procedure={procedure}/record={record}/trace-{position}-{procedure}.parquet"
    )
}

/// Where a file about an outcome lies: `report`, `html` → `records/R/report.html`, of the second outcome `report-2.html`.
pub(super) fn outcome_path(record: &str, number: u32, stem: &str, ending: &str) -> String {
    match number {
        1 => format!("{RECORDS}/{record}/{stem}.{ending}"),
        number => format!("{RECORDS}/{record}/{stem}-{number}.{ending}"),
    }
}

/// Year, month, day, hour, minute, second as digits, as far as they are there.
fn date_digits(started: &str) -> String {
    started.chars().filter(char::is_ascii_digit).take(14).collect()
}

/// `2026-01-31T14:05:06+01:00` → `20260131-140506`.
fn date_stem(started: &str) -> String {
    match date_digits(started).split_at_checked(8) {
        Some((day, time)) if !time.is_empty() => format!("{day}-{time}"),
        _ => "undated".to_owned(),
    }
}

/// The user's words as part of a file name: letters and digits of any language, everything else a hyphen.
fn label_stem(label: &str, nothing: &str) -> String {
    let mut stem = String::new();
    for c in label.chars().take(4 * LABEL_CHARS) {
        if c.is_alphanumeric() {
            stem.extend(c.to_lowercase());
        } else if !stem.ends_with('-') && !stem.is_empty() {
            stem.push('-');
        }
    }
    let stem: String = stem.chars().take(LABEL_CHARS).collect();
    match stem.trim_end_matches('-') {
        "" => nothing.to_owned(),
        stem => stem.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_made_of_date_and_words() {
        assert_eq!(record_stem("2026-01-31T14:05:06+01:00", "Grip 12/B"), "20260131-140506-grip-12-b");
        assert_eq!(record_stem("", ""), "undated-part");
        assert_eq!(
            (month("2026-01-31T14:05:06Z"), month("../x")),
            ("2026-01".to_owned(), "undated".to_owned())
        );
        assert_eq!(
            trace_path("grip", "2026-01", "sweep", "r", 2),
            "traces/kind=grip/month=2026-01/procedure=sweep/record=r/trace-2-sweep.parquet"
        );
        assert_eq!(outcome_path("r", 1, "report", "html"), "records/r/report.html");
        assert_eq!(outcome_path("r", 3, "report", "html"), "records/r/report-3.html");
    }
}
