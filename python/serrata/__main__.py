"""Lets ``python -m serrata`` do what the command ``serrata`` does."""

from serrata.command import main

main(prog_name="serrata")
