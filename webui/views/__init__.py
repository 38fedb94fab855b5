"""The page's subjects, a blueprint each."""
