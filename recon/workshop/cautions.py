"""What parts lists, cut lists, checks, steps and papers say once each.

The words are those that the reading says too, so that a person never meets two versions of them.
"""

from recon.frame.caution import CAUTION

__all__ = ["CAUTION"]
