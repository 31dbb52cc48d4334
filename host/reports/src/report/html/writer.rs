//! Elements of a page, nested as they are opened: what is written is well-formed XML. Letters are escaped here and nowhere else. It does not
//! know what it writes.

use crate::report::svg;

/// An attribute: name and value.
pub type Attribute<'a> = (&'static str, &'a str);

/// A page in the making.
#[derive(Debug, Default)]
pub struct Writer {
    out: String,
    /// Headings of the sections that are open, from the outermost one.
    headings: Vec<String>,
    /// Whether the page has its first heading.
    titled: bool,
}

impl Writer {
    /// The element of what could be the title of the page: only the first is.
    pub fn title(&mut self) -> &'static str {
        if std::mem::replace(&mut self.titled, true) { "h2" } else { "h1" }
    }

    /// What stands in a section under its heading, to be appended.
    pub fn section(&self, heading: String) -> Self {
        let headings = self.headings.iter().cloned().chain([heading]).collect();
        Self { out: String::new(), headings, titled: self.titled }
    }

    /// Headings of the sections that are open, from the outermost one.
    pub fn headings(&self) -> &[String] {
        &self.headings
    }

    /// What was written.
    pub fn finish(self) -> String {
        self.out
    }

    /// Whether nothing was written.
    pub fn is_empty(&self) -> bool {
        self.out.is_empty()
    }

    /// An element with what is inside it, after a line break where `name` is that of a block.
    pub fn element(
        &mut self,
        name: &'static str,
        attributes: &[Attribute<'_>],
        inside: impl FnOnce(&mut Self),
    ) {
        self.begin(name, attributes);
        self.out.push('>');
        inside(self);
        self.out.push_str("</");
        self.out.push_str(name);
        self.out.push('>');
    }

    /// An element of a class; none for an empty one.
    pub fn class(&mut self, name: &'static str, class: &str, inside: impl FnOnce(&mut Self)) {
        if class.is_empty() {
            self.element(name, &[], inside);
        } else {
            self.element(name, &[("class", class)], inside);
        }
    }

    /// An element with nothing inside.
    pub fn empty(&mut self, name: &'static str, attributes: &[Attribute<'_>]) {
        self.begin(name, attributes);
        self.out.push_str("/>");
    }

    /// Letters.
    pub fn letters(&mut self, letters: &str) {
        escape(&mut self.out, letters);
    }

    /// A picture of the program's own.
    pub fn picture(&mut self, picture: &svg::picture::Picture) {
        self.out.push('\n');
        self.out.push_str(&picture.svg());
    }

    /// What the program itself wrote as XML: style sheets, signs, codes. Nothing from outside may come this way.
    pub fn own(&mut self, xml: &str) {
        self.out.push_str(xml);
    }

    /// What another writer wrote.
    pub fn append(&mut self, other: Self) {
        self.out.push_str(&other.out);
    }

    fn begin(&mut self, name: &'static str, attributes: &[Attribute<'_>]) {
        // A line for each block keeps the file readable and its differences small.
        if !matches!(
            name,
            "b" | "bdi" | "br" | "span" | "sup" | "svg" | "small" | "strong" | "td" | "th" | "dd"
        ) {
            self.out.push('\n');
        }
        self.out.push('<');
        self.out.push_str(name);
        for (name, value) in attributes {
            self.out.push(' ');
            self.out.push_str(name);
            self.out.push_str("=\"");
            escape(&mut self.out, value);
            self.out.push('"');
        }
    }
}

/// Letters fit for an element or a quoted attribute.
fn escape(out: &mut String, letters: &str) {
    for letter in letters.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            letter => out.push(letter),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_and_values_are_escaped_and_elements_closed() {
        let mut page = Writer::default();
        page.element("p", &[("title", "a\"<b>'&")], |page| page.letters("</p><script>&'"));
        let text = page.finish();
        assert_eq!(text, "\n<p title=\"a&quot;&lt;b&gt;&#39;&amp;\">&lt;/p&gt;&lt;script&gt;&amp;&#39;</p>");
    }
}
