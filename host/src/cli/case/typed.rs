//! What the options of `case` mean: parts, places looked at, trouble codes.

use crate::case::CasePart;
use crate::diagnosis::{Look, Seen, Symptom};
use crate::quantity::PartKind;
use clap::Args;

const PART_KEYS: [&str; 6] = ["label", "number", "serial", "use", "origin", "matings"];
/// More matings than any connector bears are a slip of the finger.
const MOST_MATINGS: u32 = 100_000;

/// A symptom by its name.
pub fn symptom(text: &str) -> Result<Symptom, String> {
    Symptom::ALL.into_iter().find(|s| s.name() == text).ok_or_else(|| {
        format!("this is not a known symptom; known: {}", Symptom::ALL.map(Symptom::name).join(", "))
    })
}

/// A generic trouble code as SAE J2012 writes it: a letter, a digit of 0 to 3, three hexadecimal digits.
pub fn code(text: &str) -> Result<String, String> {
    let code = text.trim().to_ascii_uppercase();
    let bytes = code.as_bytes();
    let fits = bytes.len() == 5
        && b"PBCU".contains(&bytes[0])
        && (b'0'..=b'3').contains(&bytes[1])
        && bytes[2..].iter().all(u8::is_ascii_hexdigit);
    if fits {
        Ok(code)
    } else {
        Err("a trouble code is written like P2135: P, B, C or U and four digits".to_owned())
    }
}

/// What the eye saw: `terminals=bad`, `terminals=bad:words`.
pub fn seen(text: &str) -> Result<Seen, String> {
    let help = || {
        let places = Look::ALL.map(Look::name).join(", ");
        format!(
            "write PLACE=good, PLACE=bad or PLACE=unclear, with :WORDS behind it where there is more to say; places are {places}"
        )
    };
    let (place, rest) = text.split_once('=').ok_or_else(help)?;
    let (word, note) = rest.split_once(':').unwrap_or((rest, ""));
    let look = Look::ALL.into_iter().find(|l| l.name() == place.trim()).ok_or_else(help)?;
    let good = match word.trim() {
        "good" => Some(true),
        "bad" => Some(false),
        "unclear" => None,
        _ => return Err(help()),
    };
    Ok(Seen { look, good, note: note.trim().to_owned() })
}

/// The places that are given twice with different words.
pub fn contradiction(seen: &[Seen]) -> Option<String> {
    let twice = seen.iter().enumerate().find(|(k, s)| seen[..*k].iter().any(|other| other.look == s.look));
    twice.map(|(_, s)| format!("{} is given twice; say once what was seen there", s.look.name()))
}

/// A part: `grip,number=4711,serial=12,use=18000 km,origin=from the shelf,matings=3`.
pub fn part(text: &str) -> Result<CasePart, String> {
    let help = || {
        format!(
            "write grip, body or pair, then what is known, with commas between: {}",
            PART_KEYS.map(|k| format!("{k}=…")).join(",")
        )
    };
    let mut fields = text.split(',').map(str::trim);
    let kind = fields.next().and_then(PartKind::from_name).ok_or_else(help)?;
    let mut part = CasePart { kind, ..CasePart::default() };
    for field in fields {
        let (key, value) = field.split_once('=').ok_or_else(help)?;
        let value = value.trim();
        if value.is_empty() {
            return Err(format!("{key} is empty; {}", help()));
        }
        let place = match key.trim() {
            "number" => &mut part.number,
            "serial" => &mut part.serial,
            "use" => &mut part.used,
            "origin" => &mut part.origin,
            "label" => {
                value.clone_into(&mut part.label);
                continue;
            }
            "matings" => {
                let count = value.parse().ok().filter(|n| *n <= MOST_MATINGS);
                part.matings_before = Some(
                    count
                        .ok_or_else(|| format!("matings={value} is not a count from 0 to {MOST_MATINGS}"))?,
                );
                continue;
            }
            _ => return Err(format!("a part has no {key:?}; {}", help())),
        };
        if place.replace(value.to_owned()).is_some() {
            return Err(format!("{key} is given twice"));
        }
    }
    if part.label.is_empty() {
        let words = [Some(kind.name().to_owned()), part.number.clone(), part.serial.clone()];
        part.label = words.into_iter().flatten().collect::<Vec<_>>().join(" ");
    }
    Ok(part)
}

/// What is known of a vehicle and its parts, when a case begins and later.
#[derive(Args, Clone, Debug)]
pub struct Intake {
    /// What is so: limp_home, when_steering, on_bumps, when_warm, when_wet, at_one_opening, hanging_throttle, unsteady_idle, jerky_response, no_response, cleared_by_replugging; may be given more than once
    #[arg(long, value_name = "SYMPTOM", value_parser = symptom)]
    pub symptom: Vec<Symptom>,
    /// A trouble code that was read, like P2138; may be given more than once
    #[arg(long, value_name = "CODE", value_parser = code)]
    pub code: Vec<String>,
    /// What the eye saw: terminals, corrosion, pin_fit, connector_bend, cover; may be given more than once
    #[arg(long, value_name = "PLACE=good|bad|unclear[:WORDS]", value_parser = seen)]
    pub seen: Vec<Seen>,
    /// Take in a part: grip, body or pair (both, to follow each other), then label=, number=, serial=, use=, origin=, matings=; may be given more than once
    #[arg(long, value_name = "KIND[,KEY=VALUE…]", value_parser = part)]
    pub intake: Vec<CasePart>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_read_with_what_is_known_of_it_and_named_by_that() {
        let read =
            part("grip,number=4711,serial=A 12,use=18000 km, origin=from the shelf,matings=3").unwrap();
        assert_eq!((read.label.as_str(), read.matings_before), ("grip 4711 A 12", Some(3)));
        assert_eq!(read.used.as_deref(), Some("18000 km"));
        assert_eq!(part("body").unwrap().label, "body");
        assert_eq!(part("body,label=spare").unwrap().label, "spare");
        for bad in [
            "",
            "wheel",
            "grip,4711",
            "grip,colour=red",
            "grip,number=",
            "grip,matings=-1",
            "grip,number=1,number=2",
        ] {
            assert!(part(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn codes_are_those_of_the_standard() {
        assert_eq!(code(" p2135 ").unwrap(), "P2135");
        assert_eq!(code("U0A1F").unwrap(), "U0A1F");
        for bad in ["", "2135", "P4135", "P21", "X2135", "P21355", "P213é"] {
            assert!(code(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_place_is_good_bad_or_unclear_and_told_of_once() {
        assert_eq!(seen("pin_fit=bad: loose").unwrap().note, "loose");
        assert_eq!(seen("cover=unclear").unwrap().good, None);
        for bad in ["pin_fit", "pin_fit=", "pin_fit=fine", "wheel=good"] {
            assert!(seen(bad).is_err(), "{bad}");
        }
        let both = [seen("cover=good").unwrap(), seen("cover=bad").unwrap()];
        assert!(contradiction(&both).unwrap().contains("cover"));
        assert_eq!(contradiction(&both[..1]), None);
    }
}
