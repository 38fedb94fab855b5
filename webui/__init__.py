"""The page: check a reading against its photos, correct it, take the papers away."""
