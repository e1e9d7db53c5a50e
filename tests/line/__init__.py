"""A house at the end of a line that drops, delays, repeats and cuts: one document a key, equal answers."""
