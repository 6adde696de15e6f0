"""Files as a teacher or another program may hand them over, by their grammar: lessons, grooves, terms, scores, MIDI.

Most of each is right, so that what is wrong is met deep inside, not at the door.
"""

import io
import json
import zipfile

from hostile import damaged, foreign, seldom, texts, toml_text, values
from hypothesis import strategies as st

from grooves.keys import Key
from grooves.lesson_tables import BandTable, FeelTable, LessonFile, LineTable, TrackTable, keys_of
from grooves.teaching.term_file import GroupTable, WeekTable

# --- lines ----------------------------------------------------------------------------------------

RIGHT = [
    "4 4 4 4",
    "8 8 4 2",
    "4. 8 2",
    "4 8 8 4 4",
    "8 4 4 4 8",
    "1",
    "[2 2]",
    "4r 4 4^ 4",
    "12 12 12 4 2",
    "6 6 6 2",
    "16 16 16 16 4 2",
    "1r",
    "8r 4 8 [8 8] 4",
]
WRONG = ["4 4 2] ", "[4 4 4 4", "2. 4r", "3 3 3", "0", "4 4 4 4 4", "128 128 64 32", "1."]
COUNTS = ["1 2 3 4", "1 & 2 & 3 4", "1r & 2 3r", "(1) & 2 & 4", "1 trip let 2 3", "1 e & a 2", "1"]
bar = seldom(
    st.sampled_from(RIGHT), st.one_of(st.sampled_from(WRONG), st.text("0123468[]^r._ |&/e~", max_size=24), foreign)
)
line = seldom(st.lists(bar, min_size=1, max_size=6).map(" | ".join), foreign)
counted = st.lists(
    seldom(st.sampled_from(COUNTS), st.one_of(texts, st.text("1234&ea()r ", max_size=24))), min_size=1, max_size=5
).map(" | ".join)

# --- tables of keys -------------------------------------------------------------------------------


@st.composite
def row(draw, keys: dict[str, Key], less: int = 24) -> str:
    """One key of a table as its example writes it, or with a value of another kind, or a key that there is not."""
    names = [name for name, key in keys.items() if "\n" not in key.example and not key.example.startswith("[")]
    name = draw(st.sampled_from(sorted(names)))
    match draw(st.integers(0, less + 1)):
        case 0:
            return f"{name} = {draw(values)}"
        case 1:
            return f"{toml_text(draw(texts))} = {draw(values)}" if draw(st.integers(0, 9)) == 0 else keys[name].example
    return keys[name].example


def rows(keys: dict[str, Key], most: int):
    """Several rows, none twice by name."""
    found = st.lists(row(keys), max_size=most, unique_by=lambda one: one.partition(" =")[0])
    return found.map("\n".join)


@st.composite
def lessons(draw) -> bytes:
    """A lesson."""
    groove = draw(
        st.sampled_from(["swing"] * 24 + ["shuffle", "bossa-nova", "two-feel"] * 4 + ["jazz-waltz", "own.toml", "swng"])
    )
    top = [f"title = {toml_text(draw(seldom(st.just('Harbour Street'), texts, 4)))}"]
    top += [f"tempo = {draw(seldom(st.integers(30, 400).map(str), values, 20))}", f'groove = "{groove}"']
    more = {name: key for name, key in keys_of(LessonFile).items() if name not in ("title", "tempo", "groove")}
    top.append(draw(rows(more, 2)))
    parts, many = top, draw(st.sampled_from([1, 1, 1, 2]))
    others = {
        name: key
        for name, key in keys_of(LineTable).items()
        if name not in ("values", "counts", "file", "pickup", "part")
    }
    for _ in range(many):
        how = draw(st.sampled_from(["values"] * 6 + ["counts", "counts", "file"]))
        said = draw(
            {
                "values": line,
                "counts": counted,
                "file": st.sampled_from(["line.mid", "line.musicxml", "line.mxl", "none.xml", "..", ""]),
            }[how]
        )
        heading = "[line]" if many == 1 else "[[line]]"
        parts += [f"{heading}\n{how} = {toml_text(said)}", draw(rows(others, 2))]
    parts += ["[feel]", draw(rows(keys_of(FeelTable), 3))] if draw(st.booleans()) else []
    parts += (
        [
            '[band]\nform = "blues"',
            draw(rows({name: key for name, key in keys_of(BandTable).items() if name not in ("form", "chords")}, 3)),
        ]
        if draw(st.integers(0, 3)) == 0
        else []
    )
    if draw(st.booleans()):
        who = seldom(st.sampled_from(["snare", '"bass drum"', "line", "hi-hat"]), texts.map(toml_text))
        parts += ["[balance]", f"{draw(who)} = {draw(seldom(st.integers(-40, 6).map(str), values))}"]
    named = {name: key for name, key in keys_of(TrackTable).items() if name != "name"}
    for number in range(draw(st.integers(0, 2))):
        parts += [
            "[[track]]",
            f"name = {toml_text(draw(seldom(st.just(f'track {number}'), texts, 4)))}",
            draw(rows(named, 3)),
        ]
    return bytes_of(draw, "\n".join(parts))


