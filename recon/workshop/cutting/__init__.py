"""How the members are cut from stock with the least to buy.

- patterns: the ways to fill a stick, and the linear program over them
- cutting_stock: the cheapest sticks for the pieces, with a bound
- stick_groups: sticks that serve alike, packed as one kind
- lay_out: where the pieces of a stick lie and the saw goes
- cut_list: which stick every member comes from, and where the saw goes
- drilling: marking out and drilling of stock that comes undrilled
- jig_sheet: a drilling jig at full size
- sticks_drawing: sticks with their cuts, drawn to scale
- cut_formats: the cut list as text, HTML, CSV and values for JSON
"""
