//! What may be added to a case: nothing to a closed one but its reopening, and no end to one whose fault only went away.

use super::{Case, Content, Ending};

/// Why an entry can't be added. Nothing was written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CaseError {
    /// Closed twice.
    #[error(
        "{case} was closed on {date} ({how}); it is not closed again. If the fault came back: trackpair case note {case} --reopen WHY"
    )]
    ClosedAlready {
        /// The case.
        case: String,
        /// When.
        date: String,
        /// How, and the words that were written then.
        how: String,
    },
    /// An entry to a closed case.
    #[error(
        "{case} was closed on {date}; nothing is added to it until it is reopened: trackpair case note {case} --reopen WHY"
    )]
    Closed {
        /// The case.
        case: String,
        /// When.
        date: String,
    },
    /// Reopened while open.
    #[error("{case} is open; leave --reopen out")]
    Open {
        /// The case.
        case: String,
    },
    /// The fault went away when a plug was pulled and put back, and nothing was mended since.
    #[error(
        "{case} stays open: its fault went away when a plug was pulled and put back, and nothing was mended since. That is not a repair: the contact will lose \
         itself again. Look at the terminals (grip of each pin, corrosion), mend what is found, and note it: trackpair case note {case} --mended WHAT. \
         To give it away unmended: --ending handed_on"
    )]
    OnlyReplugged {
        /// The case.
        case: String,
    },
    /// Mended, and nothing since has shown that the fault is gone.
    #[error(
        "{case} stays open: since the repair of {date} nothing was within that could have shown the fault. {how} When it is within: trackpair case close {case} \
         --ending mended. To give it away unchecked: --ending handed_on"
    )]
    NotCheckedSince {
        /// The case.
        case: String,
        /// When it was mended.
        date: String,
        /// What would show it, as sentences.
        how: String,
    },
    /// Mended, but nothing was.
    #[error(
        "{case} has no note of what was mended; say it: trackpair case close {case} --ending mended --mended WHAT"
    )]
    NothingMended {
        /// The case.
        case: String,
    },
    /// An empty note.
    #[error(
        "the note says nothing; give --words, --symptom, --code, --seen, --part, --record, --replugged, --mended or --reopen"
    )]
    EmptyNote,
    /// A plug of a part that the case does not know.
    #[error("{case} has no part {label:?}; it has: {known}. Add it: --intake KIND,label={label}")]
    NoPart {
        /// The case.
        case: String,
        /// What was given.
        label: String,
        /// Labels of its parts.
        known: String,
    },
    /// The same label twice.
    #[error(
        "{case} has a part {label:?} already; parts of one case need different labels: --intake KIND,label=…"
    )]
    PartTwice {
        /// The case.
        case: String,
        /// What was given.
        label: String,
    },
    /// The same record twice.
    #[error("{case} has the record {record}, outcome {number} already")]
    RecordTwice {
        /// The case.
        case: String,
        /// What was given.
        record: String,
        /// Which outcome.
        number: u32,
    },
}

impl Case {
    /// Whether an entry may be added now.
    ///
    /// # Errors
    /// [`CaseError`], which says what to do instead.
    pub fn allows(&self, content: &Content) -> Result<(), CaseError> {
        let case = || self.name.clone();
        let reopens = matches!(content, Content::Note(note) if note.reopened.is_some());
        match (self.closed(), content) {
            (Some((date, closing)), Content::Closing(_)) => {
                return Err(CaseError::ClosedAlready {
                    case: case(),
                    date: date.to_owned(),
                    how: match closing.words.as_str() {
                        "" => closing.ending.name().to_owned(),
                        words => format!("{}: {words}", closing.ending.name()),
                    },
                });
            }
            (Some((date, _)), _) if !reopens => {
                return Err(CaseError::Closed { case: case(), date: date.to_owned() });
            }
            (None, _) if reopens => return Err(CaseError::Open { case: case() }),
            _ => {}
        }
        match content {
            Content::Closing(closing) => self.may_end(closing.ending),
            Content::Note(note) => {
                if *note == super::Note::default() {
                    return Err(CaseError::EmptyNote);
                }
                self.parts_fit(note)
            }
            Content::Record(new) => {
                let mut same = self.records();
                match same.find(|r| (&r.record, r.number) == (&new.record, new.number)) {
                    Some(_) => Err(CaseError::RecordTwice {
                        case: case(),
                        record: new.record.clone(),
                        number: new.number,
                    }),
                    None => Ok(()),
                }
            }
            Content::Opening(_) | Content::VehicleCheck(_) => Ok(()),
        }
    }

    fn may_end(&self, ending: Ending) -> Result<(), CaseError> {
        match ending {
            Ending::HandedOn => Ok(()),
            _ if self.only_replugged() => Err(CaseError::OnlyReplugged { case: self.name.clone() }),
            Ending::Mended if self.mended().next().is_none() => {
                Err(CaseError::NothingMended { case: self.name.clone() })
            }
            Ending::NothingFound if !self.ever_replugged() => Ok(()),
            Ending::Mended | Ending::NothingFound => match self.unchecked_repair() {
                Some(unchecked) => Err(CaseError::NotCheckedSince {
                    case: self.name.clone(),
                    date: unchecked.date.to_owned(),
                    how: unchecked.how,
                }),
                None => Ok(()),
            },
        }
    }

    fn parts_fit(&self, note: &super::Note) -> Result<(), CaseError> {
        let known: Vec<String> = self.parts().map(|p| p.label.clone()).collect();
        let mut labels = known.clone();
        for part in &note.parts {
            if labels.contains(&part.label) {
                return Err(CaseError::PartTwice { case: self.name.clone(), label: part.label.clone() });
            }
            labels.push(part.label.clone());
        }
        match note.replugged.iter().find(|label| !labels.contains(label)) {
            None => Ok(()),
            Some(label) => Err(CaseError::NoPart {
                case: self.name.clone(),
                label: label.clone(),
                known: if known.is_empty() { "none".to_owned() } else { known.join(", ") },
            }),
        }
    }
}