def bytes_of(draw, text: str) -> bytes:
    """The text's bytes, one in twenty of them damaged as bytes."""
    data = text.encode("utf-8", "replace")
    return draw(damaged(data)) if draw(st.integers(0, 19)) == 9 else data


LIMB_OF = {"ride": "right hand", "hi-hat": "left foot", '"bass drum"': "right foot"}
OF_PARTS = {
    "instrument": '"ride"',
    "accents": '"1"',
    "accent": "2.0",
    "level": "-6",
    "light": '"1"',
    "lighter": "-2.0",
    "spread": "0.3",
}


@st.composite
def grooves(draw) -> bytes:
    """A groove file."""
    meter = draw(st.sampled_from(["4/4"] * 60 + ["3/4", "6/8", "12/8", "5/4", "1/1", "99/64", "0/4", "4/3", "x"]))
    parts = ['name = "own"', 'title = "Own"', f'meter = "{meter}"', "tempo = [60, 300]"]
    parts.append(f"swing = {draw(seldom(st.just('2.0'), values))}")
    if draw(st.integers(0, 7)) == 0:
        parts[draw(st.integers(0, 4))] = (
            f"{draw(st.sampled_from(['tempo', 'beat', 'name', 'source', 'x']))} = {draw(values)}"
        )
    for part in draw(
        st.lists(
            st.sampled_from(["ride", "hi-hat", '"bass drum"', "snare", "cross-stick"] * 9 + ["cow"]),
            min_size=1,
            max_size=4,
            unique=True,
        )
    ):
        parts.append(f"[{part}]")
        how = draw(st.sampled_from(["counts", "values"]))
        parts.append(f"{how} = {toml_text(draw(counted if how == 'counts' else line))}")
        parts.append(f'limb = "{LIMB_OF.get(part, "left hand")}"')
        for key in draw(st.lists(st.sampled_from([*OF_PARTS]), max_size=3, unique=True)):
            parts.append(f"{key} = {draw(seldom(st.just(OF_PARTS[key]), values))}")
    return bytes_of(draw, "\n".join(parts))


@st.composite
def terms(draw) -> bytes:
    """A term's file."""
    parts = ['title = "Harbour Street, autumn"', f"weeks = {draw(seldom(st.integers(1, 4).map(str), values, 12))}"]
    for number in range(draw(st.sampled_from([0] + [1] * 9 + [2]))):
        parts += ["[[group]]", f'name = "Monday {number}"', "level = [1, 2]", "tempo = [80, 100]"]
        taken = ("name", "level", "tempo", "week")
        parts.append(draw(rows({name: key for name, key in keys_of(GroupTable).items() if name not in taken}, 3)))
        if draw(st.integers(0, 2)) == 0:
            parts += [
                "[[group.week]]",
                "week = 1",
                draw(rows({k: v for k, v in keys_of(WeekTable).items() if k != "week"}, 2)),
            ]
    return bytes_of(draw, "\n".join(parts))


# --- MIDI: Standard MIDI Files 1.0 ----------------------------------------------------------------


def quantity(number: int) -> bytes:
    """A variable-length quantity."""
    found = [number & 127]
    while number := number >> 7:
        found.append(number & 127 | 128)
    return bytes(reversed(found))


gap = seldom(st.sampled_from([0, 120, 240, 320, 480, 960, 960]), st.sampled_from([1, 7, 100_000, 2**27, 2**28 - 1]), 30)
key = seldom(st.just(38), st.sampled_from([36, 51, 42, 44, 0, 127]), 8)


