"""What the recipes of DEVELOPERS.md ("To add") change, on a register of the first release.

Invented throughout: lamps with colours, a law that counts to the end of the year, and a label.
"""
