"""Commands of one name each, without what only a mistake needs."""

from __future__ import annotations

import click


class UnknownWord(click.UsageError):
    """A word that is not known, and what to write instead."""

    def __init__(self, what: str, remedy: str, context: click.Context) -> None:
        super().__init__(what, context)
        self.remedy = remedy


class NamedGroup(click.Group):
    """A group that answers a misspelt command with the nearest one."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Command that the arguments call."""
        names = self.list_commands(ctx)
        if args and not args[0].startswith("-") and args[0] not in names:
            from difflib import get_close_matches

            from chain.errors import plain

            near = get_close_matches(args[0], names, 1)
            path = ctx.command_path
            remedy = f"did you mean '{path} {near[0]}'?" if near else f"the commands are {', '.join(names)}"
            raise UnknownWord(f"there is no command {plain(args[0])!r}", remedy, ctx)
        return super().resolve_command(ctx, args)
