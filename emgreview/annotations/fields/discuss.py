"""Whether a trial, or one channel of it, is on the list to discuss."""

from emgreview.annotations.fields.field import CHANNEL, TRIAL, Field, Merging, between, given_or_back

FIELD = Field(
    name="discuss",
    of=CHANNEL,
    also=TRIAL,
    default=False,
    words={
        "put up for discussion": ("put up for discussion", "put up for discussion"),
        "discussion closed": ("discussion closed", "discussions closed"),
    },
    changes=given_or_back("put up for discussion", "discussion closed"),
    columns={"discuss": ("truth", "Whether the channel or the trial is to be discussed")},
    cells=lambda trial, channel, burst: {"discuss": channel.discuss or trial.discuss},
    merging=Merging(join=between, how="same"),
)
