"""Reads a PDF as other programs do (pypdf) and holds it against the HTML page and the terminal text of the same outcome.

    python paper.py report REPORT.html REPORT.pdf TERMINAL.txt OUTCOME.json PAPER
    python paper.py certificate CERTIFICATE.pdf OUTCOME.json PAPER

PAPER is a4 or letter. It exits with a traceback at the first thing that is not as it should be.
"""

import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path

from pypdf import PdfReader

# Points: ISO 216 A4 is 210 x 297 mm, ANSI A is 8.5 x 11 in; one point is 1/72 in.
PAPERS = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (612, 792)}
# Elements whose text stands together on paper too. A definition's and a list's text may break a page, nothing else.
BLOCKS = {"h1", "h2", "h3", "p", "li", "dt", "dd", "figcaption", "tr", "caption"}
# Elements whose text is not the page's.
HIDDEN = {"svg", "style", "head"}
# Operators that draw lines and curves. A rectangle is short for one m and three l (ISO 32000-1, table 59).
PATHS = {b"m": 1, b"l": 1, b"c": 1, b"v": 1, b"y": 1, b"re": 4}


def bare(text):
    """Letters alone: neither spaces nor how a first letter is written."""
    return re.sub(r"[\s\u00a0]+", "", text).casefold()


class Page(HTMLParser):
    """Blocks of text, rows of tables, figures."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.blocks, self.rows, self.figures, self.open, self.hidden = [], [], 0, [], 0

    def handle_starttag(self, tag, attrs):
        if tag in HIDDEN:
            self.hidden += 1
        if tag == "figure":
            self.figures += 1
        if tag in BLOCKS:
            self.open.append((tag, []))

    def handle_startendtag(self, tag, attrs):
        if tag == "br" and self.open and self.open[-1][0] == "dd":
            # Two lines of one fact; paper joins them in its own way.
            self.handle_endtag("dd")
            self.open.append(("dd", []))

    def handle_endtag(self, tag):
        if tag in HIDDEN:
            self.hidden -= 1
        if self.open and self.open[-1][0] == tag:
            name, texts = self.open.pop()
            text = bare("".join(texts))
            if text:
                (self.rows if name == "tr" else self.blocks).append((name, text, "".join(texts)))

    def handle_data(self, data):
        if not self.hidden and self.open:
            self.open[-1][1].append(data)


def read(path):
    reader = PdfReader(path)
    texts = [page.extract_text() for page in reader.pages]
    return reader, texts


def without_frame(text, label):
    """The text of a page without its head and foot, which are drawn last and begin with the part's name."""
    at = text.rfind(label)
    assert at >= 0, f"a page does not name the part: {text!r}"
    return text[:at]


def check_paper(reader, paper, simulated, texts):
    width, height = PAPERS[paper]
    for number, (page, text) in enumerate(zip(reader.pages, texts), 1):
        box = page.mediabox
        assert abs(float(box.width) - width) < 0.1 and abs(float(box.height) - height) < 0.1, box
        assert f"page {number} of {len(texts)}" in text, text[-300:]
        assert ("SIMULATED" in text) == simulated, text[-300:]
    metadata = reader.metadata
    assert metadata.title, metadata


def check_fonts(reader):
    """Every font is embedded, as a subset, and can be read as text."""
    fonts = {}
    for page in reader.pages:
        for font in (page["/Resources"].get("/Font") or {}).values():
            font = font.get_object()
            fonts[str(font["/BaseFont"])] = font
    assert fonts
    for name, font in fonts.items():
        assert re.match(r"/[A-Z]{6}\+Liberation", name), name
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        files = [key for key in ("/FontFile2", "/FontFile3") if key in descriptor]
        assert files and len(descriptor[files[0]].get_object().get_data()) > 1000, name
        assert "/ToUnicode" in font, name


def images(resources, seen):
    """Pictures of pixels among resources, however deep."""
    found = 0
    for name, thing in (resources.get("/XObject") or {}).items():
        thing = thing.get_object()
        if id(thing) in seen:
            continue
        seen.add(id(thing))
        if thing["/Subtype"] == "/Image":
            found += 1
        elif "/Resources" in thing:
            found += images(thing["/Resources"], seen)
    return found


