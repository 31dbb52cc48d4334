//! Objects of the file: pages, and what they share. The same pages give the same bytes; it does not know the time.

use super::PdfError;
use super::brush::{FACES, shares};
use super::element::{Kid, Node, Tree};
use super::fonts::Fonts;
use super::shared::{Course, Gradient, Group, Pixels, Shared};
use super::typeface;
use crate::outcome::empty_slot;
use pdf_writer::types::{FunctionShadingType, MaskType, TabOrder};
use pdf_writer::writers::{ExtGraphicsState, Resources, StructTreeRoot};
use pdf_writer::{Dict, Filter, Finish, Name, Pdf, Rect, Ref, TextStr};

/// What the file says of itself.
#[derive(Clone, Debug)]
pub struct Labels {
    /// Title.
    pub title: String,
    /// Whether a seal will be written into it.
    pub sealed: bool,
}

/// A file in the making.
pub struct File {
    pdf: Pdf,
    last: Ref,
}

impl File {
    /// The number of a new object.
    pub fn next(&mut self) -> Ref {
        self.last.bump()
    }

    /// The objects.
    pub const fn pdf(&mut self) -> &mut Pdf {
        &mut self.pdf
    }

    /// A stream of bytes, compressed.
    pub fn stream(&mut self, bytes: &[u8]) -> Ref {
        let id = self.next();
        self.pdf.stream(id, &deflated(bytes)).filter(Filter::FlateDecode);
        id
    }
}

/// The whole file of pages of a size.
///
/// # Errors
/// A face can't be cut to the letters in use.
pub fn file(
    fonts: &Fonts,
    size: (f32, f32),
    pages: &[Vec<u8>],
    shared: &Shared,
    elements: &Tree,
    labels: &Labels,
) -> Result<Vec<u8>, PdfError> {
    let mut file = File { pdf: Pdf::new(), last: Ref::new(1) };
    let [catalog, tree, info, resources, structure] = [(); 5].map(|()| file.next());
    let mut root = file.pdf.catalog(catalog);
    root.pages(tree).lang(TextStr("en"));
    root.viewer_preferences().display_doc_title(true);
    root.mark_info().marked(true);
    root.pair(Name(b"StructTreeRoot"), structure);
    root.finish();
    describe(&mut file, info, labels);
    let kids: Vec<Ref> = (0..)
        .zip(pages)
        .map(|(number, page)| write_page(&mut file, [tree, resources], size, number, page))
        .collect();
    write_structure(&mut file, structure, elements, &kids);
    let count = i32::try_from(kids.len()).unwrap_or(i32::MAX);
    file.pdf.pages(tree).kids(kids).count(count);
    write_shared(&mut file, fonts, shared, resources)?;
    Ok(file.pdf.finish())
}

fn describe(file: &mut File, id: Ref, labels: &Labels) {
    let creator = format!("trackpair {}", env!("CARGO_PKG_VERSION"));
    let mut info = file.pdf.document_info(id);
    info.title(TextStr(&labels.title)).creator(TextStr(&creator));
    if labels.sealed {
        info.keywords(TextStr(&empty_slot()));
    }
}

/// What the pages say, as elements; `id` is the root's.
fn write_structure(file: &mut File, id: Ref, elements: &Tree, pages: &[Ref]) {
    let refs: Vec<Ref> = elements.nodes.iter().map(|_| file.next()).collect();
    for (node, own) in elements.nodes.iter().zip(&refs) {
        write_element(file, *own, node, node.parent.map_or(id, |parent| refs[parent]), &refs, pages);
    }
    let owners: Vec<Ref> = elements.pages.iter().map(|_| file.next()).collect();
    for (page, own) in elements.pages.iter().zip(&owners) {
        file.pdf.indirect(*own).array().items(page.iter().map(|place| refs[*place]));
    }
    let mut root = file.pdf.indirect(id).start::<StructTreeRoot<'_>>();
    root.children()
        .items(elements.nodes.iter().zip(&refs).filter(|(n, _)| n.parent.is_none()).map(|(_, r)| *r));
    let mut tree = root.parent_tree();
    let mut numbers = tree.nums();
    for (number, own) in (0..).zip(&owners) {
        numbers.insert(number, *own);
    }
}

