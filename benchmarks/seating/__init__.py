"""Seat plans measured: speed, proof, envy, moves, truth of explanations. Invented students."""
