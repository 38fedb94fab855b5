"""`python -m recon`."""

from recon.cli import run_process

run_process()
