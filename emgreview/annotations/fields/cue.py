"""Where a trial's cue really lies, as a sample of the recording, or None: as recorded."""

from collections.abc import Iterator

from emgreview.annotations.fields.field import TRIAL, Change, Compared, Field, Merging, between


def _changes(seen: Compared) -> Iterator[Change]:
    yield seen.change("cue corrected")


def _clash(a: int, b: int, within: float) -> str:
    return "corrected cues further apart than the tolerance" if abs(a - b) > within else ""


FIELD = Field(
    name="cue",
    of=TRIAL,
    words={"cue corrected": ("cue corrected", "cues corrected")},
    changes=_changes,
    columns={
        "cue_sample": (
            "whole",
            "Sample of the cue that times count from: the corrected one where there is one",
        ),
        "recorded_cue_sample": ("whole", "Sample of the cue as recorded"),
    },
    cells=lambda trial, channel, burst: {
        "cue_sample": trial.cue if trial.corrected_cue is None else trial.corrected_cue,
        "recorded_cue_sample": trial.cue,
    },
    merging=Merging(
        join=between,
        how="within the tolerance: midpoint",
        clash=_clash,
        midway=lambda a, b: True,
        disputable=True,
        row="cue",
    ),
)
