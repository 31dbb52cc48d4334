"""Opens pages in a browser (headless Chromium, driven by playwright), measures what a reader would stumble over, and takes pictures.

    python pages.py measure BROWSER PAGE.html...
    python pages.py page BROWSER PAGE.html PICTURE.png WIDTH HEIGHT
    python pages.py printed BROWSER PAGE.html PAPER.pdf
    python pages.py paper PAPER.pdf PICTURE.png
    python pages.py terminal BROWSER PICTURE.png COLUMNS colour|plain COMMAND...
    python pages.py small FOLDER

`measure` holds every page against the widths of a phone and of a desk, each with the fonts that the page asks for and with a wide one
in their place: nothing moves sideways, no word of a table or a heading is broken, no lettering of a picture is too small. It exits with
what is wrong, or prints what it measured. `page` takes the top of a page, `paper` the first two pages of a PDF side by side, `terminal` what
a command says. `small` holds the pictures of a folder against the sizes that a repository bears.
"""

import html
import io
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

# Bytes of one picture, and of all of them.
MOST_BYTES, MOST_BYTES_TOGETHER = 150_000, 2_500_000
PHONE, DESK = 390, 1100
# A face that machines without the usual ones fall back to; it runs wider than they do.
WIDE_FACE = "* { font-family: 'DejaVu Sans', Verdana, sans-serif !important; }"
# px of the screen; Chromium calls a page readable on a phone from 12 px of text, a plot's labels are read one by one.
LEAST_LETTERING = 9.5
# Letters of the longest word that may not be broken; longer ones are fingerprints, keys and paths.
LONGEST_WORD = 24

MEASURE = """
([longest]) => {
  const shown = (node) => node.checkVisibility();
  const broken = [];
  const within = document.querySelectorAll('th, td, h1, h2, h3, dt, figcaption');
  for (const element of within) {
    if (!shown(element)) continue;
    const walker = document.createTreeWalker(element, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      for (const match of node.data.matchAll(/[\\p{L}\\p{N}]+/gu)) {
        if (node.parentElement.closest('.long') || match[0].length > longest) continue;
        const range = document.createRange();
        range.setStart(node, match.index);
        range.setEnd(node, match.index + match[0].length);
        const lines = new Set([...range.getClientRects()].map((r) => Math.round(r.top)));
        if (lines.size > 1) broken.push(match[0]);
      }
    }
  }
  const sizes = [];
  for (const text of document.querySelectorAll('svg text')) {
    const svg = text.closest('svg');
    if (!shown(svg)) continue;
    const box = svg.getBoundingClientRect();
    sizes.push(parseFloat(text.getAttribute('font-size')) * box.width / svg.viewBox.baseVal.width);
  }
  const sideways = [...document.querySelectorAll('.wide-table')].filter((t) => t.scrollWidth > t.clientWidth + 1);
  return {
    width: document.documentElement.scrollWidth,
    broken,
    least: sizes.length ? Math.min(...sizes) : null,
    sideways: sideways.length,
  };
}
"""


def opened(browser, page_file, width, height=900, wide_face=False):
    page = browser.new_page(viewport={"width": width, "height": height}, java_script_enabled=True)
    page.goto(Path(page_file).resolve().as_uri())
    if wide_face:
        page.evaluate("(css) => { const s = new CSSStyleSheet(); s.replaceSync(css); document.adoptedStyleSheets = [s]; }", WIDE_FACE)
    return page


def measure(browser, files):
    wrong = []
    for file in files:
        for width in (PHONE, DESK):
            for wide_face in (False, True):
                page = opened(browser, file, width, wide_face=wide_face)
                seen = page.evaluate(MEASURE, [LONGEST_WORD])
                page.close()
                where = f"{file} at {width} px{', wide face' if wide_face else ''}"
                if seen["width"] > width:
                    wrong.append(f"{where}: moves sideways, {seen['width']} px")
                if seen["sideways"]:
                    wrong.append(f"{where}: {seen['sideways']} tables move sideways")
                if seen["broken"]:
                    wrong.append(f"{where}: broken words: {', '.join(seen['broken'][:8])}")
                if seen["least"] is not None and seen["least"] < LEAST_LETTERING:
                    wrong.append(f"{where}: lettering of {seen['least']:.1f} px")
                least = "" if seen["least"] is None else f", lettering from {seen['least']:.1f} px"
                print(f"{where}: {seen['width']} px wide{least}")
    if wrong:
        sys.exit("\n".join(wrong))


def kept(image, file):
    """As a PNG with a palette: flat colours and letters need no more. No more colours than fit into the bytes of one picture."""
    for colours in (128, 64, 32, 16):
        image.convert("RGB").quantize(colours, dither=Image.Dither.NONE).save(file, optimize=True)
        if Path(file).stat().st_size <= MOST_BYTES:
            break


