"""A card follows its channel: from the file beside a study to recordings, screens' words, tables and checks; and no
sentence about channels claims more than pads can tell."""

import ast
import dataclasses
import pickle
import re
import warnings
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import SignalWarning
from emgreview.measuring.ground import Ground
from emgreview.muscles.wording import card_of, overclaims
from emgreview.showing import percent
from emgreview.simulation import Fault
from emgreview.views import texts

RATE_HZ = 1000
PACKAGE = Path(er.__file__).parent


@pytest.fixture(scope="module")
def cards():
    sim = er.simulate_contractions(RATE_HZ, seed=3, muscles=["BB", "BR"]).planted(Fault("neighbour", "BR", "BB", 0.6))
    with warnings.catch_warnings(action="ignore"):
        return er.ChannelCards(er.selectivity(sim.recording).cards.values())


def turns(sub="01"):
    x = np.random.default_rng(1).normal(0, 5, (2, 8 * RATE_HZ))
    return er.Recording.from_array(
        x,
        RATE_HZ,
        labels=["BB", "BR"],
        markers=[(2000, "go"), (5000, "go")],
        name=f"sub-{sub}_task-turn",
        entities={"sub": sub},
    )


def test_a_recording_carries_its_own_cards_and_no_others(cards):
    rec = cards.on(turns())
    assert card_of(rec.channel("BR")).startswith("recorded over brachioradialis; also hears BB (biceps brachii; ")
    (note,) = rec.notes
    assert note.startswith("Caution: ")
    assert "name BB with every result of BR" in note
    assert "sub-01" not in note, "a blind review shows it"
    assert rec.digest == turns().digest
    other = turns("02")
    assert cards.on(other) is other
    assert pickle.loads(pickle.dumps(cards)) == cards


def test_a_study_finds_the_cards_beside_it(cards, tmp_path):
    import edfio

    er.write_channel_cards([dataclasses.replace(one, participant="") for one in cards], tmp_path)
    x = turns().values()
    signals = [
        edfio.EdfSignal(row, RATE_HZ, label=f"EMG {label}", physical_dimension="uV")
        for label, row in zip(("BB", "BR"), x, strict=True)
    ]
    edfio.Edf(signals).write(tmp_path / "turn.edf")
    with pytest.warns(SignalWarning, match="do not say whose they are"):
        data = er.read_dataset(tmp_path)
    assert "contractions.json" not in data.left_out
    assert len(data.recordings[:1].beside.cards) == 2
    (tmp_path / "contractions.json").write_text("[]")
    with pytest.warns(SignalWarning, match="is passed over"):
        data = er.read_dataset(tmp_path)
    assert not data.recordings.beside.cards


def test_screens_say_the_card_and_blind_ones_hide_what_tells_recordings_apart(cards, monkeypatch):
    monkeypatch.setattr(texts, "notes_on", lambda *given: ())
    trials = SimpleNamespace(recording=cards.on(turns()))
    for blind in (False, True):
        session = SimpleNamespace(blind=blind, neutral=str, source=lambda trial: trial)
        (said,) = texts.notes(session, trials, "t", "BR")
        assert said.startswith("Recorded over brachioradialis; ")
        assert ("hidden in a blind review" in said) is blind
        assert ("%" in said) is not blind
        assert texts.notes(session, trials, "t") == []


def test_tables_and_checks_name_what_is_heard(cards):
    trials = er.cut_trials(cards.on(turns()), cue="go", before_s=1.0, after_s=1.0)
    ground = Ground()
    ground.use(trials, 1, np.array([0, 1]))
    (note,) = [one for one in ground.notes("bursts") if "test contractions" in one]
    assert note.startswith("BR in test contractions: recorded over brachioradialis; also hears BB")
    assert "also hears BB" in repr(er.check(trials.recording))


def test_involvement_tells_that_conditions_are_hidden():
    rec = er.simulate_study(1, 30, RATE_HZ, seed=1).recordings[0]
    markers = [dataclasses.replace(one, details={"condition": "large"}) for one in rec.markers]
    trials = er.cut_trials(rec.with_markers(markers), cue="go", before_s=1.0, after_s=1.5, blind=True)
    with warnings.catch_warnings(action="ignore"):
        notes = er.involvement(trials, window_s=(0.1, 0.35)).notes
    assert any("cut blind: condition" in note for note in notes)


