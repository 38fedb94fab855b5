"""Work that runs beside the page, in processes of its own.

reading         the reading that may run for a build: started, followed, its result journalled
reading_worker  the process that reads
derived         what follows from a frame (doubts, parts, checks, comparison with a plan)
answers         a process that answers lines
by_hand         what rows drawn by hand mean
decode          photos decoded for looking
"""