fn write_element(file: &mut File, id: Ref, node: &Node, parent: Ref, refs: &[Ref], pages: &[Ref]) {
    let mut element = file.pdf.struct_element(id);
    element.kind(node.element.role).parent(parent);
    if !node.element.alt.is_empty() {
        element.alt(TextStr(&node.element.alt));
    }
    if let Some(scope) = node.element.scope {
        element.attributes().push().table().scope(scope);
    }
    // What stands on the page of its beginning is named by its number alone.
    let own_page =
        node.kids.iter().find_map(|kid| if let Kid::Mark(page, _) = kid { Some(*page) } else { None });
    if let Some(page) = own_page {
        element.page(pages[page]);
    }
    let mut kids = element.children();
    for kid in &node.kids {
        match *kid {
            Kid::Node(place) => {
                kids.struct_element(refs[place]);
            }
            Kid::Mark(page, number) if Some(page) == own_page => {
                kids.marked_content_id(number);
            }
            Kid::Mark(page, number) => {
                kids.marked_content_ref().page(pages[page]).marked_content_id(number);
            }
        }
    }
}

fn write_page(
    file: &mut File,
    [tree, resources]: [Ref; 2],
    size: (f32, f32),
    number: i32,
    content: &[u8],
) -> Ref {
    let content = file.stream(content);
    let id = file.next();
    let mut page = file.pdf.page(id);
    page.parent(tree).media_box(Rect::new(0.0, 0.0, size.0, size.1)).contents(content);
    page.pair(Name(b"Resources"), resources);
    page.struct_parents(number).tab_order(TabOrder::StructureOrder);
    drop(page);
    id
}

/// One dictionary for every page and group.
fn write_shared(file: &mut File, fonts: &Fonts, shared: &Shared, id: Ref) -> Result<(), PdfError> {
    let mut faces = Vec::new();
    for (bold, name) in [false, true].into_iter().zip(FACES) {
        let letters = shared.letters[usize::from(bold)].in_order();
        if !letters.is_empty() {
            faces.push((name, typeface::embed(file, fonts, bold, &letters)?));
        }
    }
    let images: Vec<Ref> = shared.images.iter().map(|i| write_image(file, i)).collect();
    let groups: Vec<Ref> = shared.groups.iter().map(|g| write_group(file, g, id)).collect();
    let gradients: Vec<Ref> = shared.gradients.iter().map(|g| write_gradient(file, g)).collect();
    let mut resources = file.pdf.indirect(id).start::<Resources<'_>>();
    resources.fonts().pairs(faces.into_iter().map(|(name, face)| (Name(name), face)));
    let mut objects = resources.x_objects();
    refer(&mut objects, "I", &images);
    refer(&mut objects, "G", &groups);
    objects.finish();
    refer(&mut resources.patterns(), "C", &gradients);
    let mut states = resources.ext_g_states();
    for (place, (fill, stroke)) in shared.opacities.iter().enumerate() {
        let mut state = begin_state(&mut states, "O", place);
        state.non_stroking_alpha(f32::from(*fill) / 1000.0).stroking_alpha(f32::from(*stroke) / 1000.0);
    }
    for (place, group) in shared.fades.iter().enumerate() {
        let mut state = begin_state(&mut states, "M", place);
        state.soft_mask().subtype(MaskType::Luminosity).group(groups[*group]);
    }
    Ok(())
}

fn begin_state<'s>(states: &'s mut Dict<'_>, kind: &str, place: usize) -> ExtGraphicsState<'s> {
    states.insert(Name(format!("{kind}{place}").as_bytes())).start()
}

