"""Bolts, nuts and washers by standard, the bolts of a frame, and what a section weighs.

- `threads`: sizes of bolts, nuts and washers from the standards' tables
- `fasteners`: the bolt for a hole and a grip, its name, its mass
- `wrenches`: which wrench goes on a head or nut
- `woods`: densities of species of wood
- `bolts`: the bolts of a frame, and what to buy for each
- `fitting_bolts`: the bolts of fittings
- `kits`: bolts with their nuts and washers, counted
- `sections`: area, hole volume and mass of a drilled member
"""
