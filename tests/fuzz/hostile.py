"""Words, numbers and TOML values such as nobody should write: mostly right ones, damaged here and there."""

import json

from hypothesis import strategies as st

from grooves.kit import LIMBS, PARTS

SIGNS = [
    "\x00",
    "\x1b[31m",
    "\n",
    "\r\n",
    "\t",
    "\x7f",
    "\u202e",
    "\u2028",
    "\ufffe",
    "\udcff",
    "é",
    "–",
    "𝄞",
    "名",
    "'",
    '"',
    "\\",
    "/",
    "..",
    "%",
    "{}",
    "<b>",
    "[red]",
]
LONG = ["x" * 500, "9" * 5000, "a." * 3000, "4 " * 4000, "| " * 3000, "1," * 9000, "(" * 2000, "[" * 2000, "é" * 300]
NUMBERS = [
    0,
    1,
    2,
    3,
    4,
    8,
    -1,
    64,
    65,
    1000,
    10**6,
    2**31,
    2**32,
    2**63,
    10**30,
    0.5,
    1.5,
    60.0,
    120,
    399.9,
    1e-9,
    1e300,
    -0.0,
]
RAW = ["nan", "inf", "-inf", "0x" + "f" * 4500, "9" * 4400, "1e400", "1979-05-27T07:32:00Z", "07:32:00", "true", "[]", "{}", "[[[[[[[[[[1]]]]]]]]]]", "{a={a={a={a={a={a={a={a={a={a=1}}}}}}}}}}"]  # fmt: skip

words = st.sampled_from(
    [*PARTS, *LIMBS, "line", "swing", "straight", "by tempo", "60%", "0%", "1e9%", "-5%", "2 and 4", "off", "snare", ""]
)
foreign = st.one_of(
    st.sampled_from(SIGNS), st.sampled_from(LONG), st.text(max_size=12), st.lists(st.sampled_from(SIGNS), max_size=4).map("".join)
)  # fmt: skip
texts = st.one_of(words, words, foreign)


def seldom(right: st.SearchStrategy, wrong: st.SearchStrategy, one_in: int = 40) -> st.SearchStrategy:
    """Mostly what is right, one time in so many what is wrong: what is wrong everywhere is refused at the door."""
    return st.integers(1, one_in).flatmap(lambda drawn: wrong if drawn == one_in // 2 else right)


def toml_text(text: str) -> str:
    """A text as TOML writes it, escapes and all; half of a surrogate pair cannot stand in a file."""
    return json.dumps(text.encode("utf-8", "replace").decode(), ensure_ascii=True) if text.isascii() else quoted(text)


def quoted(text: str) -> str:
    clean = text.encode("utf-8", "replace").decode()
    return '"' + "".join(_escaped(sign) for sign in clean) + '"'


def _escaped(sign: str) -> str:
    return sign if sign.isprintable() and sign not in '"\\' else f"\\U{ord(sign):08x}"


values = st.recursive(
    st.one_of(
        st.sampled_from(NUMBERS).map(str), st.sampled_from(RAW), texts.map(toml_text), st.integers(-5, 70).map(str)
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda found: f"[{', '.join(found)}]"),
        st.lists(st.tuples(texts.map(toml_text), inner), max_size=3, unique_by=lambda pair: pair[0]).map(
            lambda found: "{" + ", ".join(f"{key} = {value}" for key, value in found) + "}"
        ),
    ),
    max_leaves=4,
)


class _Large(bytes):
    """Bytes whose picture is short: hypothesis paints all that a strategy is made of."""

    def __repr__(self) -> str:
        return f"{len(self)} bytes"


def damaged(data: bytes, most: int = 6) -> st.SearchStrategy[bytes]:
    """Bytes with some of them changed, cut, doubled or put elsewhere."""
    return _damaged(_Large(data), most)


@st.composite
def _damaged(draw, data: bytes, most: int) -> bytes:
    found = bytearray(data)
    for _ in range(draw(st.integers(0, most))):
        at = draw(st.integers(0, max(len(found) - 1, 0)))
        match draw(st.integers(0, 5)):
            case 0:
                found[at : at + 1] = bytes([draw(st.integers(0, 255))])
            case 1:
                del found[at : at + draw(st.integers(1, 40))]
            case 2:
                found[at:at] = found[at : at + draw(st.integers(1, 200))] * draw(st.sampled_from([1, 2, 50]))
            case 3:
                found[at:at] = draw(st.binary(max_size=8))
            case 4:
                del found[at + draw(st.sampled_from([0, 1, 100])) :]
            case 5:
                found[at : at + 4] = draw(st.sampled_from([b"\xff" * 4, b"\0" * 4, b"\x7f\xff\xff\xff", b"\x80\0\0\0"]))
    return bytes(found)
