"""Reads what a PDF says of its stretches (its structure tree, ISO 32000-1, 14.7 and 14.8) with pikepdf and holds it against the page.

    python tags.py PAPER.pdf [PAGE.html]

Every letter on every page is part of one element or marked as part of none; elements and pages refer to each other; headings skip no level;
tables are rows of cells; figures have words. With a page: its headings and tables are those of the paper, in the same order. It exits with
a traceback at the first thing that is not as it should be.
"""

import sys
from html.parser import HTMLParser
from pathlib import Path

import pikepdf

SHOWS = {"Tj", "TJ", "'", '"'}
INSIDE = {
    "/Table": {"/TR"},
    "/TR": {"/TH", "/TD"},
    "/L": {"/LI"},
    "/LI": {"/LBody"},
}
HEADINGS = {"/H1": 1, "/H2": 2, "/H3": 3}


class Outline(HTMLParser):
    """Headings and tables of a page in their order."""

    def __init__(self):
        super().__init__()
        self.headings, self.tables = [], 0

    def handle_starttag(self, tag, attrs):
        if tag in ("h1", "h2", "h3"):
            self.headings.append(int(tag[1]))
        self.tables += tag == "table"


def marked(page):
    """Numbers of the stretches of a page; fails on letters outside of any."""
    numbers, open_stretches = [], []
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        if name == "BDC":
            numbers.append(int(operands[1]["/MCID"]))
            open_stretches.append(name)
        elif name == "BMC":
            assert str(operands[0]) == "/Artifact", operands
            open_stretches.append(name)
        elif name == "EMC":
            open_stretches.pop()
        elif name in SHOWS:
            assert len(open_stretches) == 1, f"letters in {len(open_stretches)} stretches"
    assert not open_stretches, "a stretch does not end"
    return numbers


def kids(element):
    found = element.get("/K", [])
    return list(found) if isinstance(found, pikepdf.Array) else [found]


def is_element(kid):
    return isinstance(kid, pikepdf.Dictionary) and kid.get("/S") is not None


def elements(element):
    """An element and all inside it, in reading order."""
    yield element
    for kid in kids(element):
        if is_element(kid):
            yield from elements(kid)


def check_kids(element):
    kind = str(element.S)
    for kid in kids(element):
        if is_element(kid):
            assert kid.P.objgen == element.objgen, f"a {kid.S} does not know its {kind}"
            assert str(kid.S) in INSIDE.get(kind, {str(kid.S)}), f"a {kid.S} in a {kind}"
        else:
            assert kind not in INSIDE, f"letters right in a {kind}"


def check_references(pdf, root):
    """What a page numbers is what elements hold, and the other way round."""
    numbers = root.ParentTree.Nums
    owners = {int(numbers[k]): numbers[k + 1] for k in range(0, len(numbers), 2)}
    held = {}
    for element in (e for top in kids(root) for e in elements(top)):
        for kid in kids(element):
            if isinstance(kid, int):
                held[(element.Pg.objgen, kid)] = element.objgen
            elif not is_element(kid):
                held[(kid.Pg.objgen, int(kid.MCID))] = element.objgen
    count = 0
    for page in pdf.pages:
        own = owners[int(page.StructParents)]
        seen = marked(page)
        assert seen == list(range(len(own))), f"{seen} are not the {len(own)} that the tree knows"
        for number in seen:
            assert held.pop((page.obj.objgen, number)) == own[number].objgen, "page and element differ"
        count += len(seen)
    assert not held, f"elements hold what no page has: {held}"
    return count


def main():
    pdf = pikepdf.open(sys.argv[1])
    assert pdf.Root.MarkInfo.Marked and str(pdf.Root.Lang) == "en"
    assert str(pdf.docinfo["/Title"]) and pdf.Root.ViewerPreferences.DisplayDocTitle
    root = pdf.Root.StructTreeRoot
    assert [str(top.S) for top in kids(root)] == ["/Document"]
    count = check_references(pdf, root)
    everything = [element for top in kids(root) for element in elements(top)]
    for element in everything:
        check_kids(element)
    of = lambda *kinds: [e for e in everything if str(e.S) in kinds]
    levels = [HEADINGS[str(e.S)] for e in of(*HEADINGS)]
    assert levels[0] == 1 and levels.count(1) == 1, levels
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:])), levels
    assert all(str(figure.get("/Alt", "")) for figure in of("/Figure"))
    assert all(head.A[0].Scope in ("/Column", "/Row") for head in of("/TH"))
    if len(sys.argv) > 2:
        outline = Outline()
        outline.feed(Path(sys.argv[2]).read_text(encoding="utf-8"))
        assert levels == outline.headings, f"headings of paper {levels} and page {outline.headings}"
        assert len(of("/Table")) == outline.tables, f"{len(of('/Table'))} tables on paper, {outline.tables} on the page"
    print(f"{len(everything)} elements hold {count} stretches of {len(pdf.pages)} pages")


if __name__ == "__main__":
    main()
