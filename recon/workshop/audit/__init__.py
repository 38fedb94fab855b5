"""A built frame compared with its plan.

- `matching`: which built member is which member of the plan
- `sentences`: what a builder has to do about a member or a bolt, in words
- `remedies`: what to do about a difference, so exactly that it can be carried out
- `fittings`: fittings built and planned, counted
- `differences`: what differs, and what could not be checked
"""
