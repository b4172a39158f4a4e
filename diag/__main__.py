"""`python -m diag` is the same as the command `diag`."""

from diag.cli import main

main(prog_name="diag")
