"""Whole studies: what is done with one recording, done with all of them by one runner.

check_all       findings of every recording: ``checked.py``
cut_all         trials of every recording, cut at once, or later by a runner: ``cut.py``
cut_as_ready    the same without waiting for all: ``arriving.py``
detect_all      onsets of every trial and channel, as one table: ``detected.py``

Nothing is imported here: a check of one recording needs neither onset methods nor pandas, which take longer to load.
"""
