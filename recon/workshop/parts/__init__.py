"""Which members and bolts a frame is made of, what is on the rack, and what the rest costs.

- list_files: lists that people keep, as CSV or TOML
- prices: a price list
- oversize: whether a longer member can take a member's place
- rack: what is owned, and how much of a frame it makes
- rack_from_builds: a build that is to be taken apart as a rack
- buildable: several frames against one rack, ranked by what is missing
- parts_model: what a parts list holds
- parts_list: members, bolts, nuts and washers; weight and cost
- parts_formats: the parts list as text, HTML, CSV and values for JSON
- shopping: all that is to be bought, with one total
- workbook: parts and shopping list as a workbook with formulas
- fitting_lines: fittings in the parts list
- substitute: other stock in place of what members are made of
"""
