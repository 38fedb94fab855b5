"""All that a stranger needs to build a frame, as PDF and as one HTML file.

- compose: the document from beginning to end
- choices: what may be chosen about it, and what else goes in
- list_blocks: parts list and cut list in it
- drill_blocks: marking out and drilling in it
- work_blocks: tools, bags of bolts, lifts and time in it
- step_blocks: build steps in it
- check_blocks: what was found wrong with the frame, and what to add
- labels: labels for members, with QR codes
- photo_blocks: photos of a build, as they were taken or with what was read in them
- builder_record: notes and photos at steps in it
- blocks: what a document is made of: sections of text, tables and drawings
- pdf: a document as PDF
- pdf_blocks: its blocks as flowing content of a PDF
- space: the frame in space for pages that need no network
- html: a document as one HTML file
- memory: memory while papers are made
"""
