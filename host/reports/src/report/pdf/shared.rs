//! What pages refer to and share: letters of the faces, opacities, images, groups, gradients. It does not know where they stand.

use super::colour::Colour;
use std::collections::BTreeMap;
use std::rc::Rc;
use usvg::Transform;

/// A picture of pixels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pixels {
    /// Width and height.
    pub size: (u32, u32),
    /// Red, green, blue, opacity of each pixel.
    pub rgba: Vec<u8>,
}

/// Drawing that is made by itself and then laid over the page as one.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Left, top, right, bottom.
    pub bounds: [f32; 4],
    /// Its operators.
    pub content: Vec<u8>,
}

/// Where the colours of a gradient run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Course {
    /// From a point to another: x, y, x, y.
    Linear([f32; 4]),
    /// From a circle to another: x, y, radius, x, y, radius.
    Radial([f32; 6]),
}

/// A gradient.
#[derive(Clone, Debug, PartialEq)]
pub struct Gradient {
    /// From its own coordinates to those of the page or group that it stands on.
    pub place: Transform,
    /// Its course.
    pub course: Course,
    /// Colours at shares of the course, rising; at least one.
    pub stops: Vec<(f32, Colour)>,
}

/// Letters of one face, each with the code that stands for it, from 1 on.
#[derive(Clone, Debug, Default)]
pub struct Letters {
    codes: BTreeMap<char, u16>,
}

impl Letters {
    /// The code of a letter. More letters than codes do not occur in two faces of a few thousand.
    fn code(&mut self, letter: char) -> u16 {
        let next = u16::try_from(self.codes.len() + 1).unwrap_or(0);
        *self.codes.entry(letter).or_insert(next)
    }

    /// Letters in the order of their codes.
    pub fn in_order(&self) -> Vec<char> {
        let mut all: Vec<(u16, char)> = self.codes.iter().map(|(letter, code)| (*code, *letter)).collect();
        all.sort_unstable();
        all.into_iter().map(|(_, letter)| letter).collect()
    }
}

/// Everything shared.
#[derive(Clone, Debug, Default)]
pub struct Shared {
    /// Letters of the regular and of the bold face.
    pub letters: [Letters; 2],
    /// Opacities of filling and of stroking, thousandths.
    pub opacities: Vec<(u16, u16)>,
    /// Images.
    pub images: Vec<Rc<Pixels>>,
    /// Groups.
    pub groups: Vec<Group>,
    /// Gradients.
    pub gradients: Vec<Gradient>,
    /// Places of the groups whose brightness says how much of something is seen.
    pub fades: Vec<usize>,
}

impl Shared {
    /// The codes of text.
    pub fn codes(&mut self, text: &str, bold: bool) -> Vec<u8> {
        let letters = &mut self.letters[usize::from(bold)];
        text.chars().flat_map(|letter| letters.code(letter).to_be_bytes()).collect()
    }

    /// The name of a pair of opacities.
    pub fn opacity(&mut self, fill: f32, stroke: f32) -> String {
        let thousandths = |share: f32| (share.clamp(0.0, 1.0) * 1000.0).round() as u16;
        named("O", &mut self.opacities, (thousandths(fill), thousandths(stroke)))
    }

    /// The name of an image.
    pub fn image(&mut self, image: &Rc<Pixels>) -> String {
        named("I", &mut self.images, Rc::clone(image))
    }

    /// The name of a group.
    pub fn group(&mut self, group: Group) -> String {
        named("G", &mut self.groups, group)
    }

    /// The name of a group as a measure of how much is seen: all where it is white, nothing where it is black.
    pub fn fade(&mut self, group: Group) -> String {
        let place = place(&mut self.groups, group);
        named("M", &mut self.fades, place)
    }

    /// The name of a gradient.
    pub fn gradient(&mut self, gradient: Gradient) -> String {
        named("C", &mut self.gradients, gradient)
    }
}

/// The name of a thing among its like.
fn named<T: PartialEq>(kind: &str, all: &mut Vec<T>, one: T) -> String {
    format!("{kind}{}", place(all, one))
}

/// The place of a thing among its like, where it is put unless it is there.
fn place<T: PartialEq>(all: &mut Vec<T>, one: T) -> usize {
    all.iter().position(|other| *other == one).unwrap_or_else(|| {
        all.push(one);
        all.len() - 1
    })
}
