"""Is a take fit to be judged? Loudness, clipping, background, picture, and plain advice."""
