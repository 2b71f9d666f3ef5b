"""Imported, it gives a process of its own sixty reasons more than the package has."""

import dataclasses

from emgreview.annotations.events import Choice
from emgreview.session import commands, trials
from emgreview.views import screen_setup as setup

more = tuple(Choice(13 + n, f"our own reason {n}") for n in range(60))
last = dataclasses.replace(setup.REASONS[-1], number=73)
commands.REASONS = trials.REASONS = setup.REASONS = (*setup.REASONS[:-1], *more, last)
