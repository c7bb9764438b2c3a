#!/usr/bin/env python
"""Run the program's commands: `python manage.py help` lists them."""

from config.commands import main

if __name__ == "__main__":
    main()
