"""What the screen of people is told, and what it answers, without a browser."""

import json

import numpy as np
import pytest
from invented_people import summary_of

import emgreview as er

pytest.importorskip("panel", reason="the widgets need the extra [notebook]")

from emgreview.views import people_facts


@pytest.fixture(scope="module")
def found():
    return summary_of(9, trials=8)


def unpacked(pack: bytes) -> tuple[dict, bytes]:
    length = int.from_bytes(pack[:4], "little")
    return json.loads(pack[4 : 4 + length]), pack[4 + length :]


def values(trace: dict, samples: bytes) -> np.ndarray:
    raw = np.frombuffer(samples, "<i2", trace["n"], trace["at"])
    return np.where(raw == -32768, np.nan, raw * trace["scale"])


def said(screen) -> dict:
    return json.loads(screen.news)["updates"][-1]


def test_what_is_told_once_is_plain_json_and_holds_everybody(found):
    facts = json.loads(json.dumps(people_facts.facts(found), allow_nan=False))
    assert [one["name"] for one in facts["people"]] == [one.key for one in found.people]
    assert [one["n"] for one in facts["people"]] == [16] * 9
    heads = [column["name"] for column in facts["columns"]]
    own = found.table[(found.table["participant"] == "002") & (found.table["channel"] == "ECR")].iloc[0]
    cells = dict(zip(heads, facts["people"][1]["cells"][facts["labels"].index("ECR")], strict=True))
    assert cells["onset_median_s"] == pytest.approx(1000 * own["onset_median_s"], rel=1e-5)
    assert cells["none_share"] == pytest.approx(100 * own["none_share"], rel=1e-5)
    assert "floor_db" not in heads, "a column of nothing is left out"
    assert {facts["people"][one["person"]]["name"] for one in facts["flags"]} == set(found.flags["participant"])
    assert facts["rules"] == list(found.rules)


def test_every_column_of_the_screen_is_one_of_the_table(found):
    assert {column.name for column in people_facts.COLUMNS} <= set(found.table.columns)


def test_packs_bring_the_numbers_back(found):
    people = found.people
    head, samples = unpacked(people_facts.person_pack(people, [2], 1))
    (one,) = head["people"]
    assert (one["person"], one["run"]) == (2, [0] * 8 + [1] * 8)
    for name, array in (
        ("onset", people[2].onset_s),
        ("response", people[2].response_s),
        ("level", people[2].level_db),
    ):
        np.testing.assert_allclose(values(one["traces"][name], samples), array.ravel(), atol=1e-3)
    rest = 10 ** values(one["traces"]["rest"], samples)
    np.testing.assert_allclose(rest, people[2].rest.ravel(), rtol=1e-3)
    assert people[2].recordings[1].name + one["ids"][9] == people[2].ids[9]

    head, samples = unpacked(people_facts.overview(found))
    mean = values(head["people"][4], samples).reshape(3, -1)
    np.testing.assert_allclose(mean, people[4].envelope.mean(axis=1), atol=2e-3 * mean.max())

    head, samples = unpacked(people_facts.panel_pack(people, [0, 5], "BB", 2, 1))
    assert [one["person"] for one in head["panels"]] == [0, 5]
    some = values(head["panels"][1], samples).reshape(-1, people_facts.BINS)
    np.testing.assert_allclose(some[0], people[5].envelope[2][0], atol=2e-3 * some.max())


def test_a_person_without_a_channel_has_no_cells_of_it():
    less = summary_of(4, trials=6, lacking=1)
    facts = people_facts.facts(less)
    assert facts["people"][1]["cells"][2] is None
    assert facts["channels"][2]["rates"]["n"][1] == 0
    head, _ = unpacked(people_facts.panel_pack(less.people, [0, 1], "BB", 2, 1))
    assert [one["person"] for one in head["panels"]] == [0]