def check_vectors(reader, figures):
    drawn, pixels = 0, 0
    for page in reader.pages:
        drawn += sum(PATHS.get(operator, 0) for _, operator in page.get_contents().operations)
        pixels += images(page["/Resources"], set())
    assert pixels == 0, f"{pixels} pictures of pixels"
    assert drawn > 200 * figures, f"{drawn} paths for {figures} figures"


def report(page_file, pdf_file, terminal_file, outcome_file, paper):
    outcome = json.loads(Path(outcome_file).read_text(encoding="utf-8"))
    page = Page()
    page.feed(Path(page_file).read_text(encoding="utf-8"))
    terminal = bare(Path(terminal_file).read_text(encoding="utf-8"))
    reader, texts = read(pdf_file)
    label = outcome["part"]["label"]
    check_paper(reader, paper, outcome["simulated"], texts)
    check_fonts(reader)
    check_vectors(reader, page.figures)
    on_paper = bare("".join(without_frame(text, label) for text in texts))

    assert len(page.rows) > len(outcome["figures"]) / 6, "the page has tables"
    for _, row, words in page.rows:
        assert row in on_paper, f"a row is not on paper: {words!r}"
    for name, block, words in page.blocks:
        # These two say "SIMULATED" and what it is in the page's own words; paper has a banner on every page.
        if block.startswith(("simulated", "cutshort")) or name == "caption" and "raised" in block:
            continue
        assert block in on_paper, f"a {name} is not on paper: {words!r}"
    # The same numbers and verdicts in all three: what stands before and after every "±", and every verdict's word.
    numbers = re.findall(r"[−\d.]+±[\d.]+", "".join(row for _, row, _ in page.rows))
    assert len(numbers) >= len(outcome["figures"]) / 2, numbers
    for number in numbers:
        assert number in on_paper and (number in terminal or outcome["part"]["kind"] == "body"), number
    for verdict in ("within", "outside", "undecided"):
        told = [f for f in outcome["figures"] if f["verdict"] == verdict]
        rows = sum(row.count(verdict) for _, row, _ in page.rows)
        assert rows == len(told), f"{verdict}: {rows} on the page, {len(told)} in the outcome"
    for finding in outcome["findings"]:
        for medium in (on_paper, terminal):
            assert bare(finding["text"]).replace("ohm", "")[:30] in medium.replace("ω", ""), finding["text"]
    for place, suspect in enumerate(outcome.get("suspects", [])):
        for text in (suspect["title"], suspect["next_check"]):
            wanted = bare(text).replace("ohm", "").replace("ω", "")
            for medium in (on_paper, terminal) if place < 3 else (on_paper,):
                assert wanted in medium.replace("ω", "").replace("ohm", ""), text
        for code in suspect["codes"]:
            assert bare(code["code"]) in on_paper, code
    for reason in outcome["reasons"]:
        assert bare(reason).replace("ohm", "")[:30] in on_paper.replace("ω", ""), reason
    for text in (outcome.get("grade") or {}).get("why", []):
        assert bare(text) in on_paper and bare(text) in terminal, text
    print(f"{len(texts)} pages, {len(page.rows)} rows, {len(page.blocks)} blocks, {page.figures} figures, {len(numbers)} numbers agree")


def certificate(pdf_file, outcome_file, paper):
    outcome = json.loads(Path(outcome_file).read_text(encoding="utf-8"))
    reader, texts = read(pdf_file)
    assert len(texts) == 1, f"{len(texts)} pages"
    check_paper(reader, paper, outcome["simulated"], texts)
    check_fonts(reader)
    text = bare(texts[0])
    name = (outcome.get("grade") or {}).get("name")
    for word in [outcome["verdict"], outcome["part"]["label"], f"resale grade: {name}" if name else "no resale grade"]:
        assert bare(word) in text, word
    assert "itpromisesnothingbeyondwhatwastested" in text and "cautions" in text
    print(f"one page, {len(text)} letters")


if __name__ == "__main__":
    {"report": report, "certificate": certificate}[sys.argv[1]](*sys.argv[2:])
