"""The visit on a phone: server-rendered pages over the dialogue, the casebook and the charts.

Reasons nothing itself, and says nothing in words of its own that the command line says too: pages
are made of what `cli.describe` writes, caught by `paper`. Imported by `serve` alone.
"""
