"""The airflow model: what a gauge reads along the air path, and readings run backwards to causes.

Forwards: `system` describes a house, `effects` and `apply` what a fault does to it, `readings` what
the gauge shows; `houses` and `draw` do the same for many at once. Backwards: `estimate` sizes what
is wrong from readings, `atlas` and `estimate_facts` for many rows of readings. `curves` has the
lines of a chart. Import from these modules.
"""
