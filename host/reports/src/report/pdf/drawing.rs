//! A resolved SVG as operators: signs of verdicts, QR codes, logos. What it can't draw a logo may not have
//! ([`crate::report::logo`] refuses it); nothing is loaded.

use super::brush::{Brush, Paint, Pen};
use super::colour::Colour;
use super::shared::{Course, Gradient};
use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use usvg::{
    BaseGradient, ClipPath, FillRule, Group, LineCap, LineJoin, Node, PaintOrder, Path, Stop, Stroke, Tree,
};

/// Draws a tree; its top left corner is the origin, its own unit a unit.
pub fn draw(brush: &mut Brush<'_>, tree: &Tree) {
    brush.rect((0.0, 0.0), (tree.size().width(), tree.size().height()));
    brush.clip(false);
    draw_group(brush, tree.root());
}

fn draw_group(brush: &mut Brush<'_>, group: &Group) {
    brush.apart(|brush| {
        brush.transform(group.transform());
        if let Some(clip) = group.clip_path() {
            clip_to(brush, clip);
        }
        let opacity = group.opacity().get();
        if opacity < 1.0 {
            let bounds = group.layer_bounding_box();
            let bounds = [bounds.left(), bounds.top(), bounds.right(), bounds.bottom()];
            brush.group(bounds, opacity, |brush| draw_nodes(brush, group));
        } else {
            draw_nodes(brush, group);
        }
    });
}

fn draw_nodes(brush: &mut Brush<'_>, group: &Group) {
    for node in group.children() {
        match node {
            Node::Group(group) => draw_group(brush, group),
            Node::Path(path) if path.is_visible() => draw_path(brush, path),
            _ => {}
        }
    }
}

/// Clips to the one outline of a clip path; one without any lets nothing be seen.
fn clip_to(brush: &mut Brush<'_>, clip: &ClipPath) {
    match only_path(clip.root()) {
        Some(path) => {
            // Coordinates are those of the outline while it is drawn, and those of the group after it.
            let place = clip.transform().pre_concat(path.abs_transform());
            let even_odd = path.fill().is_some_and(|f| f.rule() == FillRule::EvenOdd);
            if let Some(outline) = path.data().clone().transform(place) {
                brush.path(outline.segments());
                brush.clip(even_odd);
                return;
            }
            brush.rect((0.0, 0.0), (0.0, 0.0));
        }
        None => brush.rect((0.0, 0.0), (0.0, 0.0)),
    }
    brush.clip(false);
}

/// The path of a group that holds nothing else.
fn only_path(group: &Group) -> Option<&Path> {
    match group.children() {
        [Node::Path(path)] => Some(path),
        [Node::Group(inner)] if inner.clip_path().is_none() => only_path(inner),
        _ => None,
    }
}

fn draw_path(brush: &mut Brush<'_>, path: &Path) {
    match path.paint_order() {
        PaintOrder::FillAndStroke => {
            fill(brush, path);
            stroke(brush, path);
        }
        PaintOrder::StrokeAndFill => {
            stroke(brush, path);
            fill(brush, path);
        }
    }
}

fn fill(brush: &mut Brush<'_>, path: &Path) {
    let Some((fill, ink)) = path.fill().and_then(|f| Some((f, Ink::of(f.paint())?))) else { return };
    brush.apart(|brush| {
        brush.opacity(fill.opacity().get() * ink.opacity, 1.0);
        ink.fade(brush, path);
        brush.fill_with(&ink.paint);
        brush.path(path.data().segments());
        brush.fill(fill.rule() == FillRule::EvenOdd);
    });
}

fn stroke(brush: &mut Brush<'_>, path: &Path) {
    let Some((stroke, ink)) = path.stroke().and_then(|s| Some((s, Ink::of(s.paint())?))) else { return };
    brush.apart(|brush| {
        brush.opacity(1.0, stroke.opacity().get() * ink.opacity);
        ink.fade(brush, path);
        brush.stroke_with(&ink.paint, pen(stroke));
        brush.path(path.data().segments());
        brush.stroke();
    });
}

fn pen(stroke: &Stroke) -> Pen<'_> {
    Pen {
        width: stroke.width().get(),
        cap: match stroke.linecap() {
            LineCap::Butt => LineCapStyle::ButtCap,
            LineCap::Round => LineCapStyle::RoundCap,
            LineCap::Square => LineCapStyle::ProjectingSquareCap,
        },
        join: match stroke.linejoin() {
            LineJoin::Miter | LineJoin::MiterClip => LineJoinStyle::MiterJoin,
            LineJoin::Round => LineJoinStyle::RoundJoin,
            LineJoin::Bevel => LineJoinStyle::BevelJoin,
        },
        miter: stroke.miterlimit().get(),
        dash: stroke.dasharray().unwrap_or_default(),
        phase: stroke.dashoffset(),
    }
}

/// What is painted with, and how much it covers what is below.
struct Ink {
    paint: Paint,
    /// Everywhere alike.
    opacity: f32,
    /// Where it differs: as bright as it covers.
    brightness: Option<Gradient>,
}

impl Ink {
    /// None where it can't be drawn.
    fn of(paint: &usvg::Paint) -> Option<Self> {
        match paint {
            usvg::Paint::Color(c) => {
                let paint = Paint::Solid((c.red, c.green, c.blue));
                Some(Self { paint, opacity: 1.0, brightness: None })
            }
            usvg::Paint::LinearGradient(g) => {
                Some(Self::gradient(g, Course::Linear([g.x1(), g.y1(), g.x2(), g.y2()])))
            }
            usvg::Paint::RadialGradient(g) => {
                let circles = [g.fx(), g.fy(), g.fr().get(), g.cx(), g.cy(), g.r().get()];
                Some(Self::gradient(g, Course::Radial(circles)))
            }
            usvg::Paint::Pattern(_) => None,
        }
    }

