"""The filling point's pages: one cylinder, a rack, and how long the air lasts."""