@st.composite
def event(draw) -> bytes:
    match draw(st.integers(0, 19)):
        case 0:
            name = draw(texts).encode("utf-8", "replace")[:200]
            return b"\xff" + bytes([draw(st.sampled_from([1, 3, 6, 6, 9]))]) + quantity(len(name)) + name
        case 1:
            return b"\xff\x51\x03" + draw(st.sampled_from([b"\x07\xa1\x20", b"\0\0\0", b"\0\0\1", b"\xff\xff\xff"]))
        case 2:
            return b"\xff\x58\x04" + bytes(
                [draw(st.sampled_from([4, 4, 3, 0, 255])), draw(st.sampled_from([2, 2, 3, 0, 200])), 24, 8]
            )
        case 3:
            return draw(
                st.sampled_from(
                    [
                        b"\xf0\x03\x01\x02\xf7",
                        b"\xc9\x00",
                        b"\xe9\x00\x40",
                        b"\xb9\x07\x7f",
                        b"\x26\x40",
                        b"\xff\x20\x01\x09",
                    ]
                )
            )
    return bytes(
        [draw(st.sampled_from([0x99, 0x99, 0x99, 0x89, 0x90])), draw(key), draw(st.sampled_from([64, 100, 0, 1, 127]))]
    )


@st.composite
def midi(draw) -> bytes:
    """A Standard MIDI File."""
    tracks = []
    for _ in range(draw(st.sampled_from([0] + [1] * 12 + [2, 3]))):
        inside = b"".join(quantity(when) + what for when, what in draw(st.lists(st.tuples(gap, event()), max_size=24)))
        inside = inside * draw(st.sampled_from([1, 1, 1, 2, 100])) + draw(
            st.sampled_from([b"\0\xff\x2f\0", b"\0\xff\x2f\0", b""])
        )
        tracks.append(b"MTrk" + draw(st.sampled_from([len(inside)] * 60 + [0, 2**32 - 1])).to_bytes(4, "big") + inside)
    division = draw(seldom(st.sampled_from([480, 960]), st.sampled_from([1, 0, 32767, 0xE728])))
    head = (
        draw(seldom(st.just(1), st.sampled_from([0, 2, 9]))).to_bytes(2, "big")
        + len(tracks).to_bytes(2, "big")
        + division.to_bytes(2, "big")
    )
    data = b"MThd\0\0\0\6" + head + b"".join(tracks)
    return draw(damaged(data)) if draw(st.integers(0, 15)) == 7 else data


# --- MusicXML 4.0 ---------------------------------------------------------------------------------

_NUMBERS = ["1", "2", "4", "480", "0", "-1", "1.5", "1e9", "9" * 30, "", "x", "NaN", "99999999"]
_NOTES = [
    "<pitch><step>C</step><octave>5</octave></pitch>",
    "<unpitched/>",
    "<rest/>",
    "<rest measure='yes'/>",
    "<grace/><unpitched/>",
    "<chord/><unpitched/>",
    "",
]


@st.composite
def note(draw) -> str:
    length = draw(seldom(st.sampled_from(["1", "2", "2", "2", "4"]), st.sampled_from(_NUMBERS), 24))
    more = draw(
        st.sampled_from(
            [
                "",
                "",
                "<tie type='start'/>",
                "<tie type='stop'/>",
                "<dot/>",
                "<voice>2</voice>",
                "<type>quarter</type>",
                "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>",
                "<time-modification><actual-notes>0</actual-notes><normal-notes>x</normal-notes></time-modification>",
                "<notations><tied type='start'/><articulations><accent/></articulations></notations>",
            ]
        )
    )
    return f"<note>{draw(st.sampled_from(_NOTES))}<duration>{length}</duration>{more}</note>"


@st.composite
def measure(draw, number: int) -> str:
    beat = st.just("<note><unpitched/><duration>2</duration></note>")
    inside = draw(seldom(st.lists(seldom(beat, note(), 8), min_size=4, max_size=4), st.lists(note(), max_size=6), 6))
    if number == 0 or draw(st.integers(0, 9)) == 0:
        divisions = draw(seldom(st.just("2"), st.sampled_from(_NUMBERS)))
        beats = draw(seldom(st.just("4"), st.sampled_from(["3", "0", "x", "3+1", "9" * 20])))
        inside.insert(
            0,
            f"<attributes><divisions>{divisions}</divisions><time><beats>{beats}</beats><beat-type>4</beat-type></time></attributes>",
        )
    if draw(st.integers(0, 3)) == 0:
        inside.insert(
            draw(st.integers(0, len(inside))),
            draw(
                st.sampled_from(
                    [
                        "<backup><duration>2</duration></backup>",
                        "<backup><duration>9999</duration></backup>",
                        "<forward><duration>99999999</duration></forward>",
                        "<barline><repeat direction='backward' times='9'/></barline>",
                        "<barline><repeat direction='forward'/></barline>",
                        "<barline><ending number='1,2' type='start'/></barline>",
                        "<direction><sound dacapo='yes'/></direction>",
                        "<direction><sound tempo='x'/></direction>",
                        "<direction><sound segno='a' dalsegno='a' fine='yes' coda='c'/></direction>",
                    ]
                )
            ),
        )
    implicit = draw(st.sampled_from(["", "", "", " implicit='yes'"]))
    return (
        f"<measure number='{draw(st.sampled_from([str(number + 1), 'X1', '']))}'{implicit}>{''.join(inside)}</measure>"
    )


