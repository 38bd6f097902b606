"""Charts people pin to the wall, over neutral models that know nothing of where data comes from."""
