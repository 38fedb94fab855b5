"""`python -m recon`."""

import sys

from recon.cli import main

sys.exit(main())
