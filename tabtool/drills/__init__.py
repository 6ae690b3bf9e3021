"""Practice pages that turn bends into melody notes, made for a harp, a key and a player."""

from tabtool.drills.kinds import KINDS, STAGES
from tabtool.drills.pages import GROUPS, Drill, Page, Section, find_bends, page

__all__ = ["GROUPS", "KINDS", "STAGES", "Drill", "Page", "Section", "find_bends", "page"]