fn refer(list: &mut Dict<'_>, kind: &str, all: &[Ref]) {
    for (place, id) in all.iter().enumerate() {
        list.pair(Name(format!("{kind}{place}").as_bytes()), *id);
    }
}

fn write_image(file: &mut File, image: &Pixels) -> Ref {
    let pixels = || image.rgba.chunks_exact(4);
    let alpha: Vec<u8> = pixels().map(|p| p[3]).collect();
    let mask =
        alpha.iter().any(|a| *a < u8::MAX).then(|| write_samples(file, image.size, &alpha, None, false));
    let colours: Vec<u8> = pixels().flat_map(|p| [p[0], p[1], p[2]]).collect();
    write_samples(file, image.size, &colours, mask, true)
}

/// Samples of an image, three a pixel or one.
fn write_samples(
    file: &mut File,
    (width, height): (u32, u32),
    samples: &[u8],
    mask: Option<Ref>,
    coloured: bool,
) -> Ref {
    let id = file.next();
    let bytes = deflated(samples);
    let mut image = file.pdf.image_xobject(id, &bytes);
    image.filter(Filter::FlateDecode);
    image.width(width.cast_signed()).height(height.cast_signed()).bits_per_component(8);
    if coloured {
        image.color_space().device_rgb();
    } else {
        image.color_space().device_gray();
    }
    if let Some(mask) = mask {
        image.s_mask(mask);
    }
    id
}

fn write_group(file: &mut File, group: &Group, resources: Ref) -> Ref {
    let id = file.next();
    let bytes = deflated(&group.content);
    let mut form = file.pdf.form_xobject(id, &bytes);
    let [left, top, right, bottom] = group.bounds;
    form.bbox(Rect::new(left, top, right, bottom)).filter(Filter::FlateDecode);
    form.pair(Name(b"Resources"), resources);
    form.group().transparency().color_space().device_rgb();
    id
}

fn write_gradient(file: &mut File, gradient: &Gradient) -> Ref {
    let function = write_stops(file, &gradient.stops);
    let id = file.next();
    let mut pattern = file.pdf.shading_pattern(id);
    let t = gradient.place;
    pattern.matrix([t.sx, t.ky, t.kx, t.sy, t.tx, t.ty]);
    let mut shading = pattern.function_shading();
    match gradient.course {
        Course::Linear(ends) => shading.shading_type(FunctionShadingType::Axial).coords(ends),
        Course::Radial(circles) => shading.shading_type(FunctionShadingType::Radial).coords(circles),
    };
    shading.color_space().device_rgb();
    shading.extend([true, true]).function(function);
    id
}

/// Colours over a course from 0 to 1: the first holds up to its stop, the last from its stop on.
fn write_stops(file: &mut File, stops: &[(f32, super::colour::Colour)]) -> Ref {
    let mut all = stops.to_vec();
    if let (Some(first), Some(last)) = (stops.first(), stops.last()) {
        all.insert(0, (0.0, first.1));
        all.push((1.0, last.1));
    }
    all.dedup();
    let pieces: Vec<Ref> = all.windows(2).map(|pair| write_piece(file, [pair[0].1, pair[1].1])).collect();
    let id = file.next();
    let mut whole = file.pdf.stitching_function(id);
    let inner = all.len().saturating_sub(1).max(1);
    whole.domain([0.0, 1.0]).bounds(all[1..inner].iter().map(|s| s.0));
    whole.encode(pieces.iter().flat_map(|_| [0.0, 1.0])).functions(pieces);
    id
}

fn write_piece(file: &mut File, [from, to]: [super::colour::Colour; 2]) -> Ref {
    let id = file.next();
    file.pdf.exponential_function(id).domain([0.0, 1.0]).c0(shares(from)).c1(shares(to)).n(1.0);
    id
}

fn deflated(bytes: &[u8]) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(bytes, 8)
}
