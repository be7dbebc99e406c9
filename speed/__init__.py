"""How fast it is, measured beside peers in the same run: `make speed`.

May live here: cases, one module for each subject, that time what people wait for, next to another way to get
the same answer. May not: tests; a slow machine is no fault in the code.

A module of this folder registers its cases with `speed.harness.case`; all modules here are loaded.
"""
