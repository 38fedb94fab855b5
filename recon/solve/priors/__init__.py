"""What is known beforehand: the user's corrections of a frame read before, and the plan.

Modules:

- ``constraints``: the corrections, and where the photos disagree with them.
- ``resolve``: solving again around the corrections.
- ``plan``: the plan that was to be built, as a prior.
"""
