"""What follows from a frame as it stands, as plain rows for the page.

parts_and_checks  parts, weight and checks
papers            what can be taken away
"""
