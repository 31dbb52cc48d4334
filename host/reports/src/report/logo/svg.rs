//! An SVG read once for the shapes that it draws, and written anew from them: what editors leave behind is not among them. What could
//! run, load or refer to anything outside is refused, and so is what no document can draw. It does not draw.

use super::LogoError;
use crate::report::text::plain;
use usvg::roxmltree::{Document, Node, ParsingOptions};
use usvg::{BlendMode, Group, Indent, Node as Shape, Options, Paint, SpreadMethod, Tree, WriteOptions};

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

/// Longest value of an attribute that is neither a path nor points, bytes.
const LONGEST_VALUE: usize = 2_000;
/// Most colours of a gradient.
const MOST_STOPS: usize = 64;

/// The picture written anew from the shapes that it draws, and from nothing else.
pub(super) fn rebuilt(text: &str) -> Result<String, LogoError> {
    let broken = |e: &dyn std::error::Error| LogoError::BrokenSvg(e.to_string());
    let options = ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text, options).map_err(|e| broken(&e))?;
    let root = document.root_element();
    if root.tag_name().name() != "svg" || root.tag_name().namespace() != Some(NAMESPACE) {
        return Err(LogoError::UnknownFormat);
    }
    check_size(root)?;
    check(root, 0)?;
    let tree = Tree::from_xmltree(&document, &Options::default()).map_err(|e| broken(&e))?;
    drawable(tree.root())?;
    Ok(tree.to_string(&WriteOptions { indent: Indent::None, ..WriteOptions::default() }))
}

/// The shapes of an SVG. Nothing it refers to is loaded.
pub fn tree(text: &str) -> Result<Tree, usvg::Error> {
    let document = Document::parse(text).map_err(usvg::Error::ParsingFailed)?;
    Tree::from_xmltree(&document, &Options::default())
}

/// A picture must have a size that can be read and drawn.
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

/// Refuses what could run, load, refer to anything outside, or make more work than a logo is worth.
fn check(node: Node<'_, '_>, depth: usize) -> Result<(), LogoError> {
    let name = node.tag_name().name();
    if depth > DEEPEST {
        return Err(LogoError::BrokenSvg(format!("it is nested deeper than {DEEPEST}")));
    }
    if !DRAWN.contains(&name) {
        return Err(LogoError::NotAllowed(format!("an element {}", named(name))));
    }
    for attribute in node.attributes() {
        check_attribute(attribute.namespace().is_none(), attribute.name(), attribute.value())?;
    }
    check_clipping(node)?;
    if name.ends_with("Gradient") && node.children().filter(Node::is_element).count() > MOST_STOPS {
        return Err(LogoError::NotAllowed(format!("a gradient of more than {MOST_STOPS} colours")));
    }
    for child in node.children().filter(Node::is_element) {
        let (own, name) = (child.tag_name().namespace() == Some(NAMESPACE), child.tag_name().name());
        // What an editor keeps for itself stands in a namespace of its own; another's drawing or page does not belong here.
        let page = child.tag_name().namespace().is_some_and(|n| n.ends_with("/xhtml"));
        if own && !DROPPED.contains(&name) {
            check(child, depth + 1)?;
        } else if page {
            return Err(LogoError::NotAllowed(format!("a part of a page, {}", named(name))));
        }
    }
    Ok(())
}

/// A name that may be hostile, short.
fn named(name: &str) -> String {
    format!("“{}”", plain(name, 30))
}

fn check_attribute(own: bool, name: &str, value: &str) -> Result<(), LogoError> {
    let lower = name.to_ascii_lowercase();
    if lower.starts_with("on") || lower == "href" {
        return Err(LogoError::NotAllowed(format!("an attribute {}", named(name))));
    }
    if !own || name == "class" {
        return Ok(());
    }
    if name == "id" && value.contains(['<', '>', '&', '"', '\'']) {
        return Err(LogoError::NotAllowed(format!("an id {}", named(value))));
    }
    if !matches!(name, "d" | "points") && value.len() > LONGEST_VALUE {
        let why = format!("{} bytes in its attribute {}", value.len(), named(name));
        return Err(LogoError::NotAllowed(why));
    }
    let without_local = value.replace("url(#", "").replace("url('#", "").replace("url(\"#", "");
    let value_lower = without_local.to_ascii_lowercase();
    let suspect = ["url(", "@", "\\", "expression", "javascript:", "data:", "/*"];
    match suspect.into_iter().find(|s| value_lower.contains(s)) {
        Some(what) => Err(LogoError::NotAllowed(format!("“{what}” in its attribute {}", named(name)))),
        None => Ok(()),
    }
}

/// A clip path is one outline in the picture's own units and refers to nothing.
fn check_clipping(node: Node<'_, '_>) -> Result<(), LogoError> {
    let clips = |n: &Node<'_, '_>| n.tag_name().name() == "clipPath";
    if !node.ancestors().any(|n| clips(&n)) {
        return Ok(());
    }
    let what = if node.children().filter(Node::is_element).count() > 1 {
        "a clip path of several shapes"
    } else if node.attribute("clipPathUnits").is_some_and(|u| u != "userSpaceOnUse") {
        "a clip path in units of what it clips"
    } else if node.attributes().any(|a| a.value().contains("url(")) {
        "a clip path that refers to something else"
    } else {
        return Ok(());
    };
    Err(LogoError::NotAllowed(what.to_owned()))
}

/// Whether every document can draw it.
fn drawable(group: &Group) -> Result<(), LogoError> {
    let refused = |what: &str| Err(LogoError::NotAllowed(what.to_owned()));
    if group.blend_mode() != BlendMode::Normal {
        return refused("a blend mode");
    }
    if group.mask().is_some() || !group.filters().is_empty() {
        return refused("a mask or a filter");
    }
    for node in group.children() {
        match node {
            Shape::Group(inner) => drawable(inner)?,
            Shape::Path(path) => {
                let fill = path.fill().map(usvg::Fill::paint);
                if !fill.into_iter().chain(path.stroke().map(usvg::Stroke::paint)).all(paintable) {
                    return refused("a gradient that repeats");
                }
            }
            Shape::Image(_) | Shape::Text(_) => return refused("an image or text"),
        }
    }
    Ok(())
}

/// A colour, or a gradient that ends with its last colour.
fn paintable(paint: &Paint) -> bool {
    match paint {
        Paint::Color(_) => true,
        Paint::LinearGradient(g) => g.spread_method() == SpreadMethod::Pad,
        Paint::RadialGradient(g) => g.spread_method() == SpreadMethod::Pad,
        Paint::Pattern(_) => false,
    }
}
