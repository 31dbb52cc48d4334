//! An SVG rebuilt from elements and attributes that draw a still picture. What editors leave behind is dropped; what could
//! run, load or refer to anything outside is refused.

use super::LogoError;
use crate::report::svg::canvas::escape;
use roxmltree::{Document, Node, ParsingOptions};
use std::fmt::Write as _;

const NAMESPACE: &str = "http://www.w3.org/2000/svg";
/// Most nodes, attributes aside.
const MOST_NODES: u32 = 20_000;
/// Deepest nesting.
const DEEPEST: usize = 32;
/// Longest side, user units: beyond it a renderer's arithmetic suffers.
const LONGEST_SIDE: f64 = 100_000.0;

const DRAWN: [&str; 15] = [
    "svg",
    "g",
    "path",
    "rect",
    "circle",
    "ellipse",
    "line",
    "polyline",
    "polygon",
    "defs",
    "linearGradient",
    "radialGradient",
    "stop",
    "clipPath",
    "switch",
];
/// Of the picture's own namespace, harmless and not shown.
const DROPPED: [&str; 3] = ["title", "desc", "metadata"];

const ATTRIBUTES: [&str; 53] = [
    "id",
    "d",
    "points",
    "x",
    "y",
    "width",
    "height",
    "rx",
    "ry",
    "r",
    "cx",
    "cy",
    "fx",
    "fy",
    "x1",
    "y1",
    "x2",
    "y2",
    "viewBox",
    "preserveAspectRatio",
    "transform",
    "fill",
    "fill-opacity",
    "fill-rule",
    "stroke",
    "stroke-width",
    "stroke-opacity",
    "stroke-linecap",
    "stroke-linejoin",
    "stroke-miterlimit",
    "stroke-dasharray",
    "stroke-dashoffset",
    "opacity",
    "color",
    "display",
    "visibility",
    "overflow",
    "clip-path",
    "clip-rule",
    "clipPathUnits",
    "gradientUnits",
    "gradientTransform",
    "spreadMethod",
    "offset",
    "stop-color",
    "stop-opacity",
    "style",
    "version",
    "class",
    "vector-effect",
    "paint-order",
    "shape-rendering",
    "color-interpolation",
];

/// The picture as text that holds nothing but what is allowed.
pub(super) fn rebuilt(text: &str) -> Result<String, LogoError> {
    let options = ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    let document =
        Document::parse_with_options(text, options).map_err(|e| LogoError::BrokenSvg(e.to_string()))?;
    let root = document.root_element();
    if root.tag_name().name() != "svg" || root.tag_name().namespace() != Some(NAMESPACE) {
        return Err(LogoError::UnknownFormat);
    }
    check_size(root)?;
    let mut out = String::new();
    element(root, 0, &mut out)?;
    Ok(out)
}

/// A picture must have a size that can be told and drawn.
fn check_size(root: Node<'_, '_>) -> Result<(), LogoError> {
    let number = |text: &str| {
        text.trim().trim_end_matches(|c: char| c.is_alphabetic() || c == '%').parse::<f64>().ok()
    };
    let sides = ["width", "height"].into_iter().filter_map(|name| root.attribute(name).and_then(number));
    let view = root.attribute("viewBox").unwrap_or_default();
    let view: Vec<f64> = view.split([' ', ',']).filter(|p| !p.is_empty()).filter_map(number).collect();
    let all: Vec<f64> = sides.chain(view.iter().skip(2).copied()).collect();
    if all.len() < 2 || all.iter().any(|side| !(0.1..=LONGEST_SIDE).contains(side)) {
        let why = format!("its width and height, or its viewBox, must be 0.1 to {LONGEST_SIDE}");
        return Err(LogoError::BrokenSvg(why));
    }
    Ok(())
}

fn element(node: Node<'_, '_>, depth: usize, out: &mut String) -> Result<(), LogoError> {
    let name = node.tag_name().name();
    if depth > DEEPEST {
        return Err(LogoError::BrokenSvg(format!("it is nested deeper than {DEEPEST}")));
    }
    if !DRAWN.contains(&name) {
        return Err(LogoError::NotAllowed(format!("an element {}", named(name))));
    }
    let _ = write!(out, "<{name}");
    if depth == 0 {
        let _ = write!(out, r#" xmlns="{NAMESPACE}""#);
    }
    for attribute in node.attributes() {
        if let Some(value) = allowed(attribute.namespace(), attribute.name(), attribute.value())? {
            let _ = write!(out, r#" {}="{}""#, attribute.name(), value);
        }
    }
    out.push('>');
    for child in node.children().filter(Node::is_element) {
        let (own, name) = (child.tag_name().namespace() == Some(NAMESPACE), child.tag_name().name());
        // What an editor keeps for itself stands in a namespace of its own; another's drawing or page does not belong here.
        let page = child.tag_name().namespace().is_some_and(|n| n.ends_with("/xhtml"));
        if own && !DROPPED.contains(&name) {
            element(child, depth + 1, out)?;
        } else if page {
            return Err(LogoError::NotAllowed(format!("a part of a page, {}", named(name))));
        }
    }
    let _ = write!(out, "</{name}>");
    Ok(())
}

/// A name that may be hostile, short.
fn named(name: &str) -> String {
    format!("“{}”", crate::report::text::plain(name, 30))
}

/// An attribute's value fit to be written; none when it is dropped.
fn allowed(namespace: Option<&str>, name: &str, value: &str) -> Result<Option<String>, LogoError> {
    let lower = name.to_ascii_lowercase();
    if lower.starts_with("on") || lower == "href" {
        return Err(LogoError::NotAllowed(format!("an attribute {}", named(name))));
    }
    if namespace.is_some() || !ATTRIBUTES.contains(&name) || name == "class" {
        return Ok(None);
    }
    let without_local = value.replace("url(#", "").replace("url('#", "").replace("url(\"#", "");
    let value_lower = without_local.to_ascii_lowercase();
    let suspect = ["url(", "@", "\\", "expression", "javascript:", "data:", "/*"];
    if let Some(what) = suspect.into_iter().find(|s| value_lower.contains(s)) {
        return Err(LogoError::NotAllowed(format!("“{what}” in its attribute {}", named(name))));
    }
    // Paths are long: they are escaped as any text, but not cut.
    let pieces: Vec<String> = value.split_whitespace().map(escaped).collect();
    Ok(Some(pieces.join(" ")))
}

/// A piece of any length, escaped.
fn escaped(piece: &str) -> String {
    let letters: Vec<char> = piece.chars().collect();
    letters.chunks(crate::report::text::SENTENCE).map(|c| escape(&c.iter().collect::<String>())).collect()
}
