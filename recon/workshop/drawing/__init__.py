"""Dimensioned line drawings of a frame, to scale.

- vector: drawings as plain values, and their SVG
- pdf: drawings and text in PDF
- paper: sizes of paper, and the ways to lay out views
- hidden_lines: which lines are seen in a parallel projection
- projections: the six directions to look from, and what is seen from each
- label_placement: where text goes
- view_drawing: one view as a line drawing
- view_labels: the text on it
- member_sheet: a member with its four faces unrolled
- view_sheet: views on a sheet of paper
"""