def take_page(browser, page_file, picture_file, width, height):
    """The top of a page; what is below `height` is cut off, and nothing is added below a shorter page."""
    page = opened(browser, page_file, int(width))
    whole = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": int(width), "height": min(int(height), whole)})
    kept(Image.open(io.BytesIO(page.screenshot())), picture_file)
    page.close()


def take_printed(browser, page_file, paper_file):
    page = opened(browser, page_file, DESK)
    page.pdf(path=paper_file, format="A4", prefer_css_page_size=True)
    page.close()


def take_paper(pdf_file, picture_file):
    """The first two pages side by side."""
    command = ["pdftoppm", "-png", "-r", "72", "-l", "2", pdf_file, str(Path(picture_file).with_suffix(""))]
    subprocess.run(command, check=True)
    files = sorted(Path(picture_file).parent.glob(f"{Path(picture_file).stem}-*.png"), key=lambda f: f.name)
    files = [f for f in files if re.fullmatch(rf"{re.escape(Path(picture_file).stem)}-\d+\.png", f.name)]
    pages = [Image.open(file).convert("RGB") for file in files]
    between = 10
    width = sum(page.width for page in pages) + between * (len(pages) + 1)
    sheet = Image.new("RGB", (width, max(page.height for page in pages) + 2 * between), "#8c949c")
    left = between
    for page in pages:
        sheet.paste(page, (left, between))
        left += page.width + between
    kept(sheet, picture_file)
    for file in files:
        file.unlink()


def said(command, columns, colour):
    """What a command says on a terminal of so many columns. A verdict is an exit code of its own and no failure."""
    environment = {**os.environ, "COLUMNS": columns, "TERM": "xterm-256color", "LC_ALL": "C.UTF-8"}
    if colour == "plain":
        environment["NO_COLOR"] = "1"
    ours, its = pty.openpty()
    process = subprocess.Popen(command, stdout=its, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL, env=environment)
    os.close(its)
    text = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:
            break
        if not piece:
            break
        text += piece
    os.close(ours)
    if process.wait() not in (0, 10, 11):
        sys.exit(f"{command[1]} ended with {process.returncode}; no picture was made")
    return text.decode().replace("\r\n", "\n")


# The sixteen colours of a terminal as dark and light ones on a light ground, each readable on it (4.5:1 and more).
STYLES = {1: "font-weight:700", 2: "opacity:.75", 3: "font-style:italic", 4: "text-decoration:underline", 7: "background:#1a2430;color:#fff"}
COLOURS = {0: "#1a2430", 1: "#9a1b1b", 2: "#17603a", 3: "#7a5200", 4: "#1c4f93", 5: "#6a3d8f", 6: "#0f5f66", 7: "#55606d"}


def as_html(text):
    """Letters with codes of colour (ECMA-48, SGR) as elements."""
    out, style = [], {}
    for piece in re.split(r"(\x1b\[[0-9;]*m)", text):
        code = re.fullmatch(r"\x1b\[([0-9;]*)m", piece)
        if not code:
            said = html.escape(piece)
            out.append(f'<span style="{";".join(style.values())}">{said}</span>' if style else said)
            continue
        for number in map(int, (code[1] or "0").split(";")):
            if number == 0:
                style = {}
            elif number in STYLES:
                style[number] = STYLES[number]
            elif 30 <= number % 60 <= 37:
                style["colour"] = f"color:{COLOURS[number % 10]}"
    return "".join(out)


def take_terminal(browser, picture_file, columns, colour, *command):
    text = said(list(command), columns, colour)
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.set_content(
        "<style>body { margin: 0; } pre { display: inline-block; margin: 0; padding: 14px 18px; background: #fbfbf9; color: #1a2430;"
        " font: 12px/1.3 'Liberation Mono', 'DejaVu Sans Mono', monospace; }</style>"
        f"<pre>{as_html(text)}</pre>"
    )
    box = page.query_selector("pre").bounding_box()
    size = {"width": int(box["width"] + 0.99), "height": min(int(box["height"] + 0.99), 1700)}
    page.set_viewport_size(size)
    kept(Image.open(io.BytesIO(page.screenshot())), picture_file)
    page.close()


def small(folder):
    sizes = {file.name: file.stat().st_size for file in sorted(Path(folder).glob("*.png"))}
    for name, size in sizes.items():
        print(f"{name}: {size} bytes")
    print(f"together: {sum(sizes.values())} bytes")
    large = [name for name, size in sizes.items() if size > MOST_BYTES]
    if large or sum(sizes.values()) > MOST_BYTES_TOGETHER:
        sys.exit(f"too large: {', '.join(large) or 'all together'}")


def main():
    command, *rest = sys.argv[1:]
    without_browser = {"paper": take_paper, "small": small}
    if command in without_browser:
        without_browser[command](*rest)
        return
    program, *rest = rest
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        if command == "measure":
            measure(browser, rest)
        else:
            {"page": take_page, "printed": take_printed, "terminal": take_terminal}[command](browser, *rest)
        browser.close()


if __name__ == "__main__":
    main()
