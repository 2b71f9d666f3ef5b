"""What a person should do about a channel: a verdict for each, what is asked of the recording, one picture of it.

judging     a verdict of a channel from what ``check`` found, with what to do about it
report      the verdicts of a recording, its cues, heart beats in search windows
picture     one picture of them: a static page, or a drawing in a notebook
"""

from emgreview.fitness.report import SEARCH_S, Verdicts, judged, of_cues, pages, verdict_in, verdicts

__all__ = ["SEARCH_S", "Verdicts", "judged", "of_cues", "pages", "verdict_in", "verdicts"]
