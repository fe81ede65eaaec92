# SPDX-License-Identifier: GPL-3.0-or-later
"""Invented pictures for tests, made here byte by byte: four fields of plain colour, red and green above, blue and yellow below.
JPEG after ITU-T T.81 with blocks of one colour (no AC coefficients), PNG after W3C PNG (Third Edition)."""
import struct
import zlib

FIELDS = ((200, 30, 30), (30, 160, 40)), ((30, 50, 200), (220, 200, 40))  # rows of columns, R G B
# T.81, table K.3: how many codes of each length, and the categories they stand for
DC_LENGTHS, DC_CATEGORIES = (0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0), tuple(range(12))


def segment(marker, content):
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


def codes():
    """The Huffman codes of the categories (T.81, C.2)."""
    code, made, place = 0, {}, 0
    for length, count in enumerate(DC_LENGTHS, 1):
        for _ in range(count):
            made[DC_CATEGORIES[place]] = f"{code:0{length}b}"
            code, place = code + 1, place + 1
        code <<= 1
    return made


def y_cb_cr(red, green, blue):
    """JFIF's transform (ITU-T T.871, 7)."""
    return (0.299 * red + 0.587 * green + 0.114 * blue, 128 - 0.168736 * red - 0.331264 * green + 0.5 * blue,
            128 + 0.5 * red - 0.418688 * green - 0.081312 * blue)


def colour_at(across, down, blocks_across, blocks_down):
    return FIELDS[2 * down >= blocks_down][2 * across >= blocks_across]


def scan_bits(width, height, components, progressive):
    """All blocks, each the difference of its mean from the one before; with q = 8 that is the coefficient."""
    across, down = -(-width // 8), -(-height // 8)
    made, before, bits = codes(), [0] * components, []
    for row in range(down):
        for column in range(across):
            values = y_cb_cr(*colour_at(column, row, across, down))
            for i in range(components):
                mean = round(values[i % 3]) - 128
                difference, before[i] = mean - before[i], mean
                category = abs(difference).bit_length()
                value = difference if difference >= 0 else difference + (1 << category) - 1
                bits.append(made[category] + (f"{value:0{category}b}" if category else "") + ("" if progressive else "0"))
    text = "".join(bits)
    text += "1" * (-len(text) % 8)
    return int(text, 2).to_bytes(len(text) // 8, "big").replace(b"\xff", b"\xff\0")


def exif_orientation(orientation):
    """CIPA DC-008: one directory with one entry."""
    return b"Exif\0\0MM\0*" + struct.pack(">IHHHIHHI", 8, 1, 0x112, 3, 1, orientation, 0, 0)


def jpeg(width, height, components=3, progressive=False, orientation=1, between=b""):
    """`between` stands before the frame header."""
    frame = struct.pack(">BHHB", 8, height, width, components)
    frame += b"".join(bytes((i + 1, 0x11, 0)) for i in range(components))
    dc = b"\x00" + bytes(DC_LENGTHS) + bytes(DC_CATEGORIES)
    ac = b"\x10" + bytes([1] + [0] * 15) + b"\0"  # one code, "0": no more coefficients
    scan = bytes([components]) + b"".join(bytes((i + 1, 0)) for i in range(components))
    scan += bytes((0, 0 if progressive else 63, 0))
    parts = [b"\xff\xd8"]
    if orientation != 1:
        parts.append(segment(0xE1, exif_orientation(orientation)))
    parts += [between, segment(0xDB, b"\0" + b"\x08" * 64), segment(0xC2 if progressive else 0xC0, frame), segment(0xC4, dc)]
    parts += [] if progressive else [segment(0xC4, ac)]
    parts += [segment(0xDA, scan), scan_bits(width, height, components, progressive), b"\xff\xd9"]
    return b"".join(parts)


def chunk(kind, content):
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def png(width, height):
    rows = b"".join(b"\0" + b"".join(bytes(colour_at(x, y, width, height)) for x in range(width)) for y in range(height))
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
