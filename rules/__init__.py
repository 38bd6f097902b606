"""The trade's knowledge as data: YAML files and the page that teaches how to write them. No logic."""
