"""What a reviewer writes about a trial, or one channel of it: one line of any text, or None."""

from emgreview.annotations.events import check_text
from emgreview.annotations.fields.field import CHANNEL, TRIAL, Field, Merging

FIELD = Field(
    name="comment",
    of=CHANNEL,
    also=TRIAL,
    say=lambda text: check_text(text) if text else None,
    shown=lambda text: f"“{text}”",
    words={"comment changed": ("comment changed", "comments changed")},
    columns={
        "comment": ("text", "Comment on the channel of this trial, as typed"),
        "trial_comment": ("text", "Comment on the trial, as typed"),
    },
    cells=lambda trial, channel, burst: {"comment": channel.comment, "trial_comment": trial.comment},
    merging=Merging(join=lambda a, b: f"{a} / {b}", how="both comments"),
)
