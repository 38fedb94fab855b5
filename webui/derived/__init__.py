"""What follows from a frame as it stands, as plain rows for the page.

parts_and_checks  parts, weight and checks
papers            the papers and files that are offered
standpoint        where to stand for the next photo, as a sketch
fittings          fittings with their places and outlines
sides             which way front, back, left, right, up and down are
"""
