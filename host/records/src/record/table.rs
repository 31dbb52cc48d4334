//! Rows of the index as one table for other programs: CSV, JSON, Parquet. It does not know what they mean.

use super::parquet_file::ParquetError;
use parquet::basic::{Compression, LogicalType, Repetition, Type as PhysicalType, ZstdLevel};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError as Cause;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use rusqlite::types::Value;
use std::sync::Arc;

/// What becomes the rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exported {
    /// Records, with their last outcome.
    Records,
    /// Figures of the last outcomes.
    Figures,
    /// Findings of the last outcomes.
    Findings,
}

impl Exported {
    /// The question to the index.
    pub(super) const fn sql(self) -> &'static str {
        match self {
            Self::Records => {
                "SELECT records.record, parts.kind, parts.label, records.begun, records.month, records.simulated, latest.number,
                        latest.judged, latest.verdict, latest.scope, latest.sheet, latest.grade
                 FROM records JOIN parts USING (part) LEFT JOIN latest ON latest.record = records.record
                 ORDER BY records.begun, records.record"
            }
            Self::Figures => {
                "SELECT latest.record, latest.kind, latest.label, latest.begun, latest.month, latest.simulated, latest.number,
                        latest.sheet, figures.figure, figures.channel, figures.region, figures.direction, figures.from_deg,
                        figures.bridge, figures.value, figures.expanded_uncertainty, figures.unit, figures.upper_bound,
                        figures.at_deg, figures.limit_min, figures.limit_max, figures.limit_bound, figures.verdict
                 FROM latest JOIN figures USING (record, number)
                 ORDER BY latest.begun, latest.record, figures.position"
            }
            Self::Findings => {
                "SELECT latest.record, latest.kind, latest.label, latest.begun, latest.month, latest.simulated, latest.number,
                        latest.sheet, findings.kind AS finding, findings.channel, findings.from_deg, findings.to_deg,
                        findings.confidence, findings.effect, findings.text
                 FROM latest JOIN findings USING (record, number)
                 ORDER BY latest.begun, latest.record, findings.position"
            }
        }
    }
}

/// Type of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ColumnType {
    /// Text.
    Text,
    /// A whole number.
    Integer,
    /// A number.
    Real,
}

/// Rows with their columns' names and types.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Names and types.
    pub columns: Vec<(String, ColumnType)>,
    /// Values, null where there is none.
    pub rows: Vec<Vec<Value>>,
}

/// As CSV (RFC 4180): a head, then a line per row; empty where there is no value. A text that a spreadsheet would take for a formula gets
/// an apostrophe before it.
pub fn to_csv(table: &Table) -> String {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory can't fail.
    let _ = writer.write_record(table.columns.iter().map(|(name, _)| name));
    for row in &table.rows {
        let _ = writer.write_record(row.iter().map(csv_cell));
    }
    writer.into_inner().map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default()
}

fn csv_cell(value: &Value) -> String {
    match value {
        Value::Null | Value::Blob(_) => String::new(),
        Value::Integer(n) => n.to_string(),
        Value::Real(x) => x.to_string(),
        // What spreadsheets take for a formula (OWASP, "CSV Injection").
        Value::Text(text) if is_formula(text) => format!("'{text}"),
        Value::Text(text) => text.clone(),
    }
}

/// Whether a spreadsheet would take a text for a formula; a number in words of the user, such as -5, is none.
fn is_formula(text: &str) -> bool {
    let number = text.parse::<f64>().is_ok_and(f64::is_finite);
    text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) && !number
}

/// As a JSON list of objects, pretty-printed, null where there is no value.
pub fn to_json(table: &Table) -> String {
    let object = |row: &Vec<Value>| -> serde_json::Map<String, serde_json::Value> {
        table.columns.iter().zip(row).map(|((name, _), value)| (name.clone(), json(value))).collect()
    };
    let rows: Vec<_> = table.rows.iter().map(object).collect();
    let mut text = serde_json::to_string_pretty(&rows).unwrap_or_default();
    text.push('\n');
    text
}

fn json(value: &Value) -> serde_json::Value {
    match value {
        Value::Null | Value::Blob(_) => serde_json::Value::Null,
        Value::Integer(n) => (*n).into(),
        Value::Real(x) => (*x).into(),
        Value::Text(text) => text.clone().into(),
    }
}

/// As the bytes of a Parquet file: texts as UTF-8, numbers as INT64 and DOUBLE, all of them nullable.
///
/// # Errors
/// The library refuses; not expected.
pub fn to_parquet(table: &Table) -> Result<Vec<u8>, ParquetError> {
    write(table).map_err(ParquetError::Write)
}

