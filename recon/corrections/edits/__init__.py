"""The kinds of edits, by what they are about.  Each is a request checked and a function from state to state.

kind       what an edit kind is, and what it gives
members    members confirmed, added, deleted, shifted
copies     members copied or mirrored
place      members put where they are planned
holes      an end moved, a member split, two merged
laps       laps joined or parted, their bolts, laps that are meant to turn
fittings   fittings put on, changed, copied, taken off
stretch    the frame made longer or shorter across a plane
frame      the frame turned, or given a name
size       stock and measured length
photos     photos set aside, openings marked
rows       rows of openings stroked along on a photo
doubts     disagreements settled, notes seen
registry   all kinds by name, and `edit`, which every edit passes through

A new kind is a function in one of these modules (or a new one), a line in `registry.EDIT_KINDS`, and a test.
"""

from recon.corrections.edits.registry import EDIT_KINDS, edit

__all__ = ["EDIT_KINDS", "edit"]
