"""Decussate: from what was seen at the bedside to where the lesion is, and how sure one can be."""