fn write(table: &Table) -> Result<Vec<u8>, Cause> {
    let field = |(name, kind): &(String, ColumnType)| {
        let physical = match kind {
            ColumnType::Text => PhysicalType::BYTE_ARRAY,
            ColumnType::Integer => PhysicalType::INT64,
            ColumnType::Real => PhysicalType::DOUBLE,
        };
        let text = (*kind == ColumnType::Text).then_some(LogicalType::String);
        let builder = Type::primitive_type_builder(name, physical).with_repetition(Repetition::OPTIONAL);
        builder.with_logical_type(text).build().map(Arc::new)
    };
    let fields = table.columns.iter().map(field).collect::<Result<Vec<_>, _>>()?;
    let schema = Arc::new(Type::group_type_builder("rows").with_fields(fields).build()?);
    let properties = WriterProperties::builder()
        .set_created_by(concat!("trackpair ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
        .build();
    let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    for (place, (_, kind)) in table.columns.iter().enumerate() {
        let values = || table.rows.iter().map(|row| &row[place]);
        match kind {
            ColumnType::Text => column::<ByteArrayType>(&mut group, values().map(as_text).collect())?,
            ColumnType::Integer => column::<Int64Type>(&mut group, values().map(as_integer).collect())?,
            ColumnType::Real => column::<DoubleType>(&mut group, values().map(as_real).collect())?,
        }
    }
    group.close()?;
    writer.into_inner()
}

fn as_text(value: &Value) -> Option<ByteArray> {
    if let Value::Text(text) = value { Some(text.as_bytes().to_vec().into()) } else { None }
}

fn as_integer(value: &Value) -> Option<i64> {
    if let Value::Integer(n) = value { Some(*n) } else { None }
}

fn as_real(value: &Value) -> Option<f64> {
    match value {
        Value::Real(x) => Some(*x),
        Value::Integer(n) => Some(*n as f64),
        _ => None,
    }
}

fn column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Vec<u8>>,
    values: Vec<Option<T::T>>,
) -> Result<(), Cause> {
    let defined: Vec<i16> = values.iter().map(|v| i16::from(v.is_some())).collect();
    let there: Vec<T::T> = values.into_iter().flatten().collect();
    let mut column =
        group.next_column()?.ok_or_else(|| Cause::General("fewer columns than the schema".into()))?;
    column.typed::<T>().write_batch(&there, Some(&defined), None)?;
    column.close()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hostile() -> Table {
        let text = |t: &str| Value::Text(t.to_owned());
        Table {
            columns: vec![
                ("label".to_owned(), ColumnType::Text),
                ("value".to_owned(), ColumnType::Real),
                ("number".to_owned(), ColumnType::Integer),
            ],
            rows: vec![
                vec![text("=HYPERLINK(\"http://x\")"), Value::Real(-1.5), Value::Integer(-2)],
                vec![text("a \"quoted\", and\r\nbroken ü"), Value::Null, Value::Null],
                vec![text("@x"), Value::Real(1e-7), Value::Integer(0)],
            ],
        }
    }

    #[test]
    fn a_formula_becomes_a_text_and_a_negative_number_stays_one() {
        let csv = to_csv(&hostile());
        let lines: Vec<&str> = csv.split("\r\n").collect();
        assert_eq!(lines[0], "label,value,number");
        assert_eq!(lines[1], "\"'=HYPERLINK(\"\"http://x\"\")\",-1.5,-2");
        assert!(csv.contains("\"a \"\"quoted\"\", and\r\nbroken ü\",,\r\n'@x,0.0000001,0\r\n"), "{csv}");
    }

    #[test]
    fn every_opening_of_a_formula_is_known_and_a_number_is_none() {
        for formula in
            ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "-", "-inf", "+nan", "-1,5"]
        {
            assert!(is_formula(formula), "{formula:?}");
        }
        for not in ["", "-1.5", "+3", "-1e-3", "grip = good", "'=1", "ä"] {
            assert!(!is_formula(not), "{not:?}");
        }
    }

    #[test]
    fn json_and_parquet_keep_texts_as_they_are() {
        let list: serde_json::Value = serde_json::from_str(&to_json(&hostile())).unwrap();
        assert_eq!(list[0]["label"], "=HYPERLINK(\"http://x\")");
        assert_eq!((&list[1]["value"], &list[2]["number"]), (&serde_json::Value::Null, &0.into()));
        let bytes = to_parquet(&hostile()).unwrap();
        use parquet::file::reader::{FileReader, SerializedFileReader};
        let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
        let rows: Vec<String> = reader.get_row_iter(None).unwrap().map(|r| r.unwrap().to_string()).collect();
        assert!(rows.len() == 3 && rows[0].contains("=HYPERLINK") && rows[1].contains("null"), "{rows:?}");
        let empty = Table { rows: vec![], ..hostile() };
        assert!(to_parquet(&empty).is_ok() && to_json(&empty) == "[]\n");
    }
}
