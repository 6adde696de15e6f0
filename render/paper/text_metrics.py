"""How wide a text will be: exactly so in PDF and PNG, which bring the font, without opening it.

The font is Libertinus Serif as typst carries it; widths are its advances, plain and bold, in thousandths of an em,
without kerning (which mostly narrows). Sizes in millimetres of type size; an em is the type size. An SVG is drawn with
what the viewer has; there each text is squeezed into its room by `textLength` (SVG 2).
"""

from collections.abc import Iterable
from unicodedata import normalize

# Type size of counts and labels. At one metre normal sight resolves 5 minutes of arc (Snellen), 1.45 mm. The small
# letters of 5.6 mm type are 2.4 mm high and its capitals and figures 3.6 mm: nearly twice that and more.
LETTER_MM = 5.6
FONT = "Libertinus Serif"
FONTS = f"{FONT}, Liberation Serif, Times New Roman, Nimbus Roman, DejaVu Serif, serif"

_LETTERS = "".join(map(chr, range(32, 127))) + "‘’“”–—…×æøßÆØ"
_PLAIN = (
    *(250, 288, 336, 465, 465, 637, 705, 190, 298, 298, 369, 550, 220, 338, 220, 323),
    *(465, 465, 465, 465, 465, 465, 465, 465, 465, 465, 236, 236, 550, 550, 550, 435, 895),
    *(695, 588, 646, 701, 557, 485, 685, 730, 297, 322, 637, 528, 839, 699, 702, 541, 702, 587, 485, 597, 661),
    *(652, 951, 660, 575, 604, 356, 287, 356, 518, 486, 392),
    *(457, 493, 428, 506, 447, 310, 500, 538, 271, 272, 512, 264, 790, 542, 504, 519, 503, 372, 390, 316, 531),
    *(497, 747, 490, 515, 424, 277, 205, 277, 449),
    *(268, 268, 375, 375, 548, 742, 749, 550, 687, 504, 541, 865, 702),
)
_BOLD = (
    *(250, 266, 376, 514, 514, 637, 729, 215, 315, 315, 433, 537, 244, 358, 244, 316),
    *(514, 514, 514, 514, 514, 514, 514, 514, 514, 514, 256, 256, 512, 551, 512, 430, 988),
    *(740, 654, 706, 734, 609, 545, 732, 817, 367, 373, 736, 577, 899, 740, 730, 614, 730, 716, 504, 652, 732),
    *(700, 1028, 718, 624, 624, 397, 307, 397, 518, 486, 392),
    *(506, 542, 456, 561, 489, 391, 521, 619, 322, 312, 613, 325, 905, 616, 551, 581, 573, 428, 427, 358, 598),
    *(529, 777, 561, 558, 452, 307, 220, 307, 473),
    *(253, 253, 440, 440, 534, 742, 817, 527, 715, 567, 615, 956, 730),
)
_WIDTHS = {letter: (plain / 1000, bold / 1000) for letter, plain, bold in zip(_LETTERS, _PLAIN, _BOLD, strict=True)}
_LATIN, _OTHER = (0.7, 0.77), (1.1, 1.1)  # letters not in the table, generously


def printable(text: str) -> str:
    """Text that XML can hold, with "�" for each character that it forbids: `printable(title)`; XML 1.0, Char."""
    return "".join(" " if c in "\t\n\r" else c if _is_xml(c) else "\ufffd" for c in text)


def _is_xml(letter: str) -> bool:
    return letter >= " " and letter not in "\ufffe\uffff" and not "\ud800" <= letter <= "\udfff"


def width_ems(text: str, bold: bool = False) -> float:
    """How wide a text is at most, in ems: `width_ems("snare")` is 2.21; other scripts and emoji 1.1 em a letter."""
    return sum(_widths(letter)[bold] for letter in text)


def is_measured(text: str) -> bool:
    """Whether every letter of a text is in the table: `is_measured("Café")` is true."""
    return all(normalize("NFD", letter)[0] in _WIDTHS for letter in text)


def room_mm(text: str, size_mm: float, bold: bool = False) -> float:
    """How wide a text is set, whatever the viewer's font; 0 where the text has letters that are not measured."""
    return width_ems(text, bold) * size_mm if is_measured(text) else 0.0


def set_wide(text: str, size_mm: float, bold: bool = False) -> str:
    """The attributes that have a viewer set a text so wide: `set_wide("a", 4)` is ' textLength="1.86" …'."""
    room = room_mm(text, size_mm, bold)
    return f' textLength="{room:.2f}" lengthAdjust="spacingAndGlyphs"' if room else ""


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
