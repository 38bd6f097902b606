"""The trade's knowledge as data: YAML files, and the page that teaches to write them. No logic."""
