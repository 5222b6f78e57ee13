"""Commands that take values with a minus: "-3 mm/s" is a speed, not the options -3 and -m."""

from __future__ import annotations

import re

import click

_SIGNED = re.compile(r"-\.?\d")


class SignedCommand(click.Command):
    """A command whose arguments may begin with a minus and a digit."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As click does, with such arguments put behind `--`."""
        takes = [
            [name]
            for option in self.params
            if isinstance(option, click.Option) and not option.is_flag
            for name in option.opts
        ]
        signed = [
            place
            for place, arg in enumerate(args)
            if _SIGNED.match(arg) and args[place - 1 : place] not in takes
        ]
        if signed and "--" not in args:
            plain = [arg for place, arg in enumerate(args) if place not in signed]
            args = [*plain, "--", *(args[place] for place in signed)]
        return super().parse_args(ctx, args)
