"""A built frame compared with its plan.

- `matching`: which built member is which member of the plan
- `sentences`: what a builder has to do about a member or a bolt, in words
- `differences`: what differs, and what could not be checked
"""
