"""Small intact folders as labs have them, for :mod:`mutating`: text of odd writing, and studies.

text_otherwise, OTHERWISE       dates, marks of thousands and the like, and the arguments that read them
study, study_of_kinds           a study with a table of trials a recording; one of two kinds of files and one long table
"""

from collections.abc import Mapping
from io import BytesIO

import numpy as np
import scipy.io


def text_otherwise() -> Mapping[str, bytes]:
    """Dates, marks of thousands, exponents of Fortran, and a name twice."""
    x = np.random.default_rng(2).normal(0, 4000, size=(400, 2))
    rows = []
    for n, (one, other) in enumerate(x):
        at, marked = f"{n / 200:06.3f}".replace(".", ","), f"{one:,.2f}".translate(str.maketrans(",.", ".,"))
        fortran = f"{other:.6E}".replace(".", ",").replace("E", "D")
        rows.append(f"24.03.2026 14:05:{at};{marked};{fortran}\n")
    return {"it.csv": f"time;EMG;EMG\n{''.join(rows)}".encode()}


OTHERWISE = {"header": 1, "names": 1, "separator": ";", "decimal": ",", "thousands": ".", "exponent": "D"}
OTHERWISE |= {"rate_hz": 200, "unit": "uV", "time_unit": "dmy"}


def study() -> Mapping[str, bytes]:
    x = np.round(np.random.default_rng(3).normal(size=(2, 500, 2)), 3)
    x[:, :, 1] = np.isin(np.arange(500) % 100, range(40, 44)) * 5
    made = {
        f"P0{who}_x.csv": b"a header\nFDI [mV];tone\n"
        + "".join(f"{a};{b}\n".replace(".", ",") for a, b in x[who]).encode()
        for who in (0, 1)
    }
    rows = "".join(f"{n},{'near' if n % 2 else 'far'},{n * 0.5 + 0.2}\n" for n in range(5))
    made |= {f"trials/0{who}.csv": f"n,condition,t\n{rows}".encode() for who in (0, 1)}
    made["people.csv"] = b"code;age\n00;30\n01;n/a\n"
    made["study.toml"] = STUDY
    return made


def study_of_kinds() -> Mapping[str, bytes]:
    """One long table of trials, and force in files of another kind."""
    made = dict(study())
    rows = "".join(f"{who},{n},{'near' if n % 2 else 'far'},{n * 0.5 + 0.2}\n" for who in (0, 1) for n in range(5))
    made = {name: content for name, content in made.items() if not name.startswith("trials/")}
    made["trials/all.csv"] = f"subject,n,condition,t\n{rows}".encode()
    for who in (0, 1):
        kept = BytesIO()
        scipy.io.savemat(kept, {"grip": np.arange(500.0), "pull": np.zeros(500)})
        made[f"F0{who}.mat"] = kept.getvalue()
    also = b"""[[files.also]]
pattern = "F{participant}.mat"
data = ["grip", "pull"]
rate_hz = 200
unit = {grip = "N", pull = "N"}
"""
    head, sign, rest = STUDY.replace(b'"trials/{participant}.csv"', b'"trials/all.csv"').partition(b"[channels.FDI]")
    tail = rest.replace(b"[trials]", b'[trials]\nparticipant = "subject"')
    made["study.toml"] = head.replace(b"P{participant}_{task}", b"P{participant}_x") + also + sign + tail
    return made


STUDY = b"""name = "x"
[files]
pattern = "P{participant}_{task}.csv"
rate_hz = 200
header = 2
names = 2
decimal = ","
[files.columns]
"FDI [mV]" = "FDI"
tone = "tone"
[files.unit]
FDI = "mV"
tone = "V"
[channels.FDI]
muscle = "first dorsal interosseus"
[cues]
channel = "tone"
label = "go"
level = 2.5
hold_off_s = 0.2
expect = 5
[participants]
table = "people.csv"
code = "code"
[trials]
table = "trials/{participant}.csv"
time = "t"
columns = ["condition"]
"""
