"""Commands at a terminal: exit status, streams, columns and files, as README.md promises. E4."""
