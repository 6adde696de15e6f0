"""Several drums in one recording, told apart: each has a template, 100 ms of its bands, and strikes when it does.

What is heard is taken for a sum of templates that begin at each moment with some strength. Strengths, and where wished
the templates, are found by multiplicative updates that lessen the Kullback-Leibler divergence (D. D. Lee & H. S. Seung
1999, Nature 401; templates over time: P. Smaragdis 2004, ICA).
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from render.hearing.features import Bands

Templates = npt.NDArray[np.float32]  # (parts, bands, lags)
Strengths = npt.NDArray[np.float32]  # (parts, moments)

LAGS = 20  # of 5 ms
TINY = np.float32(1e-6)


def strengths(
    heard: Bands,
    templates: Templates,
    rounds: int,
    mask: Strengths | None = None,
    relearn: Callable[[Templates], Templates] | None = None,
) -> tuple[Strengths, Templates]:
    """How hard each part strikes at each moment: `strengths(bands, templates, 60)[0].shape` is (parts, moments).

    `mask` says where parts may strike at all. `relearn` is told the templates after each round of learning them anew,
    and gives back what to go on with; without it they stay as they are.
    """
    parts, _, lags = templates.shape
    moments = heard.shape[1]
    found = np.full(
        (parts, moments), float(heard.mean()) / max(float(templates.sum(axis=2).mean()), 1e-6) / parts, np.float32
    )
    if mask is not None:
        found *= mask
    for _ in range(rounds):
        flat = _flat(templates)
        shifted = _shifted(found, lags)
        ratio = heard / (flat @ shifted + TINY)
        if relearn is not None:
            templates = relearn(_updated(templates, ratio, shifted))
            flat = _flat(templates)
            ratio = heard / (flat @ shifted + TINY)
        found *= _unshifted(flat.T @ ratio, parts, lags) / (_reached(templates, moments) + TINY)
    return found, templates


def _flat(templates: Templates) -> npt.NDArray[np.float32]:
    """Templates as (bands, parts * lags)."""
    parts, bands, lags = templates.shape
    return np.ascontiguousarray(templates.transpose(1, 0, 2).reshape(bands, parts * lags))


def _shifted(found: Strengths, lags: int) -> npt.NDArray[np.float32]:
    """Strengths as each lag sees them, shape (parts * lags, moments)."""
    parts, moments = found.shape
    padded = np.concatenate([np.zeros((parts, lags - 1), np.float32), found], axis=1)
    every = np.lib.stride_tricks.sliding_window_view(padded, moments, axis=1)[:, ::-1]
    return np.ascontiguousarray(every).reshape(parts * lags, moments)


def _unshifted(seen: npt.NDArray[np.float32], parts: int, lags: int) -> Strengths:
    """The reverse: what all lags say of a moment, added up."""
    moments = seen.shape[1]
    total = np.zeros((parts, moments), np.float32)
    by_lag = seen.reshape(parts, lags, moments)
    for lag in range(lags):
        total[:, : moments - lag] += by_lag[:, lag, lag:]
    return total


def _reached(templates: Templates, moments: int) -> Strengths:
    """How much of each template falls into the recording, from each moment on."""
    by_lag = np.cumsum(templates.sum(axis=1), axis=1)
    left = np.minimum(np.arange(moments, 0, -1), templates.shape[2]) - 1
    return by_lag[:, left]


def _updated(templates: Templates, ratio: Bands, shifted: npt.NDArray[np.float32]) -> Templates:
    parts, bands, lags = templates.shape
    up = (ratio @ shifted.T).reshape(bands, parts, lags).transpose(1, 0, 2)
    down = shifted.sum(axis=1).reshape(parts, 1, lags)
    return np.asarray(templates * up / (down + TINY), dtype=np.float32)
