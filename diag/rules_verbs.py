"""The verbs of `diag rules`: what is known, added to, looked over and shown."""

from __future__ import annotations

import click

from diag import author_verbs, check_verbs, layer_verbs, learn_verbs, life_verbs
from diag.teaching import Group

__all__ = ["rules"]


@click.group(cls=Group)
def rules() -> None:
    """What the program knows: look it over, add to it, see where it came from.

    \b
    diag rules show horn
    diag rules check
    diag rules add
    """


rules.add_command(author_verbs.add)
rules.add_command(check_verbs.check)
rules.add_command(check_verbs.schema)
rules.add_command(layer_verbs.packs)
rules.add_command(learn_verbs.learn)
rules.add_command(life_verbs.show)
rules.add_command(life_verbs.state)
