"""What was played? Pitch, notes, sections, scales, alignment to the score."""
