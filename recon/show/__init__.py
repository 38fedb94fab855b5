"""What people see: overlays on photos, the picture of the frame, the summary, the files written."""
