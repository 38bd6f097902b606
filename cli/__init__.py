"""Talks to people: click commands over the engine and the casebook. Reasons nothing."""
