"""The invented demo season. Every name, school, take and mark in it is made up.

* :func:`make_season` writes a complete season folder: papers, sheet music, takes, marks, truth.
* :func:`render_take` gives one take's sound and truth in memory, for tests of other rooms.
"""

from fairhearing.demo.build import make_season
from fairhearing.demo.cast import INVENTED, PLAYERS, Player, player
from fairhearing.demo.takes import render_take

__all__ = ["INVENTED", "PLAYERS", "Player", "make_season", "player", "render_take"]
