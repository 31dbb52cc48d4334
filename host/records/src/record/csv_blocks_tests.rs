//! Text read in blocks side by side gives what the CSV reader makes of the whole of it: numbers, counts, lines.

use super::super::csv_numbers::{Taken, Values, Wanted};
use super::*;
use proptest::prelude::*;

fn wanted() -> Vec<Wanted> {
    let samples = Taken::Times(0.5, Some(-1.0..=16.0));
    vec![Wanted { index: 0, taken: Taken::Exactly }, Wanted { index: 2, taken: samples }]
}

/// What is seen of numbers, bits and all: NaN is not equal to itself.
fn seen(text: &Text<'_>, found: &Numbers) -> String {
    let some = (0..found.rows).step_by(found.rows / 50 + 1);
    let lines: Vec<u64> = some.map(|row| text.line_of(row, &wanted()).unwrap()).collect();
    let Numbers { rows, columns, empty, text, text_rows, ragged, ragged_before, .. } = found;
    format!("{rows} {columns:?} {empty:?} {text:?} {text_rows:?} {ragged:?} {ragged_before:?} {lines:?}")
}

/// Reads a text both ways; the plain one in blocks of so many bytes.
#[track_caller]
fn check(bytes: &[u8], block_bytes: usize) -> bool {
    let (Ok(mut plain), Ok(mut whole)) =
        (Text::open(Source::Memory(bytes)), Text::whole(Source::Memory(bytes)))
    else {
        return false;
    };
    assert_eq!(plain.layout, whole.layout);
    let layout = plain.layout.clone();
    let plan = Plan { layout: &layout, wanted: &wanted() };
    let Some(found) = plain.side_by_side(plan, 3, block_bytes).unwrap() else { return false };
    let expected = whole.numbers(&wanted()).unwrap();
    assert_eq!(seen(&plain, &found), seen(&whole, &expected));
    true
}

#[test]
fn odd_rows_comments_and_line_ends_of_every_kind_give_the_same() {
    let text = "# by a logger\r\nt;a;\"b, V\"\n0;1;0,25\r\n\n # no comment\n# a comment; of 2; cells\n1;2;3;\n2;2\n3;x;-.5\n4;;1e3\n\
                5; ;+7. \n;;\n6;1;off\n7;1;1,000,5\n8;1;NaN\n  9 ;1;12345678901234567890\n10;1;32.5\n11;1;.\n12;1;\n13;1;2";
    assert!((1..80).all(|block_bytes| check(text.as_bytes(), block_bytes)));
}

#[test]
fn numbers_are_those_of_the_standard_library() {
    let odd =
        ["0.1", "-0.0", "9007199254740993", "9007199254740992", "0.3000000000000000444", "123456.789012"];
    let odd =
        odd.into_iter().chain(["1.7976931348623157e308", "4.9e-324", "0.0000000000000000000001", "5.", ".5"]);
    for cell in odd {
        let text = format!("{cell},0,1\n{cell},0,1\n");
        let mut found = Text::open(Source::Memory(text.as_bytes())).unwrap();
        let Values::Exact(values) = &found.numbers(&wanted()).unwrap().columns[0] else { unreachable!() };
        assert_eq!(values[1].to_bits(), cell.parse::<f64>().unwrap().to_bits(), "{cell}");
    }
}

#[test]
fn quotes_in_a_row_and_lone_carriage_returns_are_read_whole() {
    for text in ["t,a,b\n1,2,3\n2,\"x\ny\",4\n3,2,5\n", "t,a,b\r1,2,3\r2,x,4\r3,2,5\r"] {
        assert!(!check(text.as_bytes(), 8));
        let mut found = Text::open(Source::Memory(text.as_bytes())).unwrap();
        assert_eq!(found.numbers(&wanted()).unwrap().rows, 3, "{text:?}");
    }
}

#[test]
fn a_file_longer_than_its_head_gives_the_same_from_disk_and_names_its_lines() {
    let rows: String =
        (0..40_000).map(|k| format!("{k},{},{:.3}\n", k % 7, 0.1 * f64::from(k % 100))).collect();
    let text = format!("t,a,b\n{rows}");
    assert!(text.len() > HEAD && check(text.as_bytes(), 1 << 16));
    let path = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(path.path(), &text).unwrap();
    let file = Source::File(Mutex::new(File::open(path.path()).unwrap()), text.len() as u64);
    let mut found = Text::open(file).unwrap();
    assert_eq!(found.numbers(&wanted()).unwrap().rows, 40_000);
    assert_eq!(found.line_of(39_999, &wanted()).unwrap(), 40_001);
    assert!(found.whole.is_none() && found.blocks.len() == 1);
}

#[test]
fn a_title_longer_than_the_head_is_read_all_the_same() {
    let text = format!("{}\nt,a,b\n1,2,3\n2,3,4\n", "x".repeat(2 * HEAD));
    let mut found = Text::open(Source::Memory(text.as_bytes())).unwrap();
    assert_eq!(found.numbers(&wanted()).unwrap().rows, 2);
}

proptest! {
    #[test]
    fn any_number_is_that_of_the_standard_library(cell in "-?[0-9]{0,20}[.]?[0-9]{0,20}", behind in "[,]?[0-9,]{0,12}") {
        let text = format!("t,a,b\n{cell},1,2\n{cell},0,1{behind}\n");
        let Ok(mut found) = Text::open(Source::Memory(text.as_bytes())) else { return Ok(()) };
        let numbers = found.numbers(&wanted()).unwrap();
        let Values::Exact(values) = &numbers.columns[0] else { unreachable!() };
        if let (Some(value), Ok(expected)) = (values.first(), cell.parse::<f64>()) {
            prop_assert_eq!(value.to_bits(), expected.to_bits());
        }
    }

    #[test]
    fn any_rows_in_any_blocks_give_the_same(
        rows in proptest::collection::vec("[0-9]{1,3}[.]?[0-9]{0,2}[,;][ x1-]{0,3}[,;]-?[0-9]{0,2}[.,;]{0,2}[0-9e]{0,4}[\\r]?", 3..40),
        block_bytes in 1usize..200,
    ) {
        check(rows.join("\n").as_bytes(), block_bytes);
    }
}
