"""The page: check a reading against its photos, correct it, get its papers.

serve      the page on a port of this machine
browser    the user's browser, opened by itself
start      the page before a build is chosen
app        the application: one build, one page
network    this machine's address for other devices, and QR codes
guard      who may send requests, from where, and what a browser may do with the answers
context    what the views work on
views      the addresses of the page, by subject
derived    what follows from a frame, as plain rows for the page
processes  work in processes of its own: reading, derived values, decoding
storage    a build on the disk
"""
