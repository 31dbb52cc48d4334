//! What stretches of paper are, for readers that speak a file or set it anew: a tree of elements in the order of the document (ISO 32000-1, 14.7
//! and 14.8). It does not know what is drawn.

pub use pdf_writer::types::StructRole as Role;
pub use pdf_writer::types::TableHeaderScope as Scope;
use std::collections::HashMap;
use std::rc::Rc;

/// A stretch of paper; the same element wherever it is the same `Rc`.
#[derive(Debug)]
pub struct Element {
    /// What it is.
    pub role: Role,
    /// What it shows, for those who do not see it; empty where its text says it.
    pub alt: String,
    /// Of a head of a table: what it heads.
    pub scope: Option<Scope>,
}

impl Element {
    /// Of a role, with text of its own.
    pub fn new(role: Role) -> Rc<Self> {
        Rc::new(Self { role, alt: String::new(), scope: None })
    }

    /// The head of a row or column of a table.
    pub fn head(scope: Scope) -> Rc<Self> {
        Rc::new(Self { role: Role::TH, alt: String::new(), scope: Some(scope) })
    }

    /// A picture, and what it shows.
    pub fn figure(alt: impl Into<String>) -> Rc<Self> {
        Rc::new(Self { role: Role::Figure, alt: alt.into(), scope: None })
    }
}

/// What is inside an element.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kid {
    /// Another element, by its place in the tree.
    Node(usize),
    /// Something on a page, by the page and the number that it bears there.
    Mark(usize, i32),
}

/// An element in its place.
#[derive(Debug)]
pub struct Node {
    /// What it is.
    pub element: Rc<Element>,
    /// The element around it; none for the outermost ones.
    pub parent: Option<usize>,
    /// What is inside it, in order.
    pub kids: Vec<Kid>,
}

/// The elements of a file.
#[derive(Debug, Default)]
pub struct Tree {
    /// All of them, each after the one around it.
    pub nodes: Vec<Node>,
    /// Page by page, whose each numbered stretch is.
    pub pages: Vec<Vec<usize>>,
    known: HashMap<*const Element, usize>,
}

impl Tree {
    /// A page begins.
    pub fn begin_page(&mut self) {
        self.pages.push(Vec::new());
    }

    /// The place of an element inside another.
    pub fn place(&mut self, element: &Rc<Element>, parent: Option<usize>) -> usize {
        if let Some(known) = self.known.get(&Rc::as_ptr(element)) {
            return *known;
        }
        let place = self.nodes.len();
        self.nodes.push(Node { element: Rc::clone(element), parent, kids: Vec::new() });
        self.known.insert(Rc::as_ptr(element), place);
        if let Some(parent) = parent {
            self.nodes[parent].kids.push(Kid::Node(place));
        }
        place
    }

    /// The number of a stretch of this page that is part of an element.
    pub fn mark(&mut self, place: usize) -> i32 {
        let page = self.pages.len() - 1;
        let number = i32::try_from(self.pages[page].len()).unwrap_or(i32::MAX);
        self.pages[page].push(place);
        self.nodes[place].kids.push(Kid::Mark(page, number));
        number
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_element_over_two_pages_is_one_and_keeps_its_place_in_the_order() {
        let (list, point, after) = (Element::new(Role::L), Element::new(Role::LI), Element::new(Role::P));
        let mut tree = Tree::default();
        for _ in 0..2 {
            tree.begin_page();
            let list = tree.place(&list, None);
            let point = tree.place(&point, Some(list));
            tree.mark(point);
        }
        let after = tree.place(&after, None);
        tree.mark(after);
        assert_eq!(tree.nodes.len(), 3);
        assert_eq!(tree.nodes[1].kids, [Kid::Mark(0, 0), Kid::Mark(1, 0)]);
        assert_eq!(
            (tree.nodes[after].kids.as_slice(), tree.pages[1].as_slice()),
            ([Kid::Mark(1, 1)].as_slice(), [1, 2].as_slice())
        );
    }
}
