"""The steps, one module each."""
