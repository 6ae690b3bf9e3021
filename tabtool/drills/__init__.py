"""Practice pages that turn bends into melody notes, made for a harp, a key and a player."""

from tabtool.drills.advice import Advice, Result, command, suggest
from tabtool.drills.bends import GROUPS, find_bends
from tabtool.drills.ground import home_key
from tabtool.drills.kinds import KINDS, STAGES
from tabtool.drills.pages import Drill, Page, Section, graded, page
from tabtool.drills.worksheets import Question, Worksheet, as_answers, as_questions, worksheet

__all__ = [
    "GROUPS",
    "KINDS",
    "STAGES",
    "Advice",
    "Drill",
    "Page",
    "Question",
    "Result",
    "Section",
    "Worksheet",
    "as_answers",
    "as_questions",
    "command",
    "find_bends",
    "graded",
    "home_key",
    "page",
    "suggest",
    "worksheet",
]
