//! Form and judged worksheet as one HTML file each that needs nothing else; it is also well-formed XML.

use super::{Basis, Group, VehicleInput, groups, sign_of};
use crate::outcome::empty_slot;
use crate::report::letterhead::Letterhead;
use crate::report::provenance::Sealing;
use crate::report::text::{LABEL, plain};
use crate::report::words;
use crate::vehicle::{CAUTIONS, headline};
use askama::Template;

#[derive(Template)]
#[template(path = "vehicle_form.html")]
struct Form {
    kind: &'static str,
    case: String,
    vehicle: String,
    shop: Option<Letterhead>,
    groups: Vec<Group>,
    basis: Basis,
    cautions: [&'static str; 6],
}

#[derive(Template)]
#[template(path = "vehicle_check.html")]
struct Page<'a> {
    kind: &'static str,
    case: String,
    checked: String,
    shop: Option<Letterhead>,
    headline: &'static str,
    sign: &'static str,
    reasons: &'a [String],
    groups: Vec<Group>,
    basis: Basis,
    as_typed: bool,
    cautions: [&'static str; 6],
    sealing: Option<Sealing>,
    slot: Option<String>,
}

fn case(input: &VehicleInput<'_>) -> String {
    plain(input.case.unwrap_or_default(), LABEL)
}

/// The form, to be printed and filled in by hand.
pub fn vehicle_form_html(input: &VehicleInput<'_>) -> String {
    let form = Form {
        kind: input.check.kind.name(),
        case: case(input),
        vehicle: plain(input.vehicle.unwrap_or_default(), LABEL),
        shop: input.shop.and_then(Letterhead::of),
        groups: groups(input.check),
        basis: Basis::of(input.check),
        cautions: CAUTIONS,
    };
    form.render().expect("writing to a string cannot fail")
}

/// The judged worksheet.
pub fn vehicle_check_html(input: &VehicleInput<'_>) -> String {
    let check = input.check;
    let page = Page {
        kind: check.kind.name(),
        case: case(input),
        checked: plain(&words::time(&check.checked), LABEL),
        shop: input.shop.and_then(Letterhead::of),
        headline: headline(check.conclusion),
        sign: sign_of(check.conclusion),
        reasons: &check.reasons,
        groups: groups(check),
        basis: Basis::of(check),
        as_typed: check.as_typed,
        cautions: CAUTIONS,
        sealing: input.stamp.map(Sealing::of),
        slot: input.stamp.map(|_| empty_slot()),
    };
    page.render().expect("writing to a string cannot fail")
}
