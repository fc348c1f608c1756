"""How reliable is one listening, and how reliable are the scores, whoever heard whom?

The share of what is seen that is ability: spread / (spread + error). On a complete table this *is*
ICC(3,1) and ICC(3,k) of Shrout & Fleiss (1979, Psychological Bulletin 86:420–428); unlike those it
also holds for panels in which nobody hears everyone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.too_close import true_spread


@dataclass(frozen=True, slots=True)
class Reliability:
    """Shares between 0 and 1; None where errors cannot be measured or nobody differs.

    Attributes
    ----------
    one_listening : float or None
        Of a single judge's marks, freed of severity.
    scores : float or None
        Of the fair scores, on average over the students.
    """

    one_listening: float | None
    scores: float | None


def reliability(scores: FairScores) -> Reliability:
    """Compute the reliability of one listening and of the fair scores."""
    spread = true_spread(scores)
    error, pooled = float(np.mean(scores.se**2)), scores.noise.pooled
    if np.isnan(spread) or np.isnan(pooled) or spread + pooled <= 0:
        return Reliability(None, None)
    return Reliability(spread / (spread + pooled), spread / (spread + error))
