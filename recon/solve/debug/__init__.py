"""Pictures of the stages of a reading."""