def test_what_is_asked_for_comes_and_nothing_beyond(found):
    screen = er.participants(found)
    screen._handle_msg({"kind": "hello", "client": "c", "asks": 1})
    assert said(screen)["answered"] == {"client": "c", "n": 1}
    screen._handle_msg({"kind": "person", "client": "c", "people": [3, 3, 99, 4]})
    assert [one["person"] for one in unpacked(screen.pack)[0]["people"]] == [3, 4]
    before = screen.pack
    screen._handle_msg({"kind": "person", "client": "c", "people": [3, 4]})
    assert screen.pack != before, "asked once more, it comes once more"
    screen._handle_msg({"kind": "panels", "client": "c", "people": [3], "channel": "strange"})
    assert "strange" in said(screen)["said"]["words"]
    screen._handle_msg({"kind": "decide", "client": "c", "n": 1, "command": "accept", "args": {}, "visible": {}})
    assert "nothing is decided on this screen" in said(screen)["refused"][0]["words"]


def test_a_trial_is_handed_to_the_function_that_was_given(found):
    opened = []
    screen = er.participants(found, open_trial=lambda *what: opened.append(what))
    message = {"kind": "open", "client": "c", "person": 1, "trial": 9, "channel": "BB"}
    screen._handle_msg(message)
    assert opened == [(found.people[1].ids[9], "BB")]
    for wrong in ({"trial": 16}, {"person": 9}, {"channel": "no"}):
        screen._handle_msg({**message, **wrong})
        assert "said" in said(screen)
    assert len(opened) == 1


def test_without_a_review_the_key_says_what_to_give(found):
    screen = er.participants(found)
    screen._handle_msg({"kind": "open", "client": "c", "person": 1, "trial": 9, "channel": "BB"})
    assert "session=er.open_review" in said(screen)["said"]["words"]


def small_study(n: int = 3):
    rng = np.random.default_rng(4)
    made = []
    for k in range(n):
        x = rng.normal(0, 5, (2, 16_000))
        for cue in range(3000, 15_000, 3000):
            x[:, cue + 200 : cue + 500] *= 12
        markers = [(cue, "go") for cue in range(3000, 15_000, 3000)]
        made.append(
            er.Recording.from_array(
                x, 1000, labels=["FDI", "APB"], markers=markers, name=f"rec-{k}", entities={"sub": str(k)}
            )
        )
    return made


def test_a_trial_opens_in_the_review_of_its_session(tmp_path):
    recordings = small_study()
    trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5) for rec in recordings[:2]]
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        screen = er.participants(recordings, cue="go", session=session)
        review = screen.opened
        review._handle_msg({"kind": "hello", "client": "r", "asks": 1})
        screen._handle_msg({"kind": "open", "client": "c", "person": 1, "trial": 2, "channel": "APB"})
        assert session.where == trials[1].ids[2]
        assert said(review)["go_to"] == {"client": "r", "index": 6, "row": 1}
        assert said(screen)["shown"] == {"client": "c", "person": 1, "trial": 2}
        screen._handle_msg({"kind": "open", "client": "c", "person": 2, "trial": 0, "channel": "FDI"})
        assert "rec-2/given/3000" in said(screen)["said"]["words"], "a trial that the review has not"
        assert "BLIND" not in screen.setup


def test_a_blind_review_is_told_of(tmp_path):
    recordings = small_study(2)
    trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5) for rec in recordings]
    with er.open_review(trials, tmp_path / "review", reviewer="r1", blind=True) as session:
        screen = er.participants(recordings, cue="go", session=session)
        assert any("The review is blind" in note for note in json.loads(screen.setup)["notes"])


def test_what_does_not_go_together_is_refused(found):
    with pytest.raises(er.EmgreviewError, match="no cue came"):
        er.participants(small_study(1))
    with pytest.raises(er.EmgreviewError, match="cue, expect came beside a Summary"):
        er.participants(found, cue="go", expect=4)
    with pytest.raises(er.EmgreviewError, match="give a function"):
        er.participants(found, open_trial="sub-01")
    with pytest.raises(er.EmgreviewError, match="session came as 5"):
        er.participants(found, session=5)
    with pytest.raises(er.EmgreviewError, match="option of summarise"):
        er.participants(small_study(1), cue="go", colour="red")
    with pytest.raises(er.EmgreviewError, match="Did you mean 'next_person'"):
        er.participants(found, keys={"next_persn": "KeyJ"})