@st.composite
def musicxml(draw) -> bytes:
    """A partwise score."""
    names = draw(seldom(st.just(["Snare"]), st.lists(texts, min_size=1, max_size=2), 4))
    clean = ["".join(sign for sign in name if sign.isprintable() and sign not in "<&\udcff") for name in names]
    listed = "".join(
        f"<score-part id='P{n}'><part-name>{name}</part-name></score-part>" for n, name in enumerate(clean)
    )
    parts = ""
    for number in range(len(names)):
        measures = [draw(measure(place)) for place in range(draw(st.integers(0, 4)))]
        parts += f"<part id='P{number}'>{''.join(measures) * draw(st.sampled_from([1, 1, 1, 30]))}</part>"
    text = f"<?xml version='1.0' encoding='UTF-8'?><score-partwise version='4.0'><part-list>{listed}</part-list>{parts}</score-partwise>"
    return bytes_of(draw, text)


@st.composite
def mxl(draw) -> bytes:
    """A compressed score."""
    held = io.BytesIO()
    name = draw(st.sampled_from([*["score.xml"] * 40, "../score.xml", "/etc/x", "a/b.xml"]))
    with zipfile.ZipFile(
        held, "w", draw(st.sampled_from([zipfile.ZIP_STORED, *[zipfile.ZIP_DEFLATED] * 30, zipfile.ZIP_LZMA]))
    ) as archive:
        archive.writestr(
            "META-INF/container.xml", f"<container><rootfiles><rootfile full-path='{name}'/></rootfiles></container>"
        )
        archive.writestr(name, draw(seldom(musicxml(), st.just(b"<score-partwise>" + b" " * 3_000_000))))
    data = held.getvalue()
    return draw(damaged(data)) if draw(st.integers(0, 7)) == 3 else data


# --- logs and records -----------------------------------------------------------------------------

jsons = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.sampled_from([0, 1, -1, 10**400, 60, 90.5, float("nan"), float("inf"), 1e300]),
        texts,
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(texts, inner, max_size=3)),
    max_leaves=6,
)


@st.composite
def logs(draw) -> bytes:
    """A practice log as a page exports it."""
    log = {
        "format": "fourlimb-practice",
        "version": 1,
        "lesson": {"title": "x", "hash": "0" * 16},
        "minutes": {"2026-11-27": 12.5},
        "bars": {"3": [80, 90]},
    }
    for name in draw(st.lists(st.sampled_from([*log, "other"]), max_size=2)):
        log[name] = draw(jsons)
    if draw(st.booleans()):
        log["minutes"] = draw(st.dictionaries(st.one_of(st.just("2026-11-27"), texts), jsons, max_size=3))
    if draw(st.booleans()):
        log["bars"] = draw(st.dictionaries(st.one_of(st.just("1"), texts), jsons, max_size=3))
    return bytes_of(draw, json.dumps(log))


@st.composite
def came_back(draw, hashes) -> bytes:
    """A practice log or a checked take of a lesson that there is, with a wrong value here and there."""
    table = {
        "lesson": {"title": "x", "hash": draw(seldom(st.sampled_from(hashes), texts, 12))},
        "version": draw(seldom(st.just(1), jsons)),
        "word": draw(seldom(st.sampled_from(["", "anna", "ben"]), st.one_of(texts, jsons), 4)),
    }
    if draw(st.booleans()):
        table |= {"format": "fourlimb-practice", "minutes": {"2026-11-27": 12.5}, "bars": {"3": [80, 96]}}
    else:
        counts = {"bar": 1, "written": 4, "hit": 4, "missed": 0, "unsure": 0, "extra": 0, "lost_beats": [0, 0]}
        counts |= {name: draw(jsons) for name in draw(st.lists(st.sampled_from([*counts]), max_size=1))}
        table |= {"format": "fourlimb-check", "tempo_bpm": draw(seldom(st.just(96.0), jsons, 6)), "bars": [counts] * 2}
    for name in draw(st.lists(st.sampled_from([*table]), max_size=1)):
        table[name] = draw(jsons)
    return bytes_of(draw, json.dumps(table))


records = st.one_of(jsons.map(json.dumps), st.fixed_dictionaries(
    {"format": st.just("fourlimb-term"), "version": st.one_of(st.just(1), jsons)},
    optional=dict.fromkeys(("lessons", "made", "levels", "plans", "notes"), jsons),
).map(json.dumps)).map(str.encode)  # fmt: skip
