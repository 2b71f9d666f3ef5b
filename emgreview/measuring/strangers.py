"""Are trials those of the recording that was reviewed? Marks of another one would measure another signal.

why_another     why a recording is not the one that was reviewed; and what was compared of its scale
"""

from collections.abc import Mapping
from typing import Any

from emgreview.annotations import scales
from emgreview.model import Recording


def why_another(rec: Recording, said: Mapping[str, Any]) -> tuple[str, scales.Differing]:
    """Why a recording is not the one that the table says was reviewed, "" where it is; and how its scale compares."""
    if not rec.is_of(said["fingerprint"]["samples"]):
        why = (
            f"recording {rec.name!r} has other samples, labels or rate than the one that was reviewed; its marks would "
            "measure another signal; give the recording of the review."
        )
        return why, scales.Differing()
    found = scales.compare(said.get("scales"), scales.stated(rec))
    if not found.decisive:
        return "", found
    way = (
        "begin a review in another folder"
        if found.place
        else "open the review with scale_corrected='why' and take its decisions anew"
    )
    why = (
        f"recording {rec.name!r} comes in another scale than it was reviewed in: {'; '.join(found.decisive)}; "
        f"read it as it was, or, where that was wrong, {way}."
    )
    return why, found
