"""What a channel may be called in a sentence: what it was recorded over, and what it also hears. No claim of isolation.

    over            "recorded over FCR"
    hears           "also hears FDS (23 % of its own contraction, 95 % CI 18 to 29)"

One place, so that another wording is a change here alone.
"""

import math
from collections.abc import Sequence

from emgreview.intervals import Estimate


def over(label: str, muscle: str = "") -> str:
    """What the electrodes lie over, as far as is said."""
    return f"recorded over {muscle or label}"


def hears(neighbours: Sequence[tuple[str, Estimate]], least: float) -> str:
    """What else arrives there, the loudest first; that nothing was found is no proof that nothing is there."""
    if not neighbours:
        return (
            f"in the test contractions nothing else arrived at {100 * least:.0f} % of its own contraction or more, "
            "which does not show that nothing does"
        )
    told = [
        f"{name} ({share_words(share, ' of its own contraction' * (place == 0))})"
        for place, (name, share) in enumerate(neighbours)
    ]
    return f"also hears {', '.join(told)}"


def share_words(share: Estimate, of: str = "") -> str:
    """ "23 % of its own contraction, 95 % CI 18 to 29"."""
    value = f"{100 * share.value:.0f} %{of}"
    if math.isnan(share.low):
        return f"{value}, no interval"
    return f"{value}, 95 % CI {100 * share.low:.0f} to {100 * share.high:.0f}"
