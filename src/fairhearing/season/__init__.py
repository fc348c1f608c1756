"""A season on disk: season.toml, the roster, and whose take is whose. See ``docs/season.md``."""

from fairhearing.season.ensembles import PERCUSSION, plain_id
from fairhearing.season.read import read_season, season_file
from fairhearing.season.roster import read_roster, roster_file
from fairhearing.season.scores import Score, Scores, read_scores
from fairhearing.season.seating import SeatingTask, read_pins, seating_task
from fairhearing.season.takes import Matched, match_takes
from fairhearing.season.types import (
    Criterion,
    Dates,
    Ensemble,
    PartSize,
    Piece,
    Roster,
    School,
    Season,
    SeatingRules,
    Seats,
    Section,
    Student,
)

__all__ = [
    "PERCUSSION",
    "Criterion",
    "Dates",
    "Ensemble",
    "Matched",
    "PartSize",
    "Piece",
    "Roster",
    "School",
    "Score",
    "Scores",
    "Season",
    "SeatingRules",
    "SeatingTask",
    "Seats",
    "Section",
    "Student",
    "match_takes",
    "plain_id",
    "read_pins",
    "read_roster",
    "read_scores",
    "read_season",
    "roster_file",
    "season_file",
    "seating_task",
]
