"""How wide a text will be at most, without opening a font: enough to keep labels apart.

A chart may be looked at on another machine, with another font, than it was made on, and the same lesson gives the
same bytes everywhere. So widths are those of the widest usual face, DejaVu Serif (advance widths of its plain and
bold fonts, version 2.37, rounded up); Times and the fonts made to its measure are a fifth to a quarter narrower. Sizes
in millimetres of type size; an em is the type size.
"""

from collections.abc import Iterable
from unicodedata import normalize

# Type size of counts and labels. At one metre normal sight resolves 5 minutes of arc (Snellen), 1.45 mm. The small
# letters of 5.6 mm type are 2.6 mm high and its capitals and figures 3.7 mm: about twice that and more.
LETTER_MM = 5.6
FONTS = "Liberation Serif, Times New Roman, Nimbus Roman, DejaVu Serif, serif"

_EMS = {  # plain, bold
    " .,;:'‘’/|\\ijl": (0.34, 0.38),
    "-f": (0.37, 0.43),
    "()[]IJt!": (0.41, 0.475),
    'r"': (0.48, 0.53),
    "sz*_`“”–": (0.53, 0.575),
    "cvxy?": (0.57, 0.61),
    "aeo": (0.605, 0.67),
    "bdgkpq$0123456789": (0.64, 0.7),
    "hnu{}": (0.645, 0.73),
    "FLPSTYZ": (0.695, 0.755),
    "AEVX": (0.73, 0.78),
    "BKR": (0.755, 0.87),
    "CDGOQU#+<=>^~×": (0.845, 0.875),
    "HNw&æ": (0.95, 0.975),
    "mMW%@—…": (1.03, 1.125),
}
_WIDTHS = {letter: widths for letters, widths in _EMS.items() for letter in letters}
_LATIN, _OTHER = (0.7, 0.77), (1.1, 1.1)  # letters not in the table


def width_ems(text: str, bold: bool = False) -> float:
    """How wide a text is at most, in ems: `width_ems("snare")` is 2.87; other scripts and emoji 1.1 em a letter."""
    return sum(_widths(letter)[bold] for letter in text)


def _widths(letter: str) -> tuple[float, float]:
    """Plain and bold; a letter with an accent is as wide as without."""
    plain = normalize("NFD", letter)[0]
    return _WIDTHS.get(plain, _LATIN if plain < "\u0250" else _OTHER)


def fitted_mm(text: str, room_mm: float, largest_mm: float, bold: bool = False) -> float:
    """The largest type size that fits: `fitted_mm("trip", 5.0, 5.6)` is smaller than 5.6."""
    ems = width_ems(text, bold)
    return min(largest_mm, room_mm / ems) if ems else largest_mm


def wrapped(text: str, room_mm: float, size_mm: float, bold: bool = False) -> list[str]:
    """A text in lines that fit: `wrapped("a b", 3.0, 5.0)` is ["a", "b"]; a word too long for a line is cut."""
    return packed(text.split(), room_mm, size_mm, bold)


def packed(pieces: Iterable[str], room_mm: float, size_mm: float, bold: bool = False) -> list[str]:
    """Pieces in lines that fit, each piece whole if it can be: `packed(["a b", "c"], 8.0, 5.0)` is ["a b", "c"]."""
    lines: list[str] = []
    for piece in pieces:
        longer = f"{lines[-1]} {piece}" if lines else piece
        if lines and width_ems(longer, bold) * size_mm <= room_mm:
            lines[-1] = longer
        else:
            lines += _cut(piece, room_mm / size_mm, bold)
    return lines


def balanced(text: str, room_mm: float, size_mm: float, bold: bool = False) -> list[str]:
    """As few lines as `wrapped`, about equally long: `balanced("a b c d", 9.0, 5.0)` is ["a b", "c d"]."""
    lines = wrapped(text, room_mm, size_mm, bold)
    for share in (0.5, 0.6, 0.7, 0.8, 0.9):
        narrower = wrapped(text, room_mm * share, size_mm, bold)
        if len(narrower) == len(lines):
            return narrower
    return lines


def _cut(word: str, room_ems: float, bold: bool) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_ems(pieces[-1] + letter, bold) > room_ems:
            pieces.append("")
        pieces[-1] += letter
    return pieces
