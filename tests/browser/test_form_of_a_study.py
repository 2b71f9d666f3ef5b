"""The form of a study in JupyterLab: it asks nothing of other machines, and its arrows are seen on either ground."""

from conftest import run_cells

CELLS = (
    """
from pathlib import Path
import emgreview as er
Path("mine").mkdir(exist_ok=True)
for who in ("1", "2"):
    rows = "".join(f"{n / 1000},{n % 7},{5 * (n % 1000 < 20)}\\n" for n in range(4000))
    Path("mine", f"P{who}_press.csv").write_text("time [s],FCR [mV],key [V]\\n" + rows)
form = er.study_form("mine")
form
""",
    "form.pattern.value = 'P{participant}_{task}.csv'",
)
GRAY = "rgb(128, 128, 128)"
ARROW = """e => getComputedStyle(e, ":before").borderBottomColor"""


def test_the_form_asks_nothing_of_other_machines_and_its_arrows_are_seen(page, lab):
    lab.end_kernels()
    run_cells(page, lab, f"/lab/tree/{lab.write_notebook('form.ipynb', *CELLS)}?reset")
    page.get_by_role("button", name="Look at the first file").click()
    page.get_by_text("2 files fit.").wait_for(timeout=20_000)
    page.get_by_role("button", name="Show what it makes").click()
    page.get_by_text("sub-2_task-press: FCR, key; 1000 Hz, 4.0 s; 0 cues").wait_for(timeout=20_000)
    assert page.locator(".bk-spin-btn-up").first.evaluate(ARROW) == GRAY
    assert "gray" in page.locator("select.bk-input").first.evaluate("e => getComputedStyle(e).backgroundImage")
    assert page.left_the_machine == []
