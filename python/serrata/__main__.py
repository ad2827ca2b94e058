"""The command ``serrata``, from its first import on: ``python -m serrata`` does the same."""

import sys

__all__ = ["main"]

#: Exit code that shells report for a program that Ctrl-C ended.
_INTERRUPTED = 130


def main() -> None:
    """Run the command; Ctrl-C ends it without a traceback, whenever it comes."""
    try:
        # Not at the top: the libraries take most of the time before the first word, and Ctrl-C may come then.
        from serrata.command import main as command

        command(prog_name="serrata")
    except KeyboardInterrupt:
        sys.stderr.write("stopped on request\n")
        sys.exit(_INTERRUPTED)


if __name__ == "__main__":
    main()
