"""The command line: parse, call ``pipeline``, print. Nothing here computes."""
