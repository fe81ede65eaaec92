# SPDX-License-Identifier: GPL-3.0-or-later
"""The made pictures (made_pictures.py) found again on printed pages: where they stand, how large, and which way up."""
import re
import subprocess
from made_pictures import FIELDS, jpeg, png

DPI = 60
# CIPA DC-008, Orientation: on which sides of the upright picture the stored one's first row and first column stand
STANDS = {1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
          5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom")}
SIDES = {"left": 0, "right": 1, "top": 0, "bottom": 1}


def upright(orientation):
    """Fields of the upright picture, rows of columns."""
    row_side, column_side = STANDS[orientation]
    turned = [[None, None], [None, None]]
    for row in range(2):
        for column in range(2):
            by_row, by_column = row ^ SIDES[row_side], column ^ SIDES[column_side]
            x, y = (by_row, by_column) if row_side in ("left", "right") else (by_column, by_row)
            turned[y][x] = FIELDS[row][column]
    return turned


def make_album(folder):
    """Files of every orientation, kind and awkward size, in the order of their names; and what they must look like."""
    folder.mkdir()
    files, wanted = [], []

    def put(content, orientation, width, height, ending="jpg"):
        name = f"{len(files):02d}.{ending}"
        (folder / name).write_bytes(content)
        files.append(folder / name)
        wanted.append((upright(orientation), (height, width) if orientation >= 5 else (width, height)))

    for orientation in STANDS:
        put(jpeg(640, 400, orientation=orientation), orientation, 640, 400)
    put(jpeg(1600, 1200, progressive=True), 1, 1600, 1200)
    put(png(320, 240), 1, 320, 240, "png")
    put(jpeg(96, 64), 1, 96, 64)
    put(jpeg(240, 1600), 1, 240, 1600)
    put(jpeg(1600, 240), 1, 1600, 240)
    return files, wanted


def near(pixel):
    for row in FIELDS:
        for colour in row:
            if sum(abs(a - b) for a, b in zip(pixel, colour)) < 40:
                return colour
    return None


def read_ppm(path):
    data = path.read_bytes()
    head = re.match(rb"P6\s+(\d+)\s+(\d+)\s+255\s", data)
    width, height = int(head.group(1)), int(head.group(2))
    at = head.end()
    return [[near(data[at + 3 * (y * width + x):at + 3 * (y * width + x) + 3]) for x in range(width)] for y in range(height)]


def in_column(rows, left, right):
    """Pictures of one column of a page: top row, fields, width and height in mm."""
    inside = [row[left:right] for row in rows]
    filled = [y for y, row in enumerate(inside) if sum(colour is not None for colour in row) > 4]
    starts = [y for y in filled if y - 1 not in filled and y - 2 not in filled]  # where two fields meet colours may mix
    ends = [y + 1 for y in filled if y + 1 not in filled and y + 2 not in filled]
    return [measured(inside[start:end], start) for start, end in zip(starts, ends) if end - start > 4]


def measured(rows, top):
    columns = [x for x in range(len(rows[0])) if sum(row[x] is not None for row in rows) > len(rows) // 3]
    width, height = columns[-1] - columns[0] + 1, len(rows)
    fields = [[rows[height * y // 4][columns[0] + width * x // 4] for x in (1, 3)] for y in (1, 3)]
    return top, fields, (width * 25.4 / DPI, height * 25.4 / DPI)


def pictures_on(pdf, folder):
    """All pictures of a PDF in reading order, as drawn by poppler."""
    subprocess.run(["pdftoppm", "-r", str(DPI), pdf, folder / "drawn"], check=True)
    found = []
    for path in sorted(folder.glob("drawn-*.ppm"), key=lambda path: int(path.stem.split("-")[1])):
        rows = read_ppm(path)
        middle = len(rows[0]) // 2
        both = [(top, side, fields, size) for side, part in enumerate(((0, middle), (middle, len(rows[0]))))
                for top, fields, size in in_column(rows, *part)]
        found += [(fields, size) for _, _, fields, size in sorted(both, key=lambda one: (one[0] // 3, one[1]))]
        path.unlink()
    return found


def check_pictures(pdf, folder, wanted, column_mm, shrunk=1.0):
    """Each stands whole, upright, in its proportion, in its bounds, and no larger than it is. A browser prints a page with wide
    tables smaller, pictures with it: by `shrunk` at most."""
    found = pictures_on(pdf, folder)
    assert len(found) == len(wanted), (len(found), len(wanted))
    slack = 3 * 25.4 / DPI
    for number, ((fields, (width, height)), (must, (width_px, height_px))) in enumerate(zip(found, wanted)):
        assert fields == must, (number, fields, must)
        scale = min(25.4 / 96, column_mm / width_px, 80 / height_px)
        assert shrunk * width_px * scale - slack < width < width_px * scale + slack, (number, width, width_px * scale)
        assert shrunk * height_px * scale - slack < height < height_px * scale + slack, (number, height, height_px * scale)
        assert abs(width - height * width_px / height_px) < slack * max(1, width_px / height_px), (number, width, height)
