# SPDX-License-Identifier: GPL-3.0-or-later
"""Words of a printed page and whether they cover each other."""
import html.parser
import subprocess


class Words(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.words = []

    def handle_starttag(self, tag, attributes):
        if tag == "page":
            self.words.append([])
        if tag == "word":
            self.box = [float(dict(attributes)[key]) for key in ("xmin", "ymin", "xmax", "ymax")]

    def handle_data(self, data):
        if self.lasttag == "word" and data.strip():
            self.words[-1].append((self.box, data))


def words_that_overlap(pdf, folder):
    """Pairs of words of which one covers more than a fifth of the other's height and width."""
    boxes = folder / "boxes.html"
    subprocess.run(["pdftotext", "-bbox", pdf, boxes], check=True)
    reader = Words()
    reader.feed(boxes.read_text())
    pairs = []
    for number, words in enumerate(reader.words):
        words.sort()
        for i, (a, text_a) in enumerate(words):
            for b, text_b in words[i + 1:]:
                if b[0] >= a[2]:
                    break
                if text_a == text_b and max(abs(p - q) for p, q in zip(a, b)) < 3:
                    continue  # a label's outline and its face
                wide = min(a[2], b[2]) - b[0]
                high = min(a[3], b[3]) - max(a[1], b[1])
                if wide > 0.2 * min(a[2] - a[0], b[2] - b[0]) and high > 0.3 * min(a[3] - a[1], b[3] - b[1]):
                    pairs.append((number + 1, text_a, text_b))
    return pairs
