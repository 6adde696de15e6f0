"""How a lesson is played and how loud its parts are: the tables [feel] and [balance] against who plays there."""

from collections.abc import Mapping, Sequence

from grooves.errors import LessonError, at, nearest
from grooves.feel import Feel
from grooves.groove import Groove, check_swing
from grooves.kit import BAND, LIMBS, PARTS
from grooves.lesson_tables import FeelTable
from grooves.passages import LINE
from grooves.score import Score


def read_feel(table: FeelTable, score: Score) -> Feel:
    """How a lesson is played: `read_feel(FeelTable(), score).seed` is 1; raises LessonError."""
    with at("feel"):
        line_swing = None
        if table.line_swing is not None:
            with at("line_swing"):
                line_swing = check_swing(table.line_swing, score.meter)
        return Feel(
            swing=score.groove.swing,
            line_swing=line_swing,
            upbeat_accent_lu=table.upbeat_accent,
            held_upbeat_lu=table.held_upbeat_accent,
            downbeat_quarters_lu=table.downbeat_quarters,
            accent_lu=table.accent,
            timing_ms=table.timing_ms,
            level_lu=table.level_lu,
            correlation=table.correlation,
            together=table.together,
            placement_ms=_placements(table, score),
            seed=table.seed,
        )


def _placements(table: FeelTable, score: Score) -> dict[str, float]:
    """Milliseconds by limb, behind positive; a drum's name stands for the limb that plays it."""
    limb_of = {stroke.part: stroke.limb for bar in score.bars for stroke in (*bar.groove_alone, *bar.strokes)}
    players = score.band.parts if score.band else ()
    placed: dict[str, float] = {}
    for key, table_ms, sign in (("ahead_ms", table.ahead_ms, -1.0), ("behind_ms", table.behind_ms, 1.0)):
        for name, milliseconds in table_ms.items():
            limb = limb_of.get(name, name)
            if limb not in (*LIMBS, *players):
                raise LessonError(
                    f"{key}: '{name}' is neither a part here nor a limb; {nearest(name, (*limb_of, *players, *LIMBS))}"
                )
            if limb in placed:
                raise LessonError(f"{key}: the {limb} is placed twice; keep one of them")
            placed[limb] = sign * milliseconds
    return placed


def read_balance(table: Mapping[str, float], groove: Groove, players: Sequence[str] = ()) -> dict[str, float]:
    """Levels against the ride by part: `read_balance({"bass": -6}, groove, ["bass"])`; raises LessonError."""
    keep_time = [part.name for part in groove.parts if part.name != "ride"]
    known = [*keep_time, *players, LINE, "gaps"]
    for name in table:
        if name == "fill":
            raise LessonError("balance: fill is now called gaps")
        if name == "ride":
            raise LessonError("balance: the ride is what the others are measured against; leave it out")
        if name in PARTS and name not in known:
            raise LessonError(
                f"balance: {name} keeps no time in {groove.name}; it has {', '.join(keep_time)}. "
                "For the reading line write line"
            )
        if name in BAND and name not in known:
            raise LessonError(f"balance: {no_player(name, players)}")
        if name not in known:
            raise LessonError(f"balance: no part is called '{name}'; {nearest(name, known)}")
    return dict(table)


def no_player(name: str, players: Sequence[str]) -> str:
    """Say that one of the band is not there: `no_player("horns", ["bass"])`."""
    who = f"; it has {', '.join(players)}" if players else "; write a table [band] to have one"
    return f"no {name} {'play' if name == 'horns' else 'plays'} in this lesson{who}"
