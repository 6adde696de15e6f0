"""The door for MusicXML from anywhere: bytes in, an element tree out that nothing in the file can enlarge or extend.

A score needs no entities, so a file that declares any is refused before it is parsed. No DTD is loaded, nothing is
fetched, trees deeper than libxml2's limit of 256 are refused. Of a compressed score (.mxl) only the container and the
score it names are unpacked, in memory, to a limit. Nothing is ever written.
Sources: W3C MusicXML 4.0, "Compressed .MXL Files" (META-INF/container.xml; the first rootfile is the score);
W3C XML 1.0, section 4 (entities).
"""

import io
import re
import struct
import zipfile
import zlib
from pathlib import PurePosixPath

from lxml import etree

from grooves.errors import LessonError
from render.reading.parts import shown

LARGEST_SCORE = 10_000_000  # bytes, unpacked
LARGEST_CONTAINER = 100_000
LARGEST_RATIO = 200  # unpacked to packed; scores reach about 50, by trial, zip bombs 1000
MOST_ENTRIES = 1000
CONTAINER = "META-INF/container.xml"
# What notation programs write; libxml2 knows more, but then the look for entities below would not see through them.
ENCODINGS = ("utf-8", "utf8", "utf-16", "utf-16le", "utf-16be", "us-ascii", "ascii", "iso-8859-1", "iso-8859-15")
Element = etree._Element


def open_musicxml(data: bytes) -> Element:
    """The root of a partwise score, plain or compressed: `open_musicxml(data).tag` is "score-partwise".

    Raises LessonError for everything else.
    """
    root = parse_xml(_unpacked(data) if data.startswith(b"PK") else data)
    if root.tag == "score-timewise":
        raise LessonError("is a timewise score; save it as partwise MusicXML, which every notation program can")
    if root.tag != "score-partwise":
        raise LessonError(
            f"is XML, but not a MusicXML score: it begins with '{shown(str(root.tag))}', not score-partwise"
        )
    return root


def parse_xml(data: bytes) -> Element:
    """Parse XML from anywhere: `parse_xml(b"<a/>").tag` is "a"; raises LessonError."""
    if len(data) > LARGEST_SCORE:
        raise LessonError(f"holds more than {LARGEST_SCORE // 1_000_000} MB of music; export the line's part alone")
    _refuse_entities(data)
    parser = etree.XMLParser(
        resolve_entities=False,
        load_dtd=False,
        no_network=True,
        huge_tree=False,
        dtd_validation=False,
        attribute_defaults=False,
        remove_comments=True,  # so that a comment does not part a number in two
        remove_pis=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError, LookupError) as fault:
        line = getattr(fault, "lineno", None)
        where = f" (line {line})" if line else ""
        raise LessonError(f"is damaged or not MusicXML{where}; export it again") from None
    return root


def _refuse_entities(data: bytes) -> None:
    """Look at the bytes alone: without their zeros, UTF-16 reads as the ASCII that markup is made of."""
    flat = data.replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if not flat.startswith(b"<"):
        raise LessonError("is neither MusicXML nor a compressed score; export it as .musicxml")
    declared = re.match(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([^\"']{0,40})", flat)
    name = declared[1].decode("latin-1").lower() if declared else "utf-8"
    if name not in ENCODINGS:
        raise LessonError(f"is written in the encoding '{shown(name)}'; export it in UTF-8")
    if b"<!ENTITY" in flat or re.search(rb"<!DOCTYPE[^>\[]{0,2000}\[", flat):
        raise LessonError("declares entities in its DOCTYPE, which no score needs; it is not opened")


# --- compressed scores --------------------------------------------------------------------------


def _unpacked(data: bytes) -> bytes:
    """The score inside a compressed one."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_names(archive.namelist())
            container = _member(archive, CONTAINER, LARGEST_CONTAINER)
            score = _member(archive, _score_name(container), LARGEST_SCORE)
    except LessonError:
        raise
    # zipfile lets its own parsers' faults through: of the archive, of the packed stream, of a number in a header.
    except (zipfile.BadZipFile, zlib.error, struct.error, OSError, EOFError, RuntimeError, ValueError, OverflowError):
        raise LessonError("is a damaged compressed score; export it again, or as .musicxml") from None
    if score.startswith(b"PK"):
        raise LessonError("holds another archive where its score should be; export it again")
    return score


def _check_names(names: list[str]) -> None:
    if len(names) > MOST_ENTRIES:
        raise LessonError(f"is an archive of {len(names)} files, not a compressed score")
    for name in names:
        if name.startswith("/") or "\\" in name or ":" in name or ".." in PurePosixPath(name).parts:
            raise LessonError(f"holds a file named '{shown(name)}', which points outside the archive; it is not opened")


def _member(archive: zipfile.ZipFile, name: str, limit: int) -> bytes:
    if name not in archive.namelist():
        raise LessonError(f"is not a compressed score: '{shown(name)}' is not in it; export it again, or as .musicxml")
    entry = archive.getinfo(name)
    if entry.flag_bits & 1 or entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise LessonError("is packed in a way that scores are not (encrypted, or not deflated); export it again")
    if entry.file_size > limit:
        raise LessonError(f"unpacks to more than {limit / 1e6:g} MB; export the line's part alone")
    with archive.open(entry) as member:
        content = member.read(limit + 1)  # the header may lie about the size
    if len(content) > limit or len(content) > LARGEST_RATIO * max(entry.compress_size, 500):
        raise LessonError(f"unpacks to more than {LARGEST_RATIO} times its size; it is not opened")
    return content


def _score_name(container: bytes) -> str:
    """The first rootfile that the container names."""
    for rootfile in parse_xml(container).iter("{*}rootfile"):
        name = rootfile.get("full-path", "")
        if name.startswith("/") or "\\" in name or ":" in name or ".." in PurePosixPath(name).parts:
            raise LessonError(f"names '{shown(name)}' as its score, which is outside the archive; it is not opened")
        return name
    raise LessonError("is a compressed score that does not say where its score is; export it again")
