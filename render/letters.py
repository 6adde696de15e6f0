"""How wide a text will be, without opening a font: enough to keep labels apart.

Widths are those of Times and the fonts made to its measure (Adobe Times-Roman AFM, from memory; compared with
Liberation Serif). Sizes in millimetres of type size; an em is the type size.
"""

# Type size of counts and labels. At one metre normal sight resolves 5 minutes of arc (Snellen), 1.45 mm. The small
# letters of 5.6 mm type are 2.6 mm high and its capitals and figures 3.7 mm: about twice that and more.
LETTER_MM = 5.6
FONTS = "Liberation Serif, Times New Roman, Nimbus Roman, DejaVu Serif, serif"

_EMS = {
    "ijlt'/|\\": 0.28,
    " .,;:!()[]-fr": 0.33,
    'sz?ace*"': 0.44,
    "mMW%@—×": 0.9,
    "w": 0.72,
    "ABCDEGHKNOQRUVXYZT&": 0.72,
    "FIJLPS": 0.58,
}
_WIDTHS = {letter: width for letters, width in _EMS.items() for letter in letters}


def width_ems(text: str, bold: bool = False) -> float:
    """About how wide a text is, in ems: `width_ems("snare")` is 2.2; other scripts and emoji count as one em each."""
    ems = sum(_WIDTHS.get(letter, 0.5 if letter < "\u0250" else 1.0) for letter in text)
    return ems * (1.1 if bold else 1.0)


def fitted_mm(text: str, room_mm: float, largest_mm: float, bold: bool = False) -> float:
    """The largest type size that fits: `fitted_mm("trip", 5.0, 5.6)` is smaller than 5.6."""
    ems = width_ems(text, bold)
    return min(largest_mm, room_mm / ems) if ems else largest_mm


def wrapped(text: str, room_mm: float, size_mm: float, bold: bool = False) -> list[str]:
    """A text in lines that fit: `wrapped("a b", 3.0, 5.0)` is ["a", "b"]; a word too long for a line is cut."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_ems(longer, bold) * size_mm <= room_mm:
            lines[-1] = longer
        else:
            lines += _cut(word, room_mm / size_mm, bold)
    return lines


def _cut(word: str, room_ems: float, bold: bool) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_ems(pieces[-1] + letter, bold) > room_ems:
            pieces.append("")
        pieces[-1] += letter
    return pieces
