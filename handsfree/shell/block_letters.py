"""Letters drawn with blocks, as large as a place in a terminal allows. Our own five by seven."""

from functools import cache

GLYPH_WIDTH, GLYPH_HEIGHT, GAP = 5, 7, 1
# Seven rows of five dots each, from above, as numbers; the dot to the left counts sixteen.
_DOTS = {
    "0": (14, 17, 17, 17, 17, 17, 14), "1": (4, 12, 4, 4, 4, 4, 14),
    "2": (14, 17, 1, 2, 4, 8, 31), "3": (14, 17, 1, 6, 1, 17, 14),
    "4": (2, 6, 10, 18, 31, 2, 2), "5": (31, 16, 30, 1, 1, 17, 14),
    "6": (6, 8, 16, 30, 17, 17, 14), "7": (31, 1, 2, 4, 4, 8, 8),
    "8": (14, 17, 17, 14, 17, 17, 14), "9": (14, 17, 17, 15, 1, 2, 12),
    "A": (14, 17, 17, 31, 17, 17, 17), "B": (30, 17, 17, 30, 17, 17, 30),
    "C": (14, 17, 16, 16, 16, 17, 14), "D": (28, 18, 17, 17, 17, 18, 28),
    "E": (31, 16, 16, 30, 16, 16, 31), "F": (31, 16, 16, 30, 16, 16, 16),
    "G": (14, 17, 16, 23, 17, 17, 14), "H": (17, 17, 17, 31, 17, 17, 17),
    "I": (14, 4, 4, 4, 4, 4, 14), "J": (7, 2, 2, 2, 2, 18, 12),
    "K": (17, 18, 20, 24, 20, 18, 17), "L": (16, 16, 16, 16, 16, 16, 31),
    "M": (17, 27, 21, 21, 17, 17, 17), "N": (17, 25, 21, 19, 17, 17, 17),
    "O": (14, 17, 17, 17, 17, 17, 14), "P": (30, 17, 17, 30, 16, 16, 16),
    "Q": (14, 17, 17, 17, 21, 18, 13), "R": (30, 17, 17, 30, 20, 18, 17),
    "S": (15, 16, 16, 14, 1, 1, 30), "T": (31, 4, 4, 4, 4, 4, 4),
    "U": (17, 17, 17, 17, 17, 17, 14), "V": (17, 17, 17, 17, 17, 10, 4),
    "W": (17, 17, 17, 21, 21, 27, 17), "X": (17, 17, 10, 4, 10, 17, 17),
    "Y": (17, 17, 10, 4, 4, 4, 4), "Z": (31, 1, 2, 4, 8, 16, 31),
    " ": (0, 0, 0, 0, 0, 0, 0), ".": (0, 0, 0, 0, 0, 12, 12), ",": (0, 0, 0, 0, 12, 4, 8),
    ":": (0, 12, 12, 0, 12, 12, 0), "-": (0, 0, 0, 31, 0, 0, 0), "+": (0, 4, 4, 31, 4, 4, 0),
    "?": (14, 17, 1, 2, 4, 0, 4), "!": (4, 4, 4, 4, 4, 0, 4), "%": (25, 26, 2, 4, 8, 11, 19),
    ";": (0, 12, 12, 0, 12, 4, 8), "'": (4, 4, 8, 0, 0, 0, 0), "/": (1, 1, 2, 4, 8, 16, 16),
}  # fmt: skip
_UNKNOWN = (31, 17, 17, 17, 17, 17, 31)
_BLOCKS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def block_text(text: str, width: int, height: int) -> list[str]:
    """The text in block letters, as large as they fit; as it is where none fit.

    Args:
        text: capitals and small letters look the same.
        width, height: of the place, in the terminal's characters.

    Returns:
        Lines, none longer than the width, not more than the height.
    """
    words = text.upper().split()
    for scale in range(min(width, height * 2) // GLYPH_HEIGHT, 0, -1):
        lines = _wrapped(words, width // scale)
        dot_rows = len(lines) * (GLYPH_HEIGHT + GAP) - GAP
        if lines and dot_rows * scale <= height * 2:
            return [row for line in lines for row in _drawn(line, scale)][:height]
    return _plain(text, width)[:height]


def _wrapped(words: list[str], dots: int) -> list[str]:
    """The words in lines of at most so many dots; none when a word is too long for any."""
    most = (dots + GAP) // (GLYPH_WIDTH + GAP)
    if not words or max(map(len, words)) > most:
        return []
    return _plain(" ".join(words), most)


def _plain(text: str, width: int) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word[:width])
    return lines


@cache
def _drawn(line: str, scale: int) -> tuple[str, ...]:
    """One line of letters, two rows of dots to one of characters; a gap below."""
    rows = []
    for y in range((GLYPH_HEIGHT + GAP) * scale):
        dots: list[bool] = []
        for letter in line:
            glyph = _DOTS.get(letter, _UNKNOWN)
            bits = glyph[y // scale] if y < GLYPH_HEIGHT * scale else 0
            for x in (*range(GLYPH_WIDTH - 1, -1, -1), None):
                dots += [x is not None and bool(bits >> x & 1)] * scale
        rows.append(dots)
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return tuple(
        "".join(_BLOCKS[up, down] for up, down in zip(*pair, strict=True)).rstrip()
        for pair in pairs
    )
