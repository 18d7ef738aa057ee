"""Command line: parse, call, print; a module a verb."""
