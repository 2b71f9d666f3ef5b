"""Test contractions before the trials: who hears whom, how large a maximal effort is, and a card for each channel.

Contractions come from markers that name them, a table, or bursts marked in the long view (``asked.py``); levels are RMS
in the band (``levels.py``). Nothing here says that a muscle was recorded in isolation.

    selectivity             who hears whom: matrix, intervals, findings, cards
    maximal_efforts         the best half second of maximal efforts, for normalisation
    write_channel_cards     cards as a plain file beside the study, which reading/ finds there
"""

from emgreview.contractions.cards import write_channel_cards
from emgreview.contractions.findings import Finding
from emgreview.contractions.matrix import Selectivity, selectivity
from emgreview.contractions.maximal import MaximalEfforts, maximal_efforts

__all__ = [
    "Finding",
    "MaximalEfforts",
    "Selectivity",
    "maximal_efforts",
    "selectivity",
    "write_channel_cards",
]
