"""Command line: one module per command, each with a `command` that parses, calls and hands the result to a renderer."""
