"""Bolts, nuts and washers by standard, the bolts of a frame, and what a section weighs.

- `fasteners`: threads, lengths and masses from the standards' tables; the bolt for a hole and a grip
- `bolts`: the bolts of a frame, and what to buy for each
- `kits`: bolts with their nuts and washers, counted
- `sections`: area, hole volume and mass of a drilled member
"""
