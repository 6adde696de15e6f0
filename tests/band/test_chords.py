import pytest
from band_bars import MAJOR, every_form
from music21 import harmony

from grooves.band.chords import nearest_chord, parse_chord, pitch_class, transposed, transposed_name
from grooves.errors import LessonError

# Qualities that music21 spells as we do; those of three kinds it reads otherwise and are checked below.
QUALITIES = (
    "", "m", "dim", "aug", "sus4", "sus2", "6", "m6", "7", "maj7", "M7", "m7", "mM7", "m7b5", "ø7", "dim7", "o7", "7#5",
    "7b5", "7sus4", "9", "m9", "M9", "11", "m11", "13", "M13", "7b9", "7#9", "7#11", "7b13", "7b9#5", "7b5#9", "9#11",
)  # fmt: skip


def outside(root: str, quality: str) -> frozenset[int]:
    """The pitch classes that music21 finds in a symbol; it writes flats as minus signs."""
    return frozenset(pitch.pitchClass for pitch in harmony.ChordSymbol(root.replace("b", "-") + quality).pitches)


@pytest.mark.parametrize("quality", QUALITIES)
def test_another_reader_finds_the_same_tones_in_twelve_keys(quality):  # music21's harmony.ChordSymbol
    for root in MAJOR:
        assert parse_chord(root + quality).classes == outside(root, quality)


def test_another_reader_finds_the_same_tones_in_every_chord_of_the_forms():  # music21's harmony.ChordSymbol
    chords = {placed.chord for form in every_form() for bar in form.bars for placed in bar}
    assert len(chords) > 60
    for chord in chords:
        assert chord.classes == outside(chord.root_name, chord.quality), chord.symbol


@pytest.mark.parametrize(
    "symbol, tones",  # spelt out by hand: common practice, no source
    [
        ("D7alt", "D F# A# C F"), ("C6/9", "C E G A D"), ("Bb-7", "Bb Db F Ab"), ("G13b9", "G B D F Ab C E"),
        ("FΔ7", "F A C E"), ("Bø", "B D F A"), ("C°7", "C Eb Gb A"), ("Em7/A", "E G B D A"), ("C7/E", "C E G Bb"),
        ("F#mi7b5", "F# A C E"), ("Ab+7", "Ab C E Gb"), ("Cbmaj7", "Cb Eb Gb Bb"), ("A7sus", "A D E G"),
    ],
)  # fmt: skip
def test_symbols_are_read_in_the_spellings_that_are_in_use(symbol, tones):
    assert parse_chord(symbol).classes == {pitch_class(name) for name in tones.split()}


def test_the_note_behind_a_slash_is_the_bass():
    assert parse_chord("C7/E").bass == 4
    assert parse_chord("C7").bass == 0


@pytest.mark.parametrize(
    "wrong, near",
    [
        ("H7", "B7"), ("Hm7", "Bm7"), ("f7", "F7"), ("Cmj7", "Cmaj7"), ("Bb77", "Bb7"), ("C/H", "C"), ("CM77", "CM7"),
        ("Dm7b55", "Dm7b5"), ("G7#12", "G7#11"), ("", "C"), ("?", "C"), ("C7/3", "C7"),
    ],
)  # fmt: skip
def test_what_is_no_chord_is_told_with_the_nearest_one(wrong, near):
    assert nearest_chord(wrong) == near
    with pytest.raises(LessonError, match=r"^'.*' is not a chord; did you mean '.+'\?$"):
        parse_chord(wrong)


@pytest.mark.parametrize("wrong", ["C5", "Gno5", "Dm(omit5)"])
def test_a_chord_that_is_not_whole_is_refused(wrong):
    with pytest.raises(LessonError, match="is not a chord"):
        parse_chord(wrong)


def test_the_nearest_chord_can_be_read():
    for wrong in ("H", "Hø", "x7", "Cmin13", "Q#7", "Bbmj9", "C7b", "A(add2)", "E7sus5", "Lm", "🙂", "Dm7#3"):
        parse_chord(nearest_chord(wrong))


def test_a_chord_moves_to_another_key_and_back():
    for symbol in ("F7", "Bdim7", "Am7b5", "D7b9/F#", "C6/9"):
        there = transposed(parse_chord(symbol), "F", "Db")
        assert transposed(there, "Db", "F").tones == parse_chord(symbol).tones
        assert transposed(there, "Db", "F").root == parse_chord(symbol).root
    assert transposed(parse_chord("Bbm7"), "F", "E").symbol == "Am7"
    assert transposed(parse_chord("C7/E"), "C", "Ab").symbol == "Ab7/C"


@pytest.mark.parametrize(
    "name, old, new, spelt", [("Bb", "F", "Gb", "Cb"), ("Db", "C", "Gb", "G"), ("F#", "C", "F", "B")]
)
def test_names_keep_their_letter_unless_they_would_need_two_signs(name, old, new, spelt):
    assert transposed_name(name, old, new) == spelt
