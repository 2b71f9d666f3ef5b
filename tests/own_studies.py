"""Three small studies that are not the demo, each of a kind of its own, invented; and notebooks run on them.

beeps       CSV files in a plain folder, cues as pulses, conditions in tables of trials (study.toml)
chewing     a MATLAB file: one recording of one channel, nobody named, no cue at all (study.toml)
lifts       a BIDS dataset: another cue, three conditions, other labels and rate
run         a notebook's cells in this process, the first replaced
"""

import ast
import contextlib
import io
import json
import warnings
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy.io

import emgreview as er
from emgreview.demo import lab
from emgreview.simulation import Condition, Muscle


def people(n: int, trials: int, rate_hz: float, seed: int, labels: tuple[str, ...], conditions: tuple[str, ...]) -> Any:
    muscles = tuple(Muscle(label=label, lag_s=0.02 * at, snr_db=22.0 - 3 * at) for at, label in enumerate(labels))
    mixed = tuple(Condition(label=label, stronger_db=2.0 * at) for at, label in enumerate(conditions))
    return er.simulate_study(n, trials, rate_hz, seed=seed, muscles=muscles, conditions=mixed).people


def beeps(folder: Path) -> Path:
    """Two people lift a foot at a beep, lightly or heavily loaded; the beep was recorded as pulses."""
    (folder / "rows").mkdir(parents=True)
    for number, one in enumerate(people(2, 8, 1000, 7, ("TIB", "SOLEUS"), ("light", "heavy")), start=1):
        rec = one.recording
        x_mv = rec.values(0, rec.n_samples) / 1000
        beep = np.zeros(rec.n_samples)
        for go_s in one.go_s:
            beep[round(go_s * 1000) :][:30] = 4.0
        table = np.column_stack([np.arange(rec.n_samples) / 1000, x_mv.T, beep])
        head = "time [s],TIB [mV],SOLEUS [mV],beep [V]"
        np.savetxt(folder / f"person{number}_lift.csv", table, "%.5f", ",", header=head, comments="")
        rows = "".join(f"{load}\n" for load in one.condition)
        (folder / "rows" / f"{number}.csv").write_text(f"load\n{rows}", "utf-8")
    return er.write_study(
        folder / "study.toml",
        files={"pattern": "person{participant}_{task}.csv"} | er.look(folder / "person1_lift.csv").how,
        channels={"TIB": {"muscle": "tibialis anterior"}},
        cues={"label": "beep", "channel": "beep", "level": 2.0, "hold_off_s": 1.0, "expect": 8},
        trials={"table": "rows/{participant}.csv"},
    )


def chewing(folder: Path) -> Path:
    """Somebody chews: one channel, no cue, no condition."""
    folder.mkdir(parents=True)
    rec = people(1, 10, 1000, 9, ("MASSETER",), ("only",))[0].recording
    scipy.io.savemat(folder / "lunch.mat", {"emg": rec.values(0, rec.n_samples).T})
    return er.write_study(
        folder / "study.toml",
        files={
            "pattern": "{recording}.mat",
            "data": "emg",
            "samples_along": "rows",
            "rate_hz": 1000,
            "unit": "uV",
            "columns": ["MASSETER"],
        },
    )


def lifts(folder: Path) -> Path:
    """Two people lift a finger of one hand, the other or both; BIDS, 1.6 kHz."""
    recs, who = [], {}
    for number, one in enumerate(people(2, 7, 1600, 11, ("FDI", "EIP", "ADM"), ("one", "other", "both")), start=1):
        rec, called = one.recording, f"visit{number}"
        names = {"go": "lift now", "response": "lifted", "warning": "ready"}
        details = iter(one.condition)
        markers = [
            replace(m, label=names[m.label], details={"fingers": str(next(details))} if m.label == "go" else {})
            for m in rec.markers
        ]
        recs.append(replace(rec.with_markers(markers), name=called))
        who[called] = {"sub": f"S{number}", "task": "lifting"}
    said = {"EMGPlacementScheme": "Measured", "EMGReference": "bipolar"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        er.convert(recs, folder, people=who, said=said)
    return folder


def run(name: str, description: Mapping[str, object]) -> tuple[str, dict[str, Any]]:
    """What the cells print and show, and the names that they leave; ``description`` stands in place of the first."""
    content = json.loads(lab.notebook(f"{name}.ipynb").read_text("utf-8"))
    cells = ["".join(cell["source"]) for cell in content["cells"] if cell["cell_type"] == "code"]
    lines = [f"{key} = {value!r}" for key, value in description.items()]
    cells[0] = "\n".join(["import emgreview as er", *lines])
    names: dict[str, Any] = {"__name__": name}
    said = io.StringIO()
    with contextlib.redirect_stdout(said), warnings.catch_warnings(record=True):
        warnings.simplefilter("always", er.SignalWarning)
        warnings.simplefilter("always", er.DecisionWarning)
        for number, cell in enumerate(cells):
            tree = ast.parse(cell)
            last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
            exec(compile(tree, f"{name}[{number}]", "exec"), names)
            if last is None:
                continue
            shown = eval(compile(ast.Expression(last.value), f"{name}[{number}]", "eval"), names)
            if shown is not None:
                as_page = getattr(shown, "_repr_html_", None)
                print(repr(shown), as_page() if as_page else "")
    return said.getvalue(), names