def test_whole_shares_are_written_out():
    assert [percent(share) for share in (1.0, 0.996, 0.5, 0.0123, 0.0)] == ["100", "100", "50", "1.2", "0"]


SPEAKS = [
    *sorted((PACKAGE / "contractions").glob("*.py")),
    PACKAGE / "measuring" / "taking_part.py",
    PACKAGE / "measuring" / "rest_range.py",
    PACKAGE / "measuring" / "channels.py",
    PACKAGE / "measuring" / "ground.py",
    PACKAGE / "reading" / "channel_cards.py",
    PACKAGE / "signal" / "crosstalk.py",
]


def sentences(path):
    """Texts of a module, a muscle in the place of what stands in braces; docstrings are for programmers."""
    tree = ast.parse(path.read_text())
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            text = "".join(one.value if isinstance(one, ast.Constant) else "FCR" for one in node.values)
            yield re.sub(r"^FCR (?=responses)", "3 ", text)  # a count stands there
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


@pytest.mark.parametrize("path", SPEAKS, ids=lambda path: path.stem)
def test_no_sentence_about_channels_claims_too_much(path):
    for text in sentences(path):
        assert not overclaims(text), text


def test_what_is_said_of_cards_passes_the_guard(cards):
    for card in cards:
        for text in (card.sentence, card.caution, *card.findings):
            assert not overclaims(text), text


def contracted(mix, labels=("BB", "BR"), targets=("BB", "BR"), rest=True, lost=()):
    """Three contractions of 3 s of each target, 1 s apart; ``mix`` (labels, targets) says what arrives where."""
    rng = np.random.default_rng(4)
    markers = [er.Marker(sample=0, label="rest", duration_s=3.0)] if rest else []
    lead = 3 if rest else 0
    n = RATE_HZ * (lead + 4 * 3 * len(targets))
    x = rng.normal(0, 2, (len(labels), n))
    for k, target in enumerate(np.repeat(targets, 3)):
        start = RATE_HZ * (lead + 4 * k)
        part = slice(start, start + 3 * RATE_HZ)
        x[:, part] += np.outer(np.asarray(mix)[:, targets.index(target)], rng.normal(0, 100, 3 * RATE_HZ))
        for label, of in lost:
            if of == target:
                x[labels.index(label), part] = np.nan
        markers.append(er.Marker(sample=start, label=f"test {target}", duration_s=3.0))
    return er.Recording.from_array(x, RATE_HZ, labels=labels, markers=markers, entities={"sub": "01"})


def card_over(label, *given, **how):
    with warnings.catch_warnings(action="ignore"):
        return er.selectivity(contracted(*given, **how)).cards[label]


def test_a_card_of_exchanged_leads_does_not_vouch_for_the_place():
    card = card_over("BB", [[0.1, 1.0], [1.0, 0.1]])
    for text in (card.sentence, card.caution):
        assert "where it lies is in doubt" in text
        assert not overclaims(text), text
    assert card.caution.endswith("settle that before any result is named by BB.")
    assert "with every result" not in card.caution


def test_a_card_says_of_which_contractions_it_cannot_tell():
    lost = card_over("BR", [[1.0, 0.0], [0.5, 1.0]], lost=[("BR", "BB")])
    assert lost.sentence == "BR: recorded over brachioradialis; whether BB arrives there cannot be told"
    weak = card_over("BB", [[0.01, 0.0], [0.0, 1.0]])
    assert "BR arrives there cannot be told" in weak.sentence, "an interval from nothing to a loud neighbour"
    alone = card_over("BB", [[1.0]], labels=("BB",), targets=("BB",))
    assert "no other muscle was contracted" in alone.sentence
    for card in (lost, weak, alone):
        assert "nothing else arrived" not in card.sentence
        assert not overclaims(card.sentence)


def test_a_card_keeps_what_it_hears_where_nobody_knows_the_rest():
    card = card_over("BR", [[1.0, 0.0], [0.5, 1.0]], rest=False)
    assert np.isnan(card.own_db)
    assert "also hears BB" in card.sentence
    assert card.caution.startswith("Caution: ")
