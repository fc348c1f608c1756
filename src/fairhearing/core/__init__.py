"""Pure computation: sound, picture, notes, marks and seats. Knows no web framework."""
