//! The known word that was probably meant.

/// "did you mean `…`? " where a known word is close to the given one; empty otherwise.
pub(super) fn did_you_mean(given: &str, known: &[&str]) -> String {
    nearest(given, known).map(|word| format!("did you mean `{word}`? ")).unwrap_or_default()
}

/// The known word that shares the most letters with the given one, if it is close.
fn nearest<'k>(given: &str, known: &[&'k str]) -> Option<&'k str> {
    // A longer word is not a slip of the finger, and the table below would grow with hostile input.
    if given.len() > 40 {
        return None;
    }
    let best = known.iter().map(|k| (edits(given, k), *k)).min()?;
    (best.0 <= 1 + given.len() / 4).then_some(best.1)
}

/// Insertions, deletions and replacements between two words (Levenshtein distance).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_is_recognised_and_nonsense_is_not() {
        assert_eq!(nearest("travel_degs", &["travel_deg", "title"]), Some("travel_deg"));
        assert_eq!(nearest("zzzzzz", &["travel_deg", "title"]), None);
        assert_eq!(edits("kitten", "sitting"), 3);
    }
}
