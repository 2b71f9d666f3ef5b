"""A study whose every text is strange: endless words, letters from right to left and controls that turn the order of
others, line breaks, letters that nobody sees. As an app, it shows the review or the long view of it."""

import numpy as np

import emgreview as er

RATE_HZ, TRIALS = 1000, 4
TURN = "\u202e"
ENDLESS = "m" * 10_000
NAME = f"sub-ש{TURN}_task-x"
LABELS = ("FDI", f"bi{TURN}ceps", "שלום יד", ENDLESS, "line\nbreak\x07", "o" + "\u0301" * 80, "force")


PLAIN_NAME, PLAIN_LABELS = "sub-a_task-x", ("FDI", "biceps", "hand", "wrist", "line", "finger", "force")


def recording(strange: bool = True) -> er.Recording:
    """With ``strange=False`` the same signals under names of a few letters, for a comparison of pace."""
    name, labels = (NAME, LABELS) if strange else (PLAIN_NAME, PLAIN_LABELS)
    rng = np.random.default_rng(1)
    x = rng.normal(0, 5, (len(labels), RATE_HZ * 3 * (TRIALS + 1)))
    markers = []
    for trial in range(TRIALS):
        go = RATE_HZ * (2 + 3 * trial)
        for row in range(6):
            x[row, go + 200 + 20 * row : go + 600] += rng.normal(0, 60, 400 - 20 * row)
        details = {"grip": f"pow{TURN}er 6", "cond": "x" * 10_000 if trial == 1 else "קשה 3", "n\nl": "a\u2028b"}
        words = ("אות 7", f"rsp{TURN}onse 1", "z" * 10_000) if strange else ("warning", "response", "end")
        markers += [er.Marker(go - 300, words[0]), er.Marker(go, "go", details=details if strange else {})]
        markers += [er.Marker(go + 300, words[1]), er.Marker(go + 500, words[2])]
    over = ["w" * 10_000 if strange and row > 2 else label for row, label in enumerate(labels[:6])]
    channels = [er.Channel(label, over=muscle) for label, muscle in zip(labels, over, strict=False)]
    channels.append(er.Channel("force", "MISC", "N"))
    return er.Recording.from_array(x, RATE_HZ, labels=list(labels), channels=channels, markers=markers, name=name)


def session(folder: str = "review", strange: bool = True):
    rec = recording(strange)
    trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5, processing=er.Processing(high_hz=400))
    session = er.open_review(trials, folder, reviewer="r1", method="threshold")
    if not strange:
        return session, rec
    first = session.queue[0]
    session.comment(first, f"note {TURN}mirror 6 of 9 שלום עולם 12")
    session.comment(first, "y" * 10_000, "FDI")
    session.unusable(first, LABELS[1], ["other: " + "r" * 9_000])
    session.exclude(recording=NAME, channel=LABELS[2], reason="כבל 3 " + "k" * 3_000)
    session.set_aside(NAME, "FDI", 1.8, 2.1, ["other: " + "s" * 5_000])
    return session, rec
