"""Visits: the record, the store, the worked cases and the replay over them."""
