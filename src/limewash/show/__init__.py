"""The light show: score, fields, effects, music, film and proof."""
