//! What a grade must say, and that each mistake is pointed at.

use crate::sheet::{SheetError, parse};

const GOOD: &str = include_str!("sheets/grip-complementary.toml");

/// The sheet with one text of its first grade replaced.
#[track_caller]
fn with(from: &str, to: &str) -> String {
    let begin = GOOD.find("[[grade]]").unwrap();
    let (before, grades) = GOOD.split_at(begin);
    assert!(grades.contains(from), "no grade holds {from:?}");
    before.to_owned() + &grades.replacen(from, to, 1)
}

#[track_caller]
fn refused(text: &str, at: &str, words: &[&str]) {
    let error: SheetError = parse(text, "mine.toml").expect_err("the sheet must be refused");
    for word in words {
        assert!(error.rendered.contains(word), "{word:?} is not in:\n{error}");
    }
    let line = text.lines().nth(error.line - 1).unwrap_or_default();
    assert!(line.contains(at), "it points at line {} {line:?}:\n{error}", error.line);
}

#[test]
fn the_rules_of_a_shipped_sheet_arrive_in_their_order() {
    let sheet = parse(GOOD, "mine.toml").unwrap();
    let names: Vec<&str> = sheet.grades.iter().map(|g| g.name.as_str()).collect();
    assert_eq!(names, ["ample", "sound", "partial"]);
    let (a, c) = (&sheet.grades[0], &sheet.grades[2]);
    assert_eq!((a.smallest_margin_percent, a.largest_confidence), (Some(30.0), Some(0.5)));
    assert_eq!(a.procedures, ["self_check", "sweep", "release", "leads_check"]);
    assert_eq!((a.verdicts.as_slice(), a.scopes.as_slice()), (&["within"][..], &["part"][..]));
    assert!(!a.undecided && !a.untested && a.simulated);
    assert!(c.untested && c.procedures.is_empty() && c.smallest_margin_percent.is_none());
}

#[test]
fn a_sheet_without_grades_is_a_sheet() {
    let begin = GOOD.find("[[grade]]").unwrap();
    assert!(parse(&GOOD[..begin], "mine.toml").unwrap().grades.is_empty());
}

#[test]
fn each_mistake_is_pointed_at() {
    refused(
        &with("verdicts = [\"within\"]", "verdicts = [\"good\"]"),
        "good",
        &["`good` is not a verdicts", "known: within"],
    );
    refused(&with("verdicts = [\"within\"]", "verdicts = []"), "[]", &["empty list", "write one at least"]);
    refused(
        &with("verdicts = [\"within\"]", "verdicts = \"within\""),
        "within",
        &["a list of words in quotes"],
    );
    refused(
        &with("verdicts = [\"within\"]", "verdicts = [1]"),
        "[1]",
        &["an entry of `verdicts` must be a text in quotes, not a number"],
    );
    refused(&with("\"sweep\", \"release\"", "\"sweep\", \"sweep\""), "sweep", &["stands twice"]);
    refused(&with("\"sweep\"", "\"sweeep\""), "sweeep", &["did you mean `sweep`?"]);
    refused(
        &with("smallest_margin_percent = 30.0", "smallest_margin_percent = 101"),
        "101",
        &["outside 0 to 100 %"],
    );
    refused(&with("largest_confidence = 0.5", "largest_confidence = 2"), "= 2", &["outside 0 to 1"]);
    refused(
        &with("largest_confidence = 0.5", "largest_confidance = 0.5"),
        "confidance",
        &["did you mean `largest_confidence`?"],
    );
    refused(&with("simulated = true", "simulated = 1"), "= 1", &["true or false"]);
    refused(&with("name = \"sound\"", "name = \"ample\""), "\"ample\"", &["already a grade `ample`"]);
    refused(&with("name = \"ample\"", "name = \"as good as new\""), "as good", &["more than 12"]);
    refused(
        &with("source = \"common practice, no source; use the maker's service data\"", ""),
        "[[grade]]",
        &["lacks its `source`"],
    );
    refused(
        &with("title = \"within every limit with", "untitled = \"within every limit with"),
        "untitled",
        &["unknown key"],
    );
}

#[test]
fn there_is_an_end_to_grades() {
    let one = "\n[[grade]]\nname = \"NAME\"\ntitle = \"t\"\nverdicts = [\"within\"]\nsource = \"invented\"\n";
    let begin = GOOD.find("[[grade]]").unwrap();
    let many: String = (0..13).map(|k| one.replace("NAME", &k.to_string())).collect();
    refused(&format!("{}{many}", &GOOD[..begin]), "[[grade]]", &["more than 12 grades"]);
}