    fn gradient(base: &BaseGradient, course: Course) -> Self {
        let with = |colour: fn(&Stop) -> Colour| Gradient {
            place: base.transform(),
            course,
            stops: base.stops().iter().map(|s| (s.offset().get(), colour(s))).collect(),
        };
        let paint = Paint::Gradient(with(|s| (s.color().red, s.color().green, s.color().blue)));
        let first = base.stops().first().map_or(1.0, |s| s.opacity().get());
        if base.stops().iter().all(|s| s.opacity().get() == first) {
            return Self { paint, opacity: first, brightness: None };
        }
        let brightness = with(|s| {
            let grey = s.opacity().to_u8();
            (grey, grey, grey)
        });
        Self { paint, opacity: 1.0, brightness: Some(brightness) }
    }

    fn fade(&self, brush: &mut Brush<'_>, path: &Path) {
        if let Some(brightness) = &self.brightness {
            let area = path.stroke_bounding_box();
            brush.fade([area.left(), area.top(), area.right(), area.bottom()], brightness);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fonts::Fonts;
    use super::super::shared::Shared;
    use super::*;
    use crate::report::logo::{Logo, tree};

    fn operators(inner: &str) -> (String, Shared) {
        let svg = format!(r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">{inner}</svg>"#);
        let Logo::Svg { text } = Logo::read(svg.as_bytes()).unwrap() else { panic!("shapes") };
        let (fonts, mut shared) = (Fonts::load().unwrap(), Shared::default());
        let mut brush = Brush::new(&fonts, &mut shared, 10.0);
        draw(&mut brush, &tree(&text).unwrap());
        let content = brush.finish();
        (String::from_utf8_lossy(&content).into_owned(), shared)
    }

    #[test]
    fn fills_and_strokes_keep_colour_rule_dash_and_opacity() {
        let (content, shared) = operators(
            r#"<path d="M1 1h8v8z" fill="red" fill-rule="evenodd" stroke="blue" stroke-width="2"
                stroke-dasharray="3 1" stroke-linecap="square" stroke-linejoin="bevel" stroke-opacity="0.25"/>"#,
        );
        for wanted in
            ["1 0 0 rg", "f*", "0 0 1 RG", "2 w\n2 J\n2 j", "[3 1] 0 d", "/O0 gs", "1 1 m\n9 1 l\n9 9 l\nh"]
        {
            assert!(content.contains(wanted), "{wanted} is not in {content}");
        }
        assert_eq!(shared.opacities, [(1000, 250)]);
    }

    #[test]
    fn a_gradient_runs_from_its_first_to_its_last_colour_where_the_shape_is() {
        let (content, shared) = operators(
            r##"<linearGradient id="g"><stop offset="0" stop-color="#f00"/><stop offset="1" stop-color="#00f"/></linearGradient>
                <rect x="2" y="4" width="6" height="2" fill="url(#g)"/>"##,
        );
        assert!(content.contains("/Pattern cs\n/C0 scn"), "{content}");
        let [gradient] = shared.gradients.as_slice() else { panic!("one gradient") };
        assert_eq!(gradient.stops, [(0.0, (255, 0, 0)), (1.0, (0, 0, 255))]);
        let Course::Linear([x1, y1, x2, y2]) = gradient.course else { panic!("a straight course") };
        let mut ends = [(x1, y1), (x2, y2)].map(|(x, y)| usvg::tiny_skia_path::Point::from_xy(x, y));
        gradient.place.map_points(&mut ends);
        // Coordinates of paper run upward: the page is 10 high.
        assert_eq!(ends.map(|p| p.x), [2.0, 8.0]);
        assert!(ends.iter().all(|p| (p.y - 6.0).abs() < 1e-4), "{ends:?}");
    }

    #[test]
    fn a_gradient_that_fades_is_seen_as_much_as_its_brightness_says() {
        let (content, shared) = operators(
            r##"<radialGradient id="g"><stop offset="0" stop-color="#f00"/><stop offset="1" stop-color="#00f" stop-opacity="0.2"/></radialGradient>
                <rect x="2" y="4" width="6" height="2" fill="url(#g)"/>"##,
        );
        assert!(content.contains("/M0 gs\n"), "{content}");
        let [brightness, colours] = shared.gradients.as_slice() else { panic!("two gradients") };
        assert_eq!(brightness.stops, [(0.0, (255, 255, 255)), (1.0, (51, 51, 51))]);
        assert_eq!(colours.stops, [(0.0, (255, 0, 0)), (1.0, (0, 0, 255))]);
        assert_eq!(shared.groups[shared.fades[0]].bounds, [2.0, 4.0, 8.0, 6.0]);
    }

    #[test]
    fn what_is_clipped_is_cut_and_a_see_through_group_is_one() {
        let (content, shared) = operators(
            r#"<clipPath id="c"><path d="M1 1h2v2z" transform="translate(4 0)"/></clipPath>
                <g clip-path="url(#c)"><rect width="9" height="9"/></g>
                <g opacity="0.5"><rect width="5" height="5"/><rect x="2" width="5" height="5"/></g>"#,
        );
        assert!(content.contains("5 1 m\n7 1 l\n7 3 l\nh\nW\nn"), "{content}");
        assert!(content.contains("/O0 gs\n/G0 Do"), "{content}");
        let [group] = shared.groups.as_slice() else { panic!("one group") };
        assert_eq!(
            (group.bounds, shared.opacities.as_slice()),
            ([0.0, 0.0, 7.0, 5.0], [(500, 500)].as_slice())
        );
    }
}
